//! The loop: one task that owns the engine and turns round everything that can happen. When any of its sources ends, it
//! ends, and the leases carry the boards.

mod chores;

use std::future::pending;
use std::time::Duration;

use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinHandle;
use tokio::time::{Interval, MissedTickBehavior, interval};

use super::change::{Origin, alarm};
use super::delivery::{PROGRAM_ALARM, Teller, run::Outcome};
use super::glance::glance;
use super::ledger::SaveNews;
use super::post::Post;
use super::requests::{self, Left};
use super::service;
use super::source::Version;
use super::start::{Running, Setup, StartError, start};
use crate::engine::{Event, MEMORY_ALARM};
use crate::mqtt::LinkEvent;
use crate::store::StoreEvent;
use crate::units::{BootTime, counted};

/// How often small chores are done.
const CHORES: Duration = Duration::from_secs(1);
/// The alarm about the disk.
const STORE_ALARM: &str = "store";

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum End {
    /// It was asked to.
    Asked,
    /// Another daemon with the same prefix has taken its place at the broker. It must not come back by itself.
    TakenOver,
    /// Something that it cannot do without has ended.
    Broken(String),
}

/// Runs a house until `stop` is fulfilled, a signal asks for it, or something breaks.
///
/// # Errors
/// When it cannot start.
pub fn run(setup: Setup, stop: impl Future<Output = ()>) -> Result<End, StartError> {
    let other = |error: std::io::Error| StartError::Other(format!("the runtime does not start: {error}"));
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().map_err(other)?;
    let (end, broker) = runtime.block_on(async {
        let signals = Signals::new().map_err(other)?;
        let running = start(setup).await?;
        Ok(turn(running, signals, stop).await)
    })?;
    runtime.shutdown_timeout(Duration::from_secs(1));
    #[cfg(feature = "embedded-broker")]
    if let Some(broker) = broker {
        broker.stop();
    }
    #[cfg(not(feature = "embedded-broker"))]
    let _ = broker;
    Ok(end)
}

struct Signals {
    hang_up: Signal,
    terminate: Signal,
    interrupt: Signal,
    /// Heard so that a file that may not grow is an error of that file and ends nothing.
    _file_too_large: Signal,
}

impl Signals {
    fn new() -> std::io::Result<Signals> {
        Ok(Signals {
            hang_up: signal(SignalKind::hangup())?,
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            _file_too_large: signal(SignalKind::from_raw(rustix::process::Signal::XFSZ.as_raw()))?,
        })
    }
}

/// A version of the house that was read, and who wanted it.
type Wanted = (Version, Origin);

/// What the loop keeps for itself.
struct Turning {
    running: Running,
    /// Where versions of the house arrive that were read.
    read: (mpsc::Sender<Wanted>, mpsc::Receiver<Wanted>),
    /// A version is being read.
    is_reading: bool,
    /// Who wants the next one read.
    wanted: Option<Origin>,
    untrusted_since: Option<BootTime>,
    unlinked_since: Option<BootTime>,
    /// The service manager knows that this is ready.
    is_ready: bool,
    store_fails: bool,
}

async fn turn(
    mut running: Running,
    mut signals: Signals,
    stop: impl Future<Output = ()>,
) -> (End, super::start::EmbeddedBroker) {
    let broker_ended = broker_end(&mut running);
    let mut turning = Turning::new(running);
    // An alarm of the store may stand since before a restart, and goes with the first write that comes through.
    turning.running.keeper.save();
    let (mut chores, mut watchdog) = (every(CHORES), service::watchdog_interval().map(every));
    tokio::pin!(stop, broker_ended);
    let end = loop {
        turning.say_when_ready();
        let Turning { running, read, .. } = &mut turning;
        let deadline = running.keeper.engine().next_deadline();
        tokio::select! {
            event = running.inbox.next() => match event {
                Some(LinkEvent::TakenOver) => break End::TakenOver,
                Some(event) => running.keeper.hear(event),
                None => break End::Broken("the link to the broker has ended".to_owned()),
            },
            slept = running.keeper.clock().sleep_until(deadline) => match slept {
                Ok(()) => running.keeper.step(Event::Woken),
                Err(error) => break End::Broken(format!("the system's timers fail: {error}")),
            },
            asked = running.asked.recv() => match asked {
                Some(asked) => match requests::take(&mut running.keeper, asked) {
                    Some(Left::Apply(answer)) => turning.want(Origin::Person(Some(answer))),
                    Some(Left::Preview(answer)) => turning.read(Origin::Curious(answer)),
                    Some(Left::Status(status, answer)) => {
                        let source = running.changes.source().clone();
                        tokio::spawn(async move { answer.send(super::status::with_saved(status, source).await) });
                    }
                    Some(Left::Look(look, answer)) => {
                        // Whoever asked may have left.
                        tokio::spawn(async move { answer.send(look.answer().await) });
                    }
                    None => {}
                },
                None => break End::Broken("nobody can ask any more".to_owned()),
            },
            _ = &mut running.socket => break End::Broken("the command socket has ended".to_owned()),
            () = ended(&mut running.page) => break End::Broken("the server of the page has ended".to_owned()),
            // The loop keeps one end for who serves the page, so this never ends.
            Some(answer) = running.want_glance.recv() => {
                // Whoever asked may have left.
                let _ = answer.send(glance(&mut running.keeper));
            }
            Some((version, origin)) = read.1.recv() => turning.take(version, origin),
            Some(news) = running.saves.recv() => turning.hear_save(news),
            event = running.store_events.recv() => match event {
                Some(event) => turning.hear_store(event),
                None => break End::Broken("the store has ended".to_owned()),
            },
            sign = running.signs.recv() => match sign {
                Some(()) => turning.want(Origin::Watched),
                None => break End::Broken("the watch over the house has ended".to_owned()),
            },
            outcome = outcome(&mut running.teller) => turning.hear_teller(outcome),
            _ = chores.tick() => turning.chores(),
            () = tick(&mut watchdog) => service::alive(),
            Some(()) = signals.hang_up.recv() => turning.want(Origin::Person(None)),
            Some(()) = signals.terminate.recv() => break End::Asked,
            Some(()) = signals.interrupt.recv() => break End::Asked,
            why = &mut broker_ended => break End::Broken(format!("the embedded broker has ended: {why}")),
            () = &mut stop => break End::Asked,
        }
    };
    service::stopping();
    (end.clone(), turning.finish(&end).await)
}

impl Turning {
    fn new(running: Running) -> Turning {
        Turning {
            running,
            read: mpsc::channel(4),
            is_reading: false,
            wanted: None,
            untrusted_since: None,
            unlinked_since: None,
            is_ready: false,
            store_fails: false,
        }
    }

    fn status(&self) -> String {
        let keeper = &self.running.keeper;
        let broker = if keeper.is_linked() { "" } else { ", no broker" };
        let loads = counted(keeper.engine().house().loads.len(), "load");
        format!("house {}, {loads}{broker}", keeper.revision())
    }

    /// Ready is who has its subscriptions acknowledged: what is said from here on is heard. Neither sensors nor settling are
    /// waited for, and a broker that is away keeps nobody from being ready: the service manager would start this anew, which
    /// brings no broker.
    fn say_when_ready(&mut self) {
        if !self.is_ready && self.running.keeper.has_tried_broker() {
            self.is_ready = true;
            service::ready(&self.status());
        }
    }

    /// Reads the house in the background; one reading at a time, and what comes meanwhile leads to one more.
    fn want(&mut self, origin: Origin) {
        if self.is_reading {
            // A person's wish outweighs a sign, and a later person finds what an earlier one has done.
            let wanted = match (self.wanted.take(), origin) {
                (Some(Origin::Person(answer)), Origin::Watched) => Origin::Person(answer),
                (Some(Origin::Person(Some(earlier))), Origin::Person(later)) => {
                    let response = super::protocol::Response::done("another `standfast apply` does it");
                    let _ = earlier.send(response);
                    Origin::Person(later)
                }
                (_, origin) => origin,
            };
            self.wanted = Some(wanted);
            return;
        }
        self.is_reading = true;
        self.read(origin);
    }

    fn read(&mut self, origin: Origin) {
        let (source, read) = (self.running.changes.source().clone(), self.read.0.clone());
        tokio::spawn(async move {
            let version = tokio::task::spawn_blocking(move || source.read()).await;
            // The loop may have ended; a reader that panicked has ended the process.
            if let Ok(version) = version {
                let _ = read.send((version, origin)).await;
            }
        });
    }

    fn take(&mut self, version: Version, origin: Origin) {
        if let Origin::Curious(answer) = origin {
            // Whoever asked may have left.
            let _ = answer.send(self.running.changes.preview(&self.running.keeper, version));
            return;
        }
        self.is_reading = false;
        self.running.changes.take(&mut self.running.keeper, version, origin);
        service::status(&self.status());
        if let Some(origin) = self.wanted.take() {
            self.want(origin);
        }
    }

    fn hear_save(&mut self, news: SaveNews) {
        // The alarm may stand since before a restart.
        if matches!(news, SaveNews::Stored(_)) && !self.store_fails {
            self.clear(STORE_ALARM);
        }
        self.running.keeper.hear_save(news);
    }

    /// Clears an alarm of the shell's own where it stands.
    fn clear(&mut self, id: &str) {
        let keeper = &mut self.running.keeper;
        if keeper.engine().alarms().contains_key(id) {
            keeper.step(alarm(id, None));
        }
    }

    fn hear_store(&mut self, event: StoreEvent) {
        let text = match event {
            StoreEvent::Failing { why } => Some(format!(
                "the disk cannot be written ({why}): switching goes on from memory, and a restart would forget holds and \
                 withdrawn loads"
            )),
            StoreEvent::Recovered { .. } => None,
            StoreEvent::Replaced { what } => {
                self.running.keeper.step(alarm(MEMORY_ALARM, Some(what)));
                return;
            }
        };
        self.store_fails = text.is_some();
        self.running.keeper.step(alarm(STORE_ALARM, text));
    }

    fn hear_teller(&mut self, outcome: Outcome) {
        let Running { keeper, teller: Some(teller), .. } = &mut self.running else { return };
        if let Some(told) = teller.hear(&outcome) {
            keeper.store().tell(told);
        }
        let text = outcome.end.err().map(|why| format!("nobody was told of an alarm: {why}; see `run` under [alarm]"));
        keeper.step(alarm(PROGRAM_ALARM, text));
    }

    /// Ends in good order: the last word, the memory, the disk. The leases carry the boards from here.
    async fn finish(self, end: &End) -> super::start::EmbeddedBroker {
        let Running { mut keeper, broker, prefix, .. } = self.running;
        match end {
            End::Asked => tracing::info!("stopping; the boards keep their orders until their leases run out"),
            End::TakenOver => tracing::error!(
                "another standfast with the prefix {prefix} has connected to the broker; this one stops and stays away"
            ),
            End::Broken(why) => tracing::error!("{why}; stopping"),
        }
        keeper.step(Event::Woken);
        let (post, store, mut saved) = keeper.into_ends();
        // Who was taken over has no word left to say there.
        if *end != End::TakenOver {
            post.outbox().close(vec![Post::death(&prefix)]).await;
        }
        store.close();
        if saved.try_recv().is_err() {
            tracing::error!(
                "the disk does not take what was kept in memory only: holds, withdrawn loads and rows of the journal since it \
                 failed are lost with this end"
            );
        }
        broker
    }
}

/// Yields why the embedded broker ended; never where there is none.
fn broker_end(running: &mut Running) -> impl Future<Output = String> + use<> {
    #[cfg(feature = "embedded-broker")]
    let ended: Option<oneshot::Receiver<String>> =
        running.broker.as_mut().and_then(crate::mqtt::embedded::Embedded::ended);
    #[cfg(not(feature = "embedded-broker"))]
    let ended: Option<oneshot::Receiver<String>> = {
        let _ = running;
        None
    };
    async move {
        match ended {
            Some(ended) => ended.await.unwrap_or_else(|_| "its thread is gone".to_owned()),
            None => pending().await,
        }
    }
}

/// The end of a task; never where there is none.
async fn ended(task: &mut Option<JoinHandle<()>>) {
    match task {
        Some(task) => {
            // A task that panics has ended the process.
            let _ = task.await;
        }
        None => pending().await,
    }
}

/// What became of a notice; never where nobody is told.
async fn outcome(teller: &mut Option<Teller>) -> Outcome {
    match teller {
        Some(teller) => teller.outcome().await,
        None => pending().await,
    }
}

fn every(period: Duration) -> Interval {
    let mut interval = interval(period);
    interval.set_missed_tick_behavior(MissedTickBehavior::Delay);
    interval
}

async fn tick(interval: &mut Option<Interval>) {
    match interval {
        Some(interval) => {
            interval.tick().await;
        }
        None => pending().await,
    }
}
