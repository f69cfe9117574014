//! Which version of the house a start runs: the one on disk, or the one accepted last where the one on disk has errors or has
//! to wait for a person. What a running daemon would let wait, a crash or a stop and a start must not let through. It never
//! runs a house and never says that one was accepted.

use super::change::{named_losses, waits};
use super::config::Apply;
use super::source::{Faults, Source, Version};
use crate::engine::Engine;
use crate::house::House;
use crate::store::AcceptedHouse;

/// What a start runs.
pub struct First {
    /// Its files: path and text, in path order.
    pub files: Vec<(String, String)>,
    /// Its name.
    pub revision: String,
    /// The house.
    pub house: House,
    /// Its warnings, a line each.
    pub warnings: Vec<String>,
    /// Why it is not the one on disk, where it is not.
    pub instead: Option<Instead>,
}

/// Why the house on disk does not run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Instead {
    /// It has errors.
    Faulty(Faults),
    /// It waits for a person, in the words of the alarm about it.
    Waits(String),
}

impl First {
    fn of(version: Version, instead: Option<Instead>) -> Result<First, Faults> {
        let Version { files, revision, house, warnings, .. } = version;
        Ok(First { files, revision, house: house?, warnings, instead })
    }
}

/// Finds it. `remembered` makes the engine that goes on with a house from what is remembered; what a change would let go is
/// asked of that.
///
/// # Errors
/// The house on disk has errors, and none was accepted before that could run.
pub fn first(
    source: &Source,
    accepted: Option<AcceptedHouse>,
    remembered: impl FnOnce(House) -> Engine,
) -> Result<First, Faults> {
    let on_disk = source.read();
    let accepted = accepted.map(|accepted| source.accepted(accepted));
    let faults = on_disk.house.as_ref().err().cloned();
    // One that this version of Standfast finds fault with cannot stand in for another.
    let Some(accepted) = accepted.filter(|accepted| accepted.house.is_ok()) else {
        return First::of(on_disk, None);
    };
    let instead = match faults {
        Some(faults) => {
            let (revision, line) = (&accepted.revision, &faults.line);
            tracing::error!("the house has errors, so the one accepted last runs ({revision}): {line}");
            Some(Instead::Faulty(faults))
        }
        None => why_it_waits(source, &on_disk, &accepted, remembered).map(|why| {
            let text = waits(&on_disk.revision, &why);
            tracing::warn!("{text}; until then the house accepted last runs ({})", accepted.revision);
            Instead::Waits(text)
        }),
    };
    let version = if instead.is_some() { accepted } else { on_disk };
    First::of(version, instead)
}

/// Why the house on disk has to wait while the accepted one runs; nothing where it may run at once.
fn why_it_waits(
    source: &Source,
    on_disk: &Version,
    accepted: &Version,
    remembered: impl FnOnce(House) -> Engine,
) -> Option<String> {
    let (Ok(house), Ok(before)) = (&on_disk.house, &accepted.house) else { return None };
    if on_disk.files == accepted.files {
        return None;
    }
    if source.mode() == Apply::Command {
        return Some("apply = \"command\", so nothing else takes a change".to_owned());
    }
    named_losses(&remembered(before.clone()), house)
}
