//! Outputs that are driven by orders that the board times: actuators with two relays, and loads that are pulsed; loads that are
//! proved, two of them in rotation; and a load that follows a sensor with stray readings. They hang on relays of their own,
//! behind those that a house has without them. It never makes a house that `check` finds an error in.

use super::super::rng::Rng;
use super::draft::{Draft, DraftActuator, DraftBoard, DraftCondition, DraftLoad, DraftSensor};
use super::house::{draw_threshold, rule};

/// Hangs timed outputs on leased boards, by chance.
pub fn add_outputs(rng: &mut Rng, draft: &mut Draft) {
    let leased = |board: &&DraftBoard| board.lease_s > 0;
    let names: Vec<String> = draft.boards.iter().filter(leased).map(|board| board.name.clone()).collect();
    for name in names {
        if rng.percent(30) {
            add_actuator(rng, draft, &name);
        }
        if rng.percent(30) {
            add_pulsed(rng, draft, &name);
        }
        if rng.percent(25) {
            add_probe(rng, draft, &name);
        }
        if rng.percent(25) {
            add_rotation(rng, draft, &name);
        }
    }
}

/// A sensor whose readings are smoothed or held to a rate, with a load that follows it alone.
fn add_probe(rng: &mut Rng, draft: &mut Draft, board: &str) {
    let Some((relay, _)) = next_relay(draft, board) else { return };
    let name = format!("{board}-probe");
    let is_rated = rng.percent(50);
    draft.sensors.push(DraftSensor {
        name: name.clone(),
        board: rng.percent(70).then(|| board.to_owned()),
        stale_s: rng.between(60, 240),
        unit: "",
        median_of: if is_rated { 1 } else { rng.one_of(&[3, 5]) as u8 },
        max_rate: is_rated.then_some(1),
        strays: true,
        follows: None,
        calibration: None,
    });
    let load = plain(format!("{board}-follower"), board, relay);
    let low = rng.between(40, 55) as f64;
    let condition =
        DraftCondition::Threshold { sensor: name, minus: None, is_high: true, cut_in: low + 2.0, cut_out: low };
    let mut alone = rule(format!("{}-alone", load.name), &load, condition);
    (alone.priority, alone.demand_on, alone.releases) = (16, true, false);
    draft.loads.push(load);
    draft.rules.push(alone);
}

/// Two loads that do one job, each proved by what it draws.
fn add_rotation(rng: &mut Rng, draft: &mut Draft, board: &str) {
    let mut members = Vec::new();
    for letter in ["a", "b"] {
        let Some((relay, _)) = next_relay(draft, board) else { return };
        let (name, sensor) = (format!("{board}-pump-{letter}"), format!("{board}-amps-{letter}"));
        draft.sensors.push(DraftSensor {
            name: sensor.clone(),
            board: rng.percent(70).then(|| board.to_owned()),
            stale_s: rng.between(90, 240),
            unit: "",
            median_of: 1,
            max_rate: None,
            strays: false,
            follows: Some(name.clone()),
            calibration: None,
        });
        draft
            .loads
            .push(DraftLoad { proof: Some((sensor, rng.between(60, 120))), ..plain(name.clone(), board, relay) });
        members.push(name);
    }
    let [one, other] = &members[..] else { return };
    let name = format!("{board}-sump");
    let of = plain(name.clone(), board, 0);
    draft.rotations.push((name, [one.clone(), other.clone()]));
    add_rules(rng, draft, &of);
}

/// Gives loads that follow more than one threshold rules of the rarer kinds, by chance.
pub fn add_conditions(rng: &mut Rng, draft: &mut Draft) {
    if rng.percent(50) {
        return;
    }
    draft.has_modes = true;
    let loads = draft.loads.clone();
    for (place, load) in loads.iter().enumerate() {
        let is_plain = draft.rules.iter().any(|rule| rule.load == load.name && rule.name.ends_with("-alone"));
        let in_rotation = draft.rotations.iter().any(|(_, members)| members.contains(&load.name));
        if is_plain || in_rotation || !rng.percent(40) {
            continue;
        }
        // A load may watch only one that stands before it, so that none goes round in a circle.
        let watched = rng.pick(&loads[..place]).map(|one| one.name.clone());
        let keys = match rng.below(7) {
            0 => "on_for = \"3m\", off_for = \"7m\"".to_owned(),
            1 => "sun = \"<= -3\"".to_owned(),
            2 => "sensor = \"t0\", rises = 10, within = \"3m\", until_back_by = 5".to_owned(),
            3 => "alarm = \"any\"".to_owned(),
            4 => "selector = \"house\", is = \"away\"".to_owned(),
            5 => "sensor = \"t0\", cut_in = \">= warm\", cut_out = \"<= warm - 3\"".to_owned(),
            _ => match watched {
                Some(watched) => format!("load = \"{watched}\", is = \"on\""),
                None => continue,
            },
        };
        let mut rule = rule(format!("{}-rare", load.name), load, DraftCondition::Window(keys));
        rule.priority = rng.one_of(&[9, 12, 16]) as u8;
        rule.demand_on = rng.percent(60);
        draft.rules.push(rule);
    }
}

/// The next relay of a board, which grows for it, with its lease in seconds.
fn next_relay(draft: &mut Draft, board: &str) -> Option<(u8, u64)> {
    let board = draft.boards.iter_mut().find(|one| one.name == board)?;
    board.relays += 1;
    Some((board.relays, board.lease_s))
}

fn add_actuator(rng: &mut Rng, draft: &mut Draft, board: &str) {
    let (Some((open, lease_s)), Some((close, _))) = (next_relay(draft, board), next_relay(draft, board)) else {
        return;
    };
    let name = format!("{board}-flap");
    draft.actuators.push(DraftActuator {
        name: name.clone(),
        board: board.to_owned(),
        open,
        close,
        // A run must end well within the lease.
        travel_ms: rng.between(2_000, lease_s * 600),
        dead_time_ms: rng.one_of(&[100, 1000, 5000]),
        safe_open: rng.percent(25),
        ends: [false; 2],
    });
    add_rules(rng, draft, &plain(name, board, open));
}

fn add_pulsed(rng: &mut Rng, draft: &mut Draft, board: &str) {
    let Some((relay, _)) = next_relay(draft, board) else { return };
    let load = DraftLoad {
        pulse_ms: Some(rng.between(50, 2000)),
        pulse_at_change: rng.percent(60),
        ..plain(format!("{board}-latch"), board, relay)
    };
    draft.loads.push(load.clone());
    add_rules(rng, draft, &load);
}

pub(super) fn plain(name: String, board: &str, relay: u8) -> DraftLoad {
    DraftLoad {
        name,
        board: board.to_owned(),
        relay,
        is_nc: false,
        safe_on: false,
        resting_on: false,
        min_on_s: 0,
        min_off_s: 0,
        hold_for: None,
        max_on_s: None,
        rest_s: None,
        max_starts: None,
        power_w: None,
        pulse_ms: None,
        proof: None,
        pulse_at_change: false,
    }
}

pub(super) fn add_rules(rng: &mut Rng, draft: &mut Draft, load: &DraftLoad) {
    for number in 0..rng.between(1, 2) {
        let mut condition = draw_threshold(rng, draft);
        // What a pump draws says nothing of what it is for.
        while let DraftCondition::Threshold { sensor, .. } = &condition
            && draft.sensors.iter().any(|one| one.name == *sensor && one.follows.is_some())
        {
            condition = draw_threshold(rng, draft);
        }
        let mut rule = rule(format!("{}-rule-{number}", load.name), load, condition);
        rule.priority = rng.one_of(&[9, 12, 16]) as u8;
        rule.demand_on = rng.percent(75);
        draft.rules.push(rule);
    }
}
