//! What a NO contact did, as far as checkers ask: its last changes, its coil's, and who made them. It never judges.

use super::super::super::happening::Mover;
use crate::board::RelayFault;
use crate::units::BootTime;

/// A change of a contact.
#[derive(Clone, Copy, Debug)]
pub struct Change {
    /// When.
    pub at: BootTime,
    /// Its place in the order of all that happened.
    pub place: u64,
    /// What made it.
    pub mover: Mover,
}

/// What a NO contact did.
#[derive(Clone, Copy, Debug, Default)]
pub struct Track {
    /// It is closed.
    pub closed: bool,
    /// Its last change to closed.
    pub closing: Option<Change>,
    /// Its last change to open.
    pub opening: Option<Change>,
    /// The last time its coil released, and energised, and it did not follow.
    pub unfollowed: [Option<Change>; 2],
    /// What is wrong with its relay now.
    pub fault: Option<RelayFault>,
    /// A hand at the board was the last to say what its coil does, whether or not it followed.
    pub by_hand: bool,
}

impl Track {
    /// Notes a change.
    pub(super) fn turn(&mut self, closed: bool, change: Change) {
        self.closed = closed;
        *if closed { &mut self.closing } else { &mut self.opening } = Some(change);
        if change.mover != Mover::Fault {
            self.by_hand = change.mover == Mover::Hand;
        }
    }

    /// Its last change to a state of the NO contact.
    pub fn turned(&self, closed: bool) -> Option<Change> {
        if closed { self.closing } else { self.opening }
    }

    /// The last time it turned to a state, or its coil did and it did not follow, which its board cannot tell.
    pub fn driven(&self, closed: bool) -> Option<Change> {
        let unfollowed = self.unfollowed[usize::from(closed)];
        self.turned(closed).into_iter().chain(unfollowed).max_by_key(|change| change.place)
    }

    /// Its last change.
    pub fn changed(&self) -> Option<Change> {
        self.turned(self.closed)
    }
}
