//! What a step costs, and that the cost grows with what a reading touches and not with the house. It asserts nothing: it
//! prints times and ratios that were measured side by side in one run.
//!
//! `cargo bench --bench step`

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

use std::fmt::Write;
use std::sync::Arc;
use std::time::{Duration, Instant};

use jiff::tz::TimeZoneDatabase;
use standfast::engine::{Effect, Engine, Event, Now, Settings};
use standfast::house::{Atom, BoardId, House, SensorId};
use standfast::units::{BootTime, Finite, Span, WallTime};
use standfast::wire::{RelayReport, Report};

/// So many rules each reading touches.
const TOUCHED: usize = 4;
/// Steps in one measured run, and how often each house is measured; the fastest run counts, as noise only adds.
const STEPS: u64 = 20_000;
const ROUNDS: usize = 15;

/// A house of `rules` rules, four of them on each sensor, one load for each rule; a file for every board, as a file may
/// not grow without bound.
fn house_of(rules: usize) -> House {
    let site = String::from("[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n");
    let mut files = vec![("site.toml".to_owned(), site)];
    for board in 0..rules.div_ceil(16) {
        let mut text = format!("[board.b{board:04}]\nrelays = 16\n");
        for rule in board * 16..rules.min((board + 1) * 16) {
            let (relay, sensor) = (rule % 16 + 1, rule / TOUCHED);
            if rule % TOUCHED == 0 {
                let _ = writeln!(text, "[sensor.s{sensor:05}]\nreading = \"b{board:04}/t{sensor}\"\nunit = \"°C\"");
            }
            let _ = writeln!(text, "[load.l{rule:05}]\nrelay = \"b{board:04}/{relay}\"\nkind = \"resistive\"");
            let _ = writeln!(text, "[rule.r{rule:05}]\nload = \"l{rule:05}\"\ndemand = \"on\"");
            // Each rule asks for more kinds of things: alarms, the sun, a cycle, a rise, the load before.
            let more = match rule % TOUCHED {
                0 => "{ alarm = \"any\" }".to_owned(),
                1 => "{ all = [{ sun = \"<= -3\" }, { on_for = \"10m\", off_for = \"2h\" }] }".to_owned(),
                2 => format!("{{ sensor = \"s{sensor:05}\", rises = 1000, within = \"3m\", until_back_by = 3 }}"),
                _ => format!("{{ load = \"l{:05}\", is = \"on\" }}", rule - 1),
            };
            let threshold = format!("{{ sensor = \"s{sensor:05}\", cut_in = \">= 28\", cut_out = \"<= 26\" }}");
            let _ = writeln!(text, "while.any = [{threshold}, {more}]");
        }
        files.push((format!("b{board:04}.toml"), text));
    }
    read(&files)
}

fn read(files: &[(String, String)]) -> House {
    let (house, findings) = standfast::syntax::read(files, &TimeZoneDatabase::bundled());
    house.unwrap_or_else(|| panic!("the benchmark's house has errors: {findings:?}"))
}

/// The example house, from its files.
fn example_house() -> House {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("rules");
    let mut files: Vec<(String, String)> = std::fs::read_dir(folder)
        .expect("rules/ is there")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .map(|path| (path.display().to_string(), std::fs::read_to_string(&path).expect("a readable file")))
        .collect();
    files.sort();
    read(&files)
}

/// One house with its engine, all boards present, fed with readings of one sensor.
struct Subject {
    name: String,
    engine: Engine,
    now: Now,
    effects: Vec<Effect>,
    sensor: SensorId,
    best: [Duration; 2],
}

impl Subject {
    fn new(name: String, house: Arc<House>, sensor: SensorId) -> Subject {
        let now = Now { boot: BootTime(1_000_000), wall: WallTime(1_700_000_000_000), trusted: true };
        let mut engine = Engine::new(house.clone(), Settings { settle: Span::from_s(30) }, now);
        let mut effects = Vec::new();
        engine.step(now, Event::LinkUp, &mut effects);
        for (board, definition) in house.boards.iter().enumerate() {
            let released = RelayReport { energised: false, seconds: Some(9_999), changes: Some(1), hands: Some(0) };
            let relays = vec![released; usize::from(definition.relays)];
            let report = Report { boot: 1, beat: 1, taken: 0, relays };
            engine.step(now, Event::Report { board: BoardId(board as u32), report }, &mut effects);
        }
        Subject { name, engine, now, effects, sensor, best: [Duration::MAX; 2] }
    }

    /// Readings that cross nothing, and readings that turn every threshold on the sensor over and back.
    fn values(&self) -> [[Finite; 2]; 2] {
        let house = self.engine.house();
        let on_it = house.atoms.iter().filter_map(|atom| match atom {
            Atom::Threshold(threshold) if threshold.sensor == self.sensor => {
                let ends = self.engine.ends(threshold);
                Some([ends.cut_in, ends.cut_out])
            }
            _ => None,
        });
        let ends: Vec<f64> = on_it.flatten().collect();
        let low = ends.iter().copied().fold(f64::INFINITY, f64::min);
        let high = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if ends.is_empty() {
            [[number(1.0), number(1.5)]; 2]
        } else {
            [[number(low), number(low - 0.01)], [number(low), number(high)]]
        }
    }

    /// One measured run. Time moves by a millisecond in a hundred steps, so that no board is missed meanwhile.
    fn run(&mut self, which: usize) {
        let values = self.values()[which];
        let begun = Instant::now();
        for step in 0..STEPS {
            self.effects.clear();
            if step % 100 == 0 {
                self.now.boot = self.now.boot + Span(1);
                self.now.wall = self.now.wall + Span(1);
            }
            let reading = Event::Reading { sensor: self.sensor, value: values[(step % 2) as usize] };
            self.engine.step(self.now, reading, &mut self.effects);
        }
        self.best[which] = self.best[which].min(begun.elapsed());
    }

    fn per_step_ns(&self, which: usize) -> f64 {
        self.best[which].as_nanos() as f64 / STEPS as f64
    }
}

fn number(value: f64) -> Finite {
    Finite::new(value).expect("a finite number")
}

fn main() {
    let mut subjects: Vec<Subject> = [10, 100, 1_000, 10_000]
        .into_iter()
        .map(|rules| {
            let house = house_of(rules);
            let middle = SensorId(house.sensors.len() as u32 / 2);
            Subject::new(format!("{rules} rules"), Arc::new(house), middle)
        })
        .collect();
    let example = Arc::new(example_house());
    for (sensor, definition) in example.sensors.iter().enumerate() {
        let name = format!("example: {}", definition.name);
        subjects.push(Subject::new(name, example.clone(), SensorId(sensor as u32)));
    }
    // In turns, so that what disturbs the machine disturbs all alike.
    for _ in 0..ROUNDS {
        for subject in &mut subjects {
            subject.run(0);
            subject.run(1);
        }
    }
    let base = [subjects[0].per_step_ns(0), subjects[0].per_step_ns(1)];
    println!("{:<26} {:>20} {:>25}", "one reading of", "nothing turns", "its thresholds turn");
    for subject in &subjects {
        let [quiet, turning] = [subject.per_step_ns(0), subject.per_step_ns(1)];
        let (name, quiet_ratio, turning_ratio) = (&subject.name, quiet / base[0], turning / base[1]);
        println!("{name:<26} {quiet:>8.0} ns {quiet_ratio:>7.2}x {turning:>13.0} ns {turning_ratio:>7.2}x");
    }
}
