//! Leases that run out, and the fallback that follows.

use super::*;

#[test]
fn each_relay_has_a_lease_of_its_own() {
    let mut rig = Rig::new();
    rig.fallback("90 off off");
    rig.now = 1_000;
    rig.orders("1 1 1 90 on on");
    rig.now = 30_000;
    let beat = rig.beat();
    rig.orders(&format!("2 1 {beat} 90 on -"));
    check(rig.until(150_000), &["90000: 2 off", "120000: 1 off"]);
}

#[test]
fn without_orders_a_relay_stays_de_energised_for_a_lease_then_falls_back() {
    let mut rig = Rig::new();
    check(rig.fallback("30 on keep"), &["store"]);
    check(rig.until(100_000), &["30000: 1 on"]);
    // The same after a reset, out of flash, without hearing anything.
    let flash = rig.board.flash().clone();
    let mut rig = Rig { board: Board::new(setup(2), flash, Faults::default()), now: 0 };
    rig.reset("power-on");
    check(rig.until(100_000), &["30000: 1 on"]);
    // A new board counts 90 s and falls back to nothing energised.
    let mut rig = Rig::new();
    check(rig.until(500_000), &[]);
    assert!(rig.board.run_out(1) && rig.board.run_out(2));
}

#[test]
fn a_relay_that_gets_no_orders_keeps_the_lease_from_reset() {
    let mut rig = Rig::new();
    rig.fallback("60 off on");
    rig.now = 1_000;
    rig.orders("1 1 1 3600 on -");
    check(rig.until(100_000), &["60000: 2 on"]);
    assert!(rig.on(1) && !rig.board.run_out(1));
}

#[test]
fn a_lease_of_none_never_runs_out() {
    let mut rig = Rig::new();
    rig.fallback("0 off off");
    check(rig.until(10_000_000), &[]);
    assert!(!rig.board.run_out(1), "not before first orders either");
    let beat = rig.beat();
    rig.orders(&format!("1 1 {beat} 0 on off"));
    rig.does(Event::LinkDown);
    check(rig.until(1_000_000_000), &[]);
    assert!(rig.on(1));
    check(rig.orders(&format!("2 1 {beat} 0 off off")), &["1 off"]);
}

#[test]
fn keep_leaves_the_relay_alone() {
    let mut rig = Rig::new();
    rig.fallback("90 keep keep");
    rig.orders("1 1 1 90 on off");
    check(rig.until(100_000), &[]);
    assert!(rig.on(1) && !rig.on(2) && rig.board.run_out(1));
}

#[test]
fn flash_is_written_only_when_the_fallback_changed() {
    let mut rig = Rig::new();
    check(
        rig.fallback("90 off on! "),
        &[
            "ignored: word 4 is \"\": expected `on`, `off` or `keep` for a relay, with `!` behind it where its buttons are dead",
        ],
    );
    check(rig.fallback("90 off on!"), &["store"]);
    check(rig.fallback("90 off on!"), &[]);
    check(rig.fallback("90 off"), &["ignored: speaks of 1 relay where the board has 2: dropped whole"]);
}

#[test]
fn a_new_fallback_word_moves_only_what_no_longer_obeys() {
    let mut rig = Rig::new();
    rig.fallback("90 off off");
    rig.now = 1000;
    rig.orders("1 1 1 3600 on -");
    rig.until(95_000);
    check(rig.fallback("90 off on"), &["store", "2 on", "report 1 3 1 on:94:1:0 on:0:1:0"]);
    assert!(rig.on(1), "still leased");
    // The same word again leaves alone what a hand did since.
    check(rig.does(Event::Pressed { input: "2" }), &["2 off", "report 1 4 1 on:94:1:0 off:0:2:1"]);
    check(rig.fallback("90 off on"), &[]);
    assert!(!rig.on(2));
}

#[test]
fn a_withdrawn_load_goes_off_even_if_a_hand_had_switched_it_on() {
    let mut rig = Rig::new();
    rig.fallback("90 off off");
    rig.until(95_000);
    rig.does(Event::Pressed { input: "1" });
    assert!(rig.on(1));
    check(rig.fallback("90 off! off").into_iter().take(2).collect(), &["store", "1 off"]);
}

#[test]
fn orders_after_the_lease_has_run_out_are_obeyed_again() {
    let mut rig = Rig::new();
    rig.orders("1 1 1 20 on off");
    rig.until(30_000);
    assert!(!rig.on(1) && rig.board.run_out(1));
    let beat = rig.beat();
    check(rig.orders(&format!("2 1 {beat} 20 on off")).into_iter().take(1).collect(), &["1 on"]);
    assert!(!rig.board.run_out(1));
}

#[test]
fn a_fallback_for_another_number_of_relays_in_flash_is_no_fallback() {
    let wide = crate::wire::Fallback::decode(b"30 on on on").expect("a fallback");
    let mut rig = Rig::with(Flash { boot: 3, fallback: Some(wide) }, Faults::default());
    check(rig.until(100_000), &[]);
    assert!(rig.board.run_out(1) && !rig.on(1));
}
