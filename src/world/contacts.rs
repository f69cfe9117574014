//! What contacts see of what the relays do: water that flows in two pipes, the ends of a roof vent, the second contact of a
//! latching relay. It never knows who wanted any of it. All its figures are invented.

use crate::house::{Drive, House, Relay, State};
use crate::units::{Span, WallTime};

/// The pumps, each with the input of the flow switch behind it.
const FLOWS: [(&str, &str); 2] = [("heating-pump", "heating-flow"), ("hot-water-loop", "loop-flow")];
/// The actuator of the roof vent, and the inputs at its ends: open, closed.
const VENT: (&str, [&str; 2]) = ("sunroom-vent", ["vent-open", "vent-closed"]);
/// What its motor needs from one end to the other.
const VENT_RUN: Span = Span::from_s(36);
/// The lamp behind a latching relay, and the input of that relay's second contact.
const LATCH: (&str, &str) = ("washhouse-door-lamp", "washhouse-door-lit");

/// The things that contacts see, at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    flows: [State; FLOWS.len()],
    vent: Vent,
    latch: State,
}

impl Seen {
    /// Nothing flows, the vent is shut and the lamp dark.
    pub fn at_rest(now: WallTime) -> Seen {
        Seen { flows: Default::default(), vent: Vent { open: Span::ZERO, motion: None, since: now }, latch: State::Off }
    }

    /// The armature of a relay moved: the vent goes on from there, the latching relay turns over.
    pub fn relay_moved(&mut self, at: WallTime, house: &House, relay: Relay, energised: bool) {
        let Some(load) = house.load_on(relay) else { return };
        match load.drive {
            Drive::Actuator(id) if load.name == VENT.0 => {
                let to = if house.actuator(id).open == relay { State::On } else { State::Off };
                if energised {
                    self.vent.drive(at, Some(to));
                } else if self.vent.motion == Some(to) {
                    self.vent.drive(at, None);
                }
            }
            _ if load.name == LATCH.0 && energised => self.latch = self.latch.opposite(),
            _ => {}
        }
    }

    /// Looks which pumps run.
    pub fn look(&mut self, runs: &impl Fn(&str) -> bool) {
        self.flows = FLOWS.map(|(pump, _)| state(runs(pump)));
    }

    /// How far the vent is open: 0 to 1.
    pub fn vent_open(&self, now: WallTime) -> f64 {
        self.vent.open_at(now).0 as f64 / VENT_RUN.0 as f64
    }

    /// When the vent reaches an end if nothing stops it; `None` while it stands.
    pub fn arrives(&self, now: WallTime) -> Option<WallTime> {
        let now = now.max(self.vent.since);
        let open = self.vent.open_at(now);
        let left = match self.vent.motion? {
            State::On => Span(VENT_RUN.0 - open.0),
            State::Off => open,
        };
        (left > Span::ZERO).then(|| now + left)
    }

    /// The contacts by input name.
    pub fn contacts(&self, now: WallTime) -> impl Iterator<Item = (&'static str, State)> + use<> {
        let (open, (_, [at_open, at_closed])) = (self.vent.open_at(now), VENT);
        let vent = [(at_open, state(open == VENT_RUN)), (at_closed, state(open == Span::ZERO))];
        let flows = FLOWS.into_iter().zip(self.flows).map(|((_, input), flow)| (input, flow));
        flows.chain(vent).chain([(LATCH.1, self.latch)])
    }
}

/// A sash that a motor pushes out and pulls in; it stops by itself at both ends.
#[derive(Clone, Debug, PartialEq)]
struct Vent {
    /// How much of its run it was open at `since`.
    open: Span,
    /// Which way it is driven since then.
    motion: Option<State>,
    since: WallTime,
}

impl Vent {
    fn drive(&mut self, at: WallTime, motion: Option<State>) {
        *self = Vent { open: self.open_at(at), motion, since: at };
    }

    /// How much of its run it is open. Clocks step, the sash does not.
    fn open_at(&self, now: WallTime) -> Span {
        let passed = u64::try_from(now.0.saturating_sub(self.since.0)).unwrap_or(0);
        match self.motion {
            Some(State::On) => Span(self.open.0.saturating_add(passed).min(VENT_RUN.0)),
            Some(State::Off) => Span(self.open.0.saturating_sub(passed)),
            None => self.open,
        }
    }
}

fn state(is_on: bool) -> State {
    if is_on { State::On } else { State::Off }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: WallTime = WallTime(1_795_521_600_000);

    /// How far a vent is open, in seconds of its run, after it was driven from shut at these seconds.
    fn check(driven: &[(i64, Option<State>)], at_s: i64, expected_s: u64) {
        let at = |second: i64| WallTime(NOON.0 + second * 1000);
        let mut seen = Seen::at_rest(NOON);
        driven.iter().for_each(|(second, motion)| seen.vent.drive(at(*second), *motion));
        assert_eq!(seen.vent.open_at(at(at_s)), Span::from_s(expected_s), "{driven:?} at {at_s} s");
        let ends: Vec<State> = seen.contacts(at(at_s)).skip(FLOWS.len()).take(2).map(|(_, state)| state).collect();
        assert_eq!(ends, [state(expected_s == 36), state(expected_s == 0)], "{driven:?} at {at_s} s");
    }

    #[test]
    fn a_vent_goes_from_end_to_end_and_no_further() {
        let (opening, closing) = (Some(State::On), Some(State::Off));
        check(&[], 500, 0);
        check(&[(0, opening)], 35, 35);
        check(&[(0, opening)], 36, 36);
        check(&[(0, opening)], 500, 36);
        check(&[(0, opening), (20, None)], 500, 20);
        check(&[(0, opening), (50, closing)], 60, 26);
        check(&[(0, opening), (50, closing)], 500, 0);
        check(&[(0, opening), (20, opening)], 10, 20);
    }

    #[test]
    fn its_arrival_is_known_beforehand() {
        let mut seen = Seen::at_rest(NOON);
        assert_eq!(seen.arrives(NOON), None);
        seen.vent.drive(NOON, Some(State::On));
        let arrives = seen.arrives(NOON + Span::from_s(10)).expect("it moves");
        assert_eq!(arrives, NOON + VENT_RUN);
        assert_eq!(seen.arrives(arrives), None);
        assert_eq!(seen.vent_open(arrives), 1.0);
    }
}
