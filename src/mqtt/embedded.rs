//! A broker inside the daemon, on a thread and a runtime of its own. It never listens anywhere that was not asked for,
//! never lets anybody in anonymously where a password is set, and never writes outside the folder it is given.

use std::fmt;
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc;
use std::thread::JoinHandle;
use std::time::Duration;

use mqtt5::broker::auth::{AuthRateLimiter, PasswordAuthProvider, RateLimitedAuthProvider};
use mqtt5::broker::config::{AuthConfig, BrokerConfig, RateLimitConfig, StorageBackend, StorageConfig};
use mqtt5::broker::{BrokerShutdownHandle, MqttBroker};
use tokio::sync::oneshot;

/// How long the broker may take until it listens.
const READY_WITHIN: Duration = Duration::from_secs(10);
/// How long it may take to end in good order.
const STOP_WITHIN: Duration = Duration::from_secs(5);
/// A house has some dozens of boards at most.
const CLIENTS: usize = 256;
/// The longest packet it takes, in bytes.
const PACKET_LIMIT: usize = 1024 * 1024;
/// How many retained messages it keeps.
const RETAINED: usize = 10_000;
/// After so many wrong passwords in [`ATTEMPT_WINDOW_S`] an address has to wait for [`LOCKED_OUT_S`].
const ATTEMPTS: u32 = 10;
const ATTEMPT_WINDOW_S: u64 = 60;
const LOCKED_OUT_S: u64 = 60;

/// What a broker needs.
#[derive(Clone, Debug)]
pub struct EmbeddedOptions {
    /// Where it listens; port 0 takes a free one.
    pub listen: SocketAddr,
    /// The folder for what it keeps; in memory where none is given.
    pub storage: Option<PathBuf>,
    /// The user name and password that every client has to show; anybody is let in where none is given.
    pub account: Option<(String, String)>,
}

/// Why there is no broker.
#[derive(Debug)]
pub enum EmbeddedError {
    /// The address cannot be listened on.
    Listen(SocketAddr, std::io::Error),
    /// The broker does not come up.
    Start(String),
}

impl fmt::Display for EmbeddedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            EmbeddedError::Listen(address, error) if error.kind() == std::io::ErrorKind::AddrInUse => write!(
                f,
                "port {} on {} is in use by another program; name a free one with `[broker.embedded] listen`",
                address.port(),
                address.ip()
            ),
            EmbeddedError::Listen(address, error) => {
                write!(f, "the embedded broker cannot listen on {address}: {error}; see `[broker.embedded] listen`")
            }
            EmbeddedError::Start(why) => write!(f, "the embedded broker does not start: {why}"),
        }
    }
}

impl std::error::Error for EmbeddedError {}

/// A running broker. Dropping it asks it to stop, [`Embedded::stop`] also waits for that.
pub struct Embedded {
    address: SocketAddr,
    shutdown: BrokerShutdownHandle,
    thread: Option<JoinHandle<()>>,
    ended: Option<oneshot::Receiver<String>>,
    stopped: mpsc::Receiver<()>,
}

impl Embedded {
    /// Starts a broker and waits, blocking, until it accepts connections: 10 s at most.
    ///
    /// # Errors
    /// When the address is taken or not this machine's, or the storage cannot be used.
    pub fn start(options: &EmbeddedOptions) -> Result<Embedded, EmbeddedError> {
        // The broker's own error names neither the cause nor the key, so the address is tried first.
        TcpListener::bind(options.listen).map_err(|error| EmbeddedError::Listen(options.listen, error))?;
        let (up_sender, up) = mpsc::sync_channel(1);
        let (ended_sender, ended) = oneshot::channel();
        let (stopped_sender, stopped) = mpsc::sync_channel(1);
        let options = options.clone();
        let thread = std::thread::Builder::new()
            .name("broker".to_owned())
            .spawn(move || {
                let why = serve(&options, &up_sender);
                drop(up_sender);
                // Nobody may be listening any more; then nobody wants to know.
                let _ = ended_sender.send(why);
                let _ = stopped_sender.send(());
            })
            .map_err(|error| EmbeddedError::Start(error.to_string()))?;
        match up.recv_timeout(READY_WITHIN) {
            Ok(Ok((address, shutdown))) => {
                Ok(Embedded { address, shutdown, thread: Some(thread), ended: Some(ended), stopped })
            }
            Ok(Err(why)) => Err(EmbeddedError::Start(why)),
            Err(_) => Err(EmbeddedError::Start(format!("not ready within {} s", READY_WITHIN.as_secs()))),
        }
    }

    /// Where it listens, the port that was taken included.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Yields why the broker ended, once it has; can be asked for once.
    pub fn ended(&mut self) -> Option<oneshot::Receiver<String>> {
        self.ended.take()
    }

    /// Stops it in good order, blocking for 5 s at most.
    pub fn stop(mut self) {
        self.shutdown.shutdown();
        if self.stopped.recv_timeout(STOP_WITHIN).is_ok()
            && let Some(thread) = self.thread.take()
        {
            let _ = thread.join();
        }
    }
}

impl Drop for Embedded {
    fn drop(&mut self) {
        self.shutdown.shutdown();
    }
}

type Up = Result<(SocketAddr, BrokerShutdownHandle), String>;

/// Runs the broker to its end and says why it ended.
fn serve(options: &EmbeddedOptions, up: &mpsc::SyncSender<Up>) -> String {
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => {
            let _ = up.send(Err(error.to_string()));
            return error.to_string();
        }
    };
    let why = runtime.block_on(async {
        let mut broker = match MqttBroker::with_config(config(options)).await {
            Ok(broker) => broker,
            Err(error) => return refuse(up, error.to_string()),
        };
        if let Some((username, password)) = &options.account {
            let accounts = PasswordAuthProvider::new().with_anonymous(false);
            if let Err(error) = accounts.add_user(username, password) {
                return refuse(up, error.to_string());
            }
            let limiter = Arc::new(AuthRateLimiter::new(ATTEMPTS, ATTEMPT_WINDOW_S, LOCKED_OUT_S));
            broker = broker.with_auth_provider(Arc::new(RateLimitedAuthProvider::new(Arc::new(accounts), limiter)));
        }
        let Some(address) = broker.local_addr() else { return refuse(up, "it has no address".to_owned()) };
        let shutdown = broker.shutdown_handle();
        let mut ready = broker.ready_receiver();
        let announce = async {
            if ready.wait_for(|ready| *ready).await.is_ok() {
                let _ = up.send(Ok((address, shutdown)));
            }
            std::future::pending::<()>().await;
        };
        tokio::select! {
            ended = broker.run() => match ended {
                Ok(()) => "it was asked to stop".to_owned(),
                Err(error) => refuse(up, error.to_string()),
            },
            () = announce => "unreachable: the announcement never ends".to_owned(),
        }
    });
    runtime.shutdown_timeout(Duration::from_secs(1));
    why
}

fn refuse(up: &mpsc::SyncSender<Up>, why: String) -> String {
    // Full only when the broker had come up; then the reason travels through `ended`.
    let _ = up.try_send(Err(why.clone()));
    why
}

fn config(options: &EmbeddedOptions) -> BrokerConfig {
    let storage = match &options.storage {
        Some(folder) => {
            StorageConfig::new().with_backend(StorageBackend::File).with_base_dir(folder.clone()).with_persistence(true)
        }
        None => StorageConfig::new().with_backend(StorageBackend::Memory).with_persistence(false),
    };
    // Accounts, where there are any, are a provider of our own, set before the broker runs, which lets nobody in
    // anonymously. The broker's own provider can take them from a file only, and wants one unless told this.
    let auth = AuthConfig {
        allow_anonymous: true,
        rate_limit: RateLimitConfig { enabled: false, ..RateLimitConfig::default() },
        ..AuthConfig::default()
    };
    BrokerConfig::new()
        .with_bind_addresses(vec![options.listen])
        .with_max_clients(CLIENTS)
        .with_max_packet_size(PACKET_LIMIT)
        .with_max_retained_messages(RETAINED)
        .with_sys_topics_enabled(false)
        .with_auth(auth)
        .with_storage(storage)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_in_use_is_an_error_that_names_the_key() {
        let taken = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let listen = taken.local_addr().expect("bound");
        let options = EmbeddedOptions { listen, storage: None, account: None };
        let error = Embedded::start(&options).err().expect("refused").to_string();
        let port = format!("port {} on 127.0.0.1 is in use", listen.port());
        assert!(error.starts_with(&port) && error.contains("`[broker.embedded] listen`"), "{error}");
    }

    #[test]
    fn it_starts_on_a_free_port_and_stops() {
        let listen = "127.0.0.1:0".parse().expect("an address");
        let mut broker = Embedded::start(&EmbeddedOptions { listen, storage: None, account: None }).expect("started");
        let (address, ended) = (broker.address(), broker.ended().expect("asked once"));
        assert_ne!(address.port(), 0);
        assert!(std::net::TcpStream::connect(address).is_ok());
        broker.stop();
        assert_eq!(ended.blocking_recv().expect("told"), "it was asked to stop");
        TcpListener::bind(address).expect("the port is free again");
    }
}
