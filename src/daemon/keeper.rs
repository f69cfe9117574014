//! The one owner of the engine: tells it what happened and carries out what it wants, in order. It never waits for disk or
//! network and never decides what a load should be doing.

mod hearing;

use std::sync::Arc;

use jiff::tz::TimeZone;

use super::change::alarm;
use super::clock::{self, Clock};
use super::complaints::Complaints;
use super::desk::{Desk, Stored};
use super::feed::{ChangeKind, Feed, Teller};
use super::ledger::{Asker, Ledger, SaveNews};
use super::other_writer::OtherWriter;
use super::post::Post;
use super::seen::Seen;
use super::standstill::Standstill;
use super::words::{Replies, respond};
use crate::engine::{Effect, Engine, Event, JournalEntry, JournalRow, Now, Retained};
use crate::house::{House, LoadId, SensorId, Source};
use crate::mqtt;
use crate::store::{Shelf, Store};
use crate::units::Span;
use crate::wire::{BoardTopics, Prefix, Router, subscriptions};

/// The alarm about readings that found no room.
const READINGS_ALARM: &str = "readings";

/// Hears every row of the journal as it is written, with the site's zone.
pub type Listener = Box<dyn FnMut(&JournalRow, &TimeZone) + Send>;

/// What the keeper is made of.
pub struct Parts {
    /// The clock.
    pub clock: Clock,
    /// The engine, not stepped yet.
    pub engine: Engine,
    /// The way out.
    pub post: Post,
    /// The way to the disk.
    pub desk: Desk,
    /// The book of open answers.
    pub ledger: Ledger,
    /// The head of every topic.
    pub prefix: Prefix,
    /// The revision of the engine's house.
    pub revision: String,
    /// Who hears rows of the journal beside the log.
    pub listener: Option<Listener>,
}

/// The engine with its surroundings.
pub struct Keeper {
    clock: Clock,
    engine: Engine,
    /// The house that the router was made for.
    routed: Arc<House>,
    router: Router,
    post: Post,
    desk: Desk,
    ledger: Ledger,
    complaints: Complaints,
    standstill: Standstill,
    seen: Seen,
    teller: Teller,
    revision: String,
    /// The broker was reached, or was found to be away.
    has_tried_broker: bool,
    other_writer: OtherWriter,
    /// Why there is no broker, as the link told last.
    unlinked: Option<hearing::Unlinked>,
    listener: Option<Listener>,
    effects: Vec<Effect>,
}

/// The subscriptions for a house as the link takes them.
pub fn link_subscriptions(house: &House, prefix: &Prefix) -> Vec<mqtt::Subscription> {
    let subscription = |one: crate::wire::Subscription| mqtt::Subscription {
        filter: one.filter,
        acknowledged: one.qos > 0,
        retain_as_published: one.retain_as_published,
        no_local: one.no_local,
    };
    subscriptions(house, prefix).into_iter().map(subscription).collect()
}

impl Keeper {
    /// Takes over the engine and steps it once.
    pub fn new(parts: Parts) -> Keeper {
        let Parts { clock, engine, post, desk, ledger, prefix, revision, listener } = parts;
        let routed = engine.house().clone();
        let mut keeper = Keeper {
            router: Router::new(&routed, prefix),
            routed,
            clock,
            engine,
            post,
            desk,
            ledger,
            complaints: Complaints::default(),
            standstill: Standstill::new(clock::boot_now()),
            seen: Seen::default(),
            teller: Teller::default(),
            revision,
            has_tried_broker: false,
            other_writer: OtherWriter::new(clock::boot_now()),
            unlinked: None,
            listener,
            effects: Vec::new(),
        };
        keeper.step(Event::Woken);
        keeper
    }

    /// The loop turns: for how long it stood still, where what it hears now may be of that time.
    pub fn turn(&mut self) -> Option<Span> {
        // The pace of a played house does not multiply it.
        self.standstill.turn(clock::boot_now())
    }

    /// The engine, to look at.
    pub fn engine(&self) -> &Engine {
        &self.engine
    }

    /// What boards said lately.
    pub fn seen(&self) -> &Seen {
        &self.seen
    }

    /// Changes as they come.
    pub fn feed(&self) -> Feed {
        self.teller.feed()
    }

    /// The clock, to sleep by.
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// The way out, to close it.
    pub fn post(&self) -> &Post {
        &self.post
    }

    /// The revision of the house that runs.
    pub fn revision(&self) -> &str {
        &self.revision
    }

    /// The store, to put an accepted house into.
    pub fn store(&self) -> &Store {
        self.desk.store()
    }

    /// What is on disk, and the readings on their way there.
    pub fn shelf(&self) -> Shelf {
        self.desk.shelf()
    }

    /// Whether the link is up.
    pub fn is_linked(&self) -> bool {
        self.post.outbox().is_up()
    }

    /// Whether the link has been up, or is known not to come up for now.
    pub fn has_tried_broker(&self) -> bool {
        self.has_tried_broker
    }

    /// The engine as it stands this moment, to be looked at.
    pub fn look(&mut self) -> Engine {
        self.engine.seen_at(self.clock.now())
    }

    /// Tells the engine what happened, now.
    pub fn step(&mut self, event: Event) {
        let before = self.engine.now();
        let now = self.clock.now();
        if now.trusted != before.trusted {
            tracing::info!("the wall clock is {}", if now.trusted { "trusted" } else { "not trusted" });
        }
        if let Event::Reading { sensor, value } = &event {
            let sensor = &self.engine.house().sensor(*sensor).name;
            self.desk.reading(sensor, *value, now);
        }
        let read = if let Event::Reading { sensor, .. } = &event { Some(*sensor) } else { None };
        let mut effects = std::mem::take(&mut self.effects);
        self.engine.step(now, event, &mut effects);
        self.carry_out(effects);
        if let Some(sensor) = read {
            self.teller.look_at(&self.engine, sensor);
        }
    }

    /// Tells who watches what sensors say by now. For once in a second: not every change of a sensor comes with a reading.
    pub fn tell_of_sensors(&mut self) {
        self.teller.look_at_all(&self.engine);
    }

    /// Runs another house from now on, under its revision.
    pub fn reload(&mut self, house: House, revision: String) {
        self.step(Event::Woken);
        self.revision = revision;
        let mut effects = std::mem::take(&mut self.effects);
        let Now { wall: at, trusted, .. } = self.engine.now();
        let entry = JournalEntry::HouseTaken { revision: self.revision.clone() };
        effects.push(Effect::Record(JournalRow { at, trusted, entry }));
        self.engine.reload(house, &mut effects);
        self.teller.forget_sensors();
        self.carry_out(effects);
        self.post.birth(&self.revision);
        self.step(Event::Woken);
    }

    /// Opens an answer for a person, with what to say when it is done or was not needed.
    pub fn open(&mut self, answer: tokio::sync::oneshot::Sender<super::protocol::Response>, replies: Replies) -> u64 {
        self.ledger.open(Asker::Person { answer, replies })
    }

    /// Answers a person once all that was handed over before is on disk, or says that it is not.
    pub fn answer_once_stored(
        &mut self,
        answer: tokio::sync::oneshot::Sender<super::protocol::Response>,
        response: super::protocol::Response,
    ) {
        let token = self.open(answer, Replies::default());
        self.ledger.answer(token, response, false);
    }

    /// Takes in what became of a save.
    pub fn hear_save(&mut self, news: SaveNews) {
        if let SaveNews::Reserved(board, through) = &news
            && let Some(board) = self.engine.house().board_named(board)
        {
            self.step(Event::Reserved { board, through: *through });
        }
        for load in self.ledger.hear(news) {
            if let Some(load) = self.engine.house().load_named(&load) {
                self.show(load, false);
            }
        }
    }

    /// Whether all that must survive is on disk.
    pub fn is_stored(&self) -> bool {
        self.ledger.is_stored(false)
    }

    /// Stores what has waited for long enough. For once in a second.
    pub fn store_what_waits(&mut self) {
        // The pace of a played house must not multiply writes.
        let Stored { memory, dropped } = self.desk.tick(&self.engine, clock::boot_now());
        if let Some(memory) = memory {
            self.ledger.saving(memory);
        }
        if let Some(dropped) = dropped {
            let text = (dropped > 0).then(|| {
                format!(
                    "more readings come than are written: {dropped} are missing in the history. Look for a sensor that \
                     does not stop"
                )
            });
            self.step(alarm(READINGS_ALARM, text));
        }
    }

    /// Takes the lock on the data folder anew where it was lost. For once in a second.
    pub fn keep_lock(&mut self) {
        self.desk.keep_lock();
    }

    /// Sends again what a busy or absent broker did not take.
    pub fn flush(&mut self) {
        if self.is_linked() {
            self.post.flush();
        }
    }

    /// Stores everything, and gives up all but what is needed to end in good order. Once the store is closed, the receiver
    /// yields where the disk has taken it.
    pub fn into_ends(self) -> (Post, Store, tokio::sync::oneshot::Receiver<()>) {
        let (store, saved) = self.desk.close(&self.engine);
        (self.post, store, saved)
    }

    /// Stores the memory as it is now.
    pub fn save(&mut self) {
        self.carry_out(vec![Effect::Save]);
    }

    fn carry_out(&mut self, mut effects: Vec<Effect>) {
        if !Arc::ptr_eq(&self.routed, self.engine.house()) {
            self.reroute();
        }
        let saves = effects.iter().any(|effect| matches!(effect, Effect::Save));
        for effect in effects.drain(..) {
            self.carry_out_one(effect, saves);
        }
        if let Some(memory) = self.desk.close_step(&self.engine, saves) {
            self.ledger.saving(memory);
        }
        // The same room again for the next step.
        self.effects = effects;
    }

    fn carry_out_one(&mut self, effect: Effect, saves: bool) {
        let house = self.routed.clone();
        match effect {
            Effect::SendOrders { board, orders } => self.post.orders(house.board(board), &orders),
            Effect::SendForeign { board, messages } => self.post.foreign(&house.board(board).name, messages),
            Effect::SetFallback { board, fallback } => self.post.fallback(&house.board(board).name, &fallback),
            Effect::PublishLoad { load } => self.show(load, saves),
            Effect::PublishAlarm { id, alarm } => {
                let status = self.engine.alarm_status(&id, &alarm);
                self.teller.tell(ChangeKind::Alarm, status.clone());
                self.post.alarm(&id, status);
            }
            Effect::ClearRetained(retained) => {
                if let Retained::Alarm(id) = &retained {
                    self.teller.tell_cleared(id);
                }
                self.post.clear(&retained);
            }
            Effect::ReserveOrders { board, through } => {
                self.store().reserve(board.clone(), through);
                let stored = self.store().settled();
                self.ledger.reserving(board, through, stored);
            }
            Effect::Record(row) => self.record(row),
            // With the rows of the whole step, once they are there.
            Effect::Save => {}
            Effect::Answer { token, answer, then } => {
                let response = respond(&house, answer, self.ledger.replies(token), then, self.engine.now().wall);
                if let Some((topic, why)) = self.ledger.answer(token, response, saves) {
                    self.complain(&topic, &why);
                }
            }
            Effect::ReadingDropped { sensor, value, why } => {
                let topic = topic_of(&house, self.router.prefix(), sensor);
                let why = why.sentence(house.sensor(sensor), value);
                self.complain(&topic, &why);
            }
            Effect::MessageDropped(dropped) => self.complain_of(&house, dropped),
        }
    }

    /// Publishes a load's state.
    fn show(&mut self, load: LoadId, save_follows: bool) {
        let name = self.routed.load(load).name.clone();
        let is_stored = self.ledger.is_stored(save_follows);
        if !is_stored {
            self.ledger.shown_unsaved(&name, save_follows);
        }
        let status = self.engine.load_status(load, is_stored, &self.revision);
        if self.teller.is_watched() {
            self.teller.tell(ChangeKind::Load, status.clone());
        }
        self.post.load(&name, status);
    }

    fn record(&mut self, row: JournalRow) {
        let zone = &self.routed.site.zone;
        match row.entry {
            // Somebody is to look.
            JournalEntry::AlarmRaised { .. } | JournalEntry::Tripped { .. } => {
                tracing::warn!("{}", row.entry.sentence(zone));
            }
            _ => tracing::info!("{}", row.entry.sentence(zone)),
        }
        self.teller.record(&row.entry);
        if self.teller.is_watched() && !self.is_linked() {
            self.teller.record_unpublished(&row.entry, &self.engine, self.is_stored(), &self.revision);
        }
        if let Some(listener) = &mut self.listener {
            listener(&row, zone);
        }
        self.desk.row(row, self.revision.clone());
    }

    fn reroute(&mut self) {
        self.routed = self.engine.house().clone();
        let prefix = self.router.prefix().clone();
        self.post.outbox().listen_to(link_subscriptions(&self.routed, &prefix));
        self.router = Router::new(&self.routed, prefix);
    }
}

fn topic_of(house: &House, prefix: &Prefix, sensor: SensorId) -> String {
    match &house.sensor(sensor).source {
        Source::Board { board, reading } => {
            BoardTopics::new(prefix.clone(), &house.board(*board).name).reading(reading)
        }
        Source::Topic { topic, .. } => topic.clone(),
        // No reading of it arrives.
        Source::Derived(_) => house.sensor(sensor).name.clone(),
    }
}
