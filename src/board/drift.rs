//! A board's own clock against true time, for shells that simulate boards whose quartz runs fast or slow.

use crate::units::BootTime;

/// A clock that started at some true time and runs fast or slow since.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Drift {
    /// True time at which the board's clock showed zero.
    pub zero: BootTime,
    /// How much faster it runs than true time, in millionths; at most a million either way counts.
    pub ppm: i32,
}

impl Drift {
    /// What the board's clock shows at a true time.
    pub fn board_time(self, true_time: BootTime) -> BootTime {
        let passed = u128::from(true_time.0.saturating_sub(self.zero.0));
        BootTime(clamp(passed * self.rate() / 1_000_000))
    }

    /// The first true time, in whole milliseconds, at which the board's clock shows at least this.
    pub fn true_time(self, board_time: BootTime) -> BootTime {
        let passed = (u128::from(board_time.0) * 1_000_000).div_ceil(self.rate());
        BootTime(clamp(passed).saturating_add(self.zero.0))
    }

    fn rate(self) -> u128 {
        u128::from((1_000_000 + i64::from(self.ppm)).clamp(1, 2_000_000).unsigned_abs())
    }
}

fn clamp(ms: u128) -> u64 {
    u64::try_from(ms).unwrap_or(u64::MAX)
}
