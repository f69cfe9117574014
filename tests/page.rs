//! The page and its API as a person's browser, a program and an attacker meet them: a real daemon, real HTTP, against
//! mosquitto. It knows nothing of Standfast's code.

#![cfg(feature = "daemon")]

mod support;

#[path = "page/api.rs"]
mod api;
#[path = "page/client.rs"]
mod client;
#[path = "page/counted.rs"]
mod counted;
#[path = "page/fuzz.rs"]
mod fuzz;
#[path = "page/guards.rs"]
mod guards;
#[path = "page/hands.rs"]
mod hands;
#[allow(dead_code, reason = "it serves another binary too")]
#[path = "daemon/home.rs"]
mod home;
#[path = "page/live.rs"]
mod live;
#[path = "page/login.rs"]
mod login;
#[path = "page/markup.rs"]
mod markup;
#[path = "page/shown.rs"]
mod shown;
