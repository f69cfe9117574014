//! Seeds that once found what the engine, or a checker, made of reports that were lost or came late. Like `regressions`, it never
//! looks at why: each says what was wrong.

use super::check;

/// I3: orders to start that were under way, or repeated after the lease, may have been starts before the board's reset.
#[test]
fn starts_that_a_reset_ended_are_counted_by_each_order_under_way() {
    check(300_005_682);
    check(300_008_171);
}

/// I1: a hand had closed a contact at a board alone whose last beat had come late; another one was ordered to stay as a hand had