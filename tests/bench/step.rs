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
use standfast::house::House;
use standfast::house::SensorId;
use standfast::units::{BootTime, Finite, Span, WallTime};

/// So many rules each reading touches.
const TOUCHED: usize = 4;
/// Steps in one measured run, and how often each house is measured; the fastest run counts, as noise only adds.
const STEPS: u64 = 20_000;
const ROUNDS: usize = 15;

/// A house of `rules` rules, four of them on each sensor, one load for each rule.
fn house_of(rules: usize) -> House {
    let mut text = String::from("[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n");
    for board in 0..rules.div_ceil(16) {
        let _ = writeln!(text, "[board.b{board:04}]\nrelays = 16");
    }
    for sensor in 0..rules.div_ceil(TOUCHED) {
        let board = sensor * TOUCHED / 16;
        let _ = writeln!(text, "[sensor.s{sensor:05}]\nreading = \"b{board:04}/t{sensor}\"\nunit = \"°C\"");
    }
    for rule in 0..rules {
        let (board, relay, sensor) = (rule / 16, rule % 16 + 1, rule / TOUCHED);
        let _ = writeln!(text, "[load.l{rule:05}]\nrelay = \"b{board:04}/{relay}\"\nkind = \"resistive\"");
        let _ = writeln!(text, "[rule.r{rule:05}]\nload = \"l{rule:05}\"\ndemand = \"on\"");
        let _ = writeln!(text, "while = {{ sensor = \"s{sensor:05}\", cut_in = \">= 28\", cut_out = \"<= 26\" }}");
    }
    read(&[("bench.toml".to_owned(), text)])
}

fn read(files: &[(String, String)]) -> House {
    let (house, findings) = standfast::syntax::read(files, TimeZoneDatabase::bundled());
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

/// One house with its engine, fed with readings of one sensor.
struct Subject {
    engine: Engine,
    now: Now,
    effects: Vec<Effect>,
    sensor: SensorId,
    best: [Duration; 2],
}

impl Subject {
    fn new(house: House) -> Subject {
        let now = Now { boot: BootTime(1_000_000), wall: WallTime(1_700_000_000_000), trusted: true };
        let sensor = SensorId(house.sensors.len() as u32 / 2);
        let mut engine = Engine::new(Arc::new(house), Settings { settle: Span::from_s(30) }, now);
        let mut effects = Vec::new();
        engine.step(now, Event::LinkUp, &mut effects);
        for sensor in 0..engine.house().sensors.len() {
            let reading = Event::Reading { sensor: SensorId(sensor as u32), value: celsius(20.0) };
            engine.step(now, reading, &mut effects);
        }
        Subject { engine, now, effects, sensor, best: [Duration::MAX; 2] }
    }

    /// Steps with readings that alternate between two values.
    fn run(&mut self, which: usize, values: [Finite; 2]) {
        let begun = Instant::now();
        for step in 0..STEPS {
            self.effects.clear();
            self.now.boot = self.now.boot + Span(10);
            self.now.wall = self.now.wall + Span(10);
            let reading = Event::Reading { sensor: self.sensor, value: values[(step % 2) as usize] };
            self.engine.step(self.now, reading, &mut self.effects);
        }
        self.best[which] = self.best[which].min(begun.elapsed());
    }

    fn per_step_ns(&self, which: usize) -> f64 {
        self.best[which].as_nanos() as f64 / STEPS as f64
    }
}

fn celsius(value: f64) -> Finite {
    Finite::new(value).expect("a finite number")
}

fn main() {
    let sizes = [10, 100, 1_000, 10_000];
    let mut subjects: Vec<(String, Subject)> =
        sizes.iter().map(|rules| (format!("{rules} rules"), Subject::new(house_of(*rules)))).collect();
    subjects.push(("example house".to_owned(), Subject::new(example_house())));
    // In turns, so that what disturbs the machine disturbs all alike.
    for _ in 0..ROUNDS {
        for (_, subject) in &mut subjects {
            subject.run(0, [celsius(20.0), celsius(20.5)]);
            subject.run(1, [celsius(25.0), celsius(29.0)]);
        }
    }
    let base = [subjects[0].1.per_step_ns(0), subjects[0].1.per_step_ns(1)];
    println!("{:<14} {:>22} {:>26}", "", "reading, nothing turns", "reading, four rules turn");
    for (name, subject) in &subjects {
        let [quiet, turning] = [subject.per_step_ns(0), subject.per_step_ns(1)];
        println!(
            "{name:<14} {quiet:>10.0} ns {:>7.2}x {turning:>14.0} ns {:>7.2}x",
            quiet / base[0],
            turning / base[1]
        );
    }
}
