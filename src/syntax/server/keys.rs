//! The keys of the server's own file, `standfast.toml`: what drives its decoder, `standfast reference` and its schema. It
//! never looks at a text.

use crate::syntax::keys::{Form, Key};

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

/// The keys of `[broker]`.
pub const BROKER: &[Key] = &[
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

/// The keys of `[broker.embedded]`.
pub const EMBEDDED: &[Key] = &[Key::optional(
    "listen",
    Form::Text,
    "\"127.0.0.1:1883\"",
    "Where the built-in broker listens; beyond this machine only with a password.",
)
.or("127.0.0.1:1883")];

/// The keys of `[page]`.
pub const PAGE: &[Key] = &[
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

/// The keys of `[alarm]`.
pub const ALARM: &[Key] = &[
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
