//! A memory that is not the latest, or that is gone: boards that have taken orders of which it knows nothing show it.

use standfast::engine::{Engine, Event, Settings};

use crate::bench::{Bench, span};
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

/// Beside [`HOUSE`], a trip that latches.
const TRIP: &str = r#"
[rule.too-hot]
load = "fan"
demand = "off"
priority = 2
reset = "manual"
while = { sensor = "air", cut_in = ">= 40", cut_out = "<= 35" }
"#;

/// The disk has taken the numbers that were to be reserved.
fn disk_takes(bench: &mut Bench) {
    for (board, through) in std::mem::take(&mut bench.reserved) {
        let board = bench.board(&board);
        bench.step(Event::Reserved { board, through });
    }
}

/// Whether it shows that the memory of before something was done is brought back soon after that.
fn shows_the_copy(before: impl Fn(&mut Bench), act: impl Fn(&mut Bench)) -> bool {
    let mut bench = Bench::played(&format!("{HOUSE}{TRIP}"));
    before(&mut bench);
    bench.run_for("1m");
    let copy = bench.engine.snapshot();
    act(&mut bench);
    disk_takes(&mut bench);
    // The next report is answered on a number of the new block.
    bench.run_for("1m");
    let house = bench.engine.house().clone();
    bench.engine = Engine::restore(house, Settings { settle: span("30s") }, bench.now, copy, true);
    bench.link_up();
    bench.run_for("1m");
    bench.alarms().contains(&"memory")
}

#[test]
fn a_copy_from_right_before_a_withdrawal_or_a_latch_shows_as_one() {
    let hold = |bench: &mut Bench| drop(bench.hold("lamp", "on 2h"));
    let withdraw = |bench: &mut Bench| drop(bench.withdraw("lamp", "new shade"));
    assert!(shows_the_copy(|_| (), withdraw));
    assert!(shows_the_copy(hold, withdraw), "whatever was said before");
    assert!(shows_the_copy(|bench| drop(bench.withdraw("fan", "")), withdraw), "the second as well");
    assert!(shows_the_copy(|_| (), |bench| bench.reading("air", 45.0)), "a trip that latched");
    assert!(shows_the_copy(|_| (), hold), "a hold");
    assert!(!shows_the_copy(|_| (), |bench| bench.run_for("1m")), "nothing is forgotten");
}

/// A block for each hold would use the numbers up in years where a program holds.
#[test]
fn a_copy_from_before_a_hold_shows_after_a_while() {
    let hold = |bench: &mut Bench| drop(bench.hold("lamp", "on 2h"));
    assert!(!shows_the_copy(hold, hold), "two minutes later");
    let hold_and_wait = |bench: &mut Bench| {
        bench.hold("lamp", "on 2h");
        bench.run_for("10m");
    };
    assert!(shows_the_copy(hold, hold_and_wait));
    assert!(shows_the_copy(hold_and_wait, hold));
}

/// Lest a kill leaves numbers in use that are used again.
#[test]
fn numbers_of_a_new_block_are_used_once_they_are_on_disk() {
    let mut bench = Bench::played(HOUSE);
    let last = |bench: &Bench| bench.orders["yard"].number;
    let number = last(&bench);
    bench.withdraw("lamp", "new shade");
    bench.run_for("2m");
    assert!(last(&bench) > number && last(&bench) < number + 100, "the disk has not taken them yet");
    let through = bench.reserved["yard"];
    disk_takes(&mut bench);
    bench.run_for("1m");
    assert!(last(&bench) > number + 1000 && last(&bench) + 900 < through, "{} of {through}", last(&bench));
}
