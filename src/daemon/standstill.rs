//! Whether the process stood still, because it was frozen or its machine slept: whoever pressed a button or asked for something
//! then has given up since. It never reads a clock.

use crate::units::{BootTime, Span};

/// The loop turns once a second at least; who turns this late stood still.
const STOOD_STILL: Span = Span::from_s(5);
/// What waited meanwhile is read within this.
const READ_WITHIN: Span = Span::from_s(1);

/// When the loop turned last, and whether what it hears may have waited.
pub struct Standstill {
    turned: BootTime,
    over: Option<(BootTime, Span)>,
}

impl Standstill {
    /// From now on.
    pub fn new(now: BootTime) -> Standstill {
        Standstill { turned: now, over: None }
    }

    /// The loop turns; yields for how long it stood still where what it hears may be of that time or before.
    pub fn turn(&mut self, now: BootTime) -> Option<Span> {
        let stood = now.since(std::mem::replace(&mut self.turned, now));
        if stood >= STOOD_STILL {
            self.over = Some((now, Span::from_s(stood.whole_s())));
        }
        self.over = self.over.filter(|(woken, _)| now.since(*woken) < READ_WITHIN);
        self.over.map(|(_, stood)| stood)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Turns at these times, in ms, and says in which of them something may have waited.
    fn check(turns: &[u64], doubted: &[u64]) {
        let mut standstill = Standstill::new(BootTime(turns[0]));
        let doubts = turns.iter().filter(|at| standstill.turn(BootTime(**at)).is_some());
        assert_eq!(doubts.copied().collect::<Vec<u64>>(), doubted);
    }

    #[test]
    fn one_that_turns_every_second_or_nearly_doubts_nothing() {
        check(&[1000, 2000, 3000, 7999, 8000], &[]);
    }

    #[test]
    fn what_comes_right_after_a_standstill_may_have_waited() {
        check(&[1000, 6000, 6010, 6999, 7000, 8000], &[6000, 6010, 6999]);
        check(&[1000, 9_000_000, 9_000_900, 9_020_000, 9_021_000], &[9_000_000, 9_000_900, 9_020_000]);
    }

    #[test]
    fn it_says_for_how_long() {
        let mut standstill = Standstill::new(BootTime(1000));
        assert_eq!(standstill.turn(BootTime(26_000)), Some(Span::from_s(25)));
        assert_eq!(standstill.turn(BootTime(26_500)), Some(Span::from_s(25)));
    }
}
