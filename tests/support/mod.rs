//! What the integration tests stand on: a real broker, its command-line clients, the `standfast` binary. It never sleeps
//! for a guessed time: readiness is awaited, every wait is bounded, and what was started is ended by its own process id.
//!
//! ```ignore
//! let broker = Broker::start();
//! let mut orders = Subscriber::start(broker.port(), &["standfast/to/#"]);
//! let mut daemon = Standfast::start(&["run", "--config", folder.path("standfast.toml")]);
//! daemon.expect_line(|line| line.contains("connected"), TEN_SECONDS);
//! publish(broker.port(), "standfast/from/yard/reading/t1", "23.4");
//! orders.expect(|message| message.topic == "standfast/to/yard/orders", TEN_SECONDS);
//! ```
#![allow(dead_code, unused_imports, reason = "each test binary uses a part of it")]

mod broker;
mod clients;
mod folder;
mod git;
mod manager;
mod process;
mod proxy;
mod standfast;

pub use broker::{Broker, BrokerOptions, free_port, wait_until_listening};
pub use clients::{Message, Subscriber, publish, publish_retained, try_publish};
pub use folder::Folder;
pub use git::git;
pub use manager::Manager;
pub use process::{Deadline, Line, Process, Stream, TEN_SECONDS, command};
pub use proxy::{Proxy, Way};
pub use standfast::Standfast;
