//! How often a password may be tried from one address. It never locks anybody out for long, and never remembers more than so
//! many addresses.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

use crate::units::{BootTime, Span};

/// So many tries at once.
const TRIES: u64 = 5;
/// After those, one in this time.
const PACE: Span = Span::from_s(10);
/// So many addresses are remembered. Whoever has more shares what is left.
const ADDRESSES: usize = 1024;

/// When each address will have all of its tries again.
#[derive(Default)]
pub struct Attempts(Mutex<BTreeMap<Option<IpAddr>, BootTime>>);

impl Attempts {
    /// Takes one try of an address.
    ///
    /// # Errors
    /// How long to wait, where it has none left.
    pub fn take(&self, address: IpAddr, now: BootTime) -> Result<(), Span> {
        let mut whole = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        whole.retain(|_, at| *at > now);
        let key = if whole.len() < ADDRESSES || whole.contains_key(&Some(address)) { Some(address) } else { None };
        let at = whole.get(&key).copied().unwrap_or(now).max(now);
        let used = at.since(now);
        let most = Span(PACE.0 * (TRIES - 1));
        if used > most {
            return Err(Span(used.0 - most.0));
        }
        whole.insert(key, at + PACE);
        Ok(())
    }

    /// Gives all tries back to an address whose try was right.
    pub fn forgive(&self, address: IpAddr) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&Some(address));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(number: u32) -> IpAddr {
        IpAddr::from(number.to_be_bytes())
    }

    #[test]
    fn five_at_once_and_then_one_in_ten_seconds() {
        let attempts = Attempts::default();
        let now = BootTime(1_000_000);
        for _ in 0..5 {
            assert_eq!(attempts.take(address(1), now), Ok(()));
        }
        assert_eq!(attempts.take(address(1), now), Err(Span::from_s(10)));
        assert_eq!(attempts.take(address(2), now), Ok(()), "another address");
        assert_eq!(attempts.take(address(1), now + Span::from_s(10)), Ok(()));
        assert!(attempts.take(address(1), now + Span::from_s(10)).is_err());
        attempts.forgive(address(1));
        assert_eq!(attempts.take(address(1), now + Span::from_s(10)), Ok(()));
    }

    #[test]
    fn no_more_addresses_are_remembered_than_is_promised() {
        let attempts = Attempts::default();
        let now = BootTime(1_000_000);
        let refused = (0..5000).filter(|number| attempts.take(address(*number), now).is_err()).count();
        assert!(attempts.0.lock().unwrap().len() <= ADDRESSES + 1);
        // The rest share five tries.
        assert_eq!(refused, 5000 - ADDRESSES - 5);
        assert_eq!(attempts.take(address(9000), now + Span::from_h(1)), Ok(()));
    }
}
