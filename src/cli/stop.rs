//! The signals by which a person ends a command that goes on by itself: Ctrl-C, an end from elsewhere, a terminal that is closed.
//! It never ends anything by itself.

use tokio::signal::unix::{Signal, SignalKind, signal};

/// Listens for them from when it is made, within a runtime.
pub struct Stop {
    interrupt: Signal,
    terminate: Signal,
    hang_up: Signal,
}

impl Stop {
    /// Listens from now on.
    ///
    /// # Errors
    /// When the system does not let it.
    pub fn new() -> std::io::Result<Stop> {
        Ok(Stop {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }

    /// Waits until one of them has come.
    pub async fn asked(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
            _ = self.hang_up.recv() => {}
        }
    }
}
