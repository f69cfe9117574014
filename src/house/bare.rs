//! Houses with next to nothing in them, for tests that read no text. It never stands for what a file would say.

use jiff::tz::TimeZone;

use super::{Board, BoardId, Drive, House, Kind, Load, Place, Relay, Site};
use crate::units::Span;

/// A house in which nothing stands.
pub(crate) fn house() -> House {
    let (zone_name, zone) = ("UTC".to_owned(), TimeZone::UTC);
    House {
        site: Site { latitude: 54.60, longitude: -3.14, zone_name, zone, stagger: Span::ZERO },
        boards: Vec::new(),
        sensors: Vec::new(),
        loads: Vec::new(),
        ports: Vec::new(),
        inputs: Vec::new(),
        rules: Vec::new(),
        conditions: Vec::new(),
        atoms: Vec::new(),
        interlocks: Vec::new(),
        circuits: Vec::new(),
        actuators: Vec::new(),
        rotations: Vec::new(),
        selectors: Vec::new(),
        setpoints: Vec::new(),
        files: Vec::new(),
    }
}

/// A board of so many relays, with a lease of 90 s.
pub(crate) fn board(name: &str, relays: u8) -> Board {
    Board {
        name: name.to_owned(),
        relays,
        lease: Some(Span::from_s(90)),
        coil: None,
        supply: None,
        endurance: None,
        replaced: Vec::new(),
        foreign: None,
    }
}

/// A lamp on a relay of the board of that index.
pub(crate) fn lamp(name: &str, board: u32, number: u8) -> Load {
    let relay = Relay { board: BoardId(board), number };
    Load::plain(name, Drive::Relay(relay), Kind::Lamp, Place::default())
}
