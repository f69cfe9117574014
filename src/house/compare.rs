//! Two houses held against each other: what a person should confirm before the second runs. It never decides whether it may.

use std::fmt;

use super::model::{House, Load, Relay};

/// A change of a house that takes something away from a load.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Loss {
    /// The load is not there any more.
    Removed {
        /// The load.
        load: String,
        /// The relay that it hung on, `yard/3`; the two of an actuator, or those of a rotation's loads.
        relay: String,
    },
    /// The load hangs on another relay.
    Moved {
        /// The load.
        load: String,
        /// The relay that it hung on.
        from: String,
        /// The relay that it hangs on now.
        to: String,
    },
    /// The load's relay has the same name and is spoken to otherwise: perhaps it is another board by now.
    Readdressed {
        /// The load.
        load: String,
        /// Its relay.
        relay: String,
    },
    /// No load is left at all.
    Emptied,
}

impl fmt::Display for Loss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Loss::Removed { load, relay } => write!(f, "load \"{load}\" on {relay} is gone"),
            Loss::Moved { load, from, to } => write!(f, "load \"{load}\" moves from {from} to {to}"),
            Loss::Readdressed { load, relay } => write!(f, "load \"{load}\" on {relay} is spoken to otherwise"),
            Loss::Emptied => f.write_str("no load is left"),
        }
    }
}

/// What `after` takes away from `before`, in the order of names. A renamed load counts as gone: nothing tells that it is
/// the same.
pub fn losses(before: &House, after: &House) -> Vec<Loss> {
    if after.loads.is_empty() && !before.loads.is_empty() {
        return vec![Loss::Emptied];
    }
    before.loads.iter().filter_map(|load| loss(before, after, load)).collect()
}

fn loss(before: &House, after: &House, load: &Load) -> Option<Loss> {
    let from = relay_names(before, load);
    let Some(id) = after.load_named(&load.name) else {
        return Some(Loss::Removed { load: load.name.clone(), relay: from });
    };
    let to = relay_names(after, after.load(id));
    if from != to {
        return Some(Loss::Moved { load: load.name.clone(), from, to });
    }
    let otherwise = |relay: &Relay| {
        let board = before.board(relay.board);
        after.board_named(&board.name).is_some_and(|now| !board.speaks_like(after.board(now)))
    };
    let is_readdressed = before.relays_of(load).iter().any(otherwise);
    is_readdressed.then(|| Loss::Readdressed { load: load.name.clone(), relay: from })
}

/// `yard/3`, or `yard/5 and yard/6`.
fn relay_names(house: &House, load: &Load) -> String {
    let names: Vec<String> = house.relays_of(load).into_iter().map(|relay| house.relay_name(relay)).collect();
    names.join(" and ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::{Foreign, ForeignRelay, bare};
    use crate::units::Span;

    /// A house with a board for each name, sorted, and a load for each (name, index of its board, relay).
    fn house(boards: &[&str], loads: &[(&str, u32, u8)]) -> House {
        House {
            boards: boards.iter().map(|name| bare::board(name, 8)).collect(),
            loads: loads.iter().map(|(name, board, number)| bare::lamp(name, *board, *number)).collect(),
            ..bare::house()
        }
    }

    fn check(before: &House, after: &House, expected: &[&str]) {
        let found: Vec<String> = losses(before, after).iter().map(ToString::to_string).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn what_is_added_or_stays_is_no_loss() {
        let before = house(&["yard"], &[("fan", 0, 1), ("lamp", 0, 2)]);
        check(&before, &before, &[]);
        // A board before it in the alphabet changes the ids, not the relay.
        let after = house(&["attic", "yard"], &[("bell", 0, 1), ("fan", 1, 1), ("lamp", 1, 2)]);
        check(&before, &after, &[]);
        check(&house(&[], &[]), &before, &[]);
        check(&house(&[], &[]), &house(&[], &[]), &[]);
    }

    #[test]
    fn what_is_removed_renamed_or_moved_is_a_loss() {
        let before = house(&["attic", "yard"], &[("fan", 1, 1), ("lamp", 1, 2), ("pump", 1, 3)]);
        let after = house(&["attic", "yard"], &[("fan", 0, 1), ("light", 1, 2), ("pump", 1, 4)]);
        let expected = [
            "load \"fan\" moves from yard/1 to attic/1",
            "load \"lamp\" on yard/2 is gone",
            "load \"pump\" moves from yard/3 to yard/4",
        ];
        check(&before, &after, &expected);
    }

    #[test]
    fn a_relay_that_is_spoken_to_otherwise_is_a_loss() {
        let foreign = |topic: &str| Foreign {
            relays: vec![ForeignRelay {
                topic: topic.to_owned(),
                payloads: ["0".to_owned(), "1".to_owned()],
                report: None,
            }],
            acknowledged: true,
            retain: false,
            repeat: None,
            alive: None,
            ask: None,
            lost_after: None,
        };
        let with = |foreign: Option<Foreign>| {
            let mut house = house(&["shed"], &[("lamp", 0, 1)]);
            house.boards[0].foreign = foreign;
            house
        };
        let (before, other) = (with(Some(foreign("shed/a"))), with(Some(foreign("shed/b"))));
        let expected = ["load \"lamp\" on shed/1 is spoken to otherwise"];
        check(&before, &other, &expected);
        check(&with(None), &before, &expected);
        let mut repeats = foreign("shed/a");
        repeats.repeat = Some(Span::from_s(60));
        check(&before, &with(Some(repeats)), &[]);
    }

    #[test]
    fn an_emptied_house_is_one_loss() {
        check(&house(&["yard"], &[("fan", 0, 1), ("lamp", 0, 2)]), &house(&["yard"], &[]), &["no load is left"]);
    }
}
