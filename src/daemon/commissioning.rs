//! What a person needs to know of a board to try its relays one by one. It never orders anything: that is done by holds, so
//! that interlocks and protections gate it like any hand.

use super::keeper::Keeper;
use super::protocol::Response;
use super::requests::unknown;
use crate::engine::{Presence, rfc3339};
use crate::house::{BoardId, Drive, Kind, LoadId};
use crate::units::counted;

/// A board with its relays and what they drive.
pub fn board(keeper: &mut Keeper, name: &str) -> Response {
    let engine = keeper.look();
    let house = engine.house();
    let Some(found) = house.boards.iter().position(|board| board.name == name) else {
        return Response::refused(unknown("board", name, house.boards.iter().map(|board| board.name.as_str())));
    };
    let id = BoardId(found as u32);
    let board = house.board(id);
    let loads = house.loads.iter().enumerate().filter_map(|(number, load)| {
        let relay = load.relay().filter(|relay| relay.board == id)?;
        let explained = engine.explain(LoadId(number as u32));
        Some(serde_json::json!({
            "relay": house.relay_name(relay),
            "load": load.name,
            "label": load.label,
            "kind": format!("{:?}", load.kind).to_lowercase(),
            "hurt": is_hurt(load.kind),
            "pulsed": load.pulse.is_some(),
            "safe": load.safe,
            "wanted": explained.wanted,
            // What is only assumed is no report.
            "known": explained.known.filter(|_| !explained.assumed),
            "held": explained.hold.is_some(),
            "withdrawn": matches!(explained.cause, crate::engine::Cause::Withdrawn { .. }),
            "why": engine.account(LoadId(number as u32)),
        }))
    });
    let loads: Vec<serde_json::Value> = loads.collect();
    let actuators = house.loads.iter().filter_map(|load| {
        let Drive::Actuator(actuator) = load.drive else { return None };
        let actuator = house.actuator(actuator);
        (actuator.open.board == id || actuator.close.board == id).then(|| load.name.clone())
    });
    let data = serde_json::json!({
        "board": board.name,
        "now": rfc3339(engine.now().wall, &house.site.zone),
        "revision": keeper.revision(),
        "heard": engine.presence(id) == Presence::Present,
        "reports": !board.is_assumed(),
        "lease_s": board.lease.map(|lease| lease.whole_s()),
        "loads": loads,
        "actuators": actuators.collect::<Vec<_>>(),
    });
    Response::found(format!("board {} has {}", board.name, counted(loads.len(), "load")), data)
}

/// Whether a start of some seconds may harm it: what draws many times its current at a start, must not start again against
/// pressure, or wears with every start. Common practice.
const fn is_hurt(kind: Kind) -> bool {
    matches!(kind, Kind::Motor | Kind::Compressor | Kind::Fluorescent | Kind::Transformer)
}
