//! Windows against brute force: every boundary against instants before it, and windows of the sun against its elevation as
//! an independent library computes it.

use jiff::SignedDuration;
use proptest::prelude::*;
use solar_positioning::{Location, SolarPositions, delta_t, time::JulianDate};

use super::*;

fn later(at: Timestamp, seconds: i64) -> Timestamp {
    at.checked_add(SignedDuration::from_secs(seconds)).unwrap()
}

fn end() -> impl Strategy<Value = WindowEnd> {
    prop_oneof![
        (0_i8..24, 0_i8..4).prop_map(|(hour, quarter)| WindowEnd::Clock(Time::new(hour, quarter * 15, 0, 0).unwrap())),
        (0_usize..4, -36_i32..=36).prop_map(|(event, tens)| WindowEnd::Sun(SunEvent::ALL[event], tens * 600)),
        (0_usize..4).prop_map(|event| WindowEnd::Sun(SunEvent::ALL[event], 0)),
    ]
}

fn any_window() -> impl Strategy<Value = Window> {
    let ends = prop_oneof![9 => (end(), end()).prop_map(Some), 1 => Just(None)];
    let days = prop_oneof![2 => Just(None), 1 => (1_u8..128).prop_map(|bits| Some(Weekdays(bits)))];
    let day = (1_i8..=12, 1_i8..=28);
    let dates =
        prop_oneof![4 => Just(None), 1 => (day.clone(), day).prop_map(|(from, to)| Some(YearSpan { from, to }))];
    let clamp =
        || prop_oneof![3 => Just(None), 1 => (0_i8..24).prop_map(|hour| Some(Time::new(hour, 30, 0, 0).unwrap()))];
    let window = (ends, days, dates, clamp(), clamp()).prop_map(|(ends, days, dates, not_before, not_after)| Window {
        ends,
        days,
        dates,
        not_before,
        not_after,
    });
    // A clamp with nothing to clamp is refused where it is read.
    window.prop_map(|window| match window.fault() {
        Some(("not_before" | "not_after", _)) => Window { not_before: None, not_after: None, ..window },
        _ => window,
    })
}

/// Instants of ten years, and often ones near a change: summer time, the polar night, midsummer.
fn any_instant() -> impl Strategy<Value = Timestamp> {
    let near = [
        "2011-12-30T10:00:00Z",
        "2026-03-29T01:00:00Z",
        "2026-10-25T01:00:00Z",
        "2026-03-08T07:00:00Z",
        "2026-04-04T16:00:00Z",
        "2026-10-03T15:30:00Z",
        "2026-11-27T11:00:00Z",
        "2026-01-15T11:00:00Z",
        "2026-05-18T23:00:00Z",
        "2026-07-26T23:00:00Z",
        "2026-06-17T00:00:00Z",
    ];
    let near = near.map(|text| text.parse::<Timestamp>().unwrap());
    prop_oneof![
        (1_600_000_000_i64..1_900_000_000).prop_map(|second| Timestamp::from_second(second).unwrap()),
        (0..near.len(), -200_000_i64..200_000).prop_map(move |(index, seconds)| later(near[index], seconds)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Between an instant and its next boundary nothing changes; at the boundary it does, unless the search ended there.
    #[test]
    fn boundaries_and_openness_agree(window in any_window(), place in 0..PLACES.len(), at in any_instant(), step_s in 300_i64..4000) {
        let (position, zone) = place_at(place);
        let setting = Setting { position, zone: &zone };
        let was_open = window.is_open(at, setting);
        let boundary = window.next_boundary(at, setting);
        let horizon = later(at, 60 * step_s);
        if let Some(boundary) = boundary {
            prop_assert!(boundary > at);
            prop_assert_eq!(window.is_open(later(boundary, -1).max(at), setting), was_open, "before {}", boundary);
            let is_near = boundary < later(at, 300 * 86_400);
            prop_assert!(!is_near || window.is_open(boundary, setting) != was_open, "at {}", boundary);
        }
        let until = boundary.unwrap_or(horizon).min(horizon);
        let mut sample = at;
        while sample < until {
            prop_assert_eq!(window.is_open(sample, setting), was_open, "{} of {} at {}", sample, window, PLACES[place].0);
            sample = later(sample, step_s);
        }
    }

    /// A window is open exactly within its instances, whatever day they belong to.
    #[test]
    fn instances_and_openness_agree(window in any_window(), place in 0..PLACES.len(), at in any_instant()) {
        let (position, zone) = place_at(place);
        let setting = Setting { position, zone: &zone };
        let today = zone.to_datetime(at).date();
        let inside = (-8..=8).any(|days| {
            let day = today.checked_add(jiff::ToSpan::days(days)).unwrap();
            window.instances(day, setting).iter().any(|spell| spell.start <= at && at < spell.end)
        });
        prop_assert_eq!(window.is_open(at, setting), inside);
    }

    /// A clock window without filters, away from changes of the clock, is a comparison of local times.
    #[test]
    fn clock_windows_compare_local_times(from in 0_i64..96, to in 0_i64..96, place in 0..PLACES.len(), at in any_instant()) {
        let (position, zone) = place_at(place);
        let near_change = zone.following(later(at, -3 * 86_400)).next().is_some_and(|next| next.timestamp() < later(at, 3 * 86_400));
        if near_change {
            return Ok(());
        }
        let [from, to] = [from, to].map(|quarters| Time::midnight().wrapping_add(jiff::ToSpan::minutes(quarters * 15)));
        let window = Window { ends: Some((WindowEnd::Clock(from), WindowEnd::Clock(to))), ..Window::default() };
        let local = zone.to_datetime(at).time();
        let expected = if from <= to { from <= local && local < to } else { from <= local || local < to };
        prop_assert_eq!(window.is_open(at, Setting { position, zone: &zone }), expected);
    }
}

fn place_at(index: usize) -> (Position, TimeZone) {
    place(PLACES[index].0)
}

/// Geometric elevation of the sun's centre in degrees, by NREL's algorithm.
fn elevation(position: Position, at: Timestamp) -> f64 {
    let datetime = TimeZone::UTC.to_datetime(at);
    let delta_t_s = delta_t::estimate(f64::from(datetime.year()) + 0.5).unwrap();
    let time = JulianDate::from_utc(
        i32::from(datetime.year()),
        datetime.month() as u32,
        datetime.day() as u32,
        datetime.hour() as u32,
        datetime.minute() as u32,
        f64::from(datetime.second()),
        delta_t_s,
    );
    let location = Location { latitude: position.latitude, longitude: position.longitude };
    SolarPositions::new().at_from_julian(time.unwrap(), location, 0.0, None).unwrap().elevation_angle()
}

/// From pole to pole and all through a year: each window of the sun is open when the sun is where its ends say.
#[test]
fn windows_of_the_sun_follow_its_elevation() {
    let horizon = SunEvent::Sunrise.elevation();
    let twilight = SunEvent::Dawn.elevation();
    let more = [("Svalbard", 78.22, 15.63, "Arctic/Longyearbyen"), ("Davis", -68.58, 77.97, "Antarctica/Davis")];
    let start: Timestamp = "2026-01-01T00:00:00Z".parse().unwrap();
    for (name, latitude, longitude, zone_name) in PLACES.into_iter().chain(more) {
        let (position, zone) = (Position { latitude, longitude }, zone(zone_name));
        let setting = Setting { position, zone: &zone };
        let is_open = |from, to, at| window(from, to).is_open(at, setting);
        let mut compared = 0;
        for index in 0..(365 * 86_400 / 24_333) {
            let at = later(start, index * 24_333);
            let elevation = elevation(position, at);
            // The series are good to about 0.01°.
            if (elevation - horizon).abs() < 0.03 || (elevation - twilight).abs() < 0.03 {
                continue;
            }
            compared += 1;
            let is_twilight = is_open("dawn", "sunrise", at) || is_open("sunset", "dusk", at);
            let found = [
                is_open("sunset", "sunrise", at),
                is_open("sunrise", "sunset", at),
                is_open("dusk", "dawn", at),
                is_open("dawn", "dusk", at),
                is_twilight,
            ];
            let expected = [
                elevation < horizon,
                elevation > horizon,
                elevation < twilight,
                elevation > twilight,
                twilight < elevation && elevation < horizon,
            ];
            assert_eq!(found, expected, "{name} at {at}, elevation {elevation}°");
        }
        assert!(compared > 1_000, "{name}: {compared}");
    }
}
