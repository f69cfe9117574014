//! The page in a real browser: Debian's chromium, driven over WebDriver, with a real daemon and a real broker, all on
//! loopback. It knows nothing of Standfast's code.

#![cfg(feature = "daemon")]

mod support;

#[path = "browser/colour.rs"]
mod colour;
#[path = "browser/driver.rs"]
mod driver;
#[allow(dead_code, reason = "it serves another binary too")]
#[path = "daemon/home.rs"]
mod home;
#[path = "browser/live.rs"]
mod live;
#[path = "browser/login.rs"]
mod login;
#[path = "browser/looks.rs"]
mod looks;
#[path = "browser/settings.rs"]
mod settings;
#[path = "browser/stranger.rs"]
mod stranger;
