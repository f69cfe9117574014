//! Telling the service manager how it goes, where there is one: sd_notify(3). It never fails: nobody may be listening.

use std::time::Duration;

use sd_notify::NotifyState;

/// Says that everything runs.
pub fn ready(status: &str) {
    notify(&[NotifyState::Ready, NotifyState::Status(status)]);
}

/// Says what is going on.
pub fn status(status: &str) {
    notify(&[NotifyState::Status(status)]);
}

/// Says that it is ending.
pub fn stopping() {
    notify(&[NotifyState::Stopping]);
}

/// Says that the loop still turns.
pub fn alive() {
    notify(&[NotifyState::Watchdog]);
}

/// How often [`alive`] has to be called: half of what the service manager allows. `None` where nobody watches.
pub fn watchdog_interval() -> Option<Duration> {
    sd_notify::watchdog_enabled().map(|allowed| allowed / 2)
}

fn notify(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::debug!("the service manager does not listen: {error}");
    }
}
