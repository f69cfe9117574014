//! What is drawn from a seed: houses, networks that misbehave, and scripts of faults and hands. It never judges what comes
//! of them.

pub(crate) mod act;
mod draft;
mod house;
mod mix;
mod rough;
mod script;

pub use draft::{Draft, DraftBoard, DraftCondition, DraftInput, DraftLoad, DraftRule, DraftSensor, Press};
pub use house::{Season, draw_house, redraw};
pub use mix::Mix;
pub use rough::Rough;
pub use script::Script;
