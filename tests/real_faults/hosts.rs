//! The board on another host: a network namespace with a link of its own to the broker's, which is unplugged, or too narrow
//! for what is sent so that packets wait and are dropped. Linux lets root alone make one; for anybody else these tests say
//! so and play nothing. `.ci/run` runs as root.

use std::sync::atomic::{AtomicU32, Ordering};

use super::scene::{LEASE, expect_heater, freeze_weather, furnish, run};
use super::support::{Broker, BrokerOptions, Folder, Process, Standfast, TEN_SECONDS, command, publish};

/// Hosts of one test binary have numbers of their own.
static HOSTS: AtomicU32 = AtomicU32::new(0);
/// The broker's port on that link, which is nobody else's.
const PORT: u16 = 1883;

/// A host at the other end of a link; both are gone when this is dropped.
struct Host {
    name: String,
    near: String,
    /// The first three numbers of both addresses; this end is 1, the other 2.
    net: String,
}

impl Host {
    /// `None` where this is not root.
    fn new() -> Option<Host> {
        if !rustix::process::geteuid().is_root() {
            eprintln!("not played: a network namespace needs root, and this is not root");
            return None;
        }
        let (pid, number) = (std::process::id(), HOSTS.fetch_add(1, Ordering::Relaxed));
        let net = format!("10.{}.{}", 200 + number % 50, pid % 256);
        let host = Host { name: format!("sf{pid}-{number}"), near: format!("sf{pid}n{number}"), net };
        let Host { name, near, net } = &host;
        let far = format!("sf{pid}f{number}");
        ip(&["netns", "add", name]);
        ip(&["link", "add", near, "type", "veth", "peer", "name", &far, "netns", name]);
        ip(&["address", "add", &format!("{net}.1/24"), "dev", near]);
        ip(&["link", "set", near, "up"]);
        ip(&["-n", name, "address", "add", &format!("{net}.2/24"), "dev", &far]);
        ip(&["-n", name, "link", "set", &far, "up"]);
        Some(host)
    }

    /// Starts a board there.
    fn board(&self, folder: &Folder) -> Process {
        let (house, url) = (folder.path("rules"), format!("mqtt://{}.1:{PORT}", self.net));
        let mut command = command("ip");
        command.args(["netns", "exec", &self.name, env!("CARGO_BIN_EXE_standfast"), "stand-in", "washhouse"]);
        command.arg("--house").arg(house).args(["--broker", &url]);
        command.env("NO_COLOR", "1");
        Process::start_typing("the board", &mut command)
    }

    fn unplug(&self) {
        ip(&["link", "set", &self.near, "down"]);
    }

    fn plug_in(&self) {
        ip(&["link", "set", &self.near, "up"]);
    }

    /// Lets no more than 4 kbit/s through to the board; of what waits more than 4 kB is dropped.
    fn narrow(&self) {
        call(
            "tc",
            &["qdisc", "add", "dev", &self.near, "root", "tbf", "rate", "4kbit", "burst", "1600", "limit", "4000"],
        );
    }

    /// So many packets were dropped on the narrow link.
    fn dropped(&self) -> u64 {
        let said = call("tc", &["-s", "qdisc", "show", "dev", &self.near]);
        let mut words = said.split_whitespace().skip_while(|word| !word.contains("dropped"));
        words.nth(1).and_then(|word| word.trim_end_matches(',').parse().ok()).unwrap_or_else(|| panic!("{said}"))
    }

    fn widen(&self) {
        call("tc", &["qdisc", "del", "dev", &self.near, "root"]);
    }
}

impl Drop for Host {
    fn drop(&mut self) {
        // Its end of the link goes with it, and so does the other.
        let _ = command("ip").args(["netns", "delete", &self.name]).status();
        let _ = command("ip").args(["link", "delete", &self.near]).stderr(std::process::Stdio::null()).status();
    }
}

fn ip(arguments: &[&str]) {
    call("ip", arguments);
}

fn call(program: &str, arguments: &[&str]) -> String {
    let output = command(program).args(arguments).output().unwrap_or_else(|error| panic!("{program}: {error}"));
    let why = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {why}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// A heater on a board on another host, on.
struct Scene {
    // Ended in this order: what stands on the host before the host.
    board: Process,
    daemon: Standfast,
    broker: Broker,
    _folder: Folder,
    host: Host,
}

impl Scene {
    fn new() -> Option<Scene> {
        let host = Host::new()?;
        let extra = format!("allow_anonymous true\nlistener {PORT} {}.1\n", host.net);
        let broker = Broker::start_with(BrokerOptions { extra, ..BrokerOptions::default() });
        let folder = furnish(&broker);
        let daemon = run(&folder);
        let board = host.board(&folder);
        let mut scene = Scene { board, daemon, broker, _folder: folder, host };
        freeze_weather(&mut scene.board);
        scene.expect_heater(true);
        Some(scene)
    }

    fn expect_heater(&mut self, on: bool) {
        expect_heater(&mut self.board, on);
    }
}

#[test]
fn a_board_on_another_host_whose_cable_is_pulled_falls_back_and_comes_back() {
    let Some(mut scene) = Scene::new() else { return };
    scene.host.unplug();
    scene.expect_heater(false);
    scene.daemon.expect_line(|line| line.contains("alarm board-washhouse"), LEASE + TEN_SECONDS);
    scene.host.plug_in();
    scene.daemon.expect_line(|line| line.contains("board washhouse is heard"), 6 * TEN_SECONDS);
    scene.expect_heater(true);
}

#[test]
fn a_link_that_delays_and_drops_what_is_sent_keeps_no_board_from_its_fallback_nor_from_coming_back() {
    let Some(mut scene) = Scene::new() else { return };
    scene.host.narrow();
    // More than goes through within many leases, before the orders in the same connection.
    let junk = "0123456789".repeat(100);
    for _ in 0..100 {
        publish(scene.broker.port(), "standfast/to/washhouse/orders", &junk);
    }
    scene.expect_heater(false);
    assert!(scene.host.dropped() > 0, "the link was wide enough");
    scene.host.widen();
    scene.expect_heater(true);
    scene.board.type_line("reading t1 9");
    scene.expect_heater(false);
    scene.board.type_line("reading t1 1.5");
    scene.expect_heater(true);
}
