//! From a configuration to everything that the loop needs: store, house, engine, broker, link, socket. It never starts half:
//! what fails here leaves nothing running.

use std::fmt;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::asking::{Asked, asking};
use super::change::{Adapt, Changes, HOUSE_ALARM, WAITS_ALARM, alarm};
use super::clock::{self, Clock, ClockPolicy, Pace, Trust};
use super::config::{BrokerPlace, Config, Page};
use super::delivery::{PROGRAM_ALARM, Teller};
use super::desk::Desk;
use super::first::{First, Instead, first};
use super::glance::{Glances, WantGlance, glances};
use super::history::History;
use super::keeper::{Keeper, Listener, Parts};
use super::ledger::{Ledger, SaveNews};
use super::post::Post;
use super::socket::CommandSocket;
use super::source::{Faults, Source};
use super::{place, watch, zones};
use crate::engine::{Engine, Event, MEMORY_ALARM, NUMBERS_WITHIN, Now, Settings};
use crate::house::House;
use crate::mqtt::{self, Inbox};
use crate::page;
use crate::store::{self, AcceptedHouse, Gap, GapReason, Kept, Store, StoreEvent};
use crate::units::counted;
use crate::wire::Prefix;

/// What to run.
pub struct Setup {
    /// The configuration.
    pub config: Config,
    /// How fast time runs; as it does where none is given.
    pub pace: Option<Pace>,
    /// Changes each house before it runs.
    pub adapt: Option<Adapt>,
    /// Hears every row of the journal.
    pub listener: Option<Listener>,
}

/// Why nothing runs. Shown, it says what to do.
#[derive(Debug)]
pub enum StartError {
    /// The house has errors, and none was accepted before.
    House(Faults),
    /// Another daemon lives at the broker, and coming back would not help.
    Rival(String),
    /// Something else cannot be had.
    Other(String),
}

impl fmt::Display for StartError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StartError::House(faults) => write!(f, "the house cannot run, and none ran before\n\n{}", faults.text),
            StartError::Rival(why) | StartError::Other(why) => f.write_str(why),
        }
    }
}

impl std::error::Error for StartError {}

/// Everything that the loop turns round.
pub struct Running {
    /// The engine and its surroundings.
    pub keeper: Keeper,
    /// Versions of the house.
    pub changes: Changes,
    /// What the link tells.
    pub inbox: Inbox,
    /// What people ask.
    pub asked: mpsc::Receiver<Asked>,
    /// Ends when the command socket does.
    pub socket: JoinHandle<()>,
    /// Ends when the server of the page does; none where no page is wanted.
    pub page: Option<JoinHandle<()>>,
    /// What becomes of saves.
    pub saves: mpsc::UnboundedReceiver<SaveNews>,
    /// What the store tells.
    pub store_events: mpsc::Receiver<StoreEvent>,
    /// Who tells a person of alarms, where that is wanted.
    pub teller: Option<Teller>,
    /// Signs that the house may have changed.
    pub signs: mpsc::Receiver<()>,
    /// The embedded broker, where there is one.
    pub broker: EmbeddedBroker,
    /// The head of every topic.
    pub prefix: Prefix,
    /// Keeps the way open on which copies of the engine are asked for.
    pub glances: Glances,
    /// Who wants a copy of the engine, to look at it at length.
    pub want_glance: WantGlance,
}

/// The embedded broker, in builds that have one.
#[cfg(feature = "embedded-broker")]
pub type EmbeddedBroker = Option<mqtt::embedded::Embedded>;
/// The embedded broker: this build has none.
#[cfg(not(feature = "embedded-broker"))]
pub type EmbeddedBroker = Option<std::convert::Infallible>;

/// Starts everything. Must be called within a tokio runtime; blocks for as long as disk and git take.
///
/// # Errors
/// When something needed cannot be had; nothing is left running then.
pub async fn start(setup: Setup) -> Result<Running, StartError> {
    let Setup { config, pace, adapt, listener } = setup;
    let other = |why: String| StartError::Other(why);
    let (store, kept, store_events) = Store::open(&config.data).map_err(|error| other(error.to_string()))?;
    let source = Source::new(config.house.clone(), config.apply, zones::zones());
    let signs = watch::start(source.clone());
    let mut clock =
        clock(config.clock, pace, &kept).map_err(|error| other(format!("the system gives no timers: {error}")))?;
    let now = clock.now();
    let First { files, revision, house, warnings, instead } =
        first(&source, kept.accepted.clone(), |house| engine(house, &config, now, &kept)).map_err(StartError::House)?;
    warnings.iter().for_each(|warning| tracing::warn!("{warning}"));
    let house = match &adapt {
        Some(adapt) => adapt(house),
        None => house,
    };
    let (broker, address) = start_broker(&config)?;
    let mut engine = engine(house, &config, clock.now(), &kept);
    let prefix = config.broker.prefix.clone();
    let listening = match &config.page {
        Some(page) => Some(page::Listening::on(page.listen).map_err(|error| other(error.to_string()))?),
        None => None,
    };
    let (outbox, inbox) = place::take(&config.broker, address, engine.house()).await?;
    let socket = bind(&config.data)?;
    let (ledger, saves) = Ledger::new();
    write_first(&mut engine, &store, &kept).await;
    if instead.is_none() {
        store.accept(AcceptedHouse { revision: revision.clone(), files: files.clone() });
    }
    say_what_runs(engine.house(), &revision, &source, instead.as_ref());
    let post = Post::new(outbox, prefix.clone());
    let desk = Desk::new(store, History::new(config.keep_readings), clock::boot_id(), clock::boot_now());
    let mut keeper =
        Keeper::new(Parts { clock, engine, post, desk, ledger, prefix: prefix.clone(), revision, listener });
    let changes = Changes::new(source, adapt, files, instead.as_ref());
    tell_of_the_start(&mut keeper, &config, &kept, instead);
    let data = config.data;
    let teller = config.alarm.map(|delivery| Teller::new(delivery, &kept.told, clock::boot_now()));
    let (glances, want_glance) = glances();
    let (asking, asked) = asking();
    let page = match (&config.page, listening) {
        (Some(page_config), Some(listening)) => {
            let ends = page::Ends { asking: asking.clone(), glances: glances.clone(), feed: keeper.feed() };
            Some(serve_page(page_config, &data, listening, ends)?)
        }
        _ => None,
    };
    let socket = match socket {
        Some(socket) => socket.serve(asking),
        None => CommandSocket::serve_later(data, asking),
    };
    Ok(Running {
        keeper,
        changes,
        inbox,
        asked,
        socket,
        page,
        saves,
        store_events,
        teller,
        signs,
        broker,
        prefix,
        glances,
        want_glance,
    })
}

/// The command socket; `None` where the disk takes none at present.
fn bind(folder: &Path) -> Result<Option<CommandSocket>, StartError> {
    match CommandSocket::bind(folder) {
        Ok(socket) => Ok(Some(socket)),
        Err(error) => {
            let text = format!("the command socket in {} cannot be made: {error}", folder.display());
            if !store::is_outage(&error) {
                return Err(StartError::Other(text));
            }
            tracing::error!("{text}; no command works until it can");
            Ok(None)
        }
    }
}

fn clock(policy: ClockPolicy, pace: Option<Pace>, kept: &Kept) -> std::io::Result<Clock> {
    let clock = Clock::new(Trust::new(policy, kept.latest))?;
    Ok(match pace {
        Some(pace) => clock.at_pace(pace),
        None => clock,
    })
}

/// The engine, from its memory where there is one.
fn engine(house: House, config: &Config, now: Now, kept: &Kept) -> Engine {
    let (house, settings) = (Arc::new(house), Settings { settle: config.settle });
    let (mut snapshot, same_boot) = match &kept.snapshot {
        None if kept.reserved.is_empty() => return Engine::new(house, settings, now),
        // No number is used again, whatever else was forgotten.
        None => (Engine::new(house.clone(), settings, now).snapshot(), true),
        Some(stored) => {
            let same_boot = stored.boot_id.is_some() && stored.boot_id == clock::boot_id();
            (stored.snapshot.clone(), same_boot)
        }
    };
    for (board, through) in &kept.reserved {
        snapshot.reserve(board, *through);
    }
    Engine::restore(house, settings, now, snapshot, same_boot)
}

/// What the journal lacks since it was written last, where nobody closed it. Before anything else is written, so that a kill
/// right now leaves the note that this rests on.
fn say_what_is_missing(store: &Store, kept: &Kept, now: Now) {
    let Some(from) = kept.left_open else { return };
    let boot_id = kept.snapshot.as_ref().and_then(|stored| stored.boot_id.clone());
    let is_other_boot = boot_id.zip(clock::boot_id()).is_some_and(|(then, now)| then != now);
    let why = if is_other_boot { GapReason::Machine } else { GapReason::Process };
    // A clock that is wrong must not turn it round.
    let trusted = now.trusted && kept.left_open_trusted;
    store.lacks(Gap { rows: None, from, to: now.wall.max(from), why, trusted });
}

/// What is to be on disk before the first step. Nothing is ordered on a number that a kill could make used again; but a disk
/// that takes nothing has an alarm of its own, and loads are not to wait for it.
async fn write_first(engine: &mut Engine, store: &Store, kept: &Kept) {
    say_what_is_missing(store, kept, engine.now());
    engine.reserve().into_iter().for_each(|(board, through)| store.reserve(board, through));
    let within = Duration::from_millis(NUMBERS_WITHIN.0);
    if tokio::time::timeout(within, store.settled()).await.is_err() {
        tracing::warn!("the disk has not taken the numbers of the first orders within {NUMBERS_WITHIN}");
    }
}

fn say_what_runs(house: &House, revision: &str, source: &Source, instead: Option<&Instead>) {
    let from = match instead {
        Some(_) => "the one taken last".to_owned(),
        None => format!("from {}", source.dir().display()),
    };
    tracing::info!("house {revision}, {from}, runs: {}", counted(house.loads.len(), "load"));
}

fn tell_of_the_start(keeper: &mut Keeper, config: &Config, kept: &Kept, instead: Option<Instead>) {
    config.notices.iter().for_each(|notice| tracing::warn!("{notice}"));
    kept.notices.iter().for_each(|notice| tracing::error!("{notice}"));
    if !keeper.engine().now().trusted {
        tracing::warn!(
            "the wall clock is not trusted yet, so rules that ask it are unknown; where nothing synchronises it, write \
             clock = \"rtc\" in standfast.toml"
        );
    }
    // One of before stands until somebody has seen it.
    if !kept.notices.is_empty() {
        keeper.step(alarm(MEMORY_ALARM, Some(kept.notices.join("; "))));
    }
    // What stood in memory goes where its reason went while nobody looked.
    let (house, waits) = match instead {
        Some(Instead::Faulty(faults)) => {
            (Some(format!("the house has errors, so the one accepted last runs: {}", faults.line)), None)
        }
        Some(Instead::Waits(text)) => (None, Some(text)),
        None => (None, None),
    };
    keeper.step(alarm(HOUSE_ALARM, house));
    keeper.step(alarm(WAITS_ALARM, waits));
    if config.alarm.is_none() {
        keeper.step(alarm(PROGRAM_ALARM, None));
    }
    keeper.step(Event::Woken);
}

fn serve_page(
    config: &Page,
    data: &Path,
    listening: page::Listening,
    ends: page::Ends,
) -> Result<JoinHandle<()>, StartError> {
    let other = |why: String| StartError::Other(why);
    let tls = config.tls.as_ref().map(|(certificates, key)| page::tls::acceptor(certificates, key)).transpose();
    let tls = tls.map_err(|error| other(error.to_string()))?;
    let door =
        config.password_hash.clone().map(|hash| page::login::Door::new(hash, data)).transpose().map_err(other)?;
    let manner = page::Manner { names: config.names.clone(), secure: tls.is_some(), door };
    let (scheme, address) = (if tls.is_some() { "https" } else { "http" }, listening.address());
    let router = page::router(page::State::new(ends, manner));
    let served = listening.serve(router, tls).map_err(|error| other(error.to_string()))?;
    tracing::info!("the page is at {scheme}://{address}/");
    Ok(served)
}

/// Where the embedded broker keeps what is retained; `None` where the disk takes nothing at present.
#[cfg(feature = "embedded-broker")]
fn retained_folder(data: &Path) -> Option<std::path::PathBuf> {
    let folder = data.join("broker");
    let probe = folder.join("probe");
    let tried = std::fs::create_dir_all(&folder)
        .and_then(|()| std::fs::write(&probe, "room\n"))
        .and_then(|()| std::fs::remove_file(&probe));
    match tried {
        Err(error) if store::is_outage(&error) => {
            tracing::error!("the embedded broker keeps what is retained in memory only: {}: {error}", folder.display());
            None
        }
        // Anything else is for the broker to say.
        _ => Some(folder),
    }
}

/// Starts the embedded broker where it is wanted, and says where the broker is.
fn start_broker(config: &Config) -> Result<(EmbeddedBroker, mqtt::Address), StartError> {
    match &config.broker.place {
        BrokerPlace::At { address, .. } => Ok((None, address.clone())),
        #[cfg(feature = "embedded-broker")]
        BrokerPlace::Embedded(listen) => {
            let account = config.broker.password.as_ref().map(|password| {
                let username = config.broker.username.clone().unwrap_or_default();
                (username, password.reveal().to_owned())
            });
            let storage = retained_folder(&config.data);
            let options = mqtt::embedded::EmbeddedOptions { listen: *listen, storage, account };
            let broker =
                mqtt::embedded::Embedded::start(&options).map_err(|error| StartError::Other(error.to_string()))?;
            let mut reached = broker.address();
            if reached.ip().is_unspecified() {
                let loopback: std::net::IpAddr = match reached {
                    std::net::SocketAddr::V4(_) => std::net::Ipv4Addr::LOCALHOST.into(),
                    std::net::SocketAddr::V6(_) => std::net::Ipv6Addr::LOCALHOST.into(),
                };
                reached.set_ip(loopback);
            }
            tracing::info!("the embedded broker listens on {}", broker.address());
            let address = mqtt::Address { host: reached.ip().to_string(), port: reached.port(), tls: false };
            Ok((Some(broker), address))
        }
        #[cfg(not(feature = "embedded-broker"))]
        BrokerPlace::Embedded(_) => Err(StartError::Other("this build has no broker of its own".to_owned())),
    }
}
