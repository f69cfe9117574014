//! Debian's mosquitto on a free loopback port, with the faults a broker can have: killed, frozen, back on the same port.

use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::time::Duration;

use rustix::process::Signal;

use super::folder::Folder;
use super::process::{Deadline, Process, TEN_SECONDS, command, pause};

/// How the broker is set up.
#[derive(Clone, Debug, Default)]
pub struct BrokerOptions {
    /// Keeps retained messages and sessions on disk after every change, so that they survive a kill.
    pub persistence: bool,
    /// Lines added to its configuration. With `password_file` or `acl_file` among them, say `allow_anonymous false` too.
    pub extra: String,
}

/// A running mosquitto, ended when dropped.
pub struct Broker {
    // Ended first, since it may write its store at any time.
    process: Option<Process>,
    folder: Folder,
    port: u16,
}

impl Broker {
    /// Starts one without persistence that anybody may use.
    pub fn start() -> Broker {
        Broker::start_with(BrokerOptions { extra: "allow_anonymous true".to_owned(), ..BrokerOptions::default() })
    }

    /// Starts one that keeps retained messages and sessions over a kill.
    pub fn start_persistent() -> Broker {
        Broker::start_with(BrokerOptions { persistence: true, extra: "allow_anonymous true".to_owned() })
    }

    /// Starts one as told.
    pub fn start_with(options: BrokerOptions) -> Broker {
        // Another process may take the free port first: then mosquitto ends and the next port is tried.
        for _ in 0..5 {
            let folder = Folder::new();
            let port = free_port();
            folder.write("mosquitto.conf", &configuration(&options, port, &folder));
            let mut broker = Broker { folder, port, process: None };
            if broker.try_run() {
                return broker;
            }
        }
        panic!("mosquitto started on none of five free ports");
    }

    /// Starts mosquitto with a configuration file that is already there; it must listen on `port` of loopback.
    pub fn start_configured(folder: Folder, port: u16) -> Broker {
        let mut broker = Broker { folder, port, process: None };
        assert!(broker.try_run(), "mosquitto did not start with its configuration");
        broker
    }

    /// Where it listens on loopback.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// `mqtt://127.0.0.1:<port>`.
    pub fn url(&self) -> String {
        format!("mqtt://127.0.0.1:{}", self.port)
    }

    /// Has a persistent broker write its store now. It does so by itself only a moment after a change, so a test that
    /// counts on what was kept over a kill calls this first.
    pub fn save(&mut self) {
        let port = self.port;
        let process = self.process();
        process.signal(Signal::USR1);
        process.expect_line(|line| line.contains("Saving in-memory database"), TEN_SECONDS);
        // Its loop has one thread: when it takes a new connection, the store is written.
        assert!(accepts(port), "it listens");
        process.expect_line(|line| line.contains("New connection from"), TEN_SECONDS);
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        self.process = None;
    }

    /// Starts it again on the same port.
    pub fn restart(&mut self) {
        self.kill();
        assert!(self.try_run(), "mosquitto did not start again on port {}", self.port);
    }

    /// Freezes it: connections stay open and silent.
    pub fn freeze(&self) {
        self.running().freeze();
    }

    /// Lets it go on.
    pub fn thaw(&self) {
        self.running().thaw();
    }

    /// Its process, for its log lines.
    pub fn process(&mut self) -> &mut Process {
        self.process.as_mut().expect("it was killed and not started again")
    }

    fn running(&self) -> &Process {
        self.process.as_ref().expect("it was killed and not started again")
    }

    fn try_run(&mut self) -> bool {
        let configuration = self.folder.path("mosquitto.conf");
        let program = mosquitto_program();
        let mut process = Process::start("mosquitto", command(program).arg("-c").arg(configuration));
        let deadline = Deadline::after(TEN_SECONDS);
        while process.runs() && !deadline.passed() {
            if accepts(self.port) {
                self.process = Some(process);
                return true;
            }
            // Refused at once while it does not listen yet.
            pause();
        }
        eprintln!("mosquitto ended or does not listen:\n{}", process.transcript());
        false
    }
}

/// Waits until something accepts connections on this port of loopback. Panics after `patience`.
pub fn wait_until_listening(port: u16, patience: Duration) {
    let deadline = Deadline::after(patience);
    while !accepts(port) {
        assert!(!deadline.passed(), "nothing listens on port {port} after {patience:?}");
        pause();
    }
}

/// A port of loopback that was free a moment ago.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has a free port");
    listener.local_addr().expect("it is bound").port()
}

fn accepts(port: u16) -> bool {
    TcpStream::connect_timeout(&SocketAddr::from((Ipv4Addr::LOCALHOST, port)), Duration::from_secs(1)).is_ok()
}

fn configuration(options: &BrokerOptions, port: u16, folder: &Folder) -> String {
    // `user root` keeps root's test folder readable; mosquitto ignores it for anybody else.
    let mut text = format!(
        "listener {port} 127.0.0.1\nuser root\nset_tcp_nodelay true\nlog_dest stderr\nlog_type all\nconnection_messages true\n"
    );
    if options.persistence {
        let location = folder.path("");
        text += &format!(
            "persistence true\npersistence_location {}/\nautosave_interval 1\nautosave_on_changes true\n",
            location.display()
        );
    } else {
        text += "persistence false\n";
    }
    text + &options.extra + "\n"
}

/// Debian installs it in `/usr/sbin`, which is not on everybody's path.
fn mosquitto_program() -> PathBuf {
    let debian = PathBuf::from("/usr/sbin/mosquitto");
    if debian.exists() { debian } else { PathBuf::from("mosquitto") }
}
