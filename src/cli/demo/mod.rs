//! `standfast demo`: a broker, the daemon and the boards of an invented house, all on this machine and over real MQTT, with
//! physics behind the sensors. It only puts together what `run` and `stand-in` use; nothing in it is played but the house.

mod cottage;
mod folder;
mod screen;

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use anyhow::Context;

use super::{Answer, Outcome};
use crate::daemon::clock::Pace;
use crate::daemon::config::{Config, Surroundings};
use crate::daemon::run::{self as daemon, End};
use crate::daemon::start::Setup;
use crate::daemon::{house_dir, log, zones};
use crate::house::House;
use crate::mqtt;
use crate::mqtt::embedded::{Embedded, EmbeddedOptions};
use crate::units::Span;
use crate::wire::Prefix;
use cottage::Cottage;
use folder::Folder;
use screen::Screen;

/// A lease shall last at least this long in real time: below it a busy machine would look like a lost board.
const LEASE_REAL_MIN: Duration = Duration::from_secs(20);
/// The longest lease there is.
const LEASE_MAX: Span = Span::from_h(1);

/// Options of `standfast demo`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// How many times faster than real time the house runs
    #[arg(long, value_name = "TIMES", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=600))]
    speed: u32,
    /// End after this long in real time, as in 60s [default: until Ctrl-C]
    #[arg(long = "for", value_name = "DURATION", value_parser = |text: &str| Span::parse(text))]
    end_after: Option<Span>,
    /// The port of the broker on 127.0.0.1 [default: a free one]
    #[arg(long, value_name = "PORT", default_value_t = 0, hide_default_value = true)]
    broker_port: u16,
    /// The port of the page on 127.0.0.1 [default: a free one]
    #[arg(long, value_name = "PORT", default_value_t = 0, hide_default_value = true)]
    page_port: u16,
    /// The folder of the example house [default: rules, or a copy where that is not here]
    #[arg(long, value_name = "DIR")]
    house: Option<PathBuf>,
}

/// Plays until it is told to end.
pub fn run(args: Args) -> Answer {
    let folder = Folder::new(args.house.as_deref())?;
    let house = read(&folder)?;
    let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, args.broker_port));
    let broker = Embedded::start(&EmbeddedOptions { listen, storage: None, account: None })
        .context("the demo's broker does not start; --broker-port names another port")?;
    let port = broker.address().port();
    let page = page_address(args.page_port).context("the page has no place; --page-port names another port")?;
    let file = folder.write_config(port, page)?;
    let config = Config::read(&file, &Surroundings::default())?;
    log::start_quietly().context("the log cannot be written")?;

    let pace = Pace::from_now(args.speed);
    let lease_min = Span(LEASE_REAL_MIN.as_millis() as u64 * u64::from(args.speed)).min(LEASE_MAX);
    let screen = Screen::new(&house, &folder, (port, page), pace);
    screen.opening(lease_min)?;
    let address = mqtt::Address { host: Ipv4Addr::LOCALHOST.to_string(), port, tls: false };
    let played = Arc::new(give_time(house, lease_min));
    let curtain = Arc::new(AtomicBool::new(false));
    let listener = screen.listener(curtain.clone());
    let stop = async move {
        let mut cottage = Cottage::start(played, &Prefix::default(), &address, pace);
        match args.end_after {
            // What is left of the house when the time is over has nothing more to say.
            Some(span) => drop(tokio::time::timeout(Duration::from_millis(span.0), cottage.live()).await),
            None => cottage.live().await,
        }
        // What dies from here on is the stage, not the house.
        curtain.store(true, Ordering::Relaxed);
        cottage.leave().await;
    };
    let setup = Setup {
        config,
        pace: Some(pace),
        adapt: Some(Box::new(move |house| give_time(house, lease_min))),
        listener: Some(listener),
    };
    let end = daemon::run(setup, stop);
    broker.stop();
    match end? {
        End::Asked => {
            if folder.is_copy() {
                println!("The end. Nothing of it is left on this machine, not even its copy of the house.");
            } else {
                let house = folder.house().display();
                println!("The end. Nothing of it is left on this machine but what you saved in {house}.");
            }
            Ok(Outcome::Yes)
        }
        End::TakenOver => anyhow::bail!("another standfast has connected to the demo's broker"),
        End::Broken(why) => anyhow::bail!(why),
    }
}

/// Where the page is to be: the port that was named, or one that is free now.
fn page_address(port: u16) -> std::io::Result<SocketAddr> {
    std::net::TcpListener::bind((Ipv4Addr::LOCALHOST, port))?.local_addr()
}

fn read(folder: &Folder) -> anyhow::Result<House> {
    let text = house_dir::read_saved(folder.house())?;
    let (house, _) = crate::syntax::read(&text.files, &zones::zones());
    let house = house.with_context(|| {
        let shown = folder.house().display();
        format!("the house in {shown} has errors; `standfast check {shown}` shows them")
    })?;
    Ok(house)
}

/// Makes no lease shorter than that, and misses no sensor sooner, so that the house can run faster than messages travel.
fn give_time(mut house: House, least: Span) -> House {
    for sensor in &mut house.sensors {
        sensor.stale_after = sensor.stale_after.max(least);
    }
    for lease in house.boards.iter_mut().filter_map(|board| board.lease.as_mut()) {
        *lease = (*lease).max(least);
    }
    house
}
