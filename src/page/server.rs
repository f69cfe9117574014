//! The listening socket and its connections: bounded in number, in the time for a request's head, and in the time for which
//! a reader may stall. It never reads a body.

use std::fmt;
use std::io;
use std::net::{IpAddr, SocketAddr, TcpListener as StdListener};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::ConnectInfo;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;

use super::patience::Patient;
use super::places::Places;
use crate::daemon::log::Once;

/// So many connections at once, all together and from one address.
const CONNECTIONS: (usize, usize) = (128, 48);
/// The head of a request, the first or the next on a connection, is there within this.
const HEAD: Duration = Duration::from_secs(15);
/// The longest head, in bytes.
const HEAD_BYTES: usize = 16 * 1024;
/// So many headers at most.
const HEADERS: usize = 64;

/// Why the page is not served.
#[derive(Debug)]
pub enum PageError {
    /// The address cannot be listened on.
    Listen(SocketAddr, io::Error),
}

impl fmt::Display for PageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PageError::Listen(address, error) if error.kind() == io::ErrorKind::AddrInUse => write!(
                f,
                "port {} on {} is in use by another program; name a free one with `listen` under [page] (page.listen)",
                address.port(),
                address.ip()
            ),
            PageError::Listen(address, error) => {
                write!(f, "the page cannot be served on {address}: {error}; see `listen` under [page] (page.listen)")
            }
        }
    }
}

impl std::error::Error for PageError {}

/// The address is taken; nobody is served yet.
pub struct Listening {
    listener: StdListener,
    address: SocketAddr,
}

impl Listening {
    /// Takes the address.
    ///
    /// # Errors
    /// Where it is taken already, or none of this machine's.
    pub fn on(listen: SocketAddr) -> Result<Listening, PageError> {
        let fail = |error| PageError::Listen(listen, error);
        let listener = StdListener::bind(listen).map_err(fail)?;
        listener.set_nonblocking(true).map_err(fail)?;
        let address = listener.local_addr().map_err(fail)?;
        Ok(Listening { listener, address })
    }

    /// Where it listens, the port that was taken included.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves for ever, from a task of its own, over TLS where that is given. Must be called within a tokio runtime.
    ///
    /// # Errors
    /// Where the runtime does not take the socket.
    pub fn serve(self, router: Router, tls: Option<TlsAcceptor>) -> Result<JoinHandle<()>, PageError> {
        let listener = TcpListener::from_std(self.listener).map_err(|error| PageError::Listen(self.address, error))?;
        Ok(tokio::spawn(accept(listener, router, tls)))
    }
}

async fn accept(listener: TcpListener, router: Router, tls: Option<TlsAcceptor>) {
    let places = Arc::new(Semaphore::new(CONNECTIONS.0));
    let callers = Places::new(CONNECTIONS.1);
    let mut failing = Once::default();
    loop {
        // Whoever comes when all places are taken waits in the kernel's queue.
        let Ok(place) = places.clone().acquire_owned().await else { return };
        let (stream, peer) = match listener.accept().await {
            Ok(accepted) => accepted,
            Err(error) => {
                // Out of descriptors, most likely; it passes, and one line tells of it.
                failing.failed(&format!("the page cannot accept a connection: {error}"));
                tokio::time::sleep(Duration::from_millis(200)).await;
                continue;
            }
        };
        failing.works();
        // Whoever has more than their share is turned away, so that others find a place.
        let Some(share) = callers.take(share_of(peer.ip())) else { continue };
        let (router, tls) = (router.clone(), tls.clone());
        tokio::spawn(async move {
            serve_one(stream, peer, router, tls).await;
            drop((place, share));
        });
    }
}

/// Whose share a connection counts to: an IPv4 address, or the network of an IPv6 address, of which anybody has plenty.
pub(super) fn share_of(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            IpAddr::from([a, b, c, d, 0, 0, 0, 0])
        }
        address => address,
    }
}

async fn serve_one(stream: TcpStream, peer: SocketAddr, router: Router, tls: Option<TlsAcceptor>) {
    // Small answers go out at once.
    let _ = stream.set_nodelay(true);
    let stream = Patient::new(stream);
    let Some(tls) = tls else { return converse(stream, peer, router).await };
    match timeout(HEAD, tls.accept(stream)).await {
        Ok(Ok(stream)) => converse(stream, peer, router).await,
        Ok(Err(error)) => tracing::debug!(%peer, "page: {error}"),
        Err(_) => tracing::debug!(%peer, "page: no TLS within {} s", HEAD.as_secs()),
    }
}

async fn converse<S>(stream: S, peer: SocketAddr, router: Router)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ConnectInfo(peer));
        let mut router = router.clone();
        async move { tower_service::Service::call(&mut router, request).await }
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(HEAD_BYTES)
        .max_headers(HEADERS)
        .serve_connection(TokioIo::new(stream), service)
        .await;
    if let Err(error) = served {
        tracing::debug!(%peer, "page: {error}");
    }
}
