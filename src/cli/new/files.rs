//! The files of a new house. They are written to be read: each line that a newcomer will change says what it is.

use super::Answers;
use crate::check;
use crate::daemon::zones::zones;

/// The column in which remarks begin.
const REMARKS: usize = 32;

/// Paths below the folder, and texts.
pub(super) fn files(answers: &Answers) -> [(&'static str, String); 4] {
    let site = aligned(&site(answers));
    let mut lamp = lamp(answers, "sunset");
    let house = [("lamp.toml".to_owned(), lamp.clone()), ("site.toml".to_owned(), site.clone())];
    // Far north and far south the sun sets after the lamp goes off, or not at all: there the clock serves better.
    if !check::examine(&house, &zones()).diagnostics.is_empty() {
        lamp = self::lamp(answers, "17:00");
    }
    [
        ("standfast.toml", aligned(SERVER)),
        ("rules/site.toml", site),
        ("rules/lamp.toml", lamp),
        (".gitignore", "/data/\n*.password\n".to_owned()),
    ]
}

fn lamp(answers: &Answers, evening: &str) -> String {
    aligned(&LAMP.replace("{board}", &answers.board).replace("{evening}", evening))
}

/// The text with the remarks behind its lines below one another.
fn aligned(text: &str) -> String {
    let line = |line: &str| match line.split_once(" # ") {
        Some((code, remark)) if !line.starts_with('#') => {
            format!("{:<REMARKS$}# {remark}\n", format!("{} ", code.trim_end()))
        }
        _ => format!("{line}\n"),
    };
    text.lines().map(line).collect()
}

/// The server's own file.
const SERVER: &str = "\
# The server's own settings. What the house should do stands in rules/.

house = \"rules\"                  # paths are relative to this file
data = \"data\"                    # what must outlive a restart; not kept in git

# Without a [broker] Standfast runs a broker of its own for this machine alone. To use one that you have:
#
# [broker]
# url = \"mqtt://192.0.2.10:1883\"
# username = \"standfast\"
# password_file = \"broker.password\"

# The page for people, on this machine alone. For telephones write \"0.0.0.0:8420\", and below it the line that
# `standfast password` makes.
[page]
listen = \"127.0.0.1:8420\"
";

fn site(answers: &Answers) -> String {
    let Answers { latitude, longitude, zone, board, relays } = answers;
    format!(
        "\
# Where the house stands, and which relay boards hang in it. Every *.toml below this folder is part of the house.

[site]
position = [{latitude:?}, {longitude:?}]   # degrees north, degrees east: where the sun rises and sets
zone = \"{zone}\"

# The board's name is also its name on the wire.
[board.{board}]
relays = {relays}
lease = \"90s\"                    # without fresh orders for this long each relay goes to its load's safe state
"
    )
}

/// One lamp with one rule and one button.
const LAMP: &str = "\
# Mains voltage hurts and burns: what is wired to a relay is a job for a licensed electrician, by local code. Standfast is no
# safety controller: thermal cut-outs, residual-current devices and float switches stay in hardware.

[load.porch-lamp]
label = \"Porch lamp\"
relay = \"{board}/1\"              # board and relay, counted from 1
kind = \"led\"
safe = \"off\"                     # what it must be when anything is lost
hold_for = \"2h\"                  # how long the button below wins over the rules

[rule.porch-lit-in-the-evening]
load = \"porch-lamp\"
demand = \"on\"
while = { from = \"{evening}\", to = \"23:00\" }

[input.porch-button]
at = \"{board}/button\"            # board, and the name by which it reports the button
toggles = \"porch-lamp\"

# With a light sensor the lamp can wait for the dark. It comes on at 40 lx and goes off at 65 lx; between the two it stays as
# it is, so that a cloud does not make it flicker. Take away the # before each line, and give the rule this condition:
#     while.all = [\"dark-outside\", { from = \"12:00\", to = \"23:00\" }]
#
# [sensor.porch-light]
# reading = \"{board}/lux\"
# unit = \"lx\"
# range = [0, 120000]
#
# [condition.dark-outside]
# sensor = \"porch-light\"
# cut_in = \"<= 40\"
# cut_out = \">= 65\"
";
