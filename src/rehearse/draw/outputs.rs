//! Outputs that are driven by orders that the board times: actuators with two relays, and loads that are pulsed. They hang on
//! relays of their own, behind those that a house has without them. It never makes a house that `check` finds an error in.

use super::super::rng::Rng;
use super::draft::{Draft, DraftActuator, DraftBoard, DraftLoad};
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

fn plain(name: String, board: &str, relay: u8) -> DraftLoad {
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
        pulse_at_change: false,
    }
}

fn add_rules(rng: &mut Rng, draft: &mut Draft, load: &DraftLoad) {
    for number in 0..rng.between(1, 2) {
        let condition = draw_threshold(rng, draft);
        let mut rule = rule(format!("{}-rule-{number}", load.name), load, condition);
        rule.priority = rng.one_of(&[9, 12, 16]) as u8;
        rule.demand_on = rng.percent(75);
        draft.rules.push(rule);
    }
}
