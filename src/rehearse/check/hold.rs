//! I5: a hold's running time never exceeds what was said, across restart, step and DST. Whether an engine keeps it is asked of
//! the engine only once the time that was said is over.

use super::super::happening::{Happening, What};
use super::terms::{Said, Terms};
use super::{Checker, Scene, Tally};
use crate::engine::JournalEntry;
use crate::house::Term;

/// Watches holds.
#[derive(Debug, Default)]
pub struct HoldEnds(Terms);

impl Checker for HoldEnds {
    fn id(&self) -> &'static str {
        "I5"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        for ((load, began), how) in self.0.over(scene.stage) {
            if scene.stage.hold_of(&load).is_some_and(|hold| hold.began == began) {
                return Err(format!("load {load:?} has been held {how}"));
            }
            tally.count("hold over in time");
            self.0.end(&load, scene.stage.now());
        }
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Held(hold) => {
                // A hold may be over in the step that began it.
                if let Some(view) = scene.stage.hold_of(&hold.load) {
                    let wall = scene.stage.machine().now(seen.at).wall;
                    let by_clock = matches!(hold.term, Term::UntilClock(_) | Term::UntilSun(..));
                    let said = Said { span: Some(hold.span), end: by_clock.then(|| wall + hold.span) };
                    self.0.begin((hold.load.clone(), view.began), said, seen.at);
                }
            }
            What::Journal(row) => {
                if let JournalEntry::HoldEnded { load, why } = &row.entry {
                    tally.count(&format!("hold ended: {why:?}"));
                    self.0.end(load, seen.at);
                }
            }
            What::Stopped { .. } => self.0.stop(seen.at),
            What::Started { same_boot, .. } => {
                let house = scene.stage.engine().map(|engine| engine.house().clone());
                for load in house.iter().flat_map(|house| &house.loads) {
                    let Some(view) = scene.stage.hold_of(&load.name) else { continue };
                    if !self.0.resume((load.name.clone(), view.began), *same_boot, seen.at) {
                        return Err(format!(
                            "load {:?} came back from the store with a hold that nobody made",
                            load.name
                        ));
                    }
                    tally.count("hold kept over a restart");
                    if !same_boot {
                        tally.count("hold kept over a restart of the machine");
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }
}
