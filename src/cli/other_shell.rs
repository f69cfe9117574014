//! A board of other firmware as an MQTT client, for the demo and the stand-in. It brings time and messages to the board and
//! never decides what a relay does.

use std::time::Duration;

use tokio::sync::{mpsc, watch};

use super::board_shell::{Deed, News, Running, message};
use crate::board::{Effect, Flash, OtherBoard};
use crate::daemon::clock::Pace;
use crate::mqtt::{self, LinkEvent, Outbox, Subscription};

/// How many deeds and how much news wait at most.
const WAITING: usize = 64;
/// Waking this often at least shows time spent in suspend.
const LOOK_AT_CLOCK: Duration = Duration::from_secs(10);

/// Gives the board power and starts it. Deeds mean nothing to it. Must be called within a tokio runtime.
pub fn start(mut board: OtherBoard, relay_count: usize, pace: Pace, link: mqtt::Options) -> Running {
    let (deeds, mut deeds_in) = mpsc::channel::<Deed>(WAITING);
    let (news_out, news) = mpsc::channel(WAITING);
    let (relays_out, relays) = watch::channel(vec![false; relay_count]);
    let subscriptions = board.filters().into_iter().map(Subscription::plain).collect();
    let will = board.will().map(message);
    let task = tokio::spawn(async move {
        let (outbox, mut inbox) = mqtt::start(mqtt::Options { will, subscriptions, ..link });
        loop {
            let due = board.next_deadline().map(|due| Duration::from_millis(pace.until(due).0));
            let wait = due.map_or(LOOK_AT_CLOCK, |wait| wait.min(LOOK_AT_CLOCK));
            let effects = tokio::select! {
                event = inbox.next() => match event {
                    Some(LinkEvent::Up) => {
                        let _ = news_out.try_send(News::LinkUp);
                        board.greet()
                    }
                    Some(LinkEvent::Message { topic, payload, .. }) => board.take(pace.boot_now(), &topic, &payload),
                    Some(LinkEvent::Down { why }) => {
                        let _ = news_out.try_send(News::LinkDown { why });
                        Vec::new()
                    }
                    Some(LinkEvent::TakenOver) | None => break,
                    Some(_) => Vec::new(),
                },
                deed = deeds_in.recv() => match deed {
                    Some(_) => Vec::new(),
                    None => break,
                },
                () = tokio::time::sleep(wait) => board.tick(pace.boot_now()),
            };
            carry_out(effects, &outbox, &relays_out, &news_out);
        }
        outbox.close(board.will().map(message).into_iter().collect()).await;
        Flash::default()
    });
    Running::new(deeds, news, relays, task)
}

fn carry_out(effects: Vec<Effect>, outbox: &Outbox, relays: &watch::Sender<Vec<bool>>, news: &mpsc::Sender<News>) {
    for effect in effects {
        match effect {
            Effect::Publish(publish) => {
                // What cannot go out now is void: it greets anew when it is connected again.
                let _ = outbox.publish(&message(publish));
            }
            Effect::Relay { number, energised } => {
                relays.send_modify(|relays| relays[usize::from(number) - 1] = energised);
                // Nobody may be reading.
                let _ = news.try_send(News::Relay { number, energised });
            }
            Effect::Ignored(_) | Effect::Store => {}
        }
    }
}
