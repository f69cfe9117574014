//! What orders say of a contact, and which of them are under way. It never decides what is ordered, nor hears what became of it.

use super::super::explain::Cause;
use super::super::lapse::Late;
use super::super::runs::STARTS_KEPT;
use super::Contact;

impl Contact {
    /// Notes that orders with this number went out, which may be `late`. `cause` is asked only while it is not reported to be as
    /// they say. Returns whether they may turn it over once more because a lease may be over.
    pub fn order(&mut self, number: u32, late: Late, cause: impl FnOnce() -> Cause) -> bool {
        let Some(energised) = self.wish else {
            self.words.say_nothing();
            return false;
        };
        self.words.say(number);
        let said_before = std::mem::replace(&mut self.said_in[usize::from(energised)], number);
        let is_back = self.reported == Some(energised) && self.said == Some(!energised);
        if is_back && self.said_in[usize::from(!energised)] > self.taken {
            self.turned_over = Some(number);
            if self.under_way(!energised) == 0 {
                // It went back by itself from what was said, and what repeats that may turn it over once more.
                let (last, anew) =
                    (self.said_in[usize::from(!energised)], &mut self.said_anew[usize::from(!energised)]);
                anew.clear();
                anew.push_back(last);
            }
        }
        if self.said.is_none() {
            self.first_word = Some(number);
        }
        let is_new = self.said != Some(energised);
        if is_new {
            self.keep_overtaken();
            (self.said, self.said_from) = (Some(energised), number);
        }
        let is_late = self.say_anew(number, said_before, is_new, late);
        if is_new || self.reported == Some(!energised) {
            // What was said first and taken did not last, so what turns it from here on is said now.
            let is_spent = self.said_from <= self.taken;
            let cause = cause();
            if is_new || is_spent || !self.cause.as_ref().is_some_and(|before| is_of_one_origin(before, &cause)) {
                self.cause = Some(cause);
            }
        }
        is_late
    }

    /// Notes which orders may turn it over once more. Returns whether they do so because a lease may be over.
    fn say_anew(&mut self, number: u32, said_before: u32, is_new: bool, late: Late) -> bool {
        let Some(energised) = self.said else { return false };
        let (differs, none) = (self.reported == Some(!energised), self.under_way(energised) == 0);
        // Said before, it did not last; said again it may turn it over once more. So may the answer to each late beat, since the
        // lease of what answered the one before may be over by then, whatever it tells. What answers the same is leased no longer.
        let answers_late = late.beat.is_some_and(|first| said_before < first);
        let after_late = answers_late && (differs || self.may_have_lapsed());
        // Once the lease of what was taken last may be over, so may what is under way already.
        let after_lease = late.lease && none && !is_new;
        if !(is_new || after_late || after_lease || (differs && none)) {
            return false;
        }
        let (taken, anew) = (self.taken, &mut self.said_anew[usize::from(energised)]);
        anew.retain(|earlier| *earlier > taken);
        anew.truncate(STARTS_KEPT - 2);
        anew.extend((after_lease && said_before > taken).then_some(said_before));
        anew.push_back(number);
        after_late || after_lease
    }

    /// What was said last was said again in answer to every report, perhaps with numbers up to `through`: which is not stored.
    pub fn was_said_up_to(&mut self, through: u32) {
        if let Some(said) = self.said {
            let last = &mut self.said_in[usize::from(said)];
            *last = through.max(*last);
        }
    }

    /// Whether its board has taken no orders for it that count: its lease may have run out, however well the board is heard.
    pub fn is_on_its_own(&self) -> bool {
        self.said.is_none() || self.first_word.is_some()
    }

    /// Whether orders for what is wished would have something to tell of why.
    pub fn asks_why(&self) -> bool {
        self.wish.is_some() && (self.said != self.wish || self.reported != self.wish)
    }

    /// The number of the last orders that said anything.
    pub fn said_last(&self) -> u32 {
        self.said_in[0].max(self.said_in[1])
    }

    /// How many orders are under way that said so anew: each may turn it over once.
    pub fn under_way(&self, energised: bool) -> u32 {
        self.said_anew[usize::from(energised)].iter().filter(|number| **number > self.taken).count() as u32
    }

    /// Whether orders under way repeat the last that said so anew and are under way, too: if these were taken and their lease
    /// ran out, what comes after turns it over once more.
    pub fn is_repeated_under_way(&self, energised: bool) -> bool {
        let last = self.said_anew[usize::from(energised)].back().filter(|last| **last > self.taken);
        last.is_some_and(|last| self.said_in[usize::from(energised)] > *last)
    }
}

/// Whether the same thing decides, whatever its numbers are by now.
fn is_of_one_origin(one: &Cause, other: &Cause) -> bool {
    match (one, other) {
        (Cause::Rule(one), Cause::Rule(other)) => one.rule == other.rule && one.state == other.state,
        (Cause::Hold(one), Cause::Hold(other)) => (one.began, &one.by) == (other.began, &other.by),
        _ => std::mem::discriminant(one) == std::mem::discriminant(other),
    }
}
