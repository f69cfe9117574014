//! Actuators across a change of the house and a restart: runs go on, and what drove before is released first.

use super::*;

#[test]
fn a_run_goes_on_across_a_change_of_the_house() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.bench.reload(&format!("{DOOR}[load.lamp]\nrelay = \"yard/4\"\nkind = \"led\"\n"));
    watch.run_s(40);
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.known(), Some(On));
}

#[test]
fn moved_to_other_relays_it_waits_for_the_old_ones() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.bench.player("yard").loses_orders = true;
    watch.bench.reload(&DOOR.replace("yard/1", "yard/3").replace("yard/2", "yard/4"));
    watch.run_s(5);
    assert!(!watch.bench.closed("yard/3") && watch.bench.closed("yard/1"));
    let why = watch.bench.why("door");
    assert!(why.contains("waits until the relays that drove it before are surely released"), "{why}");
    watch.bench.player("yard").loses_orders = false;
    for _ in 0..600 {
        watch.bench.run_for("100ms");
        assert!(!(watch.bench.closed("yard/1") && watch.bench.closed("yard/3")), "the old one and the new one");
    }
    assert_eq!(watch.known(), Some(On));
}

#[test]
fn swapped_relays_are_never_energised_together() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    let swapped = DOOR.replace("yard/1", "yard/x").replace("yard/2", "yard/1").replace("yard/x", "yard/2");
    watch.bench.reload(&swapped);
    watch.run_s(60);
    assert_eq!(watch.words(), ["opening", "open released", "closing", "close released"]);
    assert_eq!(watch.known(), Some(On), "what was called closing is opening now");
}

#[test]
fn taken_out_of_the_house_its_relays_are_released() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.bench.reload("[load.lamp]\nrelay = \"yard/4\"\nkind = \"led\"\n");
    watch.run_s(2);
    assert_eq!(watch.words(), OPENING);
}

#[test]
fn a_preview_says_which_relay_would_drive_it() {
    let watch = Watch::new(DOOR);
    let open = crate::bench::house(&DOOR.replace("dead_time = \"1s\"", "dead_time = \"1s\"\nresting = \"open\""));
    let turned = watch.bench.engine.preview(open);
    let found: Vec<_> = turned.iter().map(|one| (one.relay.as_str(), one.to)).collect();
    assert_eq!(found, [("yard/1", On)]);
}

/// A run that was ordered, taken and over before anything of it was stored; the machine started anew, and nothing timed that. Its
/// board counts no changes, but has been as it is for less long than was known before.
#[test]
fn a_run_that_a_crash_forgot_shows_in_the_seconds_of_its_relay() {
    for (relays, known) in [("off:20 off:140 off off", None), ("off:700 off:140 off off", Some(Off))] {
        let mut bench = Bench::new(DOOR);
        bench.relays("yard", "off:500 off:500 off off");
        bench.run_for("31s");
        bench.relays("yard", "off:531 on:0 off off");
        bench.run_for("18s");
        bench.relays("yard", "off:549 off:0 off off");
        bench.run_for("30s");
        bench.relays("yard", "off:579 off:30 off off");
        assert_eq!(bench.explain("door").known, Some(Off));
        bench.restart(DOOR, "2m", false, false);
        bench.relays("yard", relays);
        assert_eq!(bench.explain("door").known, known, "{relays}");
    }
}
