//! TLS for the page by certificate files, read once at the start. It never makes a certificate.

use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::{Error, PemObject};
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};

/// Why there is no TLS.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TlsError {
    /// The file of a key cannot be read, or does not hold what it should.
    File(&'static str, PathBuf, String),
    /// They do not fit together, or cannot be used.
    Pair(String),
}

impl fmt::Display for TlsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TlsError::File(key, path, why) => write!(f, "[page] {key}: {}: {why}", path.display()),
            TlsError::Pair(why) => write!(f, "[page] certificate_file and key_file cannot be used together: {why}"),
        }
    }
}

impl std::error::Error for TlsError {}

/// Takes connections over TLS with the certificates, the server's own first, and its key; both files are PEM.
///
/// # Errors
/// Where a file cannot be read, or the two do not fit.
pub fn acceptor(certificates: &Path, key: &Path) -> Result<TlsAcceptor, TlsError> {
    let fault = |name: &'static str, path: &Path, why: String| TlsError::File(name, path.to_owned(), why);
    let of_certificates = |error: Error| fault("certificate_file", certificates, words(&error, "certificate"));
    let chain: Vec<CertificateDer<'static>> = CertificateDer::pem_file_iter(certificates)
        .and_then(|found| found.collect::<Result<_, _>>())
        .map_err(of_certificates)?;
    if chain.is_empty() {
        return Err(of_certificates(Error::NoItemsFound));
    }
    let key =
        PrivateKeyDer::from_pem_file(key).map_err(|error| fault("key_file", key, words(&error, "private key")))?;
    let pair = |error: tokio_rustls::rustls::Error| TlsError::Pair(error.to_string());
    let mut config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(pair)?
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .map_err(pair)?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(TlsAcceptor::from(Arc::new(config)))
}

fn words(error: &Error, wanted: &str) -> String {
    match error {
        Error::Io(error) => error.to_string(),
        Error::NoItemsFound => format!("there is no {wanted} in PEM in it"),
        error => error.to_string(),
    }
}
