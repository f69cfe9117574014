//! Cycles: over midnight, on days of 23 and 25 hours, and against a plain count from midnight.

use jiff::SignedDuration;
use proptest::prelude::*;

use super::*;
use crate::units::Span;

fn cycle(on_for: &str, off_for: &str) -> Cycle {
    let span = |text| Span::parse(text).unwrap();
    Cycle { on_for: span(on_for), off_for: span(off_for) }
}

/// The changes of a cycle in a civil day as local times, the one at its first midnight included.
fn changes(cycle: Cycle, place_name: &str, day: Date) -> Vec<String> {
    let (position, zone) = place(place_name);
    let setting = Setting { position, zone: &zone };
    let (start, end) = (day_start(day, &zone).unwrap(), day_end(day, &zone).unwrap());
    let mut at = start.checked_sub(SignedDuration::from_millis(1)).unwrap();
    let mut found = Vec::new();
    while let Some(next) = cycle.next_boundary(at, setting).filter(|next| *next < end) {
        let on = if cycle.is_on(next, setting) { "on" } else { "off" };
        found.push(format!("{} {on}", next.to_zoned_datetime(zone.clone()).strftime("%H:%M")));
        at = next;
    }
    found
}

#[test]
fn each_day_begins_with_the_time_on() {
    let day = date(2026, 6, 1);
    let found = changes(cycle("10m", "7h"), "Rowan Cottage", day);
    assert_eq!(
        found,
        ["00:00 on", "00:10 off", "07:10 on", "07:20 off", "14:20 on", "14:30 off", "21:30 on", "21:40 off"]
    );
    // Where midnight falls into the time on, it goes on; the next turn counts from midnight all the same.
    let found = changes(cycle("5h", "5h"), "Rowan Cottage", day);
    assert_eq!(found, ["05:00 off", "10:00 on", "15:00 off", "20:00 on"]);
    assert_eq!(changes(cycle("12h", "12h"), "Rowan Cottage", day), ["00:00 on", "12:00 off"]);
}

#[test]
fn times_are_lengths_when_the_clock_changes() {
    // 2026-03-29 has no 01:00 to 02:00, and 2026-10-25 has it twice.
    let found = changes(cycle("30m", "5h30m"), "Rowan Cottage", date(2026, 3, 29));
    assert_eq!(found[..4], ["00:00 on", "00:30 off", "07:00 on", "07:30 off"]);
    let found = changes(cycle("30m", "5h30m"), "Rowan Cottage", date(2026, 10, 25));
    assert_eq!(found[..4], ["00:00 on", "00:30 off", "05:00 on", "05:30 off"]);
    assert_eq!(found[8..], ["23:00 on", "23:30 off"], "{found:?}");
}

proptest! {
    /// Between an instant and the next boundary nothing changes, at the boundary it does, and the plain count agrees.
    #[test]
    fn boundaries_and_the_plain_count_agree(
        on_s in 1_u64..40_000, off_s in 1_u64..40_000, place_of in 0..PLACES.len(), at in 1_600_000_000_i64..1_900_000_000,
        steps in 1_i64..40,
    ) {
        let cycle = Cycle { on_for: Span::from_s(on_s), off_for: Span::from_s(off_s) };
        let (position, zone) = place(PLACES[place_of].0);
        let setting = Setting { position, zone: &zone };
        let at = Timestamp::from_second(at).unwrap();
        let was_on = cycle.is_on(at, setting);
        let next = cycle.next_boundary(at, setting).unwrap();
        prop_assert!(next > at);
        prop_assert_ne!(cycle.is_on(next, setting), was_on);
        for step in 0..steps {
            let sample = Timestamp::from_second(at.as_second() + (next.as_second() - at.as_second()) * step / steps).unwrap();
            prop_assert_eq!(cycle.is_on(sample, setting), was_on);
        }
        let civil = zone.to_datetime(at).date().to_datetime(Time::midnight());
        let midnight = civil.to_zoned_datetime(zone.clone()).unwrap().timestamp();
        let since_s = (at.as_second() - midnight.as_second()) as u64;
        prop_assert_eq!(was_on, since_s % (on_s + off_s) < on_s);
    }
}
