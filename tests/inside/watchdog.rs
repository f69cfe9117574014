//! The loop that owns the engine hangs while all the rest of the process is well: no ping reaches the service manager any more,
//! which would start the daemon anew, and no board's lease is renewed. The pings come from that loop and from nowhere else.

use std::path::Path;
use std::time::Duration;

use standfast::engine::JournalEntry;

use super::home::Home;
use super::support::{Broker, Manager, Subscriber, TEN_SECONDS};
use super::{Listener, start};

/// Half of this is the pace of the pings.
const WATCHDOG: Duration = Duration::from_millis(400);
/// While the loop hangs nothing comes for so many pings.
const PINGS: u32 = 5;

/// Whoever hears the journal holds the loop up from the first hold on until a file is there.
pub fn inside(folder: &Path) -> Listener {
    let thaw = folder.join("thaw");
    let mut is_over = false;
    Box::new(move |entry| {
        if matches!(entry, JournalEntry::Held { .. }) && !std::mem::replace(&mut is_over, true) {
            println!("the loop hangs");
            while !thaw.exists() {
                std::thread::sleep(Duration::from_millis(5));
            }
        }
    })
}

pub fn a_loop_that_hangs_pings_nobody_and_renews_nothing() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut manager = Manager::listen(home.folder.path("notify"));
    let mut daemon = start(&home, "watchdog::a_loop_that_hangs_pings_nobody_and_renews_nothing", |command| {
        command.env("NOTIFY_SOCKET", manager.socket()).env("WATCHDOG_USEC", WATCHDOG.as_micros().to_string());
    });
    manager.expect("READY=1");
    let board = home.live_board();
    for _ in 0..3 {
        manager.expect("WATCHDOG=1");
    }
    let mut orders = Subscriber::start(broker.port(), &["standfast/to/yard/orders"]);
    home.say("hold/lamp", "on 1h");
    daemon.expect_line(|line| line == "the loop hangs", TEN_SECONDS);
    // What was said before it hung has been said by now.
    manager.has_heard("WATCHDOG=1");
    home.say("from/yard/report", &format!("{} 1000 {} off off", board.boot, board.taken));
    assert_eq!(manager.next(WATCHDOG / 2 * PINGS), None, "somebody else than the loop pings");
    while let Some(message) = orders.next(Duration::from_millis(1)) {
        assert!(!message.payload.contains(" 1000 "), "somebody else than the loop gives orders: {message:?}");
    }
    home.folder.write("thaw", "");
    manager.expect("WATCHDOG=1");
    orders.expect(|message| message.payload.contains(" 1000 "), TEN_SECONDS);
    daemon.terminate();
    assert!(daemon.expect_end(TEN_SECONDS).success());
}
