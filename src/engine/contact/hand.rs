//! What a hand at its board did to a contact, and what of it stays once the board is not heard. It never orders anything.

use super::{Alone, Contact, Lost};

impl Contact {
    /// Follows what a report, which is noted already, tells of hands: whether one switched it, and whether it moved at all.
    pub(super) fn follow_hand(&mut self, by_hand: bool, moved: bool) {
        // A word that was repeated since may have been among the orders that were taken: that is not counted as taken, for
        // what a hand did may stay for ever and what orders did does not.
        let is_spoken_to = moved || self.said_in.contains(&self.taken);
        let goes_on = self.hand_after.is_some() && !is_spoken_to;
        if by_hand || goes_on || (self.hands.is_none() && self.is_against_the_last_word()) {
            self.hand_after = Some(self.taken);
        }
    }

    /// Whether it is otherwise than the last word for it that its board can have taken: where no hands are counted, that
    /// tells of one.
    fn is_against_the_last_word(&self) -> bool {
        let Some(energised) = self.reported else { return false };
        let [same, other] = [energised, !energised].map(|state| self.said_in[usize::from(state)]);
        // Of words that are said since it can have taken none, be they as it is.
        let is_only_said_since = self.said == Some(energised) && self.said_from > self.taken;
        let can_be_taken = |number: u32| (1..=self.taken).contains(&number);
        // Repeats of the last word are under way, and the first of them can have been taken.
        let is_taken = self.said == Some(!energised) && can_be_taken(self.said_from);
        is_taken || ((same < other || is_only_said_since) && can_be_taken(other))
    }

    /// Whether a hand may have left it at its board where it stays for ever.
    pub fn stays_as_left(&self) -> bool {
        self.lost.is_some_and(|lost| lost.stays)
    }

    /// Its board is not heard any more.
    ///
    /// What a hand did at it while it was alone stays for ever, and so may what one did that no orders followed: the last
    /// beat may have come late.
    pub fn lose(&mut self, fallback: Option<bool>, run_out: bool, alone: Alone) {
        let is_otherwise = |state: Option<bool>| state.is_some_and(|state| self.reported == Some(!state));
        let mismatches = self.mismatch_since.is_some() || is_otherwise(self.said);
        let by_hand = match alone {
            // What is ordered nothing has no lease of its own, however well its board is heard.
            Alone::No => self.hand_after == Some(self.taken) || (self.is_on_its_own() && is_otherwise(fallback)),
            Alone::Perhaps => mismatches || self.hand_after == Some(self.taken),
            Alone::Yes => mismatches || is_otherwise(fallback),
        };
        let stays = by_hand || self.stays_as_left();
        self.mismatch_since = None;
        self.reported = None;
        self.lost = Some(Lost { fallback, run_out, stays });
    }
}
