//! What should happen, computed in the plainest way: one look at each row, or one at each second. It uses nothing of
//! Standfast.

/// Humidity in % at which the fan starts and stops.
pub const DAMP: (f64, f64) = (27.0, 26.5);

/// Light in lx at which the lamp goes on and off.
pub const DARK: (f64, f64) = (50.0, 200.0);

/// Delays and dwell of a load, in whole seconds.
#[derive(Clone, Copy, Debug)]
pub struct Durations {
    /// How long the condition must have been true.
    pub on_delay: u64,
    /// How long the demand goes on after it became false.
    pub off_delay: u64,
    /// Once on, on for at least this long.
    pub min_on: u64,
    /// Once off, off for at least this long.
    pub min_off: u64,
}

/// A threshold over all values: the row and the new state, wherever it changes; off before the first.
pub fn without_durations(
    values: impl Iterator<Item = f64>,
    is_in: impl Fn(f64) -> bool,
    is_out: impl Fn(f64) -> bool,
) -> Vec<(usize, bool)> {
    let (mut on, mut switches) = (false, Vec::new());
    for (row, value) in values.enumerate() {
        if (on && is_out(value)) || (!on && is_in(value)) {
            on = !on;
            switches.push((row, on));
        }
    }
    switches
}

/// The same with durations, second by second. `rows` is when which value came; the load has been off since second 0.
pub fn with_durations(
    rows: &[(u64, f64)],
    is_in: impl Fn(f64) -> bool,
    is_out: impl Fn(f64) -> bool,
    durations: Durations,
) -> Vec<(u64, bool)> {
    let (mut holds, mut since) = (false, 0);
    let (mut demanded, mut on, mut changed) = (false, false, 0);
    let (mut switches, mut next) = (Vec::new(), 0);
    for second in 0..=rows[rows.len() - 1].0 {
        while next < rows.len() && rows[next].0 == second {
            if (holds && is_out(rows[next].1)) || (!holds && is_in(rows[next].1)) {
                (holds, since) = (!holds, second);
            }
            next += 1;
        }
        if holds != demanded && second >= since + if holds { durations.on_delay } else { durations.off_delay } {
            demanded = holds;
        }
        if on != demanded && second >= changed + if on { durations.min_on } else { durations.min_off } {
            (on, changed) = (demanded, second);
            switches.push((second, on));
        }
    }
    switches
}

#[test]
fn both_computations_agree_without_durations() {
    let rows = super::data::read();
    let light: Vec<(u64, f64)> = rows.iter().map(|row| (row.second, row.light_lux())).collect();
    let none = Durations { on_delay: 0, off_delay: 0, min_on: 0, min_off: 0 };
    let (is_in, is_out) = (|value| value <= DARK.0, |value| value >= DARK.1);
    let by_row = without_durations(light.iter().map(|(_, value)| *value), is_in, is_out);
    let by_second: Vec<(u64, bool)> = by_row.iter().map(|(row, on)| (rows[*row].second, *on)).collect();
    assert_eq!(with_durations(&light, is_in, is_out, none), by_second);
}
