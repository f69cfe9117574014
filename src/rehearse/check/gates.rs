//! What may keep a load from being what its array says once faults are over: slot 5, an interlock, its dwell. It believes no
//! word of the engine of which the contacts show that it cannot be so. What a coil did while its contact was welded or dead
//! counts for max on and max starts as if the contact had followed: its board cannot tell that it did not. Where a board
//! counts no changes, a controller may date a start as late as what ended its run, if its last orders of on were not taken or
//! it started since. Where a board was not heard from before a load had rested until after a reset, its rest counts from there.

use super::super::happening::{Mover, Why};
use super::Scene;
use super::ledger::{Change, Spot, Track};
use crate::house::{Circuit, Interlock, Load, LoadId, State};
use crate::units::{BootTime, Span};

/// Where a load stands.
#[derive(Clone, Debug)]
pub struct Stand {
    /// What its array says, and at which slot; `None` where that is in doubt.
    pub says: Option<(State, u8)>,
    /// What it is; `None` where it hangs on no relay.
    pub is: Option<State>,
    /// The relay behind it.
    pub spot: Option<Spot>,
    /// What decides, by the engine's own words.
    pub why: Why,
    /// It is held.
    pub is_held: bool,
}

/// What a timer, a report and an order may take on a calm network.
pub const SLACK: Span = Span::from_s(3);

impl Stand {
    /// Whether it is on, or its array says so or may.
    fn claims(&self) -> bool {
        self.is == Some(State::On) || self.says.is_none_or(|(state, _)| state == State::On)
    }

    /// The slot behind what its array says; the strongest where that is in doubt.
    fn slot(&self) -> u8 {
        self.says.map_or(0, |(_, slot)| slot)
    }
}

/// What keeps a load from being what its array says, if the contacts bear it out.
pub fn held_back(scene: &Scene<'_>, stands: &[Stand], load: LoadId) -> Option<&'static str> {
    let (house, now) = (scene.stage.house(), scene.stage.now());
    let stand = &stands[load.index()];
    let definition = house.load(load);
    let track = stand.spot.map(|spot| scene.ledger.contact(spot)).unwrap_or_default();
    let since = |at: Option<BootTime>| at.map(|at| now.since(at));
    let changed = since(track.changed().map(|change| change.at));
    let least = if stand.is == Some(State::On) { definition.min_on } else { definition.min_off };
    if changed.is_some_and(|changed| changed < least + SLACK) {
        return Some("its dwell");
    }
    if stand.is == Some(State::On) {
        return None;
    }
    match stand.why {
        Why::MaxOn if is_limited(scene, stand, definition, |closed| track.turned(closed)) => Some("max on"),
        Why::MaxStarts if is_limited(scene, stand, definition, |closed| track.turned(closed)) => Some("max starts"),
        Why::MaxOn if is_unrested(scene, stand, definition, &track) => Some("a rest that counts from a reset"),
        Why::MaxOn | Why::MaxStarts => is_limited(scene, stand, definition, |closed| track.driven(closed))
            .then_some("a limit on what a coil did that its contact did not follow"),
        Why::Circuit => {
            let mut circuits = house.circuits.iter().filter(|circuit| circuit.loads.contains(&load));
            circuits.any(|circuit| is_full(scene, stands, circuit, load)).then_some("its circuit")
        }
        Why::Interlock | Why::InterlockShown => {
            let mut interlocks = house.interlocks.iter().filter(|interlock| interlock.loads.contains(&load));
            interlocks.any(|interlock| is_taken(scene, stands, interlock, load)).then_some("its interlock")
        }
        _ => None,
    }
}

/// Whether max on or max starts may keep a load off, by when its contact, or as far as its board can tell, last `turned`.
fn is_limited(scene: &Scene<'_>, stand: &Stand, definition: &Load, turned: impl Fn(bool) -> Option<Change>) -> bool {
    let now = scene.stage.now();
    // What energises an NC contact turns its load off.
    let runs = definition.energised(State::On);
    let (start, end) = (turned(runs), turned(!runs));
    let is_undated = stand.spot.is_some_and(|spot| scene.stage.panels()[spot.0].board().faults().hides_seconds);
    let was_ordered = start.is_none_or(|start| matches!(start.mover, Mover::Orders(_)));
    let dated = |change: Change| {
        let told = stand.spot.and_then(|spot| scene.ledger.told_at(spot.0, change.place));
        told.map_or(change.at, |told| told.max(change.at))
    };
    if stand.why == Why::MaxOn {
        // Where a board dates nothing, a rest counts from when it was told.
        let ended = end.map(|end| if is_undated { dated(end) } else { end.at });
        return ended.is_some_and(|ended| now.since(ended) < definition.rest + SLACK);
    }
    let Some(within) = definition.max_starts.map(|starts| starts.within) else { return false };
    // A start is dated as late as it can have been when its report came, which may have been long under way. One that
    // was not ordered is dated before its end, and so is any where a board dates nothing.
    let started = start.map(dated).max(end.filter(|_| !was_ordered || is_undated).map(dated));
    let hides = |spot: &Spot| scene.stage.panels()[spot.0].board().faults().hides_changes;
    // What a lapse or a reset ended may have been started once more by orders on their way, and ended unseen.
    let is_unordered = end.is_some_and(|end| !matches!(end.mover, Mover::Orders(_)));
    let ordered = stand.spot.and_then(|spot| {
        let sent = scene.ledger.last_ordered(spot, runs)?;
        // Whether orders that a reset overtook did so shows only once the new boot is heard, and when never.
        let reset = scene.ledger.boot_heard(spot.0).filter(|reset| *reset >= sent.at);
        // Those that were not taken by then may still be, until others are. A controller that started between does not know
        // which were the last. Both may take the end for that of theirs.
        let told = end.filter(|_| is_unordered && hides(&spot)).map(dated).filter(|told| sent.at <= *told);
        let is_between = |told: &BootTime| scene.ledger.started().is_some_and(|at| sent.at <= at && at <= *told);
        let told = told.filter(|told| !sent.taken || is_between(told));
        reset.max(told).or_else(|| is_unordered.then_some(sent.at))
    });
    // Where a board counts no changes, a report that comes late looks as if the contact had gone and come back.
    let unseen = stand.spot.filter(hides).and_then(|spot| scene.ledger.unseen(spot));
    // What runs through a reset, as an NC contact lets it, may have lapsed before and been started once more.
    let through = stand.spot.and_then(|spot| scene.ledger.boot_heard(spot.0));
    let runs_at = |reset: &BootTime| start.zip(end).is_some_and(|(start, end)| start.at <= *reset && *reset < end.at);
    // Over a restart of the machine that nothing timed, protections start in full.
    let last = started.max(ordered).max(unseen).max(through.filter(runs_at)).max(scene.ledger.machine_began());
    last.is_some_and(|at| now.since(at) < within + SLACK)
}

/// Whether max on may keep a load off since a reset of its board, as it was last heard off for too short a time before. It may
/// have run until then, by a hand, and for how long its board had no power nothing tells.
fn is_unrested(scene: &Scene<'_>, stand: &Stand, definition: &Load, track: &Track) -> bool {
    let Some(((board, _), end)) = stand.spot.zip(track.turned(!definition.energised(State::On))) else { return false };
    let Some(reset) = scene.ledger.boot_heard(board) else { return false };
    let told = scene.ledger.told_at(board, end.place);
    let rested =
        told.zip(scene.ledger.heard_before(board, reset)).is_some_and(|(told, last)| told + definition.rest <= last);
    !rested && scene.stage.now().since(reset) < definition.rest + SLACK
}

/// Whether those that a load cannot shed leave no room for it.
fn is_full(scene: &Scene<'_>, stands: &[Stand], circuit: &Circuit, load: LoadId) -> bool {
    let house = scene.stage.house();
    let rank = |load: LoadId| circuit.shed.iter().position(|shed| *shed == load).unwrap_or(usize::MAX);
    let is_weaker = |other: LoadId| {
        let (own, slot) = (stands[load.index()].slot(), stands[other.index()].slot());
        stands[other.index()].says.is_some() && (slot > own || (slot == own && rank(other) < rank(load)))
    };
    let counted = circuit.loads.iter().filter(|other| **other != load && stands[other.index()].claims());
    let counted = counted.filter(|other| !is_weaker(**other) || has_just_moved(scene, &stands[other.index()]));
    let watts = |load: LoadId| house.load(load).power.map_or(0.0, |power| power.0);
    counted.map(|other| watts(*other)).sum::<f64>() + watts(load) > circuit.limit.0
}

/// Whether another member goes before a load, or has been open for too short a time.
fn is_taken(scene: &Scene<'_>, stands: &[Stand], interlock: &Interlock, load: LoadId) -> bool {
    let now = scene.stage.now();
    interlock.loads.iter().filter(|other| **other != load).any(|other| {
        let stand = &stands[other.index()];
        let opening = stand.spot.and_then(|spot| scene.ledger.contact(spot).opening);
        let is_near = opening.is_some_and(|opening| now.since(opening.at) < interlock.dead_time + SLACK);
        let min_on = scene.stage.house().load(*other).min_on;
        let closing = stand.spot.and_then(|spot| scene.ledger.contact(spot).closing);
        let dwells =
            stand.is == Some(State::On) && closing.is_some_and(|closing| now.since(closing.at) < min_on + SLACK);
        is_near || dwells || (stand.claims() && stand.slot() <= stands[load.index()].slot())
    })
}

fn has_just_moved(scene: &Scene<'_>, stand: &Stand) -> bool {
    let changed = stand.spot.and_then(|spot| scene.ledger.contact(spot).changed());
    changed.is_some_and(|changed| scene.stage.now().since(changed.at) < SLACK)
}
