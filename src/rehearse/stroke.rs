//! What actuators move: from one end to the other while a relay of theirs is closed, with the contacts at the ends that there
//! are. It never knows what was ordered.

use std::collections::BTreeSet;

use super::stage::{Due, Stage};
use crate::house::{House, State};
use crate::units::{BootTime, Span};

/// The way of an actuator; the board's clock may be fast by one part in a hundred, and a run reaches its end all the same.
#[derive(Clone, Debug)]
pub struct Stroke {
    actuator: String,
    board: String,
    /// Which relay drives it open and which closed.
    relays: [u8; 2],
    driven: [bool; 2],
    length: Span,
    /// How far it was from its closed end.
    open: Span,
    since: BootTime,
    /// The contacts at the open and at the closed end, by their names on the wire.
    ends: [Option<String>; 2],
    turn: u32,
    /// A relay of it broke, and no run has ended since all were whole.
    doubtful: bool,
    broken: BTreeSet<u8>,
}

impl Stroke {
    /// Those of a house, each half open.
    pub(super) fn all(house: &House) -> Vec<Stroke> {
        let stroke = |actuator: &crate::house::Actuator| {
            let end = |at: State| actuator.end(at).map(|port| house.ports[port.index()].name.clone());
            let length = Span(actuator.travel.0 * 95 / 100);
            Stroke {
                actuator: house.load(actuator.load).name.clone(),
                board: house.board(actuator.open.board).name.clone(),
                relays: [actuator.open.number, actuator.close.number],
                driven: [false; 2],
                length,
                open: Span(length.0 / 2),
                since: BootTime(0),
                ends: [end(State::On), end(State::Off)],
                turn: 0,
                doubtful: false,
                broken: BTreeSet::new(),
            }
        };
        house.actuators.iter().map(stroke).collect()
    }

    /// The actuator's name.
    pub fn actuator(&self) -> &str {
        &self.actuator
    }

    /// The end at which it stands; `None` in between.
    pub fn stands(&self) -> Option<State> {
        match self.open {
            Span::ZERO => Some(State::Off),
            open if open == self.length => Some(State::On),
            _ => None,
        }
    }

    /// Whether a relay of it broke, and no run has ended since all were whole.
    pub fn is_doubtful(&self) -> bool {
        self.doubtful
    }

    /// Where it goes; nowhere while both relays are closed.
    fn goes(&self) -> Option<State> {
        match self.driven {
            [true, false] => Some(State::On),
            [false, true] => Some(State::Off),
            _ => None,
        }
    }

    /// Moves it up to now.
    fn follow(&mut self, now: BootTime) {
        let gone = now.since(self.since);
        self.since = now;
        self.open = match self.goes() {
            Some(State::On) => Span((self.open.0 + gone.0).min(self.length.0)),
            Some(State::Off) => self.open.less(gone),
            None => self.open,
        };
    }

    /// How long it still goes.
    fn left(&self) -> Option<Span> {
        match self.goes()? {
            State::On => Some(self.length.less(self.open)),
            State::Off => Some(self.open),
        }
    }
}

impl Stage {
    /// What the actuators move.
    pub fn strokes(&self) -> &[Stroke] {
        &self.strokes
    }

    /// A relay moved that may drive an actuator.
    pub(super) fn drive(&mut self, place: usize, relay: u8, closed: bool) {
        let now = self.now();
        let name = self.panels[place].name.clone();
        let drives = |stroke: &Stroke| stroke.board == name && stroke.relays.contains(&relay);
        let Some(at) = self.strokes.iter().position(drives) else { return };
        let stroke = &mut self.strokes[at];
        stroke.follow(now);
        let was = stroke.stands();
        let way = usize::from(stroke.relays[1] == relay);
        stroke.driven[way] = closed;
        stroke.turn += 1;
        let turn = stroke.turn;
        let leaves = was.filter(|end| stroke.goes() == Some(end.opposite()));
        let left = stroke.left();
        if let Some(end) = leaves {
            self.tell_end(at, end, false);
        }
        if let Some(left) = left {
            self.put(now + left, Due::End { place: at, turn });
        }
    }

    pub(super) fn reach_end(&mut self, at: usize, turn: u32) {
        let now = self.now();
        let stroke = &mut self.strokes[at];
        if stroke.turn != turn {
            return;
        }
        stroke.follow(now);
        if let Some(end) = stroke.stands() {
            stroke.doubtful &= !stroke.broken.is_empty();
            self.tell_end(at, end, true);
        }
    }

    /// Another board takes the place of one: what the relays of the old one did is over, welded or not.
    pub(super) fn rewire_drives(&mut self, place: usize) {
        let (now, name) = (self.now(), &self.panels[place].name);
        for stroke in self.strokes.iter_mut().filter(|one| one.board == *name) {
            stroke.follow(now);
            stroke.driven = [false; 2];
            stroke.turn += 1;
        }
    }

    /// A relay breaks, or is mended.
    pub(super) fn doubt_drive(&mut self, place: usize, relay: u8, is_broken: bool) {
        let name = &self.panels[place].name;
        for stroke in self.strokes.iter_mut().filter(|one| one.board == *name && one.relays.contains(&relay)) {
            stroke.doubtful = true;
            if is_broken {
                stroke.broken.insert(relay)
            } else {
                stroke.broken.remove(&relay)
            };
        }
    }

    /// A board that starts sees where its actuators stand.
    pub(super) fn tell_ends_of(&mut self, place: usize) {
        let now = self.now();
        for at in 0..self.strokes.len() {
            if self.place(&self.strokes[at].board) != Some(place) {
                continue;
            }
            self.strokes[at].follow(now);
            let stands = self.strokes[at].stands();
            for end in [State::On, State::Off] {
                self.tell_end(at, end, stands == Some(end));
            }
        }
    }

    fn tell_end(&mut self, at: usize, end: State, there: bool) {
        let stroke = &self.strokes[at];
        let Some(name) = stroke.ends[usize::from(end == State::Off)].clone() else { return };
        if let Some(place) = self.place(&stroke.board).filter(|place| self.panels[*place].is_powered()) {
            self.contact(place, &name, there);
        }
    }
}
