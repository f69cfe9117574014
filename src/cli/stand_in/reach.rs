//! Which house, and how to reach its broker: from the options, else from the server's own file. It opens no connection.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;

use super::Args;
use crate::daemon::config::{self, BrokerPlace, Config, ConfigError, Secret, Surroundings};
use crate::mqtt::{self, Address, Tls};
use crate::wire::Prefix;

/// A password file longer than this is something else.
const PASSWORD_BYTES_MAX: u64 = 4096;

/// What was found.
pub struct Reach {
    /// The folder of the house.
    pub house: PathBuf,
    /// The head of every topic.
    pub prefix: Prefix,
    /// The broker; client id, will and subscriptions are still open.
    pub link: mqtt::Options,
}

/// Brings options and the server's own file together. The file is read where it is named, or where an option is missing.
///
/// # Errors
/// Where the file cannot be used, or nobody says where the house is.
pub fn find(args: &Args) -> anyhow::Result<Reach> {
    let config = match &args.config {
        Some(named) => Some(read(named)?),
        None if args.house.is_some() && args.broker.is_some() => None,
        None => match config::find(None) {
            Ok(found) => Some(read(&found)?),
            // Then the options have to do.
            Err(ConfigError::NotFound(_)) => None,
            Err(error) => return Err(error.into()),
        },
    };
    let house = args.house.clone().or_else(|| config.as_ref().map(|config| config.house.clone()));
    let house = house.context("which house? Name its folder with --house, or the server's own file with --config")?;
    let prefix = config.as_ref().map_or_else(Prefix::default, |config| config.broker.prefix.clone());
    let (address, ca_file) = broker(args, config.as_ref())?;
    let (username, password) = match (&args.username, &config) {
        (Some(name), _) => (Some(name.clone()), args.password_file.as_deref().map(password).transpose()?),
        // The server's own name and password are for its own broker only.
        (None, Some(config)) if args.broker.is_none() => {
            (config.broker.username.clone(), config.broker.password.clone())
        }
        (None, _) => (None, None),
    };
    let link = mqtt::Options {
        tls: if address.tls { Some(Tls::new(ca_file.as_deref())?) } else { None },
        address,
        client_id: String::new(),
        username,
        password: password.map(|secret| secret.reveal().to_owned()),
        will: None,
        seat: None,
        subscriptions: Vec::new(),
        latest_wins: Arc::new(|_| false),
    };
    Ok(Reach { house, prefix, link })
}

fn read(file: &Path) -> anyhow::Result<Config> {
    Ok(Config::read(file, &Surroundings::of_process())?)
}

fn broker(args: &Args, config: Option<&Config>) -> anyhow::Result<(Address, Option<PathBuf>)> {
    if let Some(address) = &args.broker {
        return Ok((address.clone(), args.ca_file.clone()));
    }
    Ok(match config.map(|config| &config.broker.place) {
        Some(BrokerPlace::At { address, ca_file }) => (address.clone(), args.ca_file.clone().or(ca_file.clone())),
        Some(BrokerPlace::Embedded(listen)) => {
            // Listening everywhere includes loopback.
            let host = if listen.ip().is_unspecified() { "127.0.0.1".to_owned() } else { listen.ip().to_string() };
            (Address { host, port: listen.port(), tls: false }, None)
        }
        None => (Address { host: "127.0.0.1".to_owned(), port: mqtt::DEFAULT_PORT, tls: false }, None),
    })
}

fn password(file: &Path) -> anyhow::Result<Secret> {
    let unreadable = || format!("cannot read the password in {}", file.display());
    let length = std::fs::metadata(file).with_context(unreadable)?.len();
    anyhow::ensure!(length <= PASSWORD_BYTES_MAX, "{} is too long for a password", file.display());
    let text = std::fs::read_to_string(file).with_context(unreadable)?;
    Ok(Secret::new(text.lines().next().unwrap_or_default().to_owned()))
}
