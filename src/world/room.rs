//! A room as one lump of warmth and one of moisture, first order each. It never steps in small increments: between two
//! moments with the same drive the solution is exact.

use crate::units::Span;

use super::air::{relative_humidity, saturation_water};

/// Heat carried by air, in W/K for each m³/h: 1.2 kJ/(m³·K) over 3600 s.
const AIR_W_PER_K: f64 = 1200.0 / 3600.0;

/// A room: what it is made of, and its state.
#[derive(Clone, Debug, PartialEq)]
pub struct Room {
    /// Heat capacity in J/K, walls and things included.
    pub capacity_j_per_k: f64,
    /// Loss to outside in W/K, through the shell; what the air carries comes on top.
    pub loss_w_per_k: f64,
    /// Coupling in W/K to what keeps its temperature: the ground, the heated house.
    pub neighbour_w_per_k: f64,
    /// The neighbour's temperature in °C.
    pub neighbour_c: f64,
    /// The volume in m³ that moisture spreads over: larger than the room, because walls and cloth take part.
    pub moisture_m3: f64,
    /// Air exchanged with outside in m³/h while no fan runs; more than zero.
    pub leak_m3_per_h: f64,
    /// Now, in °C.
    pub temperature_c: f64,
    /// Now, in g of water for each m³.
    pub water_g_m3: f64,
}

/// What acts on a room over a span.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drive {
    /// Outside, in °C.
    pub outside_c: f64,
    /// Outside, in g of water for each m³.
    pub outside_water_g_m3: f64,
    /// Heat put in, in W: heaters, lamps, sun, people.
    pub heat_w: f64,
    /// Air that fans and flaps exchange with outside, in m³/h.
    pub airflow_m3_per_h: f64,
    /// Water put in, in g/h; negative when a machine takes it out.
    pub moisture_g_per_h: f64,
}

impl Room {
    /// Lets a span pass under one drive.
    pub fn advance(&mut self, drive: &Drive, span: Span) {
        let seconds = span.0 as f64 / 1000.0;
        let air = self.leak_m3_per_h + drive.airflow_m3_per_h;
        let to_outside = self.loss_w_per_k + air * AIR_W_PER_K;
        let coupling = to_outside + self.neighbour_w_per_k;
        let settled_c =
            (to_outside * drive.outside_c + self.neighbour_w_per_k * self.neighbour_c + drive.heat_w) / coupling;
        self.temperature_c = approach(self.temperature_c, settled_c, seconds * coupling / self.capacity_j_per_k);

        let settled_water = drive.outside_water_g_m3 + drive.moisture_g_per_h / air;
        let water = approach(self.water_g_m3, settled_water, seconds / 3600.0 * air / self.moisture_m3);
        // What air cannot hold runs down the walls.
        self.water_g_m3 = water.clamp(0.0, saturation_water(self.temperature_c));
    }

    /// Relative humidity now, in %.
    pub fn humidity(&self) -> f64 {
        relative_humidity(self.water_g_m3, self.temperature_c)
    }
}

/// Where a first-order quantity is after `spans` time constants.
fn approach(from: f64, to: f64, spans: f64) -> f64 {
    to + (from - to) * (-spans).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A room whose time constant is an hour and whose heater lifts it by 20 K, without neighbours.
    fn textbook() -> (Room, f64) {
        let leak_m3_per_h = 3.0;
        let loss_w_per_k = 50.0 - leak_m3_per_h * AIR_W_PER_K;
        let room = Room {
            capacity_j_per_k: 50.0 * 3600.0,
            loss_w_per_k,
            neighbour_w_per_k: 0.0,
            neighbour_c: 0.0,
            moisture_m3: 30.0,
            leak_m3_per_h,
            temperature_c: 10.0,
            water_g_m3: 5.0,
        };
        (room, 1000.0)
    }

    /// Cycles an hour of on/off control around 10 K above outside, with this differential in K.
    fn cycles_per_hour(differential: f64) -> f64 {
        let (mut room, heater_w) = textbook();
        let (mut on, mut starts) = (false, Vec::new());
        for step in 0..10 * 3600 * 10 {
            room.advance(&Drive { heat_w: if on { heater_w } else { 0.0 }, ..Drive::default() }, Span(100));
            if on && room.temperature_c >= 10.0 + differential / 2.0 {
                on = false;
            } else if !on && room.temperature_c <= 10.0 - differential / 2.0 {
                on = true;
                starts.push(f64::from(step) * 0.1);
            }
        }
        let (first, last) = (starts[0], starts[starts.len() - 1]);
        3600.0 * (starts.len() - 1) as f64 / (last - first)
    }

    fn check_cycles(differential: f64, expected: f64) {
        let got = cycles_per_hour(differential);
        assert!((got - expected).abs() < 0.01 * expected, "{differential} K: {got} cycles/h, not {expected}");
    }

    #[test]
    fn on_off_control_cycles_as_the_first_order_solution_says() {
        // Period τ·ln((K/2 + D/2)/(K/2 − D/2)) for each half; τ = 3600 s, K = 20 K, half duty. For small D that is
        // NEMA DC 3's N = 4·Nmax·X(1−X) with Nmax = K/(4·τ·D).
        check_cycles(0.5, 9.998);
        check_cycles(1.0, 4.996);
        check_cycles(2.0, 2.492);
    }

    #[test]
    fn one_time_constant_covers_63_percent() {
        let (mut room, heater_w) = textbook();
        room.temperature_c = 0.0;
        room.advance(&Drive { heat_w: heater_w, ..Drive::default() }, Span::from_h(1));
        assert!((room.temperature_c - 20.0 * (1.0 - (-1.0f64).exp())).abs() < 1e-9);
    }

    #[test]
    fn the_size_of_steps_does_not_matter() {
        let drive = Drive {
            outside_c: 4.0,
            outside_water_g_m3: 5.0,
            heat_w: 300.0,
            airflow_m3_per_h: 40.0,
            moisture_g_per_h: 90.0,
        };
        let (mut coarse, _) = textbook();
        let mut fine = coarse.clone();
        coarse.advance(&drive, Span::from_min(90));
        for _ in 0..5400 {
            fine.advance(&drive, Span::from_s(1));
        }
        assert!((coarse.temperature_c - fine.temperature_c).abs() < 1e-6);
        assert!((coarse.water_g_m3 - fine.water_g_m3).abs() < 1e-6);
    }

    #[test]
    fn moisture_settles_where_in_equals_out() {
        let (mut room, _) = textbook();
        room.temperature_c = 20.0;
        room.neighbour_w_per_k = 1e6;
        room.neighbour_c = 20.0;
        let drive = Drive { outside_water_g_m3: 5.0, moisture_g_per_h: 12.0, ..Drive::default() };
        room.advance(&drive, Span::from_h(1000));
        assert!((room.water_g_m3 - 9.0).abs() < 1e-6, "{}", room.water_g_m3);
        room.advance(&Drive { moisture_g_per_h: 1e6, ..drive }, Span::from_h(10));
        assert!((room.humidity() - 100.0).abs() < 1e-9);
    }
}
