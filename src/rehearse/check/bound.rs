//! How long a load may take to be what its array says, by its house. It judges nothing.

use super::super::stage::Stage;
use crate::units::Span;

/// The longest time between two readings of a sensor that works.
const READING_EVERY: Span = Span::from_s(25);

/// One lease plus running dwell, delays and stagger, and the settling after a start.
pub fn bound(stage: &Stage) -> Span {
    let house = stage.house();
    let longest = |spans: &mut dyn Iterator<Item = Span>| spans.max().unwrap_or(Span::ZERO);
    let lease = longest(&mut house.boards.iter().map(|board| board.lease.unwrap_or(Span::from_s(90))));
    let dwell = longest(&mut house.loads.iter().map(|load| load.min_on.max(load.min_off)));
    let delay = longest(&mut house.rules.iter().map(|rule| rule.on_delay.max(rule.off_delay)));
    let stagger = Span(house.site.stagger.0 * house.loads.len() as u64);
    // Whoever shares something waits for the others' dwell too, and for its turn.
    let dead_time = longest(&mut house.interlocks.iter().map(|interlock| interlock.dead_time));
    let turns = longest(&mut house.circuits.iter().map(|circuit| Span(circuit.stagger.0 * circuit.loads.len() as u64)));
    let is_shared = !house.interlocks.is_empty() || !house.circuits.is_empty();
    let dwells = if is_shared { dwell + dwell } else { dwell };
    // A median follows once most of its readings are new.
    let most = house.sensors.iter().map(|sensor| u64::from(sensor.median_of)).max().unwrap_or(1);
    let readings = Span(READING_EVERY.0 * (most - 1));
    // A run to an end after one that may have to be finished first; what other firmware missed is said again in time.
    let runs = longest(&mut house.actuators.iter().map(|one| (one.travel + one.margin + one.dead_time) + one.travel));
    let foreign = house.boards.iter().filter_map(|board| board.foreign.as_ref());
    let again = longest(&mut foreign.map(|one| {
        let ask = one.ask.as_ref().map_or(Span::ZERO, |ask| ask.every);
        one.repeat.unwrap_or(Span::ZERO) + ask + one.lost_after.unwrap_or(Span::ZERO)
    }));
    lease + runs + again + dwells + delay + stagger + dead_time + turns + readings + stage.settle() + Span::from_s(2)
}
