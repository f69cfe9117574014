//! Rowan Cottage looked after for some days on virtual time: rules have to close real loops. Nothing here waits, and nothing is
//! random.

#[path = "rowan_cottage/cottage.rs"]
mod cottage;

use cottage::{Cottage, HOUR_MS, SUMMER, WINTER};
use standfast::house::State;
use standfast::units::Span;

/// When a load was on, as hours from the start to hours from the start.
fn on_times(cottage: &Cottage, load: &str) -> Vec<(f64, f64)> {
    let changes = cottage.changes.get(load).map_or(&[][..], Vec::as_slice);
    let hours = |ms: u64| ms as f64 / HOUR_MS as f64;
    let on = changes.iter().enumerate().filter(|(_, (_, state))| *state == State::On);
    let end = |at: usize| changes.get(at + 1).map_or(hours(cottage.past_ms), |(ms, _)| hours(*ms));
    on.map(|(at, (ms, _))| (hours(*ms), end(at))).collect()
}

/// What holds in every season.
fn assert_looked_after(cottage: &Cottage) {
    assert_eq!(cottage.lost, Vec::<String>::new(), "boards that answer are never lost");
    for load in &cottage.house.loads {
        let trips = cottage.house.rules.iter().any(|rule| rule.priority == 2 && cottage.house.load(rule.load) == load);
        let changes = cottage.changes.get(&load.name).map_or(&[][..], Vec::as_slice);
        for pair in changes.windows(2) {
            let least = if pair[0].1 == State::On { load.min_on } else { load.min_off };
            let stayed = Span(pair[1].0 - pair[0].0);
            assert!(trips || stayed >= least, "{} was {} for {stayed}, at least {least}", load.name, pair[0].1);
        }
    }
    assert_eq!(on_times(cottage, "hall-buzzer"), [], "nothing was worth an alarm");
    assert_eq!(cottage.engine.alarms().keys().collect::<Vec<_>>(), [""; 0]);
    let (_, damp) = cottage.spans["cellar-humidity"];
    assert!(damp < 73.0, "the cellar was damp: {damp} %");
}

/// Whether something happened at an hour. After a start the first closing of each load waits for its turn, 300 ms for each
/// load before it.
fn is_at(hour: f64, expected: f64) -> bool {
    (expected..expected + 17.0 * 0.3 / 3600.0).contains(&hour)
}

/// A load ran on each of three days between two hours (UTC), and at no other time.
fn assert_daily(cottage: &Cottage, load: &str, from: f64, to: f64) {
    let times = on_times(cottage, load);
    let daily = |(day, (on, off)): (usize, &(f64, f64))| {
        let midnight = 24.0 * day as f64;
        is_at(*on, midnight + from) && *off == midnight + to
    };
    assert!(times.len() == 3 && times.iter().enumerate().all(daily), "{load}: {times:?}");
}

#[test]
fn three_days_of_january() {
    let mut cottage = Cottage::open(WINTER);
    cottage.live(72);
    assert_looked_after(&cottage);
    let busy = cottage.changes.values().filter(|changes| changes.len() >= 2).count();
    assert!(busy >= 12, "{busy} of {} loads did something: {:?}", cottage.house.loads.len(), cottage.changes.keys());
    let (coldest, _) = cottage.spans["sunroom-air"];
    assert!(coldest > 3.5, "the lemon tree froze: {coldest} °C");
    // Warm by day, cool by night: hours and degrees between the two rules of the pump, whose rooms differ from their mean by
    // less than a degree.
    let heating = on_times(&cottage, "heating-pump");
    // While the kitchen is aired after breakfast, from 8:40 to 8:48, the pump stands still; the mean alone would start it.
    let aired = heating.iter().filter(|(on, off)| (on % 24.0) < 8.78 && (off % 24.0) > 8.72).count();
    assert_eq!(aired, 0, "{heating:?}");
    let by_day = heating.iter().filter(|(on, _)| (6.0..22.25).contains(&(on % 24.0))).count();
    assert!(by_day > 9 && heating.len() - by_day < 6, "{heating:?}");
    let daily = hours(&cottage, "heating-pump") / 3.0;
    assert!((2.0..12.0).contains(&daily), "{daily} h a day: {heating:?}");
    let (cold, warm) = (cottage.spans["hall-air"].0, cottage.spans["landing-air"].1);
    assert!(cold > 14.0 - 1.0 && warm < 19.8 + 1.0, "{cold} to {warm} °C");
    // Monday to Wednesday are working days.
    assert_daily(&cottage, "towel-rail", 6.0, 7.5);
    let lamp = on_times(&cottage, "henhouse-lamp");
    // Sunrise is about 08:25 there then, and the lamp goes off 20 minutes later.
    assert!(
        lamp.len() == 3 && lamp.iter().all(|(on, off)| is_at(on % 24.0, 5.25) && (8.6..8.9).contains(&(off % 24.0)))
    );
    // The door opens 10 minutes after sunrise and shuts 30 minutes after sunset, about 16:10.
    let door = on_times(&cottage, "hen-door");
    let is_daylight =
        |(open, shut): &(f64, f64)| (8.5..8.7).contains(&(open % 24.0)) && (16.5..16.9).contains(&(shut % 24.0));
    assert!(door.len() == 3 && door.iter().all(is_daylight), "{door:?}");
    // Dusk is about 16:50, so the lamp in the socket waits until five.
    let lamp = on_times(&cottage, "sunroom-lamp");
    assert!(
        lamp.len() == 3 && lamp.iter().all(|(on, off)| is_at(on % 24.0, 17.0) && is_at(off % 24.0, 23.5)),
        "{lamp:?}"
    );
    // Glass lets no warmth out in January.
    assert_eq!(on_times(&cottage, "sunroom-vent"), []);
    // Somebody is in the wash house every forty minutes, and it is dark for some seventeen hours a day: two pulses each time.
    let lamp = on_times(&cottage, "washhouse-door-lamp");
    let is_dark = |(on, _): &(f64, f64)| !(9.0..15.5).contains(&(on % 24.0));
    assert!((130..=170).contains(&lamp.len()) && lamp.len().is_multiple_of(2) && lamp.iter().all(is_dark), "{lamp:?}");
    // One pulse of 600 ms each morning.
    let gate = on_times(&cottage, "gate-latch");
    let is_pulse =
        |(on, off): &(f64, f64)| (7.16..7.17).contains(&(on % 24.0)) && ((off - on) * 3600.0 - 0.6).abs() < 0.01;
    assert!(gate.len() == 3 && gate.iter().all(is_pulse), "{gate:?}");
}

#[test]
fn three_days_of_july() {
    let mut cottage = Cottage::open(SUMMER);
    cottage.live(72);
    assert_looked_after(&cottage);
    // Nothing heats in July, and the hens have day enough.
    for load in ["heating-pump", "sunroom-heater", "washhouse-heater", "henhouse-water-heater", "henhouse-lamp"] {
        assert_eq!(on_times(&cottage, load), [], "{load}");
    }
    assert!(!on_times(&cottage, "sunroom-fan").is_empty(), "a glass room in July wants air");
    let vent = on_times(&cottage, "sunroom-vent");
    let by_day = |(open, shut): &(f64, f64)| open % 24.0 > 6.0 && shut % 24.0 < 20.0 && shut - open < 14.0;
    assert!(vent.len() >= 3 && vent.iter().all(by_day), "it opens on each of the days: {vent:?}");
    // The hens sleep until seven, which is six o'clock UTC.
    let door = on_times(&cottage, "hen-door");
    assert!(door.len() == 3 && door.iter().all(|(open, _)| is_at(open % 24.0, 6.0)), "{door:?}");
    // London is an hour ahead of UTC.
    assert_daily(&cottage, "towel-rail", 5.0, 6.5);
}

/// For how many hours a load was on.
fn hours(cottage: &Cottage, load: &str) -> f64 {
    on_times(cottage, load).iter().map(|(on, off)| off - on).sum()
}

#[test]
fn the_pumps_of_the_sump_take_turns_and_one_takes_over() {
    let mut cottage = Cottage::open(WINTER);
    cottage.live(48);
    let both = [hours(&cottage, "sump-pump-a"), hours(&cottage, "sump-pump-b")];
    assert!(both.iter().all(|hours| *hours > 0.5) && (both[0] - both[1]).abs() < 1.0, "{both:?}");
    let (low, high) = cottage.spans["sump-level"];
    assert!(low > 4.0 && high < 27.0, "{low} to {high} cm");
    let proofs = |cottage: &Cottage| cottage.engine.alarms().keys().cloned().collect::<Vec<_>>();
    assert_eq!(proofs(&cottage), [""; 0], "both prove that they run");
    // The fuse of one blows: when its turn comes the other takes over before the water has risen by a centimetre.
    cottage.blown = "sump-pump-a";
    let starts = on_times(&cottage, "sump-pump-b").len();
    cottage.live(72);
    assert_eq!(proofs(&cottage), ["proof-sump-pump-a"]);
    assert!(on_times(&cottage, "sump-pump-b").len() > starts + 10, "one pump does all the work");
    let (_, high) = cottage.spans["sump-level"];
    assert!(high < 27.0, "{high} cm");
    let rotation = cottage.house.load_named("cellar-sump").expect("the rotation");
    let why = cottage.engine.account(rotation);
    assert!(why.contains("sump-pump-b took over from sump-pump-a, which did not prove on"), "{why}");
}

#[test]
fn a_pump_that_moves_no_water_waits_for_a_person() {
    let mut cottage = Cottage::open(WINTER);
    cottage.blown = "hot-water-loop";
    cottage.live(9);
    let alarms: Vec<&str> = cottage.engine.alarms().keys().map(String::as_str).collect();
    assert_eq!(alarms, ["proof-hot-water-loop"]);
    // It tries once, for the 2 minutes that it has to stay on at least, and not again half an hour later.
    let times = on_times(&cottage, "hot-water-loop");
    assert!(times.len() == 1 && is_at(times[0].0, 6.0) && times[0].1 - times[0].0 < 0.05, "{times:?}");
    let pump = cottage.house.load_named("hot-water-loop").expect("the pump");
    let why = cottage.engine.account(pump);
    assert!(why.contains("withdrawn"), "{why}");
}
