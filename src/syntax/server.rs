//! The server's own file, `standfast.toml`: its text as data. It never resolves a path, reads a password or judges an address;
//! whoever runs the server does.

mod keys;

use jiff::tz::TimeZoneDatabase;

use super::context::Context;
use super::fields::{Fields, within};
use super::form;
use super::keys::{Form, Key};
use super::tree::{Node, Spot, Table, Value};
use crate::diagnostic::{Diagnostic, errors};
use crate::units::Span;
pub use keys::SERVER_KEYS;
use keys::{ALARM, BROKER, EMBEDDED, PAGE};

/// A text and where it stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// The text; the default where the key was not written.
    pub text: String,
    /// The bytes of the value, or of the table where the key was not written.
    pub at: std::ops::Range<usize>,
}

/// The file as data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ServerFile {
    /// `house`.
    pub house: Option<Written>,
    /// `data`.
    pub data: Option<Written>,
    /// `settle`.
    pub settle: Span,
    /// `clock`, one of its words.
    pub clock: String,
    /// `apply`, one of its words.
    pub apply: Option<String>,
    /// `log`, one of its words.
    pub log: String,
    /// `keep_readings`.
    pub keep_readings: Span,
    /// `[broker]`.
    pub broker: Option<BrokerTable>,
    /// `[page]`.
    pub page: Option<PageTable>,
    /// `[alarm]`.
    pub alarm: Option<AlarmTable>,
}

/// `[alarm]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlarmTable {
    /// `run`.
    pub run: Written,
    /// `delay`.
    pub delay: Span,
    /// `reminder`.
    pub reminder: Option<Span>,
}

/// `[broker]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BrokerTable {
    /// `url`.
    pub url: Option<Written>,
    /// `username`.
    pub username: Option<Written>,
    /// `password_file`.
    pub password_file: Option<Written>,
    /// `ca_file`.
    pub ca_file: Option<Written>,
    /// `prefix`.
    pub prefix: Written,
    /// `[broker.embedded] listen`, where that table is there.
    pub embedded_listen: Option<Written>,
}

/// `[page]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PageTable {
    /// `listen`.
    pub listen: Written,
    /// `password_hash`.
    pub password_hash: Option<Written>,
    /// `certificate_file`.
    pub certificate_file: Option<Written>,
    /// `key_file`.
    pub key_file: Option<Written>,
    /// `names`.
    pub names: Vec<Written>,
}

/// Reads the server's file; `file` is its name and its text. All errors come in one go.
pub fn read_server(file: &(String, String)) -> (Option<ServerFile>, Vec<Diagnostic>) {
    let files = std::slice::from_ref(file);
    let zones = TimeZoneDatabase::none();
    let mut context = Context::new(files, &zones);
    let roots = form::parse_all(&mut context);
    let nothing = Table { entries: Vec::new() };
    let root = decode(&mut context, roots.first().unwrap_or(&nothing));
    let mut diagnostics = form::without_echoes(files, context.diagnostics);
    super::sort(&mut diagnostics, files);
    let ok = errors(&diagnostics) == 0;
    (root.filter(|_| ok), diagnostics)
}

fn decode(context: &mut Context<'_>, table: &Table) -> Option<ServerFile> {
    let fields = Fields::open(context, "the file".to_owned(), "the server's file", Spot::default(), table, SERVER_KEYS);
    let house = written(context, &fields, "house");
    let data = written(context, &fields, "data");
    let settle = fields.parsed(context, "settle", |text| within(text, Span::ZERO, Span::from_h(1)));
    let clock = word(context, &fields, "clock");
    let apply = word(context, &fields, "apply");
    let log = word(context, &fields, "log");
    let keep_readings =
        fields.parsed(context, "keep_readings", |text| within(text, Span::from_h(24), Span::from_h(366 * 24)));
    let broker = inner(context, &fields, "broker", "[broker]", BROKER, decode_broker);
    let page = inner(context, &fields, "page", "[page]", PAGE, decode_page);
    let alarm = inner(context, &fields, "alarm", "[alarm]", ALARM, decode_alarm);
    Some(ServerFile {
        house,
        data,
        settle: settle?,
        clock: clock?,
        apply,
        log: log?,
        keep_readings: keep_readings?,
        broker,
        page,
        alarm,
    })
}

fn decode_alarm(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<AlarmTable> {
    let run = written(context, fields, "run");
    let delay = fields.parsed(context, "delay", |text| within(text, Span::ZERO, Span::from_h(1)));
    let reminder = match fields.has("reminder") {
        true => {
            fields.parsed(context, "reminder", |text| within(text, Span::from_s(10), Span::from_h(30 * 24))).map(Some)
        }
        false => Some(None),
    };
    Some(AlarmTable { run: run?, delay: delay?, reminder: reminder? })
}

fn decode_broker(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<BrokerTable> {
    let url = written(context, fields, "url");
    let username = written(context, fields, "username");
    let password_file = written(context, fields, "password_file");
    let ca_file = written(context, fields, "ca_file");
    let prefix = written(context, fields, "prefix");
    let listen = |context: &mut Context<'_>, fields: &Fields<'_>| written(context, fields, "listen");
    let embedded_listen = inner(context, fields, "embedded", "[broker.embedded]", EMBEDDED, listen);
    Some(BrokerTable { url, username, password_file, ca_file, prefix: prefix?, embedded_listen })
}

fn decode_page(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<PageTable> {
    let listen = written(context, fields, "listen");
    let password_hash = written(context, fields, "password_hash");
    let certificate_file = written(context, fields, "certificate_file");
    let key_file = written(context, fields, "key_file");
    let names = match fields.node("names") {
        None => Some(Vec::new()),
        Some(node) => {
            let names = texts(node);
            if names.is_none() {
                fields.report_type(context, "names", node);
            }
            names
        }
    };
    Some(PageTable { listen: listen?, password_hash, certificate_file, key_file, names: names? })
}

fn texts(node: &Node) -> Option<Vec<Written>> {
    let Value::List(items) = &node.value else { return None };
    let text = |item: &Node| match &item.value {
        Value::Text(text) => Some(Written { text: text.clone(), at: item.spot.range() }),
        _ => None,
    };
    items.iter().map(text).collect()
}

/// A text, not empty: an empty one is always a slip.
fn written(context: &mut Context<'_>, fields: &Fields<'_>, name: &str) -> Option<Written> {
    let text = fields.text(context, name)?.into_owned();
    let spot = fields.spot_of(name);
    if text.is_empty() {
        let diagnostic = context
            .error("bad-value", spot, format!("`{name}` is empty"), "")
            .help("write a text between the quotes, or leave the key out");
        context.push(diagnostic);
        return None;
    }
    Some(Written { text, at: spot.range() })
}

/// One of the words of a key, or its default.
fn word(context: &mut Context<'_>, fields: &Fields<'_>, name: &str) -> Option<String> {
    let known = SERVER_KEYS.iter().find(|key| key.name == name).map(|key| key.form);
    let Some(Form::OneOf(words)) = known else { return None };
    let pairs: Vec<(&str, &str)> = words.iter().map(|word| (*word, *word)).collect();
    fields.word(context, name, &pairs).map(str::to_owned)
}

/// The table behind a key, decoded with its own keys.
fn inner<T>(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    name: &str,
    title: &str,
    keys: &'static [Key],
    decode: impl FnOnce(&mut Context<'_>, &Fields<'_>) -> Option<T>,
) -> Option<T> {
    let node = fields.node(name)?;
    let Value::Table(table) = &node.value else {
        fields.report_type(context, name, node);
        return None;
    };
    let fields = Fields::open(context, title.to_owned(), title, node.spot, table, keys);
    decode(context, &fields)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::render;

    fn read(text: &str) -> (Option<ServerFile>, Vec<String>) {
        let file = ("standfast.toml".to_owned(), text.to_owned());
        let (server, diagnostics) = read_server(&file);
        (server, diagnostics.iter().map(|one| render::line(one, std::slice::from_ref(&file))).collect())
    }

    /// The whole file has exactly this one fault, in part.
    fn check(text: &str, expected: &str) {
        let (server, faults) = read(text);
        assert_eq!(faults.len(), 1, "{text}: {faults:?}");
        assert!(faults[0].contains(expected), "{text}: {}", faults[0]);
        assert_eq!(server, None);
    }

    #[test]
    fn every_key_is_read() {
        let text = r#"
            house = "rules"
            data = "d"
            settle = "10s"
            clock = "rtc"
            apply = "save"
            log = "json"
            keep_readings = "30d"
            [broker]
            url = "mqtts://b"
            username = "u"
            password_file = "p"
            ca_file = "c"
            prefix = "x/y"
            [broker.embedded]
            listen = "127.0.0.1:1"
            [page]
            listen = "127.0.0.1:2"
            password_hash = "h"
            certificate_file = "c"
            key_file = "k"
            names = ["a", "b"]
            [alarm]
            run = "tell me"
            delay = "1m"
            reminder = "6h"
        "#;
        let (server, faults) = read(text);
        let server = server.unwrap_or_else(|| panic!("{faults:?}"));
        let broker = server.broker.expect("a broker");
        let page = server.page.expect("a page");
        let texts =
            [server.house.expect("a house"), server.data.expect("written"), broker.prefix.clone(), page.listen.clone()];
        assert_eq!(texts.each_ref().map(|w| w.text.as_str()), ["rules", "d", "x/y", "127.0.0.1:2"]);
        for w in texts {
            assert_eq!(text[w.at].trim_matches('"'), w.text);
        }
        assert_eq!((server.settle, server.clock.as_str()), (Span::from_s(10), "rtc"));
        assert_eq!(server.keep_readings, Span::from_h(30 * 24));
        assert_eq!((server.apply.as_deref(), server.log.as_str()), (Some("save"), "json"));
        let optional = [broker.url, broker.username, broker.password_file, broker.ca_file, broker.embedded_listen];
        let optional = optional.map(|w| w.expect("written").text);
        assert_eq!(optional.each_ref().map(String::as_str), ["mqtts://b", "u", "p", "c", "127.0.0.1:1"]);
        assert_eq!(page.names.iter().map(|w| w.text.as_str()).collect::<Vec<_>>(), ["a", "b"]);
        let texts = [page.password_hash, page.certificate_file, page.key_file].map(|w| w.expect("written").text);
        assert_eq!(texts.each_ref().map(String::as_str), ["h", "c", "k"]);
        let alarm = server.alarm.expect("an alarm");
        assert_eq!((alarm.delay, alarm.reminder), (Span::from_min(1), Some(Span::from_h(6))));
        assert_eq!(alarm.run.text, "tell me");
    }

    #[test]
    fn an_empty_file_has_the_defaults() {
        let (server, faults) = read("");
        let server = server.unwrap_or_else(|| panic!("{faults:?}"));
        assert_eq!((server.house, server.apply, server.broker, server.page), (None, None, None, None));
        assert_eq!((server.data, server.settle), (None, Span::from_s(30)));
        assert_eq!((server.clock.as_str(), server.log.as_str()), ("synchronised", "text"));
    }

    #[test]
    fn slips_are_named_with_their_place_and_the_nearest_key() {
        check(
            "hause = \"rules\"",
            "standfast.toml:1:1: error: the server's file has no key `hause`; did you mean `house`?",
        );
        check(
            "[broker]\nurl = \"mqtt://b\"\nuser = \"x\"",
            "3:1: error: [broker] has no key `user`; did you mean `username`?",
        );
        check("[brocker]\nurl = \"mqtt://b\"", "did you mean `broker`?");
        check("[broker.embeded]", "did you mean `embedded`?");
        check("clock = \"sync\"", "did you mean \"synchronised\"?");
        check("settle = 30", "settle = \"30s\"");
        check("settle = \"2h\"", "too long");
        check("house = \"\"", "`house` is empty");
        check("page = true", "`page` must be a table");
        check("[page]\nnames = \"house.lan\"", "`names` must be a list of texts");
        check("house = rules", "must stand in quotes");
        check("[alarm]\ndelay = \"1m\"", "[alarm] has no `run`");
        check("[alarm]\nrun = \"x\"\nreminder = \"1s\"", "too short");
    }
}
