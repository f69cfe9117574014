//! A share of places for each address, so that one cannot take them all. It never remembers an address that has none.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// The places that are taken, by address.
#[derive(Clone)]
pub struct Places {
    most: usize,
    taken: Arc<Mutex<BTreeMap<IpAddr, usize>>>,
}

/// A place; given back when dropped.
pub struct Place {
    address: IpAddr,
    places: Places,
}

impl Places {
    /// So many at most for each address.
    pub fn new(most: usize) -> Places {
        Places { most, taken: Arc::default() }
    }

    /// A place for an address; `None` where it has all of its share.
    pub fn take(&self, address: IpAddr) -> Option<Place> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let count = taken.entry(address).or_default();
        if *count >= self.most {
            return None;
        }
        *count += 1;
        Some(Place { address, places: self.clone() })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.places.taken.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = taken.get_mut(&self.address) {
            *count -= 1;
            if *count == 0 {
                taken.remove(&self.address);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_has_its_share_and_gets_it_back() {
        let places = Places::new(2);
        let [one, other] = [1, 2].map(|last| IpAddr::from([192, 168, 1, last]));
        let (first, second) = (places.take(one), places.take(one));
        assert!(first.is_some() && second.is_some() && places.take(one).is_none());
        assert!(places.take(other).is_some());
        drop(first);
        assert!(places.take(one).is_some());
        drop(second);
        assert!(places.taken.lock().unwrap().is_empty(), "nothing is remembered");
    }
}
