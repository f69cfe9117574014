//! A memory that is not the latest, or that is gone: boards that have taken orders of which it knows nothing show it.

use standfast::engine::Event;

use crate::bench::Bench;
use crate::restart::HOUSE;

#[test]
fn a_board_that_took_orders_nobody_remembers_shows_that_the_memory_is_not_the_latest() {
    let mut bench = Bench::played(HOUSE);
    // What this one remembers, or has set aside before it was killed, is no news.
    bench.run_for("3m");
    bench.crash(HOUSE, "10s", true, true);
    bench.run_for("3m");
    assert_eq!(bench.alarms(), [""; 0]);
    // The board goes on from the orders of a later run, of which this copy knows nothing.
    bench.unlinked_restart(HOUSE);
    bench.relays_taken("yard", 70_000, "off off off off");
    let alarm = bench.alarm("memory").text.clone();
    assert!(alarm.contains("\"yard\" has taken orders up to number 70000"), "{alarm}");
    assert!(alarm.contains("withdrawn loads of that time are forgotten"), "{alarm}");
    assert!(bench.orders["yard"].number > 70_000, "the board obeys from here on");
}

/// Its data is gone, or not mounted: boards that obeyed it go on from where it was.
#[test]
fn who_begins_without_any_memory_is_told_by_the_boards_that_there_was_one() {
    let text = format!("{HOUSE}\n[board.yard]\nrelays = 4\n[board.hall]\nrelays = 1\n");
    let mut bench = Bench::new(&text);
    // Whoever takes another house first is no wiser.
    bench.reload(&text);
    bench.relays_taken("yard", 70_000, "off off off off");
    let alarm = bench.alarm("memory").text.clone();
    assert!(
        alarm.contains("\"yard\" has taken orders up to number 70000 since it started, and nothing at all"),
        "{alarm}"
    );
    assert!(alarm.contains("withdrawn loads of before are forgotten"), "{alarm}");
    assert!(bench.orders["yard"].number > 70_000);
    // Once, whichever boards are heard later, and whoever has seen it by then.
    bench.step(Event::Alarm { id: "memory".to_owned(), text: None });
    bench.relays_taken("hall", 60_000, "off");
    assert_eq!(bench.alarms(), [""; 0]);
}

#[test]
fn a_first_start_with_boards_that_have_taken_nothing_is_no_loss() {
    let mut bench = Bench::new(HOUSE);
    bench.relays_taken("yard", 0, "off off off off");
    bench.relays("yard", "off off off off");
    assert_eq!(bench.alarms(), [""; 0]);
}

#[test]
fn a_board_that_comes_from_another_house_is_no_loss_where_something_is_remembered() {
    let mut bench = Bench::played(HOUSE);
    bench.restart(HOUSE, "10s", true, true);
    bench.run_for("1m");
    bench.reload(&format!("{HOUSE}\n[board.yard]\nrelays = 4\n[board.hall]\nrelays = 1\n"));
    bench.relays_taken("hall", 60_000, "off");
    bench.run_for("1s");
    assert_eq!(bench.alarms(), [""; 0]);
    assert!(bench.orders["hall"].number > 60_000, "it obeys from here on");
}
