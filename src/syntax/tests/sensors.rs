//! Tests of decoding sensors: parts, calibration, resistive sensors.

use super::*;
use crate::house::{Conversion, LightCurve, MaxRate, NtcCurve, Sensor, Side};

/// The sensor `x` of some keys, added to a house that is right; or the codes of what is wrong with it.
fn sensor(keys: &str) -> Result<Sensor, String> {
    let text = format!("[sensor.x]\nreading = \"yard/x\"\n{keys}\n");
    let (house, diagnostics) = read(&files(&[SITE, ROOMS, &text]), zones());
    let codes: Vec<String> = diagnostics.into_iter().map(|diagnostic| diagnostic.code).collect();
    house.map(|house| house.sensor(house.sensor_named("x").expect("it was written")).clone()).ok_or(codes.join(" "))
}

#[test]
fn a_part_fills_in_what_is_not_written() {
    let air = sensor("part = \"DHT22\"\nunit = \"°C\"").unwrap();
    // Data sheet of the part: −40 to 80 °C ±0.5, steps of 0.1, 2 s.
    assert_eq!(air.range, Some((-40.5, 80.5)));
    assert_eq!((air.grade.accuracy, air.grade.resolution), (Some(0.5), Some(0.1)));
    assert_eq!((air.grade.sampling_period, air.grade.part), (Some(Span::from_s(2)), Some("DHT22")));
    let own = "range = [-20, 60]\naccuracy = 0.2\nresolution = \"0.5 °C\"\nsampling_period = \"10s\"";
    let air = sensor(&format!("part = \"DHT22\"\nunit = \"°C\"\n{own}")).unwrap();
    assert_eq!((air.range, air.grade.measures), (Some((-20.0, 60.0)), Some((-40.2, 80.2))));
    assert_eq!((air.grade.accuracy, air.grade.resolution), (Some(0.2), Some(0.5)));
    assert_eq!(air.grade.sampling_period, Some(Span::from_s(10)));
    let wet = sensor("part = \"DHT22\"\nunit = \"%RH\"\noffset = -1.5").unwrap();
    assert_eq!((wet.unit.as_str(), wet.range), ("%RH", Some((-3.5, 102.0))));
    let probe = sensor("part = \"DS18B20\"").unwrap();
    assert_eq!((probe.unit.as_str(), probe.grade.resolution), ("°C", Some(0.0625)));
    let light = sensor("part = \"BH1750\"").unwrap();
    assert_eq!((light.unit.as_str(), light.grade.accuracy), ("lx", None));
}

#[test]
fn parts_are_checked() {
    let wrong = |keys: &str| sensor(keys).unwrap_err();
    assert_eq!(wrong("part = \"DHT22\""), "missing-key");
    assert_eq!(wrong("part = \"DHT22\"\nunit = \"lx\""), "wrong-unit");
    assert_eq!(wrong("part = \"dht22\"\nunit = \"%\""), "unknown-word");
    assert_eq!(wrong("part = \"DHT222\"\nunit = \"%\""), "unknown-word");
    assert_eq!(wrong("part = 22\nunit = \"%\""), "wrong-type");
    assert_eq!(wrong("accuracy = 0"), "out-of-bounds");
    assert_eq!(wrong("unit = \"°C\"\nresolution = \"0.1 %\""), "bad-amount");
    assert_eq!(wrong("sampling_period = 2"), "wrong-type");
    assert_eq!(wrong("sampling_period = \"0s\""), "bad-duration");
}

#[test]
fn calibration_and_rate_arrive_and_are_checked() {
    let gust = sensor("unit = \"m/s\"\nscale = 0.2778\noffset = \"-0.5 m/s\"\nmax_rate = \"20 m/s per 10s\"").unwrap();
    assert_eq!((gust.calibration.scale, gust.calibration.offset), (0.2778, -0.5));
    assert_eq!(gust.max_rate, Some(MaxRate { change: 20.0, within: Span::from_s(10) }));
    assert!(sensor("unit = \"°C\"\noffset = \"-0.7 K\"").is_ok());
    let wrong = |keys: &str| sensor(keys).unwrap_err();
    assert_eq!(wrong("scale = 0"), "out-of-bounds");
    assert_eq!(wrong("scale = nan"), "wrong-type");
    assert_eq!(wrong("scale = \"0.1\""), "wrong-type");
    assert_eq!(wrong("unit = \"°C\"\noffset = \"2 %\""), "bad-amount");
    assert_eq!(wrong("offset = inf"), "bad-amount");
    assert_eq!(wrong("unit = \"°C\"\nmax_rate = \"2 % per 1min\""), "bad-rate");
    assert_eq!(wrong("unit = \"°C\"\nmax_rate = 2"), "wrong-type");
    let mean = "[sensor.y]\nmean = [\"sunroom-air\", \"roof\"]\noffset = 1\n";
    check(mean, &["contradiction"]);
}

const DIVIDER: &str = "fixed = \"10 kΩ\", side = \"high\", full_scale = 1023";

#[test]
fn a_photoresistor_arrives() {
    let light = |keys: &str| sensor(&format!("photoresistor = {{ {keys} }}"));
    let found = light(&format!("{DIVIDER}, dim = [10, 426], bright = [100, 757]")).unwrap();
    assert_eq!(found.unit, "lx");
    let Some(Conversion::Photoresistor { divider: Some(divider), curve }) = found.calibration.conversion else {
        panic!("{found:?}")
    };
    assert_eq!((divider.fixed_ohm, divider.side, divider.full_scale), (10_000.0, Side::High, 1023.0));
    // The worked example of R10 14 kΩ and γ 0.6, in whole counts.
    assert!((curve.r10_ohm / 14_000.0 - 1.0).abs() < 0.005 && (curve.gamma - 0.6).abs() < 0.005, "{curve:?}");
    let found = light("r10 = \"14 kΩ\", gamma = 0.6").unwrap();
    let curve = LightCurve { r10_ohm: 14_000.0, gamma: 0.6 };
    assert_eq!(found.calibration.conversion, Some(Conversion::Photoresistor { divider: None, curve }));
    let found = light(&format!("{DIVIDER}, supply = \"3.3 V\", reference = \"1.1 V\", r10 = \"14 kΩ\", gamma = 0.6"));
    let Some(Conversion::Photoresistor { divider: Some(divider), .. }) = found.unwrap().calibration.conversion else {
        panic!("a divider")
    };
    assert!((divider.reference_share - 1.0 / 3.0).abs() < 1e-9);
}

#[test]
fn a_thermistor_arrives() {
    let probe = |keys: &str| sensor(&format!("thermistor = {{ {keys} }}")).map(|one| (one.unit, one.calibration));
    let (unit, found) = probe(&format!("{DIVIDER}, r25 = \"10 kΩ\", beta = 3892")).unwrap();
    assert_eq!(unit, "°C");
    let Some(Conversion::Thermistor { divider: Some(_), curve }) = found.conversion else { panic!("{found:?}") };
    assert_eq!(curve, NtcCurve::Beta { r25_ohm: 10_000.0, beta_k: 3892.0 });
    let (_, found) = probe("points = [[0, 32640], [25, 10000], [70, 1751]]").unwrap();
    let Some(Conversion::Thermistor { divider: None, curve }) = found.conversion else { panic!("{found:?}") };
    assert!((curve.celsius(19_900.0).unwrap() - 10.0).abs() < 0.1);
    let (_, found) = probe("coefficients = [1.129241e-3, 2.341077e-4, 8.775468e-8]").unwrap();
    let Some(Conversion::Thermistor { curve, .. }) = found.conversion else { panic!("{found:?}") };
    assert!((curve.celsius(10_000.0).unwrap() - 25.0).abs() < 0.01);
    // Fahrenheit is a matter of scale.
    let rescaled = "unit = \"°F\"\nscale = 1.8\noffset = 32\nthermistor = { r25 = \"10 kΩ\", beta = 3892 }";
    assert_eq!(sensor(rescaled).unwrap().unit, "°F");
}

#[test]
fn resistive_sensors_are_checked() {
    let light = |keys: &str| sensor(&format!("photoresistor = {{ {keys} }}")).unwrap_err();
    assert_eq!(light(""), "missing-key");
    assert_eq!(light("dim = [10, 5000]"), "missing-key");
    assert_eq!(light("dim = [10, 5000], bright = [100, 9000]"), "bad-curve");
    assert_eq!(light("dim = [0, 5000], bright = [100, 900]"), "bad-curve");
    assert_eq!(light("dim = [10, 5000], bright = [100, 900], gamma = 0.6"), "contradiction");
    assert_eq!(light(&format!("{DIVIDER}, dim = [10, 0], bright = [100, 757]")), "bad-curve");
    assert_eq!(light(&format!("{DIVIDER}, dim = [10, 426], bright = [100, 1023]")), "bad-curve");
    assert_eq!(light("r10 = 14000, gamma = 0.6"), "wrong-type");
    assert_eq!(light("r10 = \"14 kΩ\", gamma = 6"), "out-of-bounds");
    assert_eq!(light("side = \"high\", r10 = \"14 kΩ\", gamma = 0.6"), "contradiction");
    assert_eq!(light("fixed = \"10 kΩ\", r10 = \"14 kΩ\", gamma = 0.6"), "missing-key missing-key");
    assert_eq!(light(&format!("{DIVIDER}, supply = \"5 V\", r10 = \"14 kΩ\", gamma = 0.6")), "contradiction");
    let above = "supply = \"3.3 V\", reference = \"5 V\"";
    assert_eq!(light(&format!("{DIVIDER}, {above}, r10 = \"14 kΩ\", gamma = 0.6")), "contradiction");
    let probe = |keys: &str| sensor(&format!("thermistor = {{ {keys} }}")).unwrap_err();
    assert_eq!(probe("r25 = \"10 kΩ\""), "missing-key");
    assert_eq!(probe("r25 = \"10 kΩ\", beta = 39"), "out-of-bounds");
    assert_eq!(probe("points = [[0, 32640], [25, 10000]]"), "wrong-type");
    assert_eq!(probe("points = [[0, 10000], [25, 20000], [70, 30000]]"), "bad-curve");
    assert_eq!(probe("coefficients = [1, 2, 3]"), "bad-curve");
    assert_eq!(probe("coefficients = [1e-3, 2e-4]"), "wrong-type");
    let both = "photoresistor = { r10 = \"14 kΩ\", gamma = 0.6 }\nthermistor = { r25 = \"10 kΩ\", beta = 3892 }";
    assert_eq!(sensor(both).unwrap_err(), "contradiction");
    assert_eq!(sensor("unit = \"%\"\nthermistor = { r25 = \"10 kΩ\", beta = 3892 }").unwrap_err(), "wrong-unit");
    let part = "part = \"DHT22\"\nunit = \"°C\"\nthermistor = { r25 = \"10 kΩ\", beta = 3892 }";
    assert_eq!(sensor(part).unwrap_err(), "contradiction");
}

#[test]
fn what_a_sensor_cannot_be_computed_from_is_underlined_where_it_is_named() {
    let text = "[sensor.rh]\nreading = \"yard/h1\"\nunit = \"%\"\n[sensor.x]\n";
    for (keys, expected) in [
        ("mean = [\"sunroom-air\", \"rh\"]", "\"rh\""),
        ("mean = [\"sunroom-air\", \"x\"]", "\"x\""),
        ("dew_point = { humidity = \"sunroom-air\", temperature = \"sunroom-air\" }", "\"sunroom-air\""),
        ("dew_point = { temperature = \"rh\", humidity = \"sunroom-air\" }", "\"rh\""),
    ] {
        let text = format!("{text}{keys}\n");
        let (_, diagnostics) = read(&files(&[SITE, ROOMS, &text]), zones());
        assert_eq!(diagnostics.len(), 1, "{diagnostics:?}");
        let span = diagnostics[0].at.clone().expect("it stands in a file").span;
        assert_eq!(&text[span], expected, "{keys}");
    }
}

#[test]
fn a_key_of_measured_sensors_on_a_computed_one_is_one_mistake() {
    for key in ["max_rate = \"2 °C per 1min\"", "offset = \"1 K\"", "range = [5, 2]", "stale_after = 5"] {
        let text = format!("[sensor.x]\nmedian = [\"sunroom-air\", \"roof\"]\n{key}\n");
        check(&text, &["contradiction"]);
    }
}
