//! What the texts of the server's file mean: paths, addresses, passwords, and what may not stand together. It never opens a
//! port.

use std::net::SocketAddr;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use super::{Apply, Broker, BrokerPlace, Config, Delivery, Log, Page, Secret, Surroundings, secret};
use crate::daemon::clock::ClockPolicy;
use crate::daemon::delivery::Manner;
use crate::daemon::delivery::run::Program;
use crate::diagnostic::Diagnostic;
use crate::mqtt::{Address, DEFAULT_PORT};
use crate::page::password;
use crate::syntax::{AlarmTable, BrokerTable, PageTable, ServerFile, Written};
use crate::wire::Prefix;

const PASSWORD_HELP: &str = "write the password on the first line of a file that only the service can read, and name it: \
                             under [broker], username = \"standfast\" and password_file = \"broker.password\"";

pub(super) struct Checker<'a> {
    path: &'a Path,
    folder: PathBuf,
    surroundings: &'a Surroundings,
    pub(super) diagnostics: Vec<Diagnostic>,
    notices: Vec<String>,
}

impl<'a> Checker<'a> {
    pub(super) fn new(path: &'a Path, surroundings: &'a Surroundings) -> Checker<'a> {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        Checker { path, folder, surroundings, diagnostics: Vec::new(), notices: Vec::new() }
    }

    /// The configuration, or `None` where `diagnostics` says why not.
    pub(super) fn config(&mut self, server: &ServerFile) -> Option<Config> {
        let house = self.house(server.house.as_ref());
        let data = self.data(server);
        let broker = self.broker(server.broker.as_ref());
        let page = server.page.as_ref().map(|page| self.page(page));
        let page = match page {
            Some(None) => return None,
            Some(Some(page)) => Some(page),
            None => None,
        };
        let alarm = match &server.alarm {
            Some(table) => Some(self.alarm(table)?),
            None => None,
        };
        let clock = match server.clock.as_str() {
            "always" => ClockPolicy::Always,
            "rtc" => ClockPolicy::Rtc,
            _ => ClockPolicy::Synchronised,
        };
        let apply = server.apply.as_deref().map(|word| match word {
            "commit" => Apply::Commit,
            "save" => Apply::Save,
            _ => Apply::Command,
        });
        let log = match server.log.as_str() {
            "json" => Log::Json,
            "journal" => Log::Journal,
            _ => Log::Text,
        };
        Some(Config {
            file: self.path.to_owned(),
            house: house?,
            data,
            settle: server.settle,
            clock,
            apply,
            log,
            keep_readings: server.keep_readings,
            broker: broker?,
            page,
            alarm,
            notices: std::mem::take(&mut self.notices),
        })
    }

    /// The data folder: the one named, else the service's, else the one beside the file.
    pub(super) fn data(&self, server: &ServerFile) -> PathBuf {
        match (&server.data, &self.surroundings.state) {
            (Some(data), _) => self.folder.join(&data.text),
            (None, Some(state)) => state.clone(),
            (None, None) => self.folder.join("data"),
        }
    }

    fn house(&mut self, house: Option<&Written>) -> Option<PathBuf> {
        let Some(house) = house else {
            self.fault("missing-key", None, "the server's file names no `house`", "")
                .help("add house = \"rules\", the folder of the house; `standfast new DIR` writes a small one");
            return None;
        };
        // Whether it is there is looked at when it is read: while it is gone, the house accepted last runs.
        Some(self.folder.join(&house.text))
    }

    fn broker(&mut self, table: Option<&BrokerTable>) -> Option<Broker> {
        let Some(table) = table else {
            let place = if cfg!(feature = "embedded-broker") {
                BrokerPlace::Embedded(SocketAddr::from(([127, 0, 0, 1], DEFAULT_PORT)))
            } else {
                let address = Address { host: "127.0.0.1".to_owned(), port: DEFAULT_PORT, tls: false };
                BrokerPlace::At { address, ca_file: None }
            };
            return Some(Broker { place, username: None, password: None, prefix: Prefix::default() });
        };
        let prefix = match Prefix::parse(&table.prefix.text) {
            Ok(prefix) => Some(prefix),
            Err(refusal) => {
                self.fault("bad-topic", Some(&table.prefix), &refusal.to_string(), "")
                    .help("write for example: prefix = \"standfast\"");
                None
            }
        };
        let password = self.password(table);
        let place = self.place(table);
        let broker = Broker {
            place: place?,
            username: table.username.as_ref().map(|username| username.text.clone()),
            password: password?,
            prefix: prefix?,
        };
        self.check_reach(table, &broker)?;
        Some(broker)
    }

    /// `Some(None)` where there is none, `None` where there is a fault.
    fn password(&mut self, table: &BrokerTable) -> Option<Option<Secret>> {
        let Some(name) = &table.password_file else { return Some(None) };
        if table.username.is_none() {
            self.fault("missing-key", Some(name), "a password without a user name", "")
                .help("add username = \"standfast\"");
        }
        match secret::read(&name.text, &self.folder, self.surroundings.credentials.as_deref()) {
            Ok(found) => {
                if found.is_open {
                    let path = found.path.display();
                    self.notices.push(format!("every user of this machine can read {path}; `chmod o= {path}` helps"));
                }
                Some(Some(found.secret))
            }
            Err(why) => {
                self.fault("unreadable", Some(name), &format!("the password cannot be read: {why}"), "")
                    .help("write the password on the first line of that file");
                None
            }
        }
    }

    fn place(&mut self, table: &BrokerTable) -> Option<BrokerPlace> {
        let ca_file = table.ca_file.as_ref().map(|path| self.folder.join(&path.text));
        let url = match &table.url {
            Some(url) if url.text != "embedded" => url,
            _ if !cfg!(feature = "embedded-broker") => {
                let place = table.url.as_ref().unwrap_or(&table.prefix);
                self.fault("no-broker", Some(place), "this build has no broker of its own", "")
                    .help("write for example: url = \"mqtt://127.0.0.1:1883\"");
                return None;
            }
            _ => {
                if let Some(ca_file) = &table.ca_file {
                    self.fault("contradiction", Some(ca_file), "the embedded broker has no TLS", "")
                        .help("leave `ca_file` out");
                }
                return match &table.embedded_listen {
                    Some(listen) => self.listen(listen, "127.0.0.1:1883").map(BrokerPlace::Embedded),
                    None => Some(BrokerPlace::Embedded(SocketAddr::from(([127, 0, 0, 1], DEFAULT_PORT)))),
                };
            }
        };
        if let Some(listen) = &table.embedded_listen {
            self.fault("contradiction", Some(listen), "with `url`, another program is the broker", "")
                .help("leave [broker.embedded] out, or write url = \"embedded\"");
        }
        match url.text.parse::<Address>() {
            Ok(address) => {
                if let Some(ca_file) = table.ca_file.as_ref().filter(|_| !address.tls) {
                    self.fault("contradiction", Some(ca_file), "`ca_file` is for mqtts:// only", "")
                        .help("write mqtts:// in `url`, or leave `ca_file` out");
                }
                Some(BrokerPlace::At { address, ca_file })
            }
            Err(why) => {
                self.fault("bad-address", Some(url), &format!("`url` cannot be read: {why}"), "");
                None
            }
        }
    }

    fn check_reach(&mut self, table: &BrokerTable, broker: &Broker) -> Option<()> {
        let (reaches, what, at) = match &broker.place {
            BrokerPlace::Embedded(listen) => {
                (!listen.ip().is_loopback(), "the embedded broker listens", table.embedded_listen.as_ref())
            }
            BrokerPlace::At { address, .. } => (!address.is_loopback(), "the broker is", table.url.as_ref()),
        };
        if reaches && broker.password.is_none() {
            let message = format!("{what} beyond this machine, and there is no password");
            self.fault("no-password", at, &message, "")
                .because("whoever reaches it could switch every load")
                .help(PASSWORD_HELP);
            return None;
        }
        Some(())
    }

    fn page(&mut self, table: &PageTable) -> Option<Page> {
        let listen = self.listen(&table.listen, "127.0.0.1:8420")?;
        if !listen.ip().is_loopback() && table.password_hash.is_none() {
            self.fault(
                "no-password",
                Some(&table.listen),
                "the page is served beyond this machine, and there is no password",
                "",
            )
            .because("whoever reaches it could switch every load")
            .help("`standfast password` makes the line `password_hash` for [page]; or listen on 127.0.0.1");
            return None;
        }
        if let Some(hash) = &table.password_hash
            && let Err(why) = password::check(&hash.text)
        {
            self.fault("bad-value", Some(hash), &format!("`password_hash` cannot be used: {why}"), "")
                .help("`standfast password` asks for a password and prints the line");
            return None;
        }
        let tls = self.page_tls(table)?;
        if !listen.ip().is_loopback() && tls.is_none() {
            let notice = "the page is served beyond this machine without TLS: whoever listens on the network can read its \
                          password; see `certificate_file` under [page]";
            self.notices.push(notice.to_owned());
        }
        let password_hash = table.password_hash.as_ref().map(|hash| Secret::new(hash.text.clone()));
        Some(Page { listen, password_hash, names: table.names.iter().map(|name| name.text.clone()).collect(), tls })
    }

    /// `Some(None)` where none is wanted, `None` where there is a fault. The files are read when the page is served.
    fn page_tls(&mut self, table: &PageTable) -> Option<Option<(PathBuf, PathBuf)>> {
        let (one, missing) = match (&table.certificate_file, &table.key_file) {
            (None, None) => return Some(None),
            (Some(certificates), Some(key)) => {
                let key = self.folder.join(&key.text);
                if std::fs::metadata(&key).is_ok_and(|file| file.permissions().mode() & 0o004 != 0) {
                    let path = key.display();
                    self.notices.push(format!("every user of this machine can read {path}; `chmod o= {path}` helps"));
                }
                return Some(Some((self.folder.join(&certificates.text), key)));
            }
            (Some(one), None) => (one, "key_file"),
            (None, Some(one)) => (one, "certificate_file"),
        };
        self.fault("missing-key", Some(one), &format!("TLS wants `{missing}` too"), "")
            .help("name both: certificate_file = \"page.crt\" and key_file = \"page.key\", in PEM");
        None
    }

    fn alarm(&mut self, table: &AlarmTable) -> Option<Delivery> {
        let words = shlex::split(&table.run.text);
        let Some((program, arguments)) = words.as_deref().and_then(<[String]>::split_first) else {
            let message = match words {
                Some(_) => "`run` names no program: there is no word in it",
                None => "`run` cannot be read: a quotation mark has no partner",
            };
            self.fault("bad-value", Some(&table.run), message, "")
                .because("words are parted at spaces, and quotation marks keep some together; there is no shell")
                .help("write for example: run = \"/usr/local/bin/tell-me --to family\"");
            return None;
        };
        // A bare name is found in $PATH; one with a slash is meant from the file's folder.
        let program = if program.contains('/') { self.folder.join(program) } else { PathBuf::from(program) };
        if program.is_absolute() && !program.is_file() {
            // It may come later, and a heater must not wait for it.
            self.notices.push(format!("nobody is told of alarms: there is no program {}", program.display()));
        }
        let program = Program { program, arguments: arguments.to_vec() };
        Some(Delivery { program, manner: Manner { delay: table.delay, reminder: table.reminder } })
    }

    fn listen(&mut self, written: &Written, example: &str) -> Option<SocketAddr> {
        let parsed = written.text.parse::<SocketAddr>().ok();
        if parsed.is_none() {
            let message = format!("`listen` cannot be read: \"{}\" is not an address with a port", written.text);
            self.fault("bad-address", Some(written), &message, "")
                .help(format!("write for example: listen = \"{example}\""));
        }
        parsed
    }

    fn fault(&mut self, code: &str, at: Option<&Written>, message: &str, label: &str) -> Fault<'_> {
        let file = self.path.display().to_string();
        let diagnostic = Diagnostic::error(code, message);
        let diagnostic = match at {
            Some(written) => diagnostic.at(&file, written.at.clone(), label),
            None => diagnostic.at(&file, 0..0, label),
        };
        self.diagnostics.push(diagnostic);
        Fault(self.diagnostics.last_mut())
    }
}

/// A fault just pushed, to be completed.
struct Fault<'d>(Option<&'d mut Diagnostic>);

impl Fault<'_> {
    fn help(self, help: impl Into<String>) -> Self {
        self.set(|diagnostic| diagnostic.help = help.into())
    }

    fn because(self, cause: impl Into<String>) -> Self {
        self.set(|diagnostic| diagnostic.cause = cause.into())
    }

    fn set(mut self, change: impl FnOnce(&mut Diagnostic)) -> Self {
        if let Some(diagnostic) = self.0.as_deref_mut() {
            change(diagnostic);
        }
        self
    }
}
