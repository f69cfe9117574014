//! What can be wrong with a board: worn contacts, poor firmware, broken sensors. All switched off by default.

use std::collections::{BTreeMap, BTreeSet};

use super::setup::Flash;
use crate::wire::RelayReport;

/// Faults that a shell may switch on, one by one and at any time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// Relays whose armature does not follow the coil, by number from 1. The board cannot tell and reports the coil.
    pub relays: BTreeMap<u8, RelayFault>,
    /// Readings that are measured no more, by name.
    pub silent: BTreeSet<String>,
    /// Every press, code and contact is published twice.
    pub doubles_inputs: bool,
    /// Buttons always switch by themselves, leased or not; the hand count says so.
    pub buttons_always_switch: bool,
    /// Reports leave the seconds out.
    pub hides_seconds: bool,
    /// Reports leave the changes out.
    pub hides_changes: bool,
    /// Reports leave the hands out.
    pub hides_hands: bool,
    /// Reports speak of this many relays, whatever there are; 1 to 16.
    pub relays_reported: Option<u8>,
    /// Orders are counted as taken but not carried out.
    pub idles: bool,
    /// Leases never run out: what the lease is there to prevent.
    pub ignores_lease: bool,
    /// Orders that quote a beat older than their lease are taken, with a lease that runs from their arrival.
    pub ignores_age: bool,
    /// Orders for another boot are taken.
    pub ignores_boot: bool,
    /// Orders are taken whatever their number.
    pub ignores_number: bool,
    /// Nothing new gets into flash: [`super::Board::flash`] stays what this holds. Its boots repeat.
    pub flash_stuck_at: Option<Flash>,
}

/// What a relay's armature does instead of following its coil.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RelayFault {
    /// Its NO contact is welded: it stays as if energised.
    Welded,
    /// It stays as if not energised: a broken coil or driver.
    Dead,
}

impl Faults {
    /// A relay's report without the fields that are left out.
    pub(super) fn hide(&self, relay: RelayReport) -> RelayReport {
        RelayReport {
            energised: relay.energised,
            seconds: relay.seconds.filter(|_| !self.hides_seconds),
            changes: relay.changes.filter(|_| !self.hides_changes),
            hands: relay.hands.filter(|_| !self.hides_hands),
        }
    }
}
