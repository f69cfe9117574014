//! Boards of other firmware that time a lease of their own.

use standfast::engine::Event;

use super::*;

fn heard(more: &str) -> Bench {
    let mut bench = Bench::new(&hens(more));
    bench.message("hens/is", "free", false);
    roof(&mut bench, "29");
    bench
}

#[test]
fn an_order_carries_the_lease_and_is_renewed_well_within_it() {
    let mut bench = heard("");
    assert_eq!(said(&mut bench), ["hens/tell all", "hens/do let go", "hens/do pull for 80"]);
    bench.message("hens/is", "pulled", false);
    bench.run_for("60s");
    let orders = said(&mut bench);
    assert_eq!(orders.iter().filter(|order| *order == "hens/do pull for 80").count(), 3, "{orders:?}");
}

#[test]
fn a_board_is_asked_and_missed_when_it_does_not_answer() {
    let mut bench = heard("");
    bench.run_for("2m59s");
    assert!(!bench.alarms().contains(&"board-hens"));
    assert_eq!(said(&mut bench).iter().filter(|order| *order == "hens/tell all").count(), 3);
    bench.run_for("2s");
    assert!(bench.alarms().contains(&"board-hens"));
}

#[test]
fn a_lost_one_has_surely_released_once_its_lease_is_over() {
    let mut bench = heard("");
    bench.message("hens/is", "pulled", false);
    let relay = bench.engine.house().load(bench.load("fan")).relay().unwrap();
    bench.run_for("3m1s");
    assert!(bench.alarms().contains(&"board-hens"));
    assert!(bench.engine.possible(relay).energised, "it had its last order a moment ago");
    // 80 s, a hundredth for its clock, a second, and ten for an order that came late.
    bench.run_for("92s");
    assert!(!bench.engine.possible(relay).energised);
}

#[test]
fn what_it_released_by_itself_is_journaled_as_such() {
    let mut bench = heard("");
    bench.message("hens/is", "pulled", false);
    bench.run_for("10m");
    bench.take_journal();
    roof(&mut bench, "20");
    bench.message("hens/is", "free", false);
    let journal = bench.take_journal();
    assert!(journal.iter().any(|row| row.contains("lease-ran-out")), "{journal:?}");
}

#[test]
fn its_fallback_is_released_whatever_is_safe() {
    let bench = heard("safe = \"on\"");
    assert_eq!(bench.engine.fallback(bench.board("hens")).encode(), "80 off");
    assert!(bench.fallbacks.is_empty(), "and nobody tells it");
}

#[test]
fn a_change_of_the_house_without_a_link_lets_orders_be_over_when_they_are() {
    let seconds_to_alarm = |changes: bool| {
        let mut bench = heard("");
        bench.run_for("1s");
        bench.step(Event::LinkDown);
        if changes {
            bench.reload(&hens(""));
        }
        bench.run_for("60s");
        bench.link_up();
        (0..120).find(|_| {
            bench.run_for("1s");
            bench.alarms().contains(&"obey-fan")
        })
    };
    let unchanged = seconds_to_alarm(false);
    assert!(unchanged.is_some(), "it never closed");
    assert_eq!(seconds_to_alarm(true), unchanged);
}
