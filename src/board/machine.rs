//! The board itself: what it does with each event. It never waits: what is due later stands in its deadline.

use std::collections::BTreeMap;

use super::beats::Beats;
use super::event::{Effect, Event, Ignored, Publish};
use super::faults::{Faults, RelayFault};
use super::obey::lease_from;
use super::relay::RelayState;
use super::setup::{Flash, InputKind, Setup};
use crate::units::{BootTime, Span};
use crate::wire::{BoardInbox, InputWord, Life, RELAYS_MAX, Report, Word};

/// A relay board.
#[derive(Clone, Debug)]
pub struct Board {
    setup: Setup,
    inbox: BoardInbox,
    pub(super) flash: Flash,
    pub(super) faults: Faults,
    /// What hangs on the terminals outlives a reset.
    contacts: BTreeMap<String, bool>,
    armatures: Vec<bool>,
    powered: bool,
    pub(super) ram: Ram,
}

/// What a reset forgets.
#[derive(Clone, Debug)]
pub(super) struct Ram {
    pub(super) now: BootTime,
    cause: Word,
    linked: bool,
    pub(super) beats: Beats,
    pub(super) taken: u32,
    pub(super) reset_at: BootTime,
    pub(super) lease_s: u32,
    pub(super) relays: Vec<RelayState>,
    counts: BTreeMap<String, u32>,
    pub(super) report_due: bool,
}

impl Board {
    /// A board without power. It does nothing before [`Event::Reset`].
    pub fn new(setup: Setup, flash: Flash, faults: Faults) -> Board {
        let relays = usize::from(setup.relays);
        let fits = flash.fallback.as_ref().is_none_or(|fallback| fallback.relays.len() == relays);
        let contacts = setup.inputs.iter().filter(|input| input.kind == InputKind::Contact);
        Board {
            inbox: BoardInbox::new(&setup.topics, setup.relays),
            contacts: contacts.map(|input| (input.name.clone(), false)).collect(),
            armatures: vec![false; relays],
            powered: false,
            ram: Ram::blank(BootTime(0), Word::nearest("power-on"), relays, &flash),
            // A fallback for another number of relays comes from another setup of the same chip.
            flash: if fits { flash } else { Flash { fallback: None, ..flash } },
            faults,
            setup,
        }
    }

    /// What flash holds now. A new board made with it is this board after a power cut.
    pub fn flash(&self) -> &Flash {
        self.faults.flash_stuck_at.as_ref().unwrap_or(&self.flash)
    }

    /// What is soldered and compiled in.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// The boot that runs.
    pub fn boot(&self) -> u32 {
        self.flash.boot
    }

    /// The number of the last orders taken in this boot; 0 for none.
    pub fn taken(&self) -> u32 {
        self.ram.taken
    }

    /// Whether the NO contact of a relay, from 1, is closed: what the load sees, faults included.
    pub fn no_contact_closed(&self, number: u8) -> bool {
        index_of(number).and_then(|index| self.armatures.get(index)).copied().unwrap_or(false)
    }

    /// Whether the coil of a relay, from 1, is energised: what the board believes.
    pub fn energised(&self, number: u8) -> bool {
        self.relay(number).is_some_and(RelayState::energised)
    }

    /// Whether the lease of a relay, from 1, has run out in this boot.
    pub fn run_out(&self, number: u8) -> bool {
        self.relay(number).is_some_and(RelayState::run_out)
    }

    /// The faults.
    pub fn faults(&self) -> &Faults {
        &self.faults
    }

    /// Breaks or repairs the board, and says which armatures move.
    pub fn set_faults(&mut self, faults: Faults) -> Vec<Effect> {
        self.faults = faults;
        self.let_leases_be_ignored();
        let mut effects = Vec::new();
        self.move_armatures(&mut effects);
        effects
    }

    /// The will to register when connecting, also what to publish when leaving in good order.
    pub fn will(&self) -> Publish {
        self.life(&Life::Death { boot: self.boot() })
    }

    /// When something is due by itself. The shell calls with [`Event::Tick`] then, or with anything else later.
    pub fn next_deadline(&self) -> Option<BootTime> {
        if !self.powered {
            return None;
        }
        let relays = self.ram.relays.iter().filter_map(RelayState::deadline);
        relays.chain(self.next_report()).min()
    }

    /// Takes an event at a time of the board's own clock, which never goes back within one boot. Does what is due before,
    /// then the event, then reports if a relay changed.
    pub fn handle(&mut self, now: BootTime, event: Event<'_>) -> Vec<Effect> {
        let mut effects = Vec::new();
        match event {
            Event::Reset { cause } => self.reset(now, cause, &mut effects),
            _ if !self.powered => {
                // Contacts move whether the board has power or not.
                if let Event::Contact { input, closed } = event {
                    self.move_contact(input, closed);
                }
            }
            Event::PowerLost => {
                self.powered = false;
                self.ram = Ram::blank(now, self.ram.cause.clone(), self.armatures.len(), &self.flash);
            }
            event => {
                self.ram.now = now.max(self.ram.now);
                self.advance();
                self.happen(event, &mut effects);
                if self.next_report().is_some_and(|due| due <= self.ram.now) {
                    self.ram.report_due = true;
                }
            }
        }
        self.move_armatures(&mut effects);
        self.report_if_due(&mut effects);
        effects
    }

    fn reset(&mut self, now: BootTime, cause: Word, effects: &mut Vec<Effect>) {
        let kept = self.flash().clone();
        self.flash = Flash { boot: if kept.boot == u32::MAX { 1 } else { kept.boot + 1 }, ..kept };
        effects.push(Effect::Store);
        self.powered = true;
        self.ram = Ram::blank(now, cause, self.armatures.len(), &self.flash);
        self.let_leases_be_ignored();
    }

    pub(super) fn advance(&mut self) {
        for (index, relay) in self.ram.relays.iter_mut().enumerate() {
            let before = relay.energised();
            relay.advance(self.ram.now, self.flash.fallback_of(index));
            self.ram.report_due |= relay.energised() != before;
        }
    }

    fn happen(&mut self, event: Event<'_>, effects: &mut Vec<Effect>) {
        match event {
            Event::LinkUp => {
                self.ram.linked = true;
                let birth = Life::Birth { boot: self.boot(), cause: self.ram.cause.clone() };
                effects.push(Effect::Publish(self.life(&birth)));
                self.introduce(effects);
            }
            Event::LinkDown => self.ram.linked = false,
            Event::Message { topic, payload, retained } => {
                let understood = self.inbox.route(topic, payload, retained).map_err(Ignored::Refused);
                let obeyed = understood.and_then(|message| self.obey(message, effects));
                effects.extend(obeyed.err().map(Effect::Ignored));
            }
            Event::Pressed { input } => self.press(input, effects),
            Event::Key { input, code } => {
                if self.setup.kind_of(input) == Some(InputKind::Remote) {
                    let count = self.ram.count(input);
                    self.say_input(input, &InputWord::Code { code, count }, effects);
                }
            }
            Event::Contact { input, closed } => {
                if self.move_contact(input, closed) {
                    self.say_input(input, &contact_word(closed), effects);
                }
            }
            Event::Reading { name, text } => {
                if self.ram.linked && !self.faults.silent.contains(name) {
                    let topic = self.setup.topics.reading(name);
                    effects.push(Effect::Publish(Publish { topic, payload: text.to_owned(), retain: false, qos: 0 }));
                }
            }
            Event::Reset { .. } | Event::PowerLost | Event::Tick => {}
        }
    }

    /// A button switches only what no longer obeys. What it switched is told by the hand count; only what it did not
    /// switch is told as a press, so that no press counts twice.
    fn press(&mut self, input: &str, effects: &mut Vec<Effect>) {
        let Some(InputKind::Button { relay }) = self.setup.kind_of(input) else { return };
        let count = self.ram.count(input);
        let index = relay.and_then(index_of).filter(|index| *index < self.ram.relays.len());
        let switched = index.is_some_and(|index| {
            let free = self.ram.relays[index].run_out() && !self.flash.fallback_of(index).deaf;
            if free || self.faults.buttons_always_switch {
                self.ram.relays[index].switch_by_hand(self.ram.now);
                self.ram.report_due = true;
                return true;
            }
            false
        });
        if !switched {
            self.say_input(input, &InputWord::Press { count }, effects);
        }
    }

    /// Whether a contact moved.
    fn move_contact(&mut self, input: &str, closed: bool) -> bool {
        self.contacts.get_mut(input).is_some_and(|state| std::mem::replace(state, closed) != closed)
    }

    /// Says what someone who has just come needs: where the contacts stand, then a report. In this order the orders that
    /// answer the report know the contacts already.
    pub(super) fn introduce(&mut self, effects: &mut Vec<Effect>) {
        let contacts: Vec<_> = self.contacts.iter().map(|(name, closed)| (name.clone(), *closed)).collect();
        for (name, closed) in contacts {
            self.say_input(&name, &contact_word(closed), effects);
        }
        self.ram.report_due = true;
        self.move_armatures(effects);
        self.report_if_due(effects);
    }

    /// Nothing is queued: what happens while the link is down is not said later. Contacts are repeated when it is up.
    fn say_input(&self, input: &str, word: &InputWord, effects: &mut Vec<Effect>) {
        let qos = u8::from(matches!(word, InputWord::On | InputWord::Off));
        let topic = self.setup.topics.input(input);
        let publish = Publish { topic, payload: word.encode(), retain: false, qos };
        let times = if !self.ram.linked { 0 } else { 1 + usize::from(self.faults.doubles_inputs) };
        effects.extend(std::iter::repeat_n(Effect::Publish(publish), times));
    }

    fn report_if_due(&mut self, effects: &mut Vec<Effect>) {
        if !std::mem::take(&mut self.ram.report_due) || !self.ram.linked || !self.powered {
            return;
        }
        let now = self.ram.now;
        let relays = self.ram.relays.iter().map(|relay| relay.report(now));
        let mut relays: Vec<_> = relays.map(|relay| self.faults.hide(relay)).collect();
        if let Some(count) = self.faults.relays_reported {
            relays.resize(usize::from(count).clamp(1, RELAYS_MAX), relays.first().copied().unwrap_or_default());
        }
        let beat = self.ram.beats.next(now);
        let report = Report { boot: self.boot(), beat, taken: self.ram.taken, relays };
        let topic = self.setup.topics.report();
        effects.push(Effect::Publish(Publish { topic, payload: report.encode(), retain: false, qos: 0 }));
    }

    /// When the next regular report is due: a quarter of the lease after the last.
    fn next_report(&self) -> Option<BootTime> {
        let every = match self.ram.lease_s {
            0 => Span::from_s(u64::from(super::REPORT_WITHOUT_LEASE_S)),
            lease_s => Span(u64::from(lease_s) * 250),
        };
        let last = self.ram.beats.last_sent()?;
        self.ram.linked.then(|| last + every)
    }

    fn move_armatures(&mut self, effects: &mut Vec<Effect>) {
        for (index, armature) in self.armatures.iter_mut().enumerate() {
            let number = index as u8 + 1;
            let energised = match self.faults.relays.get(&number) {
                Some(RelayFault::Welded) => true,
                Some(RelayFault::Dead) => false,
                None => self.ram.relays[index].energised(),
            };
            if *armature != energised {
                *armature = energised;
                effects.push(Effect::Relay { number, energised });
            }
        }
    }

    fn life(&self, life: &Life) -> Publish {
        Publish { topic: self.setup.topics.life(), payload: life.encode(), retain: true, qos: 1 }
    }

    fn relay(&self, number: u8) -> Option<&RelayState> {
        self.ram.relays.get(index_of(number)?)
    }
}

impl Ram {
    fn blank(now: BootTime, cause: Word, relays: usize, flash: &Flash) -> Ram {
        let lease_s = flash.lease_s();
        Ram {
            now,
            cause,
            linked: false,
            beats: Beats::default(),
            taken: 0,
            reset_at: now,
            lease_s,
            relays: vec![RelayState::at_reset(now, lease_from(now, lease_s)); relays],
            counts: BTreeMap::new(),
            report_due: false,
        }
    }

    fn count(&mut self, input: &str) -> u32 {
        let count = self.counts.entry(input.to_owned()).or_default();
        *count = count.wrapping_add(1);
        *count
    }
}

fn contact_word(closed: bool) -> InputWord {
    if closed { InputWord::On } else { InputWord::Off }
}

fn index_of(number: u8) -> Option<usize> {
    usize::from(number).checked_sub(1)
}
