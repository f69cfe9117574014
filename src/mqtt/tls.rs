//! TLS towards the broker, with one crypto provider named explicitly. It never skips verification.

use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::CertificateDer;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::{ClientConfig, RootCertStore};

/// What a TLS connection trusts.
#[derive(Clone)]
pub struct Tls(pub(super) Arc<ClientConfig>);

impl fmt::Debug for Tls {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Tls")
    }
}

/// Why there is nothing to trust.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TlsError {
    /// The file cannot be read or holds no PEM certificate.
    CaFile(PathBuf, String),
    /// The system has no certificates.
    NoSystemCertificates(String),
    /// The crypto provider does not do what is asked.
    Provider(String),
}

impl fmt::Display for TlsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TlsError::CaFile(path, why) => {
                write!(f, "[broker] ca_file: {}: {}", path.display(), why.trim_start_matches("I/O error: "))
            }
            TlsError::NoSystemCertificates(why) => {
                write!(f, "this machine has no certificates to trust{why}; name one with [broker] ca_file")
            }
            TlsError::Provider(why) => write!(f, "TLS cannot be set up: {why}"),
        }
    }
}

impl std::error::Error for TlsError {}

impl Tls {
    /// Trusts the certificates in `ca_file` alone, or those of the system where none is given.
    ///
    /// # Errors
    /// When there is no certificate to trust.
    pub fn new(ca_file: Option<&Path>) -> Result<Tls, TlsError> {
        let roots = match ca_file {
            Some(path) => from_file(path)?,
            None => from_system()?,
        };
        let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()
            .map_err(|error| TlsError::Provider(error.to_string()))?
            .with_root_certificates(roots)
            .with_no_client_auth();
        Ok(Tls(Arc::new(config)))
    }
}

fn from_file(path: &Path) -> Result<RootCertStore, TlsError> {
    let fail = |why: String| TlsError::CaFile(path.to_owned(), why);
    let mut roots = RootCertStore::empty();
    for certificate in CertificateDer::pem_file_iter(path).map_err(|error| fail(error.to_string()))? {
        let certificate = certificate.map_err(|error| fail(error.to_string()))?;
        roots.add(certificate).map_err(|error| fail(error.to_string()))?;
    }
    if roots.is_empty() {
        return Err(fail("holds no PEM certificate".to_owned()));
    }
    Ok(roots)
}

fn from_system() -> Result<RootCertStore, TlsError> {
    let found = rustls_native_certs::load_native_certs();
    let mut roots = RootCertStore::empty();
    roots.add_parsable_certificates(found.certs);
    if roots.is_empty() {
        let why = found.errors.first().map(|error| format!(" ({error})")).unwrap_or_default();
        return Err(TlsError::NoSystemCertificates(why));
    }
    Ok(roots)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_without_certificates_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let empty = folder.path().join("empty.pem");
        std::fs::write(&empty, "no certificate here\n").expect("written");
        let error = Tls::new(Some(&empty)).expect_err("refused").to_string();
        assert!(error.contains("empty.pem: holds no PEM certificate"), "{error}");
        let missing = folder.path().join("missing.pem");
        let error = Tls::new(Some(&missing)).expect_err("refused").to_string();
        assert!(error.contains("ca_file") && error.contains("missing.pem"), "{error}");
    }
}
