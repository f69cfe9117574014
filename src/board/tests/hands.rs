//! Buttons, keys and contacts of a board: told while it is leased, and obeyed by itself once its lease has run out.

use super::*;

#[test]
fn while_leased_a_button_only_reports() {
    let mut rig = Rig::new();
    check(rig.does(Event::Pressed { input: "1" }), &["input/1 press 1"]);
    rig.orders("1 1 1 90 off off");
    check(rig.does(Event::Pressed { input: "1" }), &["input/1 press 2"]);
    assert!(!rig.on(1));
}

#[test]
fn once_the_lease_has_run_out_a_button_switches_and_the_hand_count_says_so() {
    let mut rig = Rig::new();
    rig.orders("1 1 1 20 off off");
    rig.does(Event::LinkDown);
    rig.until(25_000);
    check(rig.does(Event::Pressed { input: "1" }), &["1 on"]);
    rig.now = 30_000;
    check(rig.does(Event::LinkUp), &["life! birth 1 power-on", "input/door off", "report 1 2 1 on:5:1:1 off:30:0:0"]);
    // With the link up it is told by the report, and not as a press as well.
    check(rig.does(Event::Pressed { input: "1" }), &["1 off", "report 1 3 1 off:0:2:2 off:30:0:0"]);
}

#[test]
fn a_deaf_relay_does_not_follow_its_button() {
    let mut rig = Rig::new();
    rig.fallback("20 off! off");
    rig.orders("1 1 1 20 off off");
    rig.until(25_000);
    check(rig.does(Event::Pressed { input: "1" }), &["input/1 press 1"]);
    assert!(!rig.on(1));
    check(rig.does(Event::Pressed { input: "2" }).into_iter().take(1).collect(), &["2 on"]);
}

#[test]
fn presses_and_keys_are_counted_and_never_queued() {
    let mut rig = Rig::new();
    let key = || Event::Key { input: "ir", code: Code::new("20DF40BF").expect("a code") };
    check(rig.does(Event::Pressed { input: "spare" }), &["input/spare press 1"]);
    check(rig.does(key()), &["input/ir 20DF40BF 1"]);
    rig.does(Event::LinkDown);
    check(rig.does(Event::Pressed { input: "spare" }), &[]);
    check(rig.does(key()), &[]);
    let up = rig.does(Event::LinkUp);
    assert!(!up.iter().any(|did| did.contains("press") || did.contains("20DF40BF")), "{up:?}");
    check(rig.does(Event::Pressed { input: "spare" }), &["input/spare press 3"]);
    check(rig.does(key()), &["input/ir 20DF40BF 3"]);
    check(rig.does(Event::Pressed { input: "nowhere" }), &[]);
    rig.reset("watchdog");
    rig.does(Event::LinkUp);
    check(rig.does(key()), &["input/ir 20DF40BF 1"]);
}

#[test]
fn a_contact_is_told_when_it_moves_and_repeated_to_who_comes() {
    let mut rig = Rig::new();
    check(rig.does(Event::Contact { input: "door", closed: true }), &["input/door on"]);
    check(rig.does(Event::Contact { input: "door", closed: true }), &[]);
    check(rig.hears("controller", "birth 0.3.1 4f2c9a1"), &["input/door on", "report 1 2 0 off:0:0:0 off:0:0:0"]);
    check(rig.hears("controller", "death"), &[]);
    // What hangs on the terminals outlives power cuts and moves during them.
    rig.does(Event::PowerLost);
    check(rig.does(Event::Contact { input: "door", closed: false }), &[]);
    rig.reset("power-on");
    assert!(rig.does(Event::LinkUp).contains(&"input/door off".to_owned()));
}
