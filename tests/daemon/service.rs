//! What the service manager is told, by the protocol of sd_notify(3): datagrams on the socket named by `$NOTIFY_SOCKET`.

use std::os::unix::net::UnixDatagram;
use std::time::Duration;

use super::home::Home;
use super::support::{Broker, Standfast, TEN_SECONDS};

struct Manager {
    socket: UnixDatagram,
    seen: Vec<String>,
}

impl Manager {
    fn expect(&mut self, wanted: &str) -> String {
        let mut bytes = [0_u8; 4096];
        loop {
            let length = match self.socket.recv(&mut bytes) {
                Ok(length) => length,
                Err(error) => panic!("{wanted} was not said ({error}); said was: {:?}", self.seen),
            };
            let text = String::from_utf8_lossy(&bytes[..length]).into_owned();
            self.seen.push(text.clone());
            if text.lines().any(|line| line == wanted) {
                return text;
            }
        }
    }
}

#[test]
fn ready_alive_and_stopping() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let path = home.folder.path("notify");
    let socket = UnixDatagram::bind(&path).expect("bound");
    socket.set_read_timeout(Some(TEN_SECONDS)).expect("set");
    let mut manager = Manager { socket, seen: Vec::new() };
    let config = home.folder.path("standfast.toml").display().to_string();
    let watchdog = Duration::from_millis(400).as_micros().to_string();
    let environment = [("NOTIFY_SOCKET", path.as_os_str()), ("WATCHDOG_USEC", watchdog.as_ref())];
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
    let path = home.folder.path("notify");
    let socket = UnixDatagram::bind(&path).expect("bound");
    socket.set_read_timeout(Some(TEN_SECONDS)).expect("set");
    let config = home.folder.path("standfast.toml").display().to_string();
    let environment = [("NOTIFY_SOCKET", path.as_os_str())];
    let _daemon = Standfast::start_with(&["run", "--config", &config], &environment);
    Manager { socket, seen: Vec::new() }.expect("READY=1");
}
