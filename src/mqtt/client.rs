//! The task that keeps a link alive: connect, tend, and after any failure start anew with back-off. It never resends.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::sleep;

use super::inbox::{Inbox, Intake, LinkEvent, queue};
use super::link::{End, tend};
use super::outbox::{Outbox, Shared};
use super::{Address, LatestWins, Message, Seat, Subscription, Tls};

/// The first pause after a link was lost; each further one is twice as long.
const FIRST_PAUSE: Duration = Duration::from_millis(250);
/// No pause is longer: the shortest lease is 5 s, and a house should not wait for the broker's sake.
const LONGEST_PAUSE: Duration = Duration::from_secs(5);
/// So many different reasons are told in one outage.
const REASONS_TOLD: usize = 8;

/// Everything a link needs.
#[derive(Clone)]
pub struct Options {
    /// Where the broker listens.
    pub address: Address,
    /// What to trust where the address asks for TLS.
    pub tls: Option<Tls>,
    /// The client id; a second client with it takes the session.
    pub client_id: String,
    /// The user name, where the broker wants one.
    pub username: Option<String>,
    /// The password, where the broker wants one.
    pub password: Option<String>,
    /// What the broker publishes when the link breaks.
    pub will: Option<Message>,
    /// Where to watch for a second client with the same id.
    pub seat: Option<Seat>,
    /// What to listen to.
    pub subscriptions: Vec<Subscription>,
    /// Which unread messages a newer one of the same topic may replace.
    pub latest_wins: LatestWins,
}

/// Starts the task that keeps the link. It ends when [`Outbox::close`] is called or the session is taken over.
///
/// Must be called within a tokio runtime.
pub fn start(options: Options) -> (Outbox, Inbox) {
    let (intake, inbox) = queue(options.latest_wins.clone());
    let shared = Arc::new(Shared::new(options.subscriptions.clone(), options.seat.clone()));
    let outbox = Outbox::new(shared.clone());
    tokio::spawn(keep(options, shared, intake));
    (outbox, inbox)
}

async fn keep(options: Options, shared: Arc<Shared>, intake: Intake) {
    let mut closing = shared.closing.subscribe();
    let mut pause = FIRST_PAUSE;
    let mut told: Vec<String> = Vec::new();
    let mut was_ever_up = false;
    loop {
        let end = tend(&options, &shared, &intake, &mut closing, was_ever_up).await;
        shared.set_link(None);
        match end {
            End::Closed => break,
            End::TakenOver => {
                intake.push(LinkEvent::TakenOver);
                break;
            }
            End::Lost { why, was_up, was_steady } => {
                if was_steady {
                    pause = FIRST_PAUSE;
                }
                if was_up {
                    was_ever_up = true;
                    told.clear();
                }
                if !told.contains(&why) && told.len() < REASONS_TOLD {
                    told.push(why.clone());
                    intake.push(LinkEvent::Down { why });
                }
            }
        }
        if wait(pause, &mut closing).await {
            break;
        }
        pause = (pause * 2).min(LONGEST_PAUSE);
    }
    intake.close();
    shared.ended.send_replace(true);
}

/// Waits out the pause; true when the link shall end meanwhile.
async fn wait(pause: Duration, closing: &mut watch::Receiver<Option<Vec<Message>>>) -> bool {
    tokio::select! {
        () = sleep(pause) => false,
        // An error means that every handle is gone, so nobody wants the link any more.
        _ = closing.wait_for(Option::is_some) => true,
    }
}
