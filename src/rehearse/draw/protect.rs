//! What protects the loads of a house that was drawn: limits, interlocks, circuits, safety trips, and sensors that are smoothed
//! or computed. Half of the houses have none of it. It never makes a house that `check` finds an error in.

use super::super::rng::Rng;
use super::draft::{
    Compute, Draft, DraftCircuit, DraftCondition, DraftDerived, DraftInterlock, DraftRule, DraftSensor,
};
use super::house::{draw_threshold, rule};

/// Gives a house protections, by chance.
pub fn protect(rng: &mut Rng, draft: &mut Draft) {
    if rng.percent(25) {
        return;
    }
    if rng.percent(60) {
        smooth(rng, draft);
    }
    if rng.percent(60) {
        compute(rng, draft);
    }
    if rng.percent(60) {
        limit(rng, draft);
    }
    if rng.percent(70) {
        interlock(rng, draft);
    }
    if rng.percent(60) {
        circuit(rng, draft);
    }
    if rng.percent(60) {
        trip(rng, draft);
    }
}

fn smooth(rng: &mut Rng, draft: &mut Draft) {
    for sensor in &mut draft.sensors {
        sensor.median_of = rng.one_of(&[1, 3, 3, 5]) as u8;
    }
}

/// Sensors computed from others, and rules that rest on them, on differences, and on sensors being unknown.
fn compute(rng: &mut Rng, draft: &mut Draft) {
    let alike: Vec<String> = draft.sensors.iter().map(|sensor| sensor.name.clone()).collect();
    let mut known = alike.clone();
    if alike.len() > 1 {
        let quorum = rng.between(1, alike.len() as u64);
        let of = alike.clone();
        let how = if rng.percent(50) { Compute::Mean(of, quorum) } else { Compute::Median(of, quorum) };
        draft.derived.push(DraftDerived { name: "several".to_owned(), how });
        known.push("several".to_owned());
    }
    if rng.percent(50) {
        let board = rng.pick(&draft.boards).map(|board| board.name.clone());
        for (name, unit) in [("air", "°C"), ("damp", "%")] {
            let (name, board, stale_s) = (name.to_owned(), board.clone(), rng.between(60, 240));
            draft.sensors.push(DraftSensor {
                name,
                board,
                stale_s,
                unit,
                median_of: 1,
                max_rate: None,
                strays: false,
                follows: None,
                calibration: None,
            });
        }
        let how = Compute::DewPoint("air".to_owned(), "damp".to_owned());
        draft.derived.push(DraftDerived { name: "dew".to_owned(), how });
    }
    for load in draft.loads.clone() {
        let is_plain = draft.rules.iter().any(|rule| rule.load == load.name && rule.name.ends_with("-alone"));
        let mut condition = draw_threshold(rng, draft);
        if let DraftCondition::Threshold { sensor, minus, cut_in, cut_out, .. } = &mut condition {
            match rng.below(4) {
                0 if !draft.derived.is_empty() => {
                    *sensor = rng.pick(&draft.derived).map(|derived| derived.name.clone()).unwrap_or_default();
                }
                1 if alike.len() > 1 => {
                    *sensor = alike[0].clone();
                    *minus = rng.pick(&known[1..]).cloned();
                    (*cut_in, *cut_out) = (*cut_in - 40.0, *cut_out - 40.0);
                }
                2 if !is_plain => condition = DraftCondition::Unknown(rng.pick(&known).cloned().unwrap_or_default()),
                _ => continue,
            }
        }
        if is_plain {
            let own = draft.rules.iter_mut().find(|rule| rule.load == load.name);
            own.into_iter().for_each(|rule| rule.condition = condition.clone());
        } else {
            let mut rule = rule(format!("{}-computed", load.name), &load, condition);
            rule.priority = rng.one_of(&[9, 11, 13, 16]) as u8;
            draft.rules.push(rule);
        }
    }
}

fn limit(rng: &mut Rng, draft: &mut Draft) {
    for place in 0..draft.loads.len() {
        let falls_off = draft.falls_off(&draft.loads[place]);
        let load = &mut draft.loads[place];
        if falls_off && rng.percent(50) {
            load.max_on_s = Some(rng.between(20, 300).max(load.min_on_s));
            load.rest_s = rng.percent(60).then(|| rng.between(0, 120));
        }
        if rng.percent(35) {
            load.max_starts = Some((rng.between(1, 4), rng.between(30, 900)));
        }
    }
}

/// Some of several, in any order.
fn some(rng: &mut Rng, of: &[String], most: usize) -> Vec<String> {
    let mut left = of.to_vec();
    let mut some = Vec::new();
    while some.len() < most && !left.is_empty() {
        some.push(left.swap_remove(rng.below(left.len() as u64) as usize));
    }
    some
}

fn interlock(rng: &mut Rng, draft: &mut Draft) {
    for name in ["first-lock", "second-lock"] {
        let able = draft.loads.iter().filter(|load| draft.falls_off(load)).map(|load| load.name.clone());
        let able: Vec<String> = able.collect();
        let most = rng.between(2, 3) as usize;
        let loads = some(rng, &able, most);
        if loads.len() > 1 {
            let dead_time_ms = rng.one_of(&[0, 300, 1000, 5000, 20_000]);
            draft.interlocks.push(DraftInterlock { name: name.to_owned(), loads, dead_time_ms });
        }
        if rng.percent(70) {
            return;
        }
    }
}

fn circuit(rng: &mut Rng, draft: &mut Draft) {
    let all: Vec<String> = draft.loads.iter().map(|load| load.name.clone()).collect();
    let most = rng.between(2, 5) as usize;
    let loads = some(rng, &all, most);
    if loads.len() < 2 {
        return;
    }
    let (mut sum, mut greatest) = (0, 0);
    for load in draft.loads.iter_mut().filter(|load| loads.contains(&load.name)) {
        let power = rng.between(1, 20) * 100;
        (sum, greatest) = (sum + power, power.max(greatest));
        load.power_w = Some(power);
    }
    let limit_w = rng.between(greatest, sum);
    let most = rng.below(loads.len() as u64 + 1) as usize;
    let shed = some(rng, &loads, most);
    let stagger_ms = rng.one_of(&[0, 500, 3000]);
    draft.circuits.push(DraftCircuit { name: "supply".to_owned(), loads, limit_w, stagger_ms, shed });
}

/// Safety trips that latch.
fn trip(rng: &mut Rng, draft: &mut Draft) {
    for load in draft.loads.clone() {
        if !rng.percent(30) {
            continue;
        }
        let mut condition = draw_threshold(rng, draft);
        if let DraftCondition::Threshold { is_high, cut_in, cut_out, .. } = &mut condition {
            let (far, near) = (rng.between(80, 90) as f64, rng.between(60, 75) as f64);
            (*is_high, *cut_in, *cut_out) = (true, far, near);
        }
        let demand_on = rng.percent(25);
        let rule = rule(format!("{}-trip", load.name), &load, condition);
        draft.rules.push(DraftRule { priority: 2, latches: true, demand_on, ..rule });
    }
}
