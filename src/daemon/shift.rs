//! By how much this process sees the machine's clocks shifted: nothing but in tests, which can neither suspend the machine nor
//! set its clock. It never reads one.

use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};

use crate::units::Span;

static BOOT_MS: AtomicU64 = AtomicU64::new(0);
static WALL_MS: AtomicI64 = AtomicI64::new(0);

/// From now on this process sees both clocks that much later than before, the second perhaps earlier: as after a suspend
/// where both agree, as after the clock was set where the first is zero. What sleeps is woken by what comes next.
pub fn shift(boot: Span, wall_ms: i64) {
    BOOT_MS.fetch_add(boot.0, Ordering::Relaxed);
    WALL_MS.fetch_add(wall_ms, Ordering::Relaxed);
}

/// How far boot time is shifted.
pub(super) fn boot() -> Span {
    Span(BOOT_MS.load(Ordering::Relaxed))
}

/// How far wall time is shifted, in ms.
pub(super) fn wall_ms() -> i64 {
    WALL_MS.load(Ordering::Relaxed)
}
