//! The server's own file, `standfast.toml`: its keys, and its text as data. It never resolves a path, reads a password or
//! judges an address; whoever runs the server does.

use jiff::tz::TimeZoneDatabase;

use super::context::Context;
use super::fields::{Fields, within};
use super::form;
use super::keys::{Form, Key};
use super::tree::{Node, Spot, Table, Value};
use crate::diagnostic::{Diagnostic, errors};
use crate::units::Span;

/// The keys of the file, those of its tables within them.
pub static SERVER_KEYS: &[Key] = &[
    Key::optional("house", Form::Text, "\"rules\"", "The folder of the house; never guessed."),
    Key::optional(
        "data",
        Form::Text,
        "\"/var/lib/standfast\"",
        "The folder for what must survive a restart. Without it, \
         $STATE_DIRECTORY as the system sets it for a service, else `data` beside this file.",
    ),
    Key::optional(
        "settle",
        Form::Duration,
        "\"30s\"",
        "How long after a start contacts stay as reported while sensors are not known, up to 1 h.",
    )
    .or("30s"),
    Key::optional(
        "clock",
        Form::OneOf(&["synchronised", "rtc", "always"]),
        "\"synchronised\"",
        "When the wall clock is trusted: when the kernel says that it is synchronised, when it is plausible (for a \
         machine with a battery-backed clock), or always.",
    )
    .or("synchronised"),
    Key::optional(
        "apply",
        Form::OneOf(&["commit", "save", "command"]),
        "\"commit\"",
        "When a change of the house is taken: when it is committed, when it is saved, or on `standfast apply`. Without it \
         on commit where the house lies in a git work tree, else on save.",
    ),
    Key::optional(
        "log",
        Form::OneOf(&["text", "json", "journal"]),
        "\"text\"",
        "How the log is written: lines for people, lines of JSON, or to the system's journal.",
    )
    .or("text"),
    Key::optional(
        "keep_readings",
        Form::Duration,
        "\"90d\"",
        "How long readings of sensors are kept, 1 day to 366 days; what switched and why is kept apart from that.",
    )
    .guessed(&["history", "retention"])
    .or("90d"),
    Key::optional("broker", Form::Keys(BROKER), "{ url = \"mqtt://127.0.0.1:1883\" }", "The MQTT broker."),
    Key::optional("page", Form::Keys(PAGE), "{ listen = \"127.0.0.1:8420\" }", "The page for people."),
    Key::optional(
        "alarm",
        Form::Keys(ALARM),
        "{ run = \"/usr/local/bin/tell-me\" }",
        "Who is told of alarms, and how.",
    ),
];

const BROKER: &[Key] = &[
    Key::optional(
        "url",
        Form::Text,
        "\"mqtt://127.0.0.1:1883\"",
        "Where the broker listens; mqtts:// for TLS, \"embedded\" for the built-in one.",
    ),
    Key::optional("username", Form::Text, "\"standfast\"", "The user name towards the broker."),
    Key::optional(
        "password_file",
        Form::Text,
        "\"broker.password\"",
        "A file whose first line is the password, or the name of a credential in $CREDENTIALS_DIRECTORY.",
    ),
    Key::optional("ca_file", Form::Text, "\"ca.pem\"", "The certificates to trust for mqtts://, and no others."),
    Key::optional("prefix", Form::Text, "\"standfast\"", "The head of every topic.").or("standfast"),
    Key::optional("embedded", Form::Keys(EMBEDDED), "{ listen = \"127.0.0.1:1883\" }", "The built-in broker."),
];

const EMBEDDED: &[Key] = &[Key::optional(
    "listen",
    Form::Text,
    "\"127.0.0.1:1883\"",
    "Where the built-in broker listens; beyond this machine only with a password.",
)
.or("127.0.0.1:1883")];

const PAGE: &[Key] = &[
    Key::optional(
        "listen",
        Form::Text,
        "\"127.0.0.1:8420\"",
        "Where the page is served; beyond this machine only with a password.",
    )
    .or("127.0.0.1:8420"),
    Key::optional(
        "password_hash",
        Form::Text,
        "\"...\"",
        "The hash of the page's password; `standfast password` makes the line.",
    )
    .guessed(&["password"]),
    Key::optional(
        "certificate_file",
        Form::Text,
        "\"page.crt\"",
        "The certificates for TLS in PEM, the server's own first; read at the start. Without it the page has no TLS.",
    )
    .guessed(&["cert", "certificate", "cert_file", "certfile"]),
    Key::optional("key_file", Form::Text, "\"page.key\"", "The private key of the certificate, in PEM.").guessed(&[
        "key",
        "keyfile",
        "private_key",
    ]),
    Key::optional(
        "names",
        Form::Texts,
        "[\"house.lan\"]",
        "Host names under which the page may be asked for, beside addresses and localhost.",
    ),
];

const ALARM: &[Key] = &[
    Key::required(
        "run",
        Form::Text,
        "\"/usr/local/bin/tell-me --to family\"",
        "The program that tells a person, with arguments; it is run without a shell. The alarm's text is its input.",
    )
    .guessed(&["command", "exec", "program"]),
    Key::optional("delay", Form::Duration, "\"30s\"", "An alarm that is over sooner is not told, up to 1 h.").or("30s"),
    Key::optional(
        "reminder",
        Form::Duration,
        "\"12h\"",
        "It is told again so often, 10 s to 30 days, until somebody acknowledges it; without this key once.",
    )
    .guessed(&["repeat", "remind"]),
];

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
