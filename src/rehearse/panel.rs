//! Boards on the stage: the board's state machine with power, a clock of its own and a link. It never decides what is done
//! to a board.

use super::happening::{Mover, What};
use super::link::{Client, Parcel, Way};
use super::stage::{Due, Stage};
use crate::board::{Board, Drift, Effect, Event, Faults, Flash, Publish, RelayFault, Setup};
use crate::units::{BootTime, Span};
use crate::wire::{Code, Fallback, Orders, Word};

/// How long a board needs from reset until it talks to the network.
const START: Span = Span(1_500);

/// A board with what surrounds it.
#[derive(Clone, Debug)]
pub struct Panel {
    /// Its name.
    pub name: String,
    board: Board,
    drift: Drift,
    powered: bool,
    /// When the tick that counts is due; others in the queue are stale.
    tick_at: Option<BootTime>,
}

impl Panel {
    /// A board without power, new from the box.
    pub(super) fn new(name: &str, setup: Setup, ppm: i32, faults: Faults) -> Panel {
        Panel {
            name: name.to_owned(),
            board: Board::new(setup, Flash::default(), faults),
            drift: Drift { zero: BootTime(0), ppm },
            powered: false,
            tick_at: None,
        }
    }

    /// The board itself.
    pub fn board(&self) -> &Board {
        &self.board
    }

    /// Whether it has power.
    pub fn is_powered(&self) -> bool {
        self.powered
    }

    /// Whether the NO contact of a relay, from 1, is closed.
    pub fn is_closed(&self, relay: u8) -> bool {
        self.board.no_contact_closed(relay)
    }

    /// The relays whose contacts do not follow their coils, and whether those are energised.
    fn loose_coils(&self) -> Vec<(u8, bool)> {
        self.board.faults().relays.keys().map(|relay| (*relay, self.board.energised(*relay))).collect()
    }
}

impl Stage {
    /// Lets a board have an event: first what is due, so that a lapse is told from what the event does.
    pub(super) fn touch(&mut self, place: usize, event: Event<'_>, mover: Mover, stamp: u64) {
        let now = self.now();
        let panel = &mut self.panels[place];
        let own = panel.drift.board_time(now);
        let coils = panel.loose_coils();
        if panel.powered {
            let effects = panel.board.handle(own, Event::Tick);
            self.see_unfollowed(place, &coils, Mover::Lapse);
            self.carry_board(place, effects, Mover::Lapse, stamp);
        }
        let coils = self.panels[place].loose_coils();
        let orders = match &event {
            Event::Message { topic, payload, .. } if topic.ends_with("/orders") => Orders::decode(payload).ok(),
            _ => None,
        };
        let mover = orders.as_ref().map_or(mover, |orders| Mover::Orders(orders.number));
        let effects = self.panels[place].board.handle(own, event);
        let ignored = effects.iter().any(|effect| matches!(effect, Effect::Ignored(_)));
        if let Some(orders) = orders.filter(|_| !ignored && self.panels[place].powered) {
            let boot = self.panels[place].board.boot();
            self.see(What::Obeyed { board: place, boot, orders });
        }
        self.see_unfollowed(place, &coils, mover);
        self.carry_board(place, effects, mover, stamp);
        self.plan_tick(place);
    }

    /// Tells which coils are no more as they were before, of those that their contacts do not follow.
    fn see_unfollowed(&mut self, place: usize, before: &[(u8, bool)], mover: Mover) {
        for (relay, energised) in before {
            let is_energised = self.panels[place].board.energised(*relay);
            if is_energised != *energised {
                self.see(What::Unfollowed { board: place, relay: *relay, energised: is_energised, mover });
            }
        }
    }

    fn carry_board(&mut self, place: usize, effects: Vec<Effect>, mover: Mover, stamp: u64) {
        for effect in effects {
            match effect {
                Effect::Publish(publish) => self.board_says(place, publish, stamp),
                Effect::Relay { number, energised } => {
                    self.see(What::Contact { board: place, relay: number, energised, mover });
                    self.drive(place, number, energised);
                }
                Effect::Store => {
                    let fallback = self.panels[place].board.flash().fallback.clone();
                    if let Some(fallback) = fallback.filter(|_| mover == Mover::Fallback) {
                        self.see(What::FallbackKept { board: place, fallback });
                    }
                }
                Effect::Ignored(why) => self.see(What::Ignored { board: place, why: why.to_string() }),
            }
        }
    }

    fn board_says(&mut self, place: usize, publish: Publish, stamp: u64) {
        if publish.topic.ends_with("/report")
            && let Some((boot, beat)) = beat_of(&publish.payload)
        {
            self.see(What::Beat { board: place, boot, beat });
        }
        let parcel = parcel(publish, stamp);
        self.send(Client::Board(place), Way::Up, parcel);
    }

    fn plan_tick(&mut self, place: usize) {
        let panel = &mut self.panels[place];
        let due = panel.board.next_deadline().map(|due| panel.drift.true_time(due));
        if due != panel.tick_at {
            panel.tick_at = due;
            if let Some(due) = due {
                self.put(due, Due::Tick(place));
            }
        }
    }

    pub(super) fn tick(&mut self, place: usize) {
        if self.panels[place].tick_at == Some(self.now()) {
            self.panels[place].tick_at = None;
            self.touch(place, Event::Tick, Mover::Lapse, 0);
        }
    }

    /// A message reaches a board.
    pub(super) fn board_hears(&mut self, place: usize, parcel: &Parcel) {
        let Parcel { topic, payload, retained, .. } = parcel;
        let mover = if topic.ends_with("/fallback") && Fallback::decode(payload).is_ok() {
            Mover::Fallback
        } else {
            Mover::Lapse
        };
        self.touch(place, Event::Message { topic, payload, retained: *retained }, mover, parcel.stamp);
    }

    /// A board's power comes back, or its watchdog bites, or someone presses reset.
    pub fn reset(&mut self, place: usize, why: &str) {
        self.lose_wire(Client::Board(place), Span::from_s(20), None);
        let now = self.now();
        let panel = &mut self.panels[place];
        panel.drift.zero = now;
        panel.powered = true;
        // Without this the tick before would run a board whose clock has just begun anew.
        let coils = panel.loose_coils();
        let effects = panel.board.handle(BootTime(0), Event::Reset { cause: Word::nearest(why) });
        let boot = panel.board.boot();
        self.see(What::BoardUp { board: place, boot, is_new: false });
        self.see_unfollowed(place, &coils, Mover::Power);
        self.carry_board(place, effects, Mover::Power, 0);
        self.plan_tick(place);
        self.tell_ends_of(place);
        self.put(now + START, Due::Connect(Client::Board(place)));
    }

    /// A board loses power.
    pub fn cut_power(&mut self, place: usize) {
        if !self.panels[place].powered {
            return;
        }
        self.see(What::BoardDown { board: place });
        self.touch(place, Event::PowerLost, Mover::Power, 0);
        self.panels[place].powered = false;
        self.lose_wire(Client::Board(place), Span::from_s(45), None);
    }

    /// Another board of the same make takes the place of one, with nothing in its flash; it starts at once.
    pub fn exchange(&mut self, place: usize) {
        self.cut_power(place);
        let old = &self.panels[place];
        let faults = Faults { relays: Default::default(), ..old.board.faults().clone() };
        let fresh = Panel::new(&old.name, old.board.setup().clone(), old.drift.ppm, faults);
        self.panels[place] = fresh;
        self.rewire_drives(place);
        let relays = self.panels[place].board.setup().relays;
        for relay in 1..=relays {
            self.see(What::RelayFault { board: place, relay, fault: None });
            self.doubt_drive(place, relay, false);
        }
        self.see(What::BoardUp { board: place, boot: 0, is_new: true });
        self.reset(place, "power-on");
    }

    /// Breaks a relay, or mends it.
    pub fn break_relay(&mut self, place: usize, relay: u8, fault: Option<RelayFault>) {
        let mut faults = self.panels[place].board.faults().clone();
        match fault {
            Some(fault) => faults.relays.insert(relay, fault),
            None => faults.relays.remove(&relay),
        };
        self.see(What::RelayFault { board: place, relay, fault });
        self.doubt_drive(place, relay, fault.is_some());
        let effects = self.panels[place].board.set_faults(faults);
        self.carry_board(place, effects, Mover::Fault, 0);
    }

    /// Someone presses a button.
    pub fn press(&mut self, place: usize, input: &str) {
        let stamp = self.stamp();
        // What is due comes first, so that a lapse is not taken for the hand.
        self.touch(place, Event::Tick, Mover::Lapse, 0);
        let relays = self.panels[place].board.setup().relays;
        let coils = |panel: &Panel| (1..=relays).map(|relay| panel.board.energised(relay)).collect::<Vec<bool>>();
        let before = coils(&self.panels[place]);
        self.touch(place, Event::Pressed { input }, Mover::Hand, stamp);
        let after = coils(&self.panels[place]);
        for (relay, _) in (1..).zip(before.iter().zip(&after)).filter(|(_, (before, after))| before != after) {
            self.see(What::Switched { board: place, relay });
        }
    }

    /// A remote's key is received.
    pub fn key(&mut self, place: usize, input: &str, code: &str) {
        let stamp = self.stamp();
        if let Some(code) = Code::new(code) {
            self.touch(place, Event::Key { input, code }, Mover::Hand, stamp);
        }
    }

    /// A contact closes or opens.
    pub fn contact(&mut self, place: usize, input: &str, closed: bool) {
        self.touch(place, Event::Contact { input, closed }, Mover::Lapse, 0);
    }

    /// A board measures something.
    pub fn measure(&mut self, place: usize, name: &str, text: &str) {
        self.touch(place, Event::Reading { name, text }, Mover::Lapse, 0);
    }
}

/// In which boot a report was sent, and which it is.
fn beat_of(report: &str) -> Option<(u32, u32)> {
    let mut words = report.split(' ');
    Some((words.next()?.parse().ok()?, words.next()?.parse().ok()?))
}

fn parcel(publish: Publish, stamp: u64) -> Parcel {
    Parcel {
        topic: publish.topic.into(),
        payload: publish.payload.as_bytes().into(),
        retained: publish.retain,
        qos: publish.qos,
        stamp,
    }
}
