//! Changes of a house while it runs: other thresholds, a load moved, a load taken out, another safe state, another min on, a
//! board taken out, other limits and groups. It never makes a house that `check` finds an error in.

use super::super::rng::Rng;
use super::draft::{Draft, DraftBoard, Press};

/// Changes a house as a person changes theirs.
pub fn redraw(rng: &mut Rng, draft: &Draft) -> Draft {
    let mut next = draft.clone();
    let kinds = if draft.interlocks.is_empty() && draft.circuits.is_empty() { 6 } else { 9 };
    match rng.below(kinds) {
        0 => {
            let by = rng.between(0, 60) as f64 / 10.0 - 3.0;
            next.thresholds(&mut |_, _, cut_in, cut_out| {
                (*cut_in, *cut_out) = (round(*cut_in + by), round(*cut_out + by));
            });
        }
        1 => {
            if let Some(load) = rng.pick(&draft.loads) {
                next.remove_load(&load.name);
            }
        }
        2 => move_load(rng, &mut next),
        3 => {
            let place = rng.below(next.loads.len().max(1) as u64) as usize;
            if let Some(load) =
                next.loads.get_mut(place).filter(|load| !draft.must_fall_off(load) && load.pulse_ms.is_none())
            {
                load.safe_on = !load.safe_on;
            }
        }
        4 => {
            let place = rng.below(next.loads.len().max(1) as u64) as usize;
            if let Some(load) = next.loads.get_mut(place).filter(|load| load.min_on_s + load.min_off_s > 0) {
                (load.min_on_s, load.min_off_s) = (rng.between(5, 200), rng.between(5, 200));
                load.max_on_s = load.max_on_s.map(|max_on| max_on.max(load.min_on_s));
            }
        }
        5 => remove_board(rng, &mut next),
        6 => redraw_interlock(rng, &mut next),
        7 => redraw_circuit(rng, &mut next),
        _ => redraw_limits(rng, &mut next),
    }
    next
}

fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn move_load(rng: &mut Rng, draft: &mut Draft) {
    let boards = draft.boards.clone();
    let Some(board) = rng.pick(&boards) else { return };
    let Some(relay) = (1..=board.relays).find(|relay| draft.is_free(&board.name, *relay)) else { return };
    let place = rng.below(draft.loads.len().max(1) as u64) as usize;
    let must_fall_off = draft.loads.get(place).is_some_and(|load| draft.must_fall_off(load));
    if let Some(load) = draft.loads.get_mut(place).filter(|_| !must_fall_off || board.lease_s > 0) {
        (load.board, load.relay) = (board.name.clone(), relay);
    }
}

/// Takes a board out on which no sensor and no contact is that something else needs.
fn remove_board(rng: &mut Rng, draft: &mut Draft) {
    let free = |board: &&DraftBoard| {
        !draft.sensors.iter().any(|sensor| sensor.board.as_ref() == Some(&board.name))
            && !draft.actuators.iter().any(|actuator| actuator.board == board.name)
    };
    let boards: Vec<DraftBoard> = draft.boards.iter().filter(free).cloned().collect();
    let Some(board) = rng.pick(&boards).filter(|_| draft.boards.len() > 1) else { return };
    if draft.inputs.iter().any(|input| input.board == board.name && input.press == Press::Nothing) {
        return;
    }
    let gone: Vec<String> =
        draft.loads.iter().filter(|load| load.board == board.name).map(|load| load.name.clone()).collect();
    gone.iter().for_each(|load| draft.remove_load(load));
    draft.inputs.retain(|input| input.board != board.name);
    draft.boards.retain(|one| one.name != board.name);
}

/// Takes a load into an interlock or out of it, or changes its dead time.
fn redraw_interlock(rng: &mut Rng, draft: &mut Draft) {
    let able: Vec<String> =
        draft.loads.iter().filter(|load| draft.falls_off(load)).map(|load| load.name.clone()).collect();
    let place = rng.below(draft.interlocks.len().max(1) as u64) as usize;
    let Some(interlock) = draft.interlocks.get_mut(place) else { return };
    if rng.percent(40) {
        interlock.dead_time_ms = rng.between(0, 5000);
    } else if let Some(load) = rng.pick(&able) {
        if !interlock.loads.contains(load) {
            interlock.loads.push(load.clone());
        } else if interlock.loads.len() > 2 {
            interlock.loads.retain(|one| one != load);
        }
    }
}

/// Changes what a circuit may carry; no load takes more than that.
fn redraw_circuit(rng: &mut Rng, draft: &mut Draft) {
    let place = rng.below(draft.circuits.len().max(1) as u64) as usize;
    let Some(circuit) = draft.circuits.get_mut(place) else { return };
    let powers = draft.loads.iter().filter(|load| circuit.loads.contains(&load.name)).filter_map(|load| load.power_w);
    let least = powers.max().unwrap_or_default();
    circuit.limit_w = rng.between(least, least * 2);
}

fn redraw_limits(rng: &mut Rng, draft: &mut Draft) {
    let place = rng.below(draft.loads.len().max(1) as u64) as usize;
    let Some(load) = draft.loads.get_mut(place) else { return };
    if let Some(max_on) = &mut load.max_on_s {
        *max_on = rng.between(20, 300).max(load.min_on_s);
    }
    if let Some((most, within)) = &mut load.max_starts {
        (*most, *within) = (rng.between(1, 4), rng.between(30, 900));
    }
}
