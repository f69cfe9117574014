//! What the engine is told: messages as bytes through the wire's codecs, and time. It never tells it anything else.

use super::happening::{HoldBegun, ModeSet, Step, What};
use super::link::Parcel;
use super::sent::place_of;
use super::stage::Stage;
use super::weaken::Weakness;
use crate::engine::{By, Event, HandOrder, JournalEntry, JournalRow, Taken, take};
use crate::house::{House, Port, State, Term};
use crate::sensing::decimal;
use crate::units::Span;
use crate::wire::{InputWord, Life};

impl Stage {
    /// A message reaches the controller.
    pub(super) fn controller_hears(&mut self, parcel: Parcel) {
        if self.is_frozen() {
            self.controller.frozen.push_back(parcel);
            return;
        }
        let Some(process) = self.controller.process.as_mut() else { return };
        process.token += 1;
        let mut events = Vec::new();
        if let Ok(incoming) = process.router.route(&parcel.topic, &parcel.payload, parcel.retained) {
            take(incoming, process.token, &mut |taken| {
                if let Taken::Event(event) = taken {
                    events.push(event);
                }
            });
        }
        for event in events {
            self.tell(event, parcel.stamp);
        }
    }

    /// Steps the engine.
    pub(super) fn tell(&mut self, event: Event, stamp: u64) {
        let now = self.controller.machine.now(self.now());
        let weakness = self.controller.weakness;
        let place = self.note(&event);
        let Some(process) = self.controller.process.as_mut() else { return };
        let told = process.disguise.put_on(weakness, event.clone(), place);
        let recorded = self.controller.records_steps.then(|| told.clone());
        let mut effects = Vec::new();
        process.engine.step(now, told, &mut effects);
        if recorded.is_some() {
            let step = Step { now, event: recorded, effects: effects.clone() };
            self.see(What::Step(Box::new(step)));
        }
        self.carry_out(Some(&event), effects, stamp);
        self.plan_wake();
    }

    /// Says what the engine is about to be told, where checkers have to know; returns the place of the board that reports.
    fn note(&mut self, event: &Event) -> Option<usize> {
        let process = self.controller.process.as_mut()?;
        let house = process.engine.house().clone();
        match event {
            Event::Reading { sensor, value } => {
                // In the sensor's unit, by the person's house: value times scale plus offset, as a person reckons it in decimals.
                let sensor = house.sensor(*sensor).name.clone();
                let own = self.controller.house.sensor_named(&sensor).map(|id| self.controller.house.sensor(id));
                let scaled = own.map(|own| value.get() * own.calibration.scale + own.calibration.offset);
                let value = scaled.map_or(value.get(), decimal);
                self.see(What::Read { sensor, value });
            }
            Event::ReadingRefused { sensor } => {
                let sensor = house.sensor(*sensor).name.clone();
                self.see(What::Refused { sensor });
            }
            Event::Life { board, life: Life::Birth { boot, .. } } => {
                let board = place_of(&self.places, &house, *board)?;
                self.see(What::BirthHeard { board, boot: *boot });
            }
            Event::Report { board, report } => {
                let place = place_of(&self.places, &house, *board)?;
                let states: Vec<bool> = report.relays.iter().map(|relay| relay.energised).collect();
                let changes = report.relays.iter().map(|relay| relay.changes).collect();
                process.heard.insert(place, states.clone());
                self.see(What::ReportHeard { board: place, boot: report.boot, beat: report.beat, states, changes });
                return Some(place);
            }
            Event::Input { port, word: InputWord::On } => self.note_port(&house, &house.ports[port.index()], State::On),
            Event::Input { port, word: InputWord::Off } => {
                self.note_port(&house, &house.ports[port.index()], State::Off)
            }
            _ => {}
        }
        None
    }

    fn note_port(&mut self, house: &House, port: &Port, state: State) {
        let port = format!("{}/{}", house.board(port.board).name, port.name);
        self.see(What::PortHeard { port, state });
    }

    /// Tells of a row, and of a hold with how long was said for it.
    pub(super) fn record(&mut self, row: JournalRow, event: Option<&Event>, stamp: u64) {
        if let JournalEntry::Held { load, state, by, .. } = &row.entry {
            let term = self.term(load, by, event);
            let span = self.length(&term);
            let (load, state, by) = (load.clone(), *state, by.clone());
            self.see(What::Held(HoldBegun { load, state, by, term, span, stamp }));
        }
        match &row.entry {
            JournalEntry::Selected { selector, position, .. } => self.note_set(selector, position.clone(), event),
            JournalEntry::SetpointSet { setpoint, value, .. } => {
                self.note_set(setpoint, value.get().to_string(), event);
            }
            _ => {}
        }
        let is_lost = self.controller.weakness == Some(Weakness::UnseenChanges);
        if !(is_lost && matches!(row.entry, JournalEntry::Unseen { .. })) {
            self.see(What::Journal(row));
        }
    }

    /// Tells of a selector that was turned or a setpoint that was set.
    fn note_set(&mut self, name: &str, value: String, event: Option<&Event>) {
        let order = match event {
            Some(Event::Hand(hand)) => Some(&hand.order),
            _ => None,
        };
        let term = match order {
            Some(HandOrder::Select { term, .. } | HandOrder::Adjust { term, .. }) => term.clone(),
            _ => None,
        };
        let span = term.as_ref().map(|term| self.length(term));
        let by_clock = matches!(term, Some(Term::UntilClock(_) | Term::UntilSun(..)));
        let wall = self.controller.machine.now(self.now()).wall;
        let end = span.filter(|_| by_clock).map(|span| wall + span);
        self.see(What::Set(ModeSet { name: name.to_owned(), value, span, end }));
    }

    /// How long a term comes to at most, by the wall clock of now.
    fn length(&self, term: &Term) -> Span {
        let wall = self.controller.machine.now(self.now()).wall;
        match term {
            Term::For(span) => *span,
            Term::NextChange => Span::from_h(24),
            Term::UntilClock(_) | Term::UntilSun(..) => {
                let end = term.resolve(wall, self.controller.house.site.setting());
                Span(end.map_or(0, |end| (end.0 - wall.0).max(0) as u64))
            }
        }
    }

    /// How long was said for a hold: by whoever made it, or by the house.
    fn term(&self, load: &str, by: &By, event: Option<&Event>) -> Term {
        let house = &self.controller.house;
        let said = match (by, event) {
            (by, Some(Event::Hand(hand))) if by.reads_answers() => match &hand.order {
                HandOrder::Hold { term, .. } => term.clone(),
                _ => None,
            },
            (By::Input(name), _) => {
                let input = house.inputs.iter().find(|input| input.name == *name);
                input.and_then(|input| input.hold_for.clone())
            }
            _ => None,
        };
        let of_load = || house.load_named(load).map(|load| house.load(load).hold_for.clone());
        said.or_else(of_load).unwrap_or(Term::NextChange)
    }
}
