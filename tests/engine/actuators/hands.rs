//! Actuators under hands: held, toggled, withdrawn, energised at the board.

use super::*;

#[test]
fn it_is_held_open_and_closed() {
    let mut watch = Watch::new(DOOR);
    assert!(matches!(watch.bench.hold("door", "open 2h"), Answer::Held { state: On, .. }));
    watch.run_s(30);
    assert_eq!(watch.words(), OPENING);
    let why = watch.bench.why("door");
    assert!(why.starts_with("door: open (assumed), held open by a message until 14:0"), "{why}");
    assert_eq!(watch.bench.hold("door", "release"), Answer::Done);
    watch.run_s(30);
    assert_eq!(watch.words(), CLOSING);
    // Its states are not called on and off.
    watch.bench.message("standfast/hold/door", "on 2h", false);
    watch.run_s(30);
    assert_eq!(watch.words(), [""; 0]);
}

#[test]
fn a_button_toggles_it_and_reverses_it() {
    let house = format!("{DOOR}[input.button]\nat = \"yard/b\"\ntoggles = \"door\"\n");
    let mut watch = Watch::new(&house);
    watch.bench.press("yard", "b");
    watch.run_s(5);
    watch.bench.press("yard", "b");
    watch.run_s(30);
    assert_eq!(watch.words(), ["opening", "open released", "closing", "close released"]);
}

#[test]
fn withdrawn_it_is_released_and_a_run_is_owed_afterwards() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.bench.withdraw("door", "new rope");
    watch.run_s(30);
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.bench.fallbacks["yard"].encode(), "90 off! off! off off");
    assert_eq!(watch.known(), None);
    watch.bench.restore("door");
    watch.run_s(30);
    assert_eq!(watch.words(), OPENING, "whoever worked on it may have moved it");
}

#[test]
fn a_relay_that_a_hand_energised_is_released_and_the_hand_gets_its_way() {
    let mut bench = Bench::new(DOOR);
    bench.relays("yard", "off:500:0:0 off:500:0:0 off off");
    bench.run_for("31s");
    // The first run, closed, is taken and over.
    bench.relays("yard", "off:531:0:0 on:0:1:0 off off");
    bench.run_for("18s");
    bench.relays("yard", "off:549:0:0 off:0:2:0 off off");
    assert_eq!(bench.explain("door").known, Some(Off));
    bench.relays("yard", "on:0:1:1 off:5:2:0 off off");
    assert_eq!(bench.explain("door").known, None);
    assert_eq!(bench.ordered("yard"), "off off - -");
    assert_eq!(bench.explain("door").hold.expect("the hand's hold").state, On);
    bench.relays("yard", "off:0:2:1 off:6:2:0 off off");
    assert_eq!(bench.ordered("yard"), "on:18000 off - -");
}

#[test]
fn a_run_that_a_hand_ends_stays_ended() {
    let mut bench = Bench::new(DOOR);
    bench.relays("yard", "off:500:0:0 off:500:0:0 off off");
    bench.run_for("31s");
    bench.relays("yard", "off:531:0:0 on:0:1:0 off off");
    bench.run_for("5s");
    bench.relays("yard", "off:536:0:0 off:0:2:1 off off");
    bench.run_for("50s");
    bench.relays("yard", "off:586:0:0 off:50:2:1 off off");
    assert_eq!(bench.ordered("yard"), "off off - -");
    assert_eq!(bench.explain("door").known, None);
}
