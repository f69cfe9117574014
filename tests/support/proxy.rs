//! A network of our own between a client and the broker: it can stall, so that bytes wait and come late, and it can forget
//! its connections, so that they stay open at both ends and carry nothing. It never alters a byte, and no byte of a
//! connection ever comes without those before it.

use std::io::{ErrorKind, Read, Write};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::thread;
use std::time::Duration;

/// How long a reader waits before it looks whether the test is over.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// A direction of travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// From the client to the broker.
    ToBroker,
    /// From the broker to the client.
    ToClient,
}

#[derive(Default)]
struct State {
    /// Bytes on these ways wait: to the broker, to the client.
    stalled: [bool; 2],
    /// New connections are forgotten at once.
    forgets: bool,
    /// Connections up to this number carry nothing any more.
    forgotten: u64,
    connections: u64,
    over: bool,
}

struct Shared {
    state: Mutex<State>,
    changed: Condvar,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().expect("no holder panics")
    }

    fn change(&self, change: impl FnOnce(&mut State)) {
        change(&mut self.lock());
        self.changed.notify_all();
    }
}

/// Listens on a free port of loopback and passes everything on to another port, as told.
pub struct Proxy {
    port: u16,
    shared: Arc<Shared>,
}

impl Proxy {
    /// A network that works.
    pub fn start(broker: u16) -> Proxy {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has a free port");
        let port = listener.local_addr().expect("it is bound").port();
        let shared = Arc::new(Shared { state: Mutex::default(), changed: Condvar::new() });
        let kept = shared.clone();
        thread::spawn(move || accept(&listener, broker, &kept));
        Proxy { port, shared }
    }

    /// Where clients connect.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// `mqtt://127.0.0.1:<port>`.
    pub fn url(&self) -> String {
        format!("mqtt://127.0.0.1:{}", self.port)
    }

    /// Lets bytes on this way wait, in every connection.
    pub fn stall(&self, way: Way) {
        self.shared.change(|state| state.stalled[way as usize] = true);
    }

    /// Lets what waited arrive, in order.
    pub fn release(&self) {
        self.shared.change(|state| state.stalled = [false; 2]);
    }

    /// Drops every connection from memory, as a router does that restarts: they stay open at both ends and carry nothing,
    /// now or later, not even their end. New ones fare likewise until [`Proxy::mend`].
    pub fn forget(&self) {
        self.shared.change(|state| {
            state.forgets = true;
            state.forgotten = state.connections;
        });
    }

    /// New connections work again.
    pub fn mend(&self) {
        self.shared.change(|state| state.forgets = false);
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.shared.change(|state| state.over = true);
        // Whoever waits to accept looks up.
        let _ = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port));
    }
}

fn accept(listener: &TcpListener, broker: u16, shared: &Arc<Shared>) {
    while let Ok((client, _)) = listener.accept() {
        let number = {
            let mut state = shared.lock();
            if state.over {
                return;
            }
            state.connections += 1;
            if state.forgets {
                state.forgotten = state.connections;
            }
            state.connections
        };
        // Where the broker is away the client sees its connection closed.
        let Ok(server) = TcpStream::connect((Ipv4Addr::LOCALHOST, broker)) else { continue };
        let (client, server) = (Arc::new(client), Arc::new(server));
        for (way, from, to) in [(Way::ToBroker, &client, &server), (Way::ToClient, &server, &client)] {
            let _ = from.set_nodelay(true);
            let _ = from.set_read_timeout(Some(LOOK_EVERY));
            let (from, to, shared) = (from.clone(), to.clone(), shared.clone());
            thread::spawn(move || carry(&from, &to, way, number, &shared));
        }
    }
}

/// Carries one way of one connection until it ends, or for as long as the test lasts once it is forgotten.
fn carry(mut from: &TcpStream, mut to: &TcpStream, way: Way, number: u64, shared: &Shared) {
    let mut room = [0; 4096];
    loop {
        let read = from.read(&mut room);
        let mut state = shared.lock();
        if read.as_ref().is_err_and(|error| matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut)) {
            if state.over {
                return;
            }
            continue;
        }
        while !state.over && (state.stalled[way as usize] || number <= state.forgotten) {
            state = shared.changed.wait(state).expect("no holder panics");
        }
        if state.over {
            return;
        }
        drop(state);
        match read {
            Ok(count) if count > 0 && to.write_all(&room[..count]).is_ok() => {}
            _ => {
                let _ = to.shutdown(Shutdown::Write);
                return;
            }
        }
    }
}
