//! mode: what a selector or a setpoint is set to never lasts longer than was said, across restart, step and DST, and comes back
//! from the store only where somebody set it. As with holds, the time counts in which an engine keeps it.

use super::super::happening::{Happening, What};
use super::super::stage::Stage;
use super::terms::{Said, Terms};
use super::{Checker, Scene, Tally};
use crate::units::WallTime;

/// Watches selectors and setpoints.
#[derive(Debug, Default)]
pub struct Modes(Terms);

impl Checker for Modes {
    fn id(&self) -> &'static str {
        "mode"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        for ((name, began), how) in self.0.over(scene.stage) {
            if began_of(scene.stage, &name) == Some(began) {
                return Err(format!("{name:?} has been set {how}"));
            }
            tally.count("selectors and setpoints over in time");
            self.0.end(&name, scene.stage.now());
        }
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Set(set) => {
                tally.count("selectors and setpoints set");
                // It may be over in the step that began it.
                if let Some(began) = began_of(scene.stage, &set.name) {
                    self.0.begin((set.name.clone(), began), Said { span: set.span, end: set.end }, seen.at);
                }
            }
            What::Stopped { .. } => self.0.stop(seen.at),
            What::Started { same_boot, .. } => {
                for set in scene.stage.modes_set() {
                    if !self.0.resume((set.name.clone(), set.began), *same_boot, seen.at) {
                        return Err(format!("{:?} came back from the store as nobody set it", set.name));
                    }
                    tally.count("selectors and setpoints kept over a restart");
                }
            }
            _ => {}
        }
        Ok(())
    }
}

/// When what a selector or a setpoint is set to was set; `None` where it is as the file has it.
fn began_of(stage: &Stage, name: &str) -> Option<WallTime> {
    stage.modes_set().into_iter().find(|set| set.name == name).map(|set| set.began)
}
