//! I1: two members of an interlock are never closed together nor within the dead time, except by hands at the board and by a
//! weld. A hand excuses only what was ordered before the controller was told of it: one that closed the other contact, and one
//! that opened this one, which was to stay closed. Orders for a board that was exchanged since excuse what the new one does: in
//! a boot of the same number, at a beat of the same number, it cannot know that they are old.
//!
//! Beyond that: what no orders closed (a lapse, the fallback, power that comes back), two that were ordered before the house
//! interlocked them, and a relay whose board still has the fallback of an earlier house.

use std::collections::BTreeMap;

use super::super::happening::{Happening, Mover, What};
use super::known::Known;
use super::ledger::{Sent, Spot, Track, spot_of};
use super::{Checker, Scene, Tally};
use crate::board::RelayFault;
use crate::units::{BootTime, Span};

/// Watches every contact behind an interlock.
#[derive(Debug, Default)]
pub struct Interlocks {
    /// Two members, either way round, with the dead time between them in ms.
    pairs: Known<(Spot, Spot, u64)>,
    /// By relay, the places of the last closing of its contact that a hand ended, and of that hand.
    ended: BTreeMap<Spot, (u64, u64)>,
}

impl Checker for Interlocks {
    fn id(&self) -> &'static str {
        "I1"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        self.pairs.follow(seen, || pairs(scene));
        let What::Contact { board, relay, energised, mover } = &seen.what else { return Ok(()) };
        let spot = (*board, *relay);
        if !energised {
            let closing = scene.ledger.contact(spot).closing.filter(|_| *mover == Mover::Hand);
            self.ended.extend(closing.map(|closing| (spot, (closing.place, seen.place))));
            return Ok(());
        }
        let others = self.pairs.iter().filter(|((one, ..), _)| *one == spot);
        for ((_, other, dead_time), (_, since)) in others {
            tally.count("contacts that closed behind an interlock");
            let track = scene.ledger.contact(*other);
            let opened = track.opening.map(|opening| seen.at.since(opening.at));
            let is_near = opened.is_some_and(|opened| opened < Span(*dead_time));
            if !track.closed && !is_near {
                tally.count("contacts that closed once the other was open for long enough");
                continue;
            }
            let Mover::Orders(number) = mover else {
                tally.count("I1 excused by what closed it");
                continue;
            };
            let Some(sent) = scene.ledger.orders(*board, *number) else { continue };
            // One of the two opened before the house interlocked them, while the other was on: it closes anew after a lapse.
            if !track.closed && track.opening.is_some_and(|opening| opening.place < *since) {
                continue;
            }
            // Two that were ordered before the house interlocked them.
            let other_sent = track.closing.and_then(|closing| scene.ledger.sent_for(*other, closing));
            if sent.place.max(other_sent.map_or(0, |sent| sent.place)) < *since {
                continue;
            }
            if scene.ledger.is_for_former(*board, sent) {
                tally.count("I1 excused by orders for a board that was exchanged since");
                continue;
            }
            let is_ended = |(closing, opening): &(u64, u64)| {
                scene.ledger.knew(*board, *closing, sent.place) && !scene.ledger.knew(*board, *opening, sent.place)
            };
            if self.ended.get(&spot).is_some_and(is_ended) {
                tally.count("I1 excused by a hand that opened what was to stay closed");
                continue;
            }
            if let Some(excuse) = excuse(*other, &track, sent, scene) {
                tally.count(&format!("I1 excused by {excuse}"));
                continue;
            }
            return Err(told(spot, *other, &track, sent, seen.at));
        }
        Ok(())
    }
}

fn told(spot: Spot, other: Spot, track: &Track, sent: &Sent, at: BootTime) -> String {
    let name = |(board, relay): Spot| format!("b{board}/{relay}");
    let how = match track.opening.filter(|_| !track.closed) {
        Some(opening) => format!("{} after {} opened", at.since(opening.at), name(other)),
        None => format!("while {} is closed ({:?})", name(other), track.closing),
    };
    format!("{} was closed by orders {}, sent at {}, {how}", name(spot), sent.orders.number, sent.at.0)
}

fn excuse(other: Spot, track: &Track, sent: &Sent, scene: &Scene<'_>) -> Option<&'static str> {
    let was_welded = !track.closed && track.opening.is_some_and(|opening| opening.mover == Mover::Fault);
    if track.fault == Some(RelayFault::Welded) || was_welded {
        return Some("a weld");
    }
    let is_replaced = !track.closed && track.opening.is_some_and(|opening| opening.mover == Mover::Fallback);
    if is_replaced || scene.falls_back_otherwise(other) {
        return Some("a fallback of before that had not been replaced yet");
    }
    // What is mended follows what moved its coil before.
    let closing = track.closing?;
    let coil = track.unfollowed[1].filter(|coil| closing.mover == Mover::Fault && coil.place < closing.place);
    let closing = coil.unwrap_or(closing);
    let was_told = scene.ledger.knew(other.0, closing.place, sent.place);
    if closing.mover == Mover::Lapse && !was_told && scene.keeps_another_fallback(other) {
        return Some("a fallback of before that had not been replaced yet");
    }
    // What a hand at the board had switched closes once its relay is mended.
    let is_hands = closing.mover == Mover::Hand || (closing.mover == Mover::Fault && track.by_hand);
    (is_hands && !was_told).then_some("a hand at the board")
}

fn pairs(scene: &Scene<'_>) -> Vec<(Spot, Spot, u64)> {
    let house = scene.stage.house();
    let mut pairs = Vec::new();
    for interlock in &house.interlocks {
        let members = interlock.loads.iter().filter_map(|load| spot_of(scene.stage, house, house.load(*load)));
        let members: Vec<Spot> = members.collect();
        for one in &members {
            pairs.extend(
                members.iter().filter(|other| *other != one).map(|other| (*one, *other, interlock.dead_time.0)),
            );
        }
    }
    pairs
}
