//! One seed played through: a house, a rough phase, a quiet phase, all checkers. It never prints; what broke is returned.

use std::collections::VecDeque;
use std::fmt;
use std::sync::Arc;

use super::check::converge::Converge;
use super::check::{Checker, Ledger, Scene, Tally, all};
use super::draw::act::read;
use super::draw::{Mix, Rough, Script, Season, add_conditions, add_outputs, add_rarities, draw_house, protect};
use super::happening::{Happening, Step, What};
use super::link::Calm;
use super::rng::Rng;
use super::stage::{Opening, Stage};
use super::weaken::Weakness;
use crate::board::Faults;
use crate::engine::Settings;
use crate::units::{BootTime, Span};

/// How many happenings are shown before what broke.
const RECENT: usize = 120;

/// Steps are recorded for so long, and then not for four times as long.
const RECORDED: Span = Span::from_min(3);

/// A seed to be played.
#[derive(Clone, Copy, Debug)]
pub struct Trial {
    /// The seed.
    pub seed: u64,
    /// A protection that is switched off.
    pub weakness: Option<Weakness>,
    /// Whether every step is kept, to be compared with another run's.
    pub keeps_steps: bool,
}

/// What came of a trial that went well.
#[derive(Debug)]
pub struct Played {
    /// What was reached, and how often.
    pub tally: Tally,
    /// Every step of the engine, where they were kept.
    pub steps: Vec<Step>,
}

/// An invariant that broke.
#[derive(Clone, Debug)]
pub struct Broken {
    /// The seed.
    pub seed: u64,
    /// Which invariant.
    pub id: &'static str,
    /// How.
    pub how: String,
    /// What happened last before it, one line each.
    pub recent: Vec<String>,
    /// The house of the trial, as text.
    pub house: String,
}

/// A trial under way.
struct Play {
    stage: Stage,
    script: Script,
    checkers: Vec<Box<dyn Checker>>,
    converge: Converge,
    ledger: Ledger,
    tally: Tally,
    recent: VecDeque<Happening>,
    steps: Vec<Step>,
    keeps_steps: bool,
}

/// What broke, before the seed is put to it.
type Verdict = Result<(), (&'static str, String)>;

impl Trial {
    /// A trial of a seed, with all protections on.
    pub fn new(seed: u64) -> Trial {
        Trial { seed, weakness: None, keeps_steps: false }
    }

    /// Plays it.
    ///
    /// # Errors
    /// The first invariant that broke.
    pub fn play(self) -> Result<Played, Box<Broken>> {
        let mut rng = Rng::new(self.seed);
        let season = Season::draw(&mut rng);
        let mut draft = draw_house(&mut rng, season);
        // A board needs a load to be worth a trial.
        while draft.loads.is_empty() {
            draft = draw_house(&mut rng, season);
        }
        let mut mix = Mix::draw(&mut rng);
        // A generator of its own leaves the rest of the story as it is without protections.
        let mut other = Rng::new(!self.seed);
        protect(&mut other, &mut draft);
        add_outputs(&mut Rng::new(self.seed.rotate_left(32)), &mut draft);
        add_conditions(&mut Rng::new(self.seed.rotate_left(16)), &mut draft);
        add_rarities(&mut Rng::new(self.seed.rotate_left(48)), &mut draft, &mut mix);
        if draft.rules.iter().any(|rule| rule.latches) {
            mix.reset_trips(&mut other);
        }
        let house = match read(&draft.files()) {
            Ok(house) => Arc::new(house),
            Err(why) => {
                let (how, house) = (why, draft.to_string());
                return Err(Box::new(Broken { seed: self.seed, id: "house", how, recent: Vec::new(), house }));
            }
        };
        let boards =
            house.boards.iter().filter(|board| board.foreign.is_none()).map(|_| draw_oddities(&mut rng)).collect();
        let settings = Settings { settle: Span::from_s(30) };
        let opening = Opening { house, wall: season.start(), settings, boards, weakness: self.weakness };
        let network = Rough::new(rng.fork(), mix.clone());
        let mut play = Play {
            stage: Stage::new(opening, Box::new(network)),
            script: Script::new(rng.fork(), season, mix.clone(), draft),
            checkers: all(),
            converge: Converge::default(),
            ledger: Ledger::default(),
            tally: Tally::default(),
            recent: VecDeque::new(),
            steps: Vec::new(),
            keeps_steps: self.keeps_steps,
        };
        if self.weakness.is_some_and(Weakness::disguises_reports) {
            play.checkers.retain(|checker| checker.id() != "I10");
        }
        match play.run(&mix) {
            Ok(()) => Ok(play.finish()),
            Err((id, how)) => Err(Box::new(play.broken(self.seed, id, how))),
        }
    }
}

/// What is odd about a board: its clock's rate in millionths, and its firmware.
fn draw_oddities(rng: &mut Rng) -> (i32, Faults) {
    let ppm = if rng.percent(50) { rng.between(0, 20_000) as i32 - 10_000 } else { 0 };
    let hides = rng.below(5);
    let faults = Faults {
        doubles_inputs: rng.percent(20),
        buttons_always_switch: rng.percent(20),
        // Without both of them nobody could tell when a contact changed.
        hides_seconds: hides == 0,
        hides_changes: hides == 1,
        hides_hands: rng.percent(15),
        ..Faults::default()
    };
    (ppm, faults)
}

impl Play {
    fn run(&mut self, mix: &Mix) -> Verdict {
        self.script.begin(&mut self.stage);
        self.judge()?;
        self.run_until(|play| (play.stage.now().0 >= mix.length.0).then_some(()))?;
        self.script.calm(&mut self.stage);
        self.stage.set_network(Box::new(Calm { delay: Span(5) }));
        self.judge()?;
        self.converge.begin(self.stage.now(), mix.late_max + mix.late_max);
        self.run_until(|play| {
            let ends = play.converge.ends(&play.stage)?;
            (play.stage.now() >= ends).then_some(())
        })
    }

    fn run_until(&mut self, is_over: impl Fn(&Play) -> Option<()>) -> Verdict {
        while is_over(self).is_none() {
            self.plan_record();
            let (own, due) = (self.stage.next_due(), self.script.next_due());
            let Some(next) = own.into_iter().chain(due).min() else { return Ok(()) };
            // Of what is due in the present millisecond, such as the end of a freeze, something has not happened yet.
            if next > self.stage.now() {
                self.stage.pass_to(BootTime(next.0 - 1));
                self.time_passes()?;
            }
            if due == Some(next) && own != Some(next) {
                self.script.perform(&mut self.stage);
            } else {
                self.stage.advance();
            }
            self.judge()?;
        }
        Ok(())
    }

    fn plan_record(&mut self) {
        let turn = self.stage.now().0 / RECORDED.0;
        self.stage.record_steps(self.keeps_steps || turn % 5 == 1);
    }

    /// All that had to happen before the next thing has happened.
    fn time_passes(&mut self) -> Verdict {
        let scene = Scene { stage: &self.stage, ledger: &self.ledger };
        for checker in &mut self.checkers {
            checker.time_passes(&scene, &mut self.tally).map_err(|how| (checker.id(), how))?;
        }
        self.converge.time_passes(&scene, &mut self.tally).map_err(|how| ("I12", how))
    }

    fn judge(&mut self) -> Verdict {
        let mut verdict = Ok(());
        for seen in self.stage.take_seen() {
            if verdict.is_ok() {
                verdict = self.judge_one(&seen);
            }
            match seen.what {
                What::Step(step) if self.keeps_steps => self.steps.push(*step),
                What::Step(_) => {}
                _ => {
                    if self.recent.len() == RECENT {
                        self.recent.pop_front();
                    }
                    self.recent.push_back(seen);
                }
            }
        }
        verdict
    }

    fn judge_one(&mut self, seen: &Happening) -> Verdict {
        self.ledger.note(seen, &self.stage);
        match &seen.what {
            What::House { taken } => self.tally.count(if *taken { "house taken" } else { "house refused" }),
            What::Lost { .. } => self.tally.count("message lost"),
            What::Linked { up: false } => self.tally.count("controller unlinked"),
            _ => {}
        }
        let scene = Scene { stage: &self.stage, ledger: &self.ledger };
        self.converge.see(seen, &scene);
        for checker in &mut self.checkers {
            checker.see(seen, &scene, &mut self.tally).map_err(|how| (checker.id(), how))?;
        }
        Ok(())
    }

    fn finish(mut self) -> Played {
        for (what, times) in self.script.counts() {
            self.tally.add(&what, times);
        }
        Played { tally: self.tally, steps: self.steps }
    }

    fn broken(self, seed: u64, id: &'static str, how: String) -> Broken {
        let recent = self.recent.iter().map(Happening::to_string).collect();
        Broken { seed, id, how, recent, house: self.script.draft().to_string() }
    }
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "seed {} breaks {}: {}", self.seed, self.id, self.how)?;
        writeln!(
            f,
            "\nThe house:\n\n{}\nThe last happenings before it, b0 being the first board by name:\n",
            self.house
        )?;
        self.recent.iter().try_for_each(|line| writeln!(f, "  {line}"))?;
        writeln!(
            f,
            "\nTo see it again:\n  STANDFAST_SEED={} STANDFAST_SEEDS=1 cargo test --release --test simulation",
            self.seed
        )
    }
}
