//! What must hold of every order, asserted where orders are made. It never decides: a breach is a fault of this program,
//! which the tests let panic, and which the daemon logs, raises an alarm for, and answers with the load's safe state.

use std::fmt;

use super::decide::{Decider, Dwell};
use super::{Effect, Engine};
use crate::house::{Drive, LoadId, Relay, State};

/// A rule of the design that an order would have broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Breach {
    /// The order is not what the array of slots says.
    NotDecided,
    /// I2: it would turn the contact over while min on or min off keeps it, and no slot from 1 to 5 asks for that.
    Dwell,
    /// I5: it rests on a hold that is over.
    HoldOver,
    /// I1: both directions of an actuator would be energised together, or within the dead time.
    Directions,
    /// It would be energised for longer than a run or a pulse.
    Untimed,
    /// I1: it would close beside another member of an interlock that may be on.
    Interlock,
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Breach::NotDecided => "its order is not what its slots say",
            Breach::Dwell => "its order would break min on or min off (I2)",
            Breach::Interlock => "its order would close it beside another member of its interlock (I1)",
            Breach::Directions => "its order would drive it both ways (I1)",
            Breach::Untimed => "its order would energise its relay without an end",
            Breach::HoldOver => "its order rests on a hold that is over (I5)",
        })
    }
}

impl Engine {
    /// What would be broken if the load's present wish were ordered.
    pub(super) fn breach(&self, load: LoadId) -> Option<Breach> {
        let definition = self.house.load(load);
        if definition.is_driven_by_runs() {
            return self.breach_of_runs(load);
        }
        let state = &self.loads[load.index()];
        let wish = self.contact_of(load)?.wish?;
        let Some(decision) = state.decision else { return Some(Breach::NotDecided) };
        if wish != definition.energised(decision.state) || decision.by.is_still() {
            return Some(Breach::NotDecided);
        }
        if decision.state == State::On && self.reported(load) != Some(State::On) && self.is_beside_another(load) {
            return Some(Breach::Interlock);
        }
        let hold_is_over = state.hold.as_ref().is_some_and(|hold| hold.boot_end <= self.now.boot);
        match decision.by {
            // Slots 1 to 5, and members of an interlock that were found on together, break through.
            Decider::Withdrawn | Decider::Trip | Decider::MaxOn | Decider::MaxStarts | Decider::Circuit(_) => None,
            Decider::Rotation(_, Some(slot)) if slot <= super::SLOT_LIMIT => None,
            Decider::Interlock(_) if decision.state == State::Off => None,
            Decider::Hold if hold_is_over => Some(Breach::HoldOver),
            _ => match self.dwell(load) {
                Dwell::Keep(kept, _) if kept != decision.state => Some(Breach::Dwell),
                Dwell::Still(_) => Some(Breach::Dwell),
                _ => None,
            },
        }
    }

    /// What would be broken if the relays of an actuator, or the relay of a pulsed load, were ordered as is wished now.
    fn breach_of_runs(&self, load: LoadId) -> Option<Breach> {
        let definition = self.house.load(load);
        let relays = self.house.relays_of(definition);
        let is_energised = |relay: &Relay| self.contact(*relay).wish == Some(true);
        if relays.iter().any(|relay| is_energised(relay) && self.contact(*relay).length.is_none()) {
            return Some(Breach::Untimed);
        }
        let Drive::Actuator(id) = definition.drive else { return None };
        let dead_time = self.house.actuator(id).dead_time;
        let is_clear = |other: &Relay| {
            let since = self.contact(*other).changed_latest.after(dead_time);
            !is_energised(other) && self.is_released(*other) && since <= self.now.boot
        };
        let goes = relays.iter().find(|relay| is_energised(relay))?;
        let clear = relays.iter().filter(|other| *other != goes).all(is_clear);
        (!clear).then_some(Breach::Directions)
    }

    /// Holds the present wish of a load against what must hold, and wants the safe state where it does not.
    pub(super) fn guard(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        if let Some(breach) = self.breach(load) {
            self.answer_breach(load, breach, out);
            debug_assert!(false, "load {:?}: {breach}", self.house.load(load).name);
        } else if self.has_alarm_of("fault-") {
            // It is over; who has seen that need not see it for ever.
            let id = Engine::fault_alarm(&self.house.load(load).name);
            if self.alarms.get(&id).is_some_and(|alarm| alarm.acknowledged) {
                self.clear_alarm(&id, out);
            }
        }
    }

    /// The id of the alarm for a load that an order would have wronged.
    pub(super) fn fault_alarm(load: &str) -> String {
        format!("fault-{load}")
    }

    fn answer_breach(&mut self, load: LoadId, breach: Breach, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        let definition = house.load(load);
        // Withdrawn is off, whatever safe says.
        let withdrawn = self.out_of_service(load);
        let state = if withdrawn { State::Off } else { definition.safe };
        if definition.is_driven_by_runs() {
            tracing::error!(load = definition.name, %breach, "a fault of this program: its relays are released instead");
            for relay in house.relays_of(definition) {
                let contact = self.contact_mut(relay);
                (contact.wish, contact.length) = (Some(false), None);
            }
            let text = format!(
                "{} {:?}: {breach}. This is a fault of Standfast, please report it; until it is decided again its relays are released",
                definition.section(),
                definition.name
            );
            return self.raise_alarm(Engine::fault_alarm(&definition.name), text, out);
        }
        tracing::error!(load = definition.name, %breach, "a fault of this program: {state} is ordered instead");
        if let Some(relay) = definition.relay() {
            self.contact_mut(relay).wish = Some(definition.energised(state));
        }
        let text = format!(
            "load {:?}: {breach}. This is a fault of Standfast, please report it; until it is decided again the load is {state}",
            definition.name
        );
        self.raise_alarm(Engine::fault_alarm(&definition.name), text, out);
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use jiff::tz::TimeZoneDatabase;

    use super::*;
    use crate::engine::{By, Event, Now, Settings};
    use crate::house::BoardId;
    use crate::units::{BootTime, Span, WallTime};
    use crate::wire::Report;

    const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
[board.yard]
relays = 2
[load.pump]
relay = "yard/1"
kind = "motor"
min_on = "2m"
[load.flap]
relay = "yard/2"
kind = "solenoid"
safe = "on"
"#;

    const PUMP: LoadId = LoadId(1);

    /// An engine whose pump has been on for as long as its board says.
    fn engine(on_for_s: u32) -> Engine {
        let files = [("house.toml".to_owned(), HOUSE.to_owned())];
        let (house, found) = crate::syntax::read(&files, &TimeZoneDatabase::bundled());
        let house = Arc::new(house.unwrap_or_else(|| panic!("{found:?}")));
        let now = Now { boot: BootTime(864_000_000), wall: WallTime(1_780_000_000_000), trusted: true };
        let mut engine = Engine::new(house, Settings { settle: Span::from_s(30) }, now);
        let report = Report::decode(format!("1 1 0 on:{on_for_s}:1:0 off").as_bytes()).expect("a report");
        let mut out = Vec::new();
        engine.step(now, Event::LinkUp, &mut out);
        engine.step(now, Event::Report { board: BoardId(0), report }, &mut out);
        engine
    }

    fn wish_of(engine: &mut Engine) -> &mut Option<bool> {
        let relay = engine.house.load(PUMP).relay().expect("the pump hangs on a relay");
        &mut engine.contact_mut(relay).wish
    }

    #[test]
    fn what_the_engine_decides_breaks_nothing() {
        assert_eq!(engine(10).breach(PUMP), None);
        assert_eq!(engine(1000).breach(PUMP), None);
    }

    #[test]
    fn an_order_that_nobody_decided_is_a_breach() {
        let mut engine = engine(10);
        *wish_of(&mut engine) = Some(false);
        assert_eq!(engine.breach(PUMP), Some(Breach::NotDecided));
    }

    #[test]
    fn opening_within_min_on_is_a_breach_unless_a_trip_asks_for_it() {
        let mut engine = engine(10);
        *wish_of(&mut engine) = Some(false);
        let decided = |by| Some(super::super::decide::Decision { state: State::Off, by });
        engine.loads[PUMP.index()].decision = decided(Decider::Resting);
        assert_eq!(engine.breach(PUMP), Some(Breach::Dwell));
        engine.loads[PUMP.index()].decision = decided(Decider::Trip);
        assert_eq!(engine.breach(PUMP), None);
    }

    #[test]
    fn a_breach_is_answered_with_the_safe_state_and_an_alarm() {
        let mut engine = engine(10);
        let mut out = Vec::new();
        engine.answer_breach(PUMP, Breach::Dwell, &mut out);
        assert_eq!(*wish_of(&mut engine), Some(false));
        assert!(engine.alarms()["fault-pump"].text.contains("I2"));
        assert!(out.iter().any(|effect| matches!(effect, Effect::PublishAlarm { .. })));
        engine.decide(PUMP, &mut out);
        engine.guard(PUMP, &mut out);
        assert!(engine.alarms().contains_key("fault-pump"), "nobody has seen it yet");
        engine.acknowledge("fault-pump", By::Message, &mut out);
        engine.guard(PUMP, &mut out);
        assert!(!engine.alarms().contains_key("fault-pump"));
    }

    #[test]
    fn debug_builds_do_not_pass_over_a_breach_and_release_builds_go_on() {
        let mut engine = engine(10);
        *wish_of(&mut engine) = Some(false);
        engine.loads[PUMP.index()].decision =
            Some(super::super::decide::Decision { state: State::Off, by: Decider::Resting });
        let guarded = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            engine.guard(PUMP, &mut Vec::new());
        }));
        assert_eq!(guarded.is_err(), cfg!(debug_assertions));
        assert!(engine.alarms().contains_key("fault-pump"));
    }
}
