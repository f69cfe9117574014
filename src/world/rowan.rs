//! Rowan Cottage as physics: which load of the example house acts on which room, and which sensor sees it. It never knows
//! of rules: it is told which loads run.

mod sensors;

use sensors::{SENSORS, Sight};

use crate::house::{House, Relay, State};
use crate::units::{Span, WallTime};

use super::contacts::Seen;
use super::people;
use super::room::{Drive, Room};
use super::sump::Sump;
use super::weather::Weather;

/// Nothing changes faster than this in here: longer spans are cut into such steps.
const STEP: Span = Span::from_s(20);

/// A gap is cut into no more steps than this: a machine that slept for a week shall not compute for a minute.
const STEPS_MAX: u64 = 10_000;

/// What a running load does to a room.
struct Effect {
    load: &'static str,
    room: usize,
    heat_w: f64,
    airflow_m3_per_h: f64,
    moisture_g_per_h: f64,
}

const SUN_ROOM: usize = 0;
const HEN_HOUSE: usize = 1;
const WASH_HOUSE: usize = 2;
const BATHROOM: usize = 3;
const CELLAR: usize = 4;
const HOUSE: usize = 5;
const ROOMS: usize = 6;

/// What goes out through the roof vent of the sun room while it is wholly open, in m³/h.
const VENT_M3_PER_H: f64 = 120.0;
/// How much warmer the kitchen is than the rooms on the whole, in K.
const KITCHEN_K: f64 = 0.3;
/// How far an open window takes it towards the air outside, and how fast.
const AIRED_SHARE: f64 = 0.35;
const AIRED_WITHIN: Span = Span::from_min(3);

const fn heat(load: &'static str, room: usize, heat_w: f64) -> Effect {
    Effect { load, room, heat_w, airflow_m3_per_h: 0.0, moisture_g_per_h: 0.0 }
}

const fn air(load: &'static str, room: usize, airflow_m3_per_h: f64) -> Effect {
    Effect { load, room, heat_w: 0.0, airflow_m3_per_h, moisture_g_per_h: 0.0 }
}

/// The loads that the rooms feel. Lamps of a few watts warm nothing that a sensor sees.
const EFFECTS: [Effect; 11] = [
    air("sunroom-fan", SUN_ROOM, 300.0),
    heat("sunroom-heater", SUN_ROOM, 1200.0),
    heat("henhouse-lamp", HEN_HOUSE, 15.0),
    heat("henhouse-water-heater", HEN_HOUSE, 20.0),
    air("washhouse-extractor", WASH_HOUSE, 110.0),
    heat("washhouse-heater", WASH_HOUSE, 800.0),
    air("bath-extractor", BATHROOM, 70.0),
    air("cellar-flap", CELLAR, 20.0),
    air("cellar-fan", CELLAR, 100.0),
    heat("heating-pump", HOUSE, 5000.0),
    Effect {
        load: "cellar-dehumidifier",
        room: CELLAR,
        heat_w: 320.0,
        airflow_m3_per_h: 0.0,
        moisture_g_per_h: -650.0,
    },
];

/// The loads that the sump feels.
const SUMP_PUMPS: [&str; 2] = ["sump-pump-a", "sump-pump-b"];

/// The simulated house: weather, rooms and people at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct World {
    weather: Weather,
    rooms: [Room; ROOMS],
    sump: Sump,
    /// By how much an open window has cooled the kitchen below the other rooms, in K; at most 0.
    aired_k: f64,
    seen: Seen,
    now: WallTime,
}

impl World {
    /// Rowan Cottage at a position in degrees north and east, from `now` on. The seed makes the weather.
    pub fn rowan_cottage(latitude: f64, longitude: f64, now: WallTime, seed: u64) -> World {
        let weather = Weather::new(latitude, longitude, seed);
        let (outside_c, water) = (weather.temperature_c(now), weather.water_g_m3(now));
        let mut rooms = rooms();
        for room in &mut rooms {
            room.temperature_c = if room.neighbour_w_per_k > 0.0 { room.neighbour_c } else { outside_c + 3.0 };
            room.water_g_m3 = water;
        }
        // The cellar begins a little below what makes its machine start, so that soon something moves.
        rooms[CELLAR].water_g_m3 = 0.68 * super::saturation_water(rooms[CELLAR].temperature_c);
        rooms[HOUSE].temperature_c = 19.2;
        // And the sump will have to be pumped out before long.
        World { weather, rooms, sump: Sump::new(22.0), aired_k: 0.0, seen: Seen::at_rest(now), now }
    }

    /// The moment that the world is at.
    pub fn now(&self) -> WallTime {
        self.now
    }

    /// Lets time pass until `to`; `runs` says by name which loads are on meanwhile. A moment that is past changes nothing
    /// but the hour: clocks step, rooms do not.
    pub fn advance(&mut self, to: WallTime, runs: impl Fn(&str) -> bool) {
        let gap = u64::try_from(to.0.saturating_sub(self.now.0)).unwrap_or(0);
        let step = STEP.0.max(gap.div_ceil(STEPS_MAX));
        let mut left = gap;
        while left > 0 {
            let span = Span(left.min(step));
            left -= span.0;
            self.now = self.now + span;
            self.pass(span, &runs);
        }
        self.now = to;
    }

    /// What the board of a sensor of the example house sends, as coarse as such parts are, raw where the sensor is; none by
    /// another name.
    pub fn reading(&self, sensor: &str) -> Option<f64> {
        let at = SENSORS.binary_search_by(|(name, ..)| (*name).cmp(sensor)).ok()?;
        let (_, sight, sends) = SENSORS[at];
        Some(sends.of(self.see(sight)))
    }

    /// All sensors by name and what their boards send.
    pub fn readings(&self) -> impl Iterator<Item = (&'static str, f64)> {
        SENSORS.iter().map(|(name, sight, sends)| (*name, sends.of(self.see(*sight))))
    }

    /// All sensors by name and what there is to measure, in °C, %, lx, m/s, cm or A: what no board sends so exactly.
    pub fn quantities(&self) -> impl Iterator<Item = (&'static str, f64)> {
        SENSORS.iter().map(|(name, sight, _)| (*name, self.see(*sight)))
    }

    /// The armature of a relay moved. What turns over or travels from that moment on is told by it; for all else it is
    /// enough to know which loads run while time passes.
    pub fn relay_moved(&mut self, at: WallTime, house: &House, relay: Relay, energised: bool) {
        self.seen.relay_moved(at, house, relay, energised);
    }

    /// When something that travels reaches its end if nothing stops it, and a contact changes; `None` while all stands.
    pub fn arrives(&self) -> Option<WallTime> {
        self.seen.arrives(self.now)
    }

    /// All on/off contacts by input name and the state in which people or loads have left them.
    pub fn contacts(&self) -> impl Iterator<Item = (&'static str, State)> + use<> {
        people::contacts(self.now).chain(self.seen.contacts(self.now))
    }

    fn see(&self, sight: Sight) -> f64 {
        match sight {
            Sight::OutsideAir => self.weather.temperature_c(self.now),
            Sight::OutsideHumidity => {
                let (celsius, water) = (self.weather.temperature_c(self.now), self.weather.water_g_m3(self.now));
                super::relative_humidity(celsius, water).min(100.0)
            }
            Sight::OutsideLight => self.weather.illuminance_lx(self.now),
            Sight::SumpLevel => self.sump.level_cm(),
            Sight::SumpCurrent => self.sump.current_a(),
            Sight::Gust => self.weather.gust_m_s(self.now),
            Sight::Air(room) => self.rooms[room].temperature_c,
            Sight::Kitchen => self.rooms[HOUSE].temperature_c + KITCHEN_K + self.aired_k,
            Sight::AirAt(room, warmer_k) => self.rooms[room].temperature_c + warmer_k,
            Sight::Humidity(room) => self.rooms[room].humidity(),
        }
    }

    fn pass(&mut self, span: Span, runs: &impl Fn(&str) -> bool) {
        let outside = Drive {
            outside_c: self.weather.temperature_c(self.now),
            outside_water_g_m3: self.weather.water_g_m3(self.now),
            ..Drive::default()
        };
        let mut drives = [outside; ROOMS];
        let sun = self.weather.irradiance_w_m2(self.now);
        drives[SUN_ROOM].heat_w = 3.0 * sun;
        drives[SUN_ROOM].moisture_g_per_h = 60.0;
        drives[SUN_ROOM].airflow_m3_per_h = VENT_M3_PER_H * self.seen.vent_open(self.now);
        drives[HEN_HOUSE].heat_w = 60.0 + 0.1 * sun;
        drives[WASH_HOUSE].heat_w = 420.0 + 0.2 * sun;
        drives[WASH_HOUSE].moisture_g_per_h = 40.0 + people::washing_steam(self.now);
        drives[BATHROOM].moisture_g_per_h = 20.0 + people::bath_steam(self.now);
        drives[CELLAR].moisture_g_per_h = 260.0;
        drives[HOUSE].heat_w = 700.0 + 0.5 * sun;
        for effect in EFFECTS.iter().filter(|effect| runs(effect.load)) {
            let drive = &mut drives[effect.room];
            drive.heat_w += effect.heat_w;
            drive.airflow_m3_per_h += effect.airflow_m3_per_h;
            drive.moisture_g_per_h += effect.moisture_g_per_h;
        }
        for (room, drive) in self.rooms.iter_mut().zip(&drives) {
            room.advance(drive, span);
        }
        self.air_the_kitchen(outside.outside_c, span);
        self.seen.look(runs);
        let pumps = SUMP_PUMPS.iter().filter(|pump| runs(pump)).count();
        self.sump.advance(pumps as u8, span);
    }

    /// An open window takes the kitchen's air a part of the way to what is outside; its walls bring it back.
    fn air_the_kitchen(&mut self, outside_c: f64, span: Span) {
        let to = match people::kitchen_is_aired(self.now) {
            true => (AIRED_SHARE * (outside_c - self.rooms[HOUSE].temperature_c)).min(0.0),
            false => 0.0,
        };
        let span_ms = span.0 as f64;
        self.aired_k += (to - self.aired_k) * span_ms / (span_ms + AIRED_WITHIN.0 as f64);
    }
}

fn rooms() -> [Room; ROOMS] {
    let room = |capacity_kj, loss, neighbour: (f64, f64), moisture_m3, leak| Room {
        capacity_j_per_k: capacity_kj * 1000.0,
        loss_w_per_k: loss,
        neighbour_w_per_k: neighbour.0,
        neighbour_c: neighbour.1,
        moisture_m3,
        leak_m3_per_h: leak,
        temperature_c: 0.0,
        water_g_m3: 0.0,
    };
    [
        room(500.0, 80.0, (0.0, 0.0), 60.0, 30.0),
        room(150.0, 20.0, (0.0, 0.0), 20.0, 15.0),
        room(400.0, 38.0, (60.0, 18.0), 45.0, 20.0),
        room(400.0, 5.0, (40.0, 21.0), 24.0, 12.0),
        room(3000.0, 10.0, (60.0, 12.0), 160.0, 12.0),
        room(6000.0, 120.0, (0.0, 0.0), 400.0, 40.0),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-01-10T00:00Z.
    const JANUARY: WallTime = WallTime(1_768_003_200_000);

    fn world() -> World {
        World::rowan_cottage(54.60, -3.14, JANUARY, 1)
    }

    /// Runs a load by two thresholds on a sensor for some days; returns its starts and the readings' span after a day.
    fn regulate(load: &str, sensor: &str, high: bool, cut_in: f64, cut_out: f64) -> (u32, f64, f64) {
        let mut world = world();
        let (mut on, mut starts, mut low, mut top) = (false, 0, f64::INFINITY, f64::NEG_INFINITY);
        for minute in 1..3 * 24 * 60 {
            world.advance(JANUARY + Span::from_min(minute), |name| name == load && on);
            let value = world.reading(sensor).unwrap();
            let (beyond_in, beyond_out) =
                if high { (value >= cut_in, value <= cut_out) } else { (value <= cut_in, value >= cut_out) };
            if !on && beyond_in {
                (on, starts) = (true, starts + 1);
            } else if on && beyond_out {
                on = false;
            }
            if minute > 24 * 60 {
                (low, top) = (low.min(value), top.max(value));
            }
        }
        (starts, low, top)
    }

    #[test]
    fn the_dehumidifier_keeps_the_cellar_dry() {
        let (starts, low, top) = regulate("cellar-dehumidifier", "cellar-humidity", true, 70.0, 64.0);
        assert!(starts > 20 && low > 60.0 && top < 73.0, "{starts} starts, {low} to {top} %");
    }

    #[test]
    fn the_heater_keeps_the_sun_room_from_freezing() {
        let (starts, low, _) = regulate("sunroom-heater", "sunroom-air", false, 5.0, 6.5);
        assert!(starts > 5 && low > 3.5, "{starts} starts, {low} °C");
        let (_, cold, _) = regulate("no such load", "sunroom-air", false, 5.0, 6.5);
        assert!(cold < low);
    }

    #[test]
    fn the_extractor_clears_the_wash_house() {
        let (starts, _, _) = regulate("washhouse-extractor", "washhouse-humidity", true, 68.0, 60.0);
        assert!(starts > 20, "{starts} starts");
    }

    #[test]
    fn the_same_seed_is_the_same_house_bit_for_bit() {
        let run = || {
            let mut world = world();
            for minute in 1..600 {
                world.advance(JANUARY + Span::from_min(minute), |name| name.len() as u64 % 3 == minute % 3);
            }
            world
        };
        assert_eq!(run(), run());
    }

    #[test]
    fn time_that_goes_back_or_leaps_does_no_harm() {
        let mut world = world();
        let before = world.rooms.clone();
        world.advance(JANUARY - Span::from_h(5), |_| true);
        assert_eq!((world.now(), &world.rooms), (JANUARY - Span::from_h(5), &before));
        world.advance(WallTime(i64::MAX), |_| false);
        assert!(world.readings().all(|(_, value)| value.is_finite()));
    }

    #[test]
    fn every_sensor_is_found_by_its_name() {
        let world = world();
        assert_eq!((world.readings().count(), world.quantities().count()), (SENSORS.len(), SENSORS.len()));
        assert!(SENSORS.is_sorted_by_key(|(name, ..)| name));
        for (name, value) in world.readings() {
            assert_eq!(world.reading(name), Some(value));
        }
        assert_eq!(world.reading("no such sensor"), None);
    }
}
