//! What most houses do without: sensors that are calibrated, contacts at the ends of actuators, a board of other firmware, and
//! people who turn selectors and set setpoints. It never makes a house that `check` finds an error in.

use super::super::rng::Rng;
use super::draft::{Draft, DraftForeign};
use super::mix::{Kind, Mix};
use super::outputs::{add_rules, plain};
use super::text::FOREIGN;
use crate::units::Span;

/// Gives a house some of it, by chance.
pub fn add_rarities(rng: &mut Rng, draft: &mut Draft, mix: &mut Mix) {
    if rng.percent(50) {
        return;
    }
    if draft.has_modes {
        mix.every.push((Kind::Mode, Span::from_s(rng.between(60, 600))));
    }
    let measures = draft.sensors.iter_mut().filter(|sensor| sensor.follows.is_none());
    for sensor in measures {
        if rng.percent(40) {
            let scale = rng.one_of(&[1, 5, 20]) as f64 / 10.0;
            let sign = if rng.percent(25) { -1.0 } else { 1.0 };
            sensor.calibration = Some((sign * scale, rng.between(0, 120) as f64 - 60.0));
        }
    }
    for actuator in &mut draft.actuators {
        actuator.ends = [rng.percent(60), rng.percent(60)];
    }
    if rng.percent(40) {
        draft.foreign = rng.pick(&[DraftForeign::Mute, DraftForeign::Telling, DraftForeign::Leased]).copied();
        mix.every.push((Kind::Foreign, Span::from_s(rng.between(120, 1200))));
        for relay in 1..=2 {
            let load = plain(format!("{FOREIGN}-{relay}"), FOREIGN, relay);
            draft.loads.push(load.clone());
            add_rules(rng, draft, &load);
        }
    }
}
