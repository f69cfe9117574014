//! Actuators with contacts at their ends: a run is over when its end is reached, and one that is not is told.

use super::*;

fn closed() -> Watch {
    let mut watch = Watch::of(Bench::new(&with_ends()));
    watch.bench.play_all();
    watch.contact("is-closed", true);
    watch.run_s(40);
    watch
}

#[test]
fn one_that_stands_where_it_is_wanted_makes_no_run() {
    let mut watch = closed();
    assert_eq!(watch.words(), [""; 0]);
    assert_eq!(
        watch.bench.why("door"),
        "door: closed, nothing is demanded, so it rests; open when input yard/daylight is on (rule opens)"
    );
}

/// The news that it stood there was old: a run had moved it, and what its end contacts said of that was lost. So its demand has
/// had no run yet.
#[test]
fn one_that_turns_out_not_to_stand_where_it_was_found_makes_its_one_run() {
    let mut watch = closed();
    watch.contact("is-closed", false);
    watch.run_s(12);
    watch.contact("is-closed", true);
    watch.run_s(5);
    assert_eq!(watch.words(), CLOSING, "{}", watch.bench.why("door"));
    // Who moves it from here on wants it to stay there.
    watch.contact("is-closed", false);
    watch.run_s(60);
    assert_eq!(watch.words(), [""; 0], "{}", watch.bench.why("door"));
}

/// The same, told while the order of its run was under way, which the board then never took.
#[test]
fn one_that_turns_out_not_to_be_there_after_its_run_was_called_off_makes_it() {
    let mut watch = closed();
    watch.bench.player("yard").loses_orders = true;
    watch.daylight(true);
    watch.run_s(1);
    watch.contact("is-closed", false);
    watch.contact("is-open", true);
    watch.run_s(1);
    watch.contact("is-open", false);
    watch.contact("is-closed", true);
    watch.bench.player("yard").loses_orders = false;
    watch.run_s(40);
    watch.contact("is-closed", false);
    watch.contact("is-open", true);
    watch.run_s(20);
    assert_eq!(watch.words(), OPENING, "{}", watch.bench.why("door"));
    assert_eq!(watch.known(), Some(On));
}

/// It stood closed by what was stored last, and a run of after that opened it.
#[test]
fn one_that_a_crash_forgot_to_have_moved_makes_its_run() {
    for ends in [with_ends(), with_ends().replace("close_end = \"is-closed\"\n", "")] {
        let mut watch = Watch::of(Bench::new(&ends));
        watch.bench.play_all();
        watch.run_s(60);
        assert_eq!(watch.words(), CLOSING);
        watch.contact("is-closed", true);
        watch.run_s(1);
        watch.bench.restart(&ends, "3m", true, true);
        watch.contact("daylight", false);
        watch.contact("is-closed", false);
        watch.contact("is-open", true);
        watch.run_s(50);
        assert_eq!(watch.words(), CLOSING, "{}", watch.bench.why("door"));
    }
}

#[test]
fn reaching_the_end_ends_the_run() {
    let mut watch = closed();
    watch.daylight(true);
    watch.run_s(1);
    watch.contact("is-closed", false);
    watch.run_s(11);
    assert_eq!(watch.known(), None);
    watch.contact("is-open", true);
    watch.run_s(1);
    assert!(watch.lasted().abs_diff(12_000) <= 300, "{:?}", watch.log);
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.known(), Some(On));
    watch.run_s(60);
    assert_eq!(watch.words(), [""; 0]);
}

#[test]
fn an_end_that_is_not_reached_raises_an_alarm_and_is_not_tried_again() {
    let mut watch = closed();
    watch.daylight(true);
    watch.run_s(1);
    watch.contact("is-closed", false);
    watch.run_s(30);
    assert!(watch.lasted().abs_diff(19_800) <= 200, "travel and a tenth: {:?}", watch.log);
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.bench.alarms(), ["reach-door"]);
    let text = watch.bench.alarm("reach-door").text.clone();
    assert!(text.starts_with("actuator \"door\" did not reach open within 19.8s"), "{text}");
    assert_eq!(watch.known(), None);
    watch.run_s(200);
    assert_eq!(watch.words(), [""; 0]);
    // The way back is free, and reached.
    watch.daylight(false);
    watch.run_s(10);
    watch.contact("is-closed", true);
    watch.run_s(5);
    assert_eq!(watch.words(), CLOSING);
    assert_eq!(watch.bench.alarms(), [""; 0]);
}

#[test]
fn one_that_does_not_leave_its_end_has_not_moved() {
    let house = DOOR.replace("travel = \"18s\"", "travel = \"18s\"\nclose_end = \"is-closed\"") + ENDS;
    let mut watch = Watch::of(Bench::new(&house));
    watch.bench.play_all();
    watch.contact("is-closed", true);
    watch.run_s(40);
    watch.daylight(true);
    watch.run_s(30);
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.known(), Some(Off));
    assert_eq!(watch.bench.alarms(), ["reach-door"]);
}

#[test]
fn an_end_contact_that_is_not_heard_leaves_it_open_where_it_stands() {
    let ends = ENDS.replace("yard/is", "hall/is");
    let boards = "[board.yard]\nrelays = 4\n[board.hall]\nrelays = 1\n";
    let house = with_ends().replace(ENDS, &ends).replacen("[actuator", &format!("{boards}[actuator"), 1);
    let mut watch = Watch::of(Bench::new(&house));
    watch.bench.play("yard");
    watch.run_s(70);
    assert_eq!(watch.words(), CLOSING);
    assert_eq!(watch.known(), None);
    assert!(!watch.bench.alarms().contains(&"reach-door"));
}
