//! Longer stories with boards that play along: a day, a night with a power cut, a bad network, an hour of noise.

use standfast::board::{Event, Faults};
use standfast::engine::Presence;

use crate::bench::{Bench, span};

/// A corner of Rowan Cottage: the sun room's fan, the porch, and a cellar with a compressor on a board of its own.
const COTTAGE: &str = r#"
[board.yard]
relays = 4
[board.cellar]
relays = 2
lease = "60s"

[sensor.sunroom-air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]
stale_after = "3m"
[sensor.porch-lux]
reading = "yard/lux"
unit = "lx"
range = [0, 100000]
stale_after = "10m"
[sensor.cellar-humidity]
reading = "cellar/h1"
unit = "%"
range = [0, 100]
stale_after = "5m"

[input.cellar-water]
at = "cellar/water"
[input.porch-button]
at = "yard/button"
toggles = "porch-lamps"
hold_for = "1h"

[load.sunroom-fan]
relay = "yard/2"
kind = "motor"
min_on = "2m"
min_off = "3m"
[load.porch-lamps]
relay = "yard/1"
kind = "lamp"
[load.dehumidifier]
relay = "cellar/1"
kind = "compressor"
min_on = "3m"
min_off = "5m"

[condition.dark-outside]
sensor = "porch-lux"
cut_in = "<= 40"
cut_out = ">= 65"

[rule.sunroom-vents-when-hot]
load = "sunroom-fan"
demand = "on"
while = { sensor = "sunroom-air", cut_in = ">= 28.0", cut_out = "<= 26.5" }
[rule.porch-lit-at-dusk]
load = "porch-lamps"
demand = "on"
priority = 12
while.all = ["dark-outside", { from = "sunset - 20m", to = "23:15" }]
off_delay = "5m"
[rule.cellar-dries]
load = "dehumidifier"
demand = "on"
while = { sensor = "cellar-humidity", cut_in = ">= 70", cut_out = "<= 64" }
[rule.dehumidifier-off-in-flood]
load = "dehumidifier"
demand = "off"
priority = 2
while = { input = "cellar-water", is = "on" }
"#;

/// What the boards measure, every twenty seconds.
fn measure(bench: &mut Bench, air: f64, lux: f64, humidity: f64) {
    for (board, name, value) in [("yard", "t1", air), ("yard", "lux", lux), ("cellar", "h1", humidity)] {
        bench.happen(board, Event::Reading { name, text: &value.to_string() });
    }
    bench.run_for("20s");
}

fn live(bench: &mut Bench, time: &str, air: f64, lux: f64, humidity: f64) {
    for _ in 0..span(time).0 / 20_000 {
        measure(bench, air, lux, humidity);
    }
}

fn cottage(start: &str) -> Bench {
    let mut bench = Bench::at(start, COTTAGE);
    bench.play_all();
    live(&mut bench, "10m", 20.0, 5000.0, 60.0);
    bench
}

#[test]
fn an_evening_on_the_porch() {
    // Sunset on 2026-06-05 is at about 21:40.
    let mut bench = cottage("2026-06-05 20:50");
    live(&mut bench, "10m", 20.0, 30.0, 60.0);
    assert!(!bench.runs("porch-lamps"), "dark, but hours of daylight by the almanac");
    live(&mut bench, "40m", 20.0, 30.0, 60.0);
    assert!(bench.runs("porch-lamps"));
    bench.press("yard", "button");
    bench.run_for("1s");
    assert!(!bench.runs("porch-lamps"), "somebody wants to see the stars");
    live(&mut bench, "1h1m", 20.0, 30.0, 60.0);
    assert!(bench.runs("porch-lamps"), "after an hour the rule has it again");
    bench.run_until("23:14");
    live(&mut bench, "5m", 20.0, 30.0, 60.0);
    assert!(bench.runs("porch-lamps"), "off delay");
    live(&mut bench, "3m", 20.0, 30.0, 60.0);
    assert!(!bench.runs("porch-lamps"));
    assert!(bench.alarms().is_empty(), "{:?}", bench.alarms());
}

#[test]
fn a_hot_day_in_the_sun_room() {
    let mut bench = cottage("2026-06-05 10:00");
    let mut starts = 0;
    let mut before = false;
    for minute in 0..240_u32 {
        // Up to 32 degrees and back, with a wobble of a degree.
        let sun = f64::from(minute.min(240 - minute)) / 10.0;
        let wobble = f64::from(minute * 7919 % 100) / 100.0;
        live(&mut bench, "1m", 20.0 + sun + wobble, 60_000.0, 60.0);
        starts += u32::from(bench.runs("sunroom-fan") && !before);
        before = bench.runs("sunroom-fan");
    }
    assert_eq!((starts, before), (1, false));
}

#[test]
fn a_flood_in_the_cellar_stops_the_machine_within_a_second() {
    let mut bench = cottage("2026-06-05 10:00");
    live(&mut bench, "6m", 20.0, 5000.0, 75.0);
    assert!(bench.runs("dehumidifier"));
    bench.happen("cellar", Event::Contact { input: "water", closed: true });
    bench.run_for("100ms");
    assert!(!bench.runs("dehumidifier"));
    bench.hold("dehumidifier", "on 1h");
    live(&mut bench, "10m", 20.0, 5000.0, 75.0);
    assert!(!bench.runs("dehumidifier"), "no hold gets past a trip");
    bench.happen("cellar", Event::Contact { input: "water", closed: false });
    bench.run_for("1s");
    assert!(bench.runs("dehumidifier"), "min off is over long ago, and the hold still stands");
}

#[test]
fn a_power_cut_in_the_cellar() {
    let mut bench = cottage("2026-06-05 10:00");
    live(&mut bench, "6m", 20.0, 5000.0, 75.0);
    assert!(bench.runs("dehumidifier"));
    bench.cut_power("cellar");
    assert_eq!(bench.engine.presence(bench.board("cellar")), Presence::Lost);
    bench.run_for("30s");
    bench.power_up("cellar");
    live(&mut bench, "4m", 20.0, 5000.0, 75.0);
    assert!(!bench.runs("dehumidifier"), "the pressure must fall first");
    live(&mut bench, "2m", 20.0, 5000.0, 75.0);
    assert!(bench.runs("dehumidifier"));
    assert!(bench.alarms().is_empty(), "{:?}", bench.alarms());
}

#[test]
fn the_server_is_away_for_a_night() {
    let mut bench = cottage("2026-06-05 10:00");
    live(&mut bench, "6m", 30.0, 5000.0, 75.0);
    assert!(bench.runs("sunroom-fan") && bench.runs("dehumidifier"));
    bench.restart(COTTAGE, "8h", false, true);
    assert!(!bench.runs("sunroom-fan") && !bench.runs("dehumidifier"), "fallback");
    live(&mut bench, "1m", 30.0, 5000.0, 75.0);
    assert!(bench.runs("sunroom-fan") && bench.runs("dehumidifier"));
    assert!(bench.alarms().is_empty(), "{:?}", bench.alarms());
}

#[test]
fn a_network_that_drops_every_other_minute_never_breaks_a_minimum_time() {
    let mut bench = cottage("2026-06-05 10:00");
    let mut changed_at = None;
    let mut before = bench.runs("sunroom-fan");
    let mut turns = 0;
    for round in 0..60_u32 {
        let hot = round % 3 != 0;
        if round % 2 == 0 {
            bench.unplug("yard");
        } else {
            bench.plug("yard");
        }
        for _ in 0..3 {
            measure(&mut bench, if hot { 30.0 } else { 20.0 }, 5000.0, 60.0);
            let now = bench.runs("sunroom-fan");
            if now != before {
                // Seen only every twenty seconds.
                let lasted = changed_at.map(|at| bench.now.boot.since(at));
                let least = if before { "100s" } else { "160s" };
                assert!(lasted.is_none_or(|lasted| lasted >= span(least)), "{before} for {lasted:?} in round {round}");
                (before, changed_at) = (now, Some(bench.now.boot));
                turns += 1;
            }
        }
    }
    assert!(turns > 6, "the fan had reasons to turn: {turns}");
}

#[test]
fn firmware_that_tells_little_is_looked_after_as_well() {
    let mut bench = Bench::at("2026-06-05 10:00", COTTAGE);
    let poor = Faults { hides_seconds: true, hides_changes: true, hides_hands: true, ..Faults::default() };
    bench.play_with("yard", poor.clone());
    bench.play_with("cellar", poor);
    live(&mut bench, "10m", 30.0, 5000.0, 75.0);
    assert!(bench.runs("sunroom-fan") && bench.runs("dehumidifier"));
    live(&mut bench, "4m", 20.0, 5000.0, 50.0);
    assert!(!bench.runs("sunroom-fan") && !bench.runs("dehumidifier"));
    assert!(bench.alarms().is_empty(), "{:?}", bench.alarms());
}

#[test]
fn a_board_whose_boots_repeat_is_heard_again_after_a_reset() {
    let mut bench = Bench::at("2026-06-05 10:00", COTTAGE);
    bench.play("cellar");
    let flash = standfast::board::Flash { boot: 16, fallback: None };
    bench.play_with("yard", Faults { flash_stuck_at: Some(flash), ..Faults::default() });
    live(&mut bench, "10m", 30.0, 5000.0, 60.0);
    assert!(bench.runs("sunroom-fan"));
    bench.cut_power("yard");
    bench.run_for("5s");
    bench.power_up("yard");
    live(&mut bench, "1m", 30.0, 5000.0, 60.0);
    assert_eq!(bench.engine.presence(bench.board("yard")), Presence::Present);
    live(&mut bench, "3m", 30.0, 5000.0, 60.0);
    assert!(bench.runs("sunroom-fan"));
}

#[test]
fn a_welded_contact_is_not_seen_but_a_coil_that_does_not_obey_is() {
    let mut bench = cottage("2026-06-05 10:00");
    bench.player("yard").board.set_faults(Faults { idles: true, ..Faults::default() });
    live(&mut bench, "2m", 30.0, 5000.0, 60.0);
    assert_eq!(bench.alarms(), ["obey-sunroom-fan"]);
    bench.player("yard").board.set_faults(Faults::default());
    live(&mut bench, "1m", 30.0, 5000.0, 60.0);
    assert!(bench.alarms().is_empty());
    assert!(bench.runs("sunroom-fan"));
}

#[test]
fn a_week_passes_without_an_alarm_or_a_needless_order() {
    let mut bench = cottage("2026-06-05 10:00");
    let before = bench.orders["yard"].number;
    for _ in 0..7 * 24 * 6 {
        measure(&mut bench, 20.0, 5000.0, 60.0);
        bench.happen("yard", Event::Reading { name: "t1", text: "20.0" });
        bench.run_for("2m20s");
        measure(&mut bench, 20.0, 5000.0, 60.0);
        bench.run_for("2m20s");
        measure(&mut bench, 20.0, 5000.0, 60.0);
        bench.run_for("2m20s");
        measure(&mut bench, 20.0, 5000.0, 60.0);
        bench.run_for("1m40s");
    }
    assert!(bench.alarms().is_empty(), "{:?}", bench.alarms());
    // One answer to each report, a quarter of a lease apart: 22.5 s.
    let orders = u64::from(bench.orders["yard"].number - before);
    let reports = 7 * 24 * 3600 * 10 / 225;
    assert!(orders <= reports + 10, "{orders} orders for {reports} reports");
    assert!(bench.engine.snapshot() == bench.engine.clone().snapshot());
}
