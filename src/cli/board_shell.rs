//! A board of `crate::board` as an MQTT client: those of the demo and the stand-in. It brings time and messages to the board
//! and never decides what a relay does.

use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;

use crate::board::{Board, Effect, Event, Faults, Flash, Ignored, Publish};
use crate::daemon::clock::Pace;
use crate::mqtt::{self, Inbox, LinkEvent, Message, Outbox, Subscription};
use crate::wire::{Code, Life, Report, Word};

/// How much news waits at most for whoever prints it. What a board does never waits for that.
const NEWS_WAITING: usize = 256;
/// How many deeds wait at most.
const DEEDS_WAITING: usize = 64;
/// Waking this often at least shows time spent in suspend.
const LOOK_AT_CLOCK: Duration = Duration::from_secs(10);

/// What a board needs to run.
pub struct Options {
    /// The board, without power yet.
    pub board: Board,
    /// How fast its clock runs.
    pub pace: Pace,
    /// Where the broker is and how to reach it; will and subscriptions are the board's own.
    pub link: mqtt::Options,
    /// Whether to watch for another client that plays the same board, and make way for it.
    pub makes_way: bool,
}

/// Something that is done to a board.
#[derive(Clone, Debug)]
pub enum Deed {
    /// Presses a button.
    Press {
        /// The input's name.
        input: String,
    },
    /// Receives a key of a remote.
    Key {
        /// The input's name.
        input: String,
        /// The key.
        code: Code,
    },
    /// Closes or opens a contact.
    Contact {
        /// The input's name.
        input: String,
        /// Whether it is closed now.
        closed: bool,
    },
    /// Measures something.
    Reading {
        /// The reading's name.
        name: String,
        /// The number as it is sent.
        text: String,
    },
    /// Resets the board, or gives it power again.
    Reset {
        /// Why, in one word.
        cause: Word,
    },
    /// Takes its power away.
    CutPower,
    /// Breaks or repairs it.
    Break(Faults),
}

/// Something that a board has to tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum News {
    /// The link is up.
    LinkUp,
    /// The link is down.
    LinkDown {
        /// Why, in words for a person.
        why: String,
    },
    /// A relay's armature moved.
    Relay {
        /// The relay, from 1.
        number: u8,
        /// Whether its NO contact is closed now.
        energised: bool,
    },
    /// The board was reset.
    Reset {
        /// The boot that runs now.
        boot: u32,
    },
    /// A message was not obeyed.
    Ignored(Ignored),
    /// Another client plays this board; this one has left without a word.
    Twin,
}

/// A running board. Dropping the handle makes the board leave in good order.
pub struct Running {
    /// What is done to it. Where nobody reads, [`mpsc::Sender::send`] waits.
    pub deeds: mpsc::Sender<Deed>,
    /// What it has to tell; what nobody reads is lost, the state of the relays is not.
    pub news: mpsc::Receiver<News>,
    /// Whether each NO contact is closed, the first for relay 1.
    pub relays: watch::Receiver<Vec<bool>>,
    task: JoinHandle<Flash>,
}

impl Running {
    /// One whose task ends when no deeds can come any more.
    pub(super) fn new(
        deeds: mpsc::Sender<Deed>,
        news: mpsc::Receiver<News>,
        relays: watch::Receiver<Vec<bool>>,
        task: JoinHandle<Flash>,
    ) -> Running {
        Running { deeds, news, relays, task }
    }

    /// Publishes the board's death, disconnects, and hands back what its flash holds; at most some seconds.
    pub async fn leave(self) -> Option<Flash> {
        drop(self.deeds);
        self.task.await.ok()
    }
}

/// Gives the board power and starts it. Must be called within a tokio runtime.
pub fn start(options: Options, cause: Word) -> Running {
    let (deeds, deeds_in) = mpsc::channel(DEEDS_WAITING);
    let (news_out, news) = mpsc::channel(NEWS_WAITING);
    let (relays_out, relays) = watch::channel(vec![false; usize::from(options.board.setup().relays)]);
    let task = tokio::spawn(async move {
        let mut shell = Shell::new(options, news_out, relays_out);
        shell.power_on(cause);
        shell.run(deeds_in).await
    });
    Running::new(deeds, news, relays, task)
}

struct Shell {
    board: Board,
    pace: Pace,
    link: mqtt::Options,
    makes_way: bool,
    /// The first boot of this process, to tell its own messages from those of another.
    first_boot: u32,
    /// `None` while the board has no power.
    wire: Option<(Outbox, Inbox)>,
    news: mpsc::Sender<News>,
    relays: watch::Sender<Vec<bool>>,
}

impl Shell {
    fn new(options: Options, news: mpsc::Sender<News>, relays: watch::Sender<Vec<bool>>) -> Shell {
        let Options { board, pace, link, makes_way } = options;
        let first_boot = board.flash().boot.saturating_add(1);
        Shell { board, pace, link, makes_way, first_boot, wire: None, news, relays }
    }

    async fn run(&mut self, mut deeds: mpsc::Receiver<Deed>) -> Flash {
        loop {
            let wait = self.wait();
            let wire = self.wire.as_mut();
            let heard = async {
                match wire {
                    Some((_, inbox)) => inbox.next().await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                event = heard => match event {
                    Some(LinkEvent::TakenOver) | None => {
                        self.tell(News::Twin);
                        break;
                    }
                    Some(event) => if !self.hear(event).await { break },
                },
                deed = deeds.recv() => match deed {
                    Some(deed) => self.suffer(deed).await,
                    None => {
                        self.disconnect().await;
                        break;
                    }
                },
                () = tokio::time::sleep(wait) => self.happen(Event::Tick),
            }
        }
        self.board.flash().clone()
    }

    /// How long until the board wants to be called, in real time.
    fn wait(&self) -> Duration {
        let due = self.board.next_deadline().map(|due| Duration::from_millis(self.pace.until(due).0));
        due.map_or(LOOK_AT_CLOCK, |wait| wait.min(LOOK_AT_CLOCK))
    }

    /// False once the board has to leave.
    async fn hear(&mut self, event: LinkEvent) -> bool {
        match event {
            LinkEvent::Up => {
                self.tell(News::LinkUp);
                self.happen(Event::LinkUp);
            }
            LinkEvent::Down { why } => {
                self.tell(News::LinkDown { why });
                self.happen(Event::LinkDown);
            }
            LinkEvent::Message { topic, payload, retain } => {
                if !self.is_own_topic(&topic) {
                    self.happen(Event::Message { topic: &topic, payload: &payload, retained: retain });
                } else if !retain && self.is_twin(&topic, &payload) {
                    // Without a death: the other one is alive, and its birth is to stay.
                    if let Some((outbox, _)) = self.wire.take() {
                        outbox.close(Vec::new()).await;
                    }
                    self.tell(News::Twin);
                    return false;
                }
            }
            // Too long for any board, or more than it can take: real ones lose such messages too.
            LinkEvent::TooLarge { .. } | LinkEvent::Lost { .. } | LinkEvent::TakenOver => {}
        }
        true
    }

    async fn suffer(&mut self, deed: Deed) {
        match deed {
            Deed::Press { input } => self.happen(Event::Pressed { input: &input }),
            Deed::Key { input, code } => self.happen(Event::Key { input: &input, code }),
            Deed::Contact { input, closed } => self.happen(Event::Contact { input: &input, closed }),
            Deed::Reading { name, text } => self.happen(Event::Reading { name: &name, text: &text }),
            Deed::Reset { cause } => {
                let last_words = self.board.will();
                self.happen(Event::PowerLost);
                self.hang_up(last_words).await;
                self.power_on(cause);
            }
            Deed::CutPower => {
                let last_words = self.board.will();
                self.happen(Event::PowerLost);
                self.hang_up(last_words).await;
            }
            Deed::Break(faults) => {
                let effects = self.board.set_faults(faults);
                self.carry_out(effects);
            }
        }
    }

    fn power_on(&mut self, cause: Word) {
        self.happen(Event::Reset { cause });
        self.tell(News::Reset { boot: self.board.boot() });
        let topics = &self.board.setup().topics;
        let mut subscriptions: Vec<Subscription> = topics.filters().map(Subscription::plain).into();
        if self.makes_way {
            subscriptions.extend([topics.life(), topics.report()].map(Subscription::plain));
        }
        let will = Some(message(self.board.will()));
        self.wire = Some(mqtt::start(mqtt::Options { will, subscriptions, ..self.link.clone() }));
    }

    /// Says the board's death and disconnects.
    async fn disconnect(&mut self) {
        let last_words = self.board.will();
        self.hang_up(last_words).await;
    }

    /// What the broker would say for a board that is gone is said at once instead, so that nobody has to wait for it.
    async fn hang_up(&mut self, last_words: Publish) {
        if let Some((outbox, _)) = self.wire.take() {
            outbox.close(vec![message(last_words)]).await;
        }
    }

    fn happen(&mut self, event: Event<'_>) {
        let effects = self.board.handle(self.pace.boot_now(), event);
        self.carry_out(effects);
    }

    fn carry_out(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::Publish(publish) => {
                    if let Some((outbox, _)) = &self.wire {
                        // What cannot go out now is void; the next report says where things stand.
                        let _ = outbox.publish(&message(publish));
                    }
                }
                Effect::Relay { number, energised } => {
                    self.relays.send_modify(|relays| relays[usize::from(number) - 1] = energised);
                    self.tell(News::Relay { number, energised });
                }
                Effect::Ignored(ignored) => self.tell(News::Ignored(ignored)),
                // The flash of a board that is only played lives as long as the player.
                Effect::Store => {}
            }
        }
    }

    fn is_own_topic(&self, topic: &str) -> bool {
        let topics = &self.board.setup().topics;
        self.makes_way && (topic == topics.life() || topic == topics.report())
    }

    /// Whether a live message on the board's own topics comes from somebody else.
    fn is_twin(&self, topic: &str, payload: &[u8]) -> bool {
        let boot = if topic == self.board.setup().topics.report() {
            Report::decode(payload).ok().map(|report| report.boot)
        } else {
            // A death may be a late will of one that is gone.
            Life::decode(payload).ok().filter(|life| matches!(life, Life::Birth { .. })).map(|life| life.boot())
        };
        boot.is_some_and(|boot| !(self.first_boot..=self.board.boot()).contains(&boot))
    }

    fn tell(&self, news: News) {
        let _ = self.news.try_send(news);
    }
}

/// What a board says, as its link takes it.
pub(super) fn message(publish: Publish) -> Message {
    Message {
        topic: publish.topic,
        payload: publish.payload.into_bytes(),
        acknowledged: publish.qos > 0,
        retain: publish.retain,
        expires: None,
    }
}
