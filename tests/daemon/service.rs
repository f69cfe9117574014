//! What the service manager is told, by the protocol of sd_notify(3): datagrams on the socket named by `$NOTIFY_SOCKET`.

use std::time::Duration;

use super::home::Home;
use super::support::{Broker, Manager, Proxy, Standfast, TEN_SECONDS, Way};

#[test]
fn ready_alive_and_stopping() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut manager = Manager::listen(home.folder.path("notify"));
    let config = home.folder.path("standfast.toml").display().to_string();
    let watchdog = Duration::from_millis(400).as_micros().to_string();
    let environment = [("NOTIFY_SOCKET", manager.socket()), ("WATCHDOG_USEC", watchdog.as_ref())];
    let mut daemon = Standfast::start_with(&["run", "--config", &config], &environment);
    let ready = manager.expect("READY=1");
    assert!(ready.contains("STATUS=house ") && ready.contains("2 loads"), "{ready}");
    for _ in 0..3 {
        manager.expect("WATCHDOG=1");
    }
    daemon.terminate();
    manager.expect("STOPPING=1");
    assert_eq!(daemon.expect_end(TEN_SECONDS).code(), Some(0));
}

#[test]
fn a_broker_that_is_away_keeps_nobody_from_being_ready() {
    let home = Home::on_save(1);
    let mut manager = Manager::listen(home.folder.path("notify"));
    let _daemon = start(&home, &manager);
    let ready = manager.expect("READY=1");
    assert!(ready.contains(", no broker"), "{ready}");
}

#[test]
fn ready_is_who_is_subscribed_and_neither_sensors_nor_settling_are_waited_for() {
    let broker = Broker::start();
    let network = Proxy::start(broker.port());
    let home = Home::behind(network.port(), broker.port());
    let server = home.folder.read("standfast.toml").replace("settle = \"0s\"", "settle = \"10m\"");
    home.folder.write("standfast.toml", &server);
    let mut manager = Manager::listen(home.folder.path("notify"));
    // What the broker answers to the subscriptions does not come.
    network.stall(Way::ToClient);
    let mut daemon = start(&home, &manager);
    daemon.expect_line(|line| line.contains("2 loads"), TEN_SECONDS);
    let status = home.ask(&["status"]).out;
    assert!(status.contains("no broker") && status.contains("board yard: not heard yet"), "{status}");
    assert!(!manager.has_heard("READY=1"), "nothing is heard yet: {manager:?}");
    let mut loads = home.listen("standfast/load/lamp");
    network.release();
    let ready = manager.expect("READY=1");
    assert!(!ready.contains("no broker"), "{ready}");
    // From here on what is said is heard: nothing keeps it for those who come later.
    home.say("hold/lamp", "on 1h");
    loads.expect(|message| message.payload.contains("\"hold\":{"), TEN_SECONDS);
    assert!(home.ask(&["status"]).out.contains("board yard: not heard yet"));
}

fn start(home: &Home, manager: &Manager) -> Standfast {
    let config = home.folder.path("standfast.toml").display().to_string();
    Standfast::start_with(&["run", "--config", &config], &[("NOTIFY_SOCKET", manager.socket())])
}
