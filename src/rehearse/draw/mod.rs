//! What is drawn from a seed: houses, networks that misbehave, and scripts of faults and hands. It never judges what comes
//! of them.

pub(crate) mod act;
mod draft;
mod house;
mod mix;
mod outputs;
mod protect;
mod rare;
mod rare_act;
mod redraw;
mod rough;
mod script;
mod text;

pub use draft::{
    Compute, Draft, DraftActuator, DraftBoard, DraftCircuit, DraftCondition, DraftDerived, DraftForeign, DraftInput,
    DraftInterlock, DraftLoad, DraftRule, DraftSensor, Press,
};
pub use house::{Season, draw_house};
pub use mix::Mix;
pub use outputs::{add_conditions, add_outputs};
pub use protect::protect;
pub use rare::add_rarities;
pub use redraw::redraw;
pub use rough::Rough;
pub use script::Script;
