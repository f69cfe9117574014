//! The network between the daemon and the broker: half open, and stalled. The broker itself is well all the while.

use std::time::Duration;

use super::home::Home;
use super::support::{Broker, Proxy, TEN_SECONDS, Way};

const ON: [bool; 2] = [true, false];
const OFF: [bool; 2] = [false, false];
/// The daemon gives up a link that has not moved for 2 × 5 s + 5 s; the rest is room for a loaded machine.
const NOTICED_WITHIN: Duration = Duration::from_secs(30);

#[test]
fn a_network_that_is_half_open_is_noticed_at_both_ends_and_no_contact_changes() {
    let broker = Broker::start();
    let network = Proxy::start(broker.port());
    let home = Home::behind(network.port(), broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    let mut life = home.listen("standfast/controller");
    network.forget();
    // Neither end is told of anything. The broker waits for one and a half keep-alives (MQTT 5.0, 3.1.2-22) ...
    life.expect(|message| message.payload == "death", NOTICED_WITHIN);
    // ... and the daemon counts for itself, and finds no way through.
    daemon.expect_line(|line| line.contains("no broker: "), NOTICED_WITHIN);
    network.mend();
    daemon.expect_line(|line| line.contains("connected to the broker"), NOTICED_WITHIN);
    life.expect(|message| message.payload.starts_with("birth "), TEN_SECONDS);
    assert_eq!(board.report(), ON, "all within the lease");
    home.say("from/yard/reading/t1", "20");
    board.expect(OFF);
    assert!(daemon.runs(), "its own earlier session at the broker is nobody who takes over");
}

#[test]
fn what_waited_in_a_stalled_network_is_taken_in_order_once_it_comes() {
    let broker = Broker::start();
    let network = Proxy::start(broker.port());
    let home = Home::behind(network.port(), broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    network.stall(Way::ToClient);
    // The latest of these counts, and none of those before it shows in a contact.
    for reading in ["30", "20", "31", "19", "24"] {
        home.say("from/yard/reading/t1", reading);
    }
    home.say("hold/lamp", "on 2h");
    home.say("hold/lamp", "release");
    home.say("hold/lamp", "on 1h");
    network.release();
    board.expect([false, true]);
    assert_eq!(board.report(), [false, true]);
    assert!(!daemon.lines().iter().any(|line| line.text.contains("no broker")));
}
