//! Houses and happenings drawn at random, for the properties. It draws what a person might write and what may happen to it.

use proptest::prelude::*;
use standfast::board::Event as Happening;
use standfast::engine::Event;

use crate::bench::Bench;

/// How many loads a drawn house has; three relays on each of two boards.
pub const LOADS: usize = 6;

const WINDOWS: [&str; 4] = [
    r#"{ from = "11:58", to = "12:10" }"#,
    r#"{ from = "22:00", to = "06:00" }"#,
    r#"{ from = "sunset - 20m", to = "23:15" }"#,
    r#"{ from = "06:30", to = "sunrise + 15m", days = "mon..fri" }"#,
];

/// A condition's text, of atoms or of a small tree.
fn condition() -> impl Strategy<Value = String> {
    let atom = prop_oneof![
        (0..3_usize, 0..30_i32, 1..6_i32, any::<bool>()).prop_map(|(sensor, cut, band, high)| {
            let (into, out, other) = if high { (">=", "<=", cut - band) } else { ("<=", ">=", cut + band) };
            format!("{{ sensor = \"s{sensor}\", cut_in = \"{into} {cut}\", cut_out = \"{out} {other}\" }}")
        }),
        (0..3_usize, any::<bool>()).prop_map(|(contact, on)| {
            format!("{{ input = \"c{contact}\", is = \"{}\" }}", if on { "on" } else { "off" })
        }),
        (0..WINDOWS.len()).prop_map(|window| WINDOWS[window].to_owned()),
    ];
    prop_oneof![
        4 => atom.clone(),
        1 => (atom.clone(), atom.clone(), any::<bool>())
            .prop_map(|(a, b, all)| format!("{{ {} = [{a}, {b}] }}", if all { "all" } else { "any" })),
        1 => atom.prop_map(|a| format!("{{ not = {a} }}")),
    ]
}

fn word(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}

fn load() -> impl Strategy<Value = String> {
    (any::<bool>(), any::<bool>(), any::<bool>(), 0..4_u32, 0..4_u32, 0..3_usize).prop_map(
        |(safe, resting, closed, min_on, min_off, hold)| {
            let contact = if closed { "NC" } else { "NO" };
            let hold_for = ["", "hold_for = \"10m\"\n", "hold_for = \"next change\"\n"][hold];
            format!(
                "contact = \"{contact}\"\nkind = \"motor\"\nsafe = \"{}\"\nresting = \"{}\"\nmin_on = \"{}s\"\nmin_off = \"{}s\"\n{hold_for}",
                word(safe),
                word(resting),
                min_on * 40,
                min_off * 50,
            )
        },
    )
}

fn rule() -> impl Strategy<Value = String> {
    let priority = prop_oneof![Just(2_u8), 9..=16_u8];
    (0..LOADS, any::<bool>(), priority, condition(), 0..3_u32, 0..3_u32, any::<bool>(), any::<bool>()).prop_map(
        |(load, on, priority, condition, on_delay, off_delay, otherwise, release)| {
            let otherwise = if otherwise { format!("otherwise = \"{}\"\n", word(!on)) } else { String::new() };
            let release = if release { "on_unknown = \"release\"\n" } else { "" };
            format!(
                "load = \"l{load}\"\ndemand = \"{}\"\npriority = {priority}\non_delay = \"{}s\"\noff_delay = \"{}s\"\n{otherwise}{release}while = {condition}\n",
                word(on),
                on_delay * 30,
                off_delay * 45,
            )
        },
    )
}

/// The text of a house with two boards, three sensors, three contacts, two buttons, six loads and some rules.
pub fn house_text() -> impl Strategy<Value = String> {
    (prop::collection::vec(load(), LOADS), prop::collection::vec(rule(), 0..10)).prop_map(|(loads, rules)| {
        let mut text = "[board.a]\nrelays = 4\n[board.b]\nrelays = 3\nlease = \"30s\"\n".to_owned();
        for (number, board) in ["a", "b", "a"].iter().enumerate() {
            text += &format!("[sensor.s{number}]\nreading = \"{board}/t{number}\"\nrange = [-50, 50]\nstale_after = \"2m\"\n");
            text += &format!("[input.c{number}]\nat = \"{board}/c{number}\"\n");
        }
        text += "[input.p0]\nat = \"a/p0\"\ntoggles = \"l0\"\n[input.p1]\nat = \"b/p1\"\ntoggles = \"l4\"\nhold_for = \"3m\"\n";
        for (number, load) in loads.iter().enumerate() {
            let (board, relay) = if number < 3 { ("a", number + 1) } else { ("b", number - 2) };
            text += &format!("[load.l{number}]\nrelay = \"{board}/{relay}\"\n{load}");
        }
        for (number, rule) in rules.iter().enumerate() {
            text += &format!("[rule.r{number}]\n{rule}");
        }
        text
    })
}

/// The same with limits: runs and starts, an interlock across both boards, a circuit that cannot carry all. No load is on
/// without its relay energised, so that lapses and resets only open.
pub fn limited_house_text() -> impl Strategy<Value = String> {
    (house_text(), prop::collection::vec((0..3_usize, 0..3_usize, 1..4_u32), LOADS), 0..3_u32).prop_map(
        |(text, limits, dead_time_s)| {
            let mut text = text.replace("\"NC\"", "\"NO\"").replace("safe = \"on\"", "safe = \"off\"");
            for (number, (max_on, max_starts, power)) in limits.iter().enumerate() {
                let max_on = ["", "max_on = \"90s\"\n", "max_on = \"10m\"\nrest = \"2m\"\n"][*max_on];
                let max_starts = ["", "max_starts = \"2 per 5m\"\n", "max_starts = \"1 per 1m\"\n"][*max_starts];
                let header = format!("[load.l{number}]\n");
                text = text.replace(&header, &format!("{header}power = \"{} W\"\n{max_on}{max_starts}", power * 100));
            }
            text += &format!("[interlock.heat]\nloads = [\"l1\", \"l5\"]\ndead_time = \"{dead_time_s}s\"\n");
            text + "[circuit.shed]\nloads = [\"l2\", \"l3\", \"l4\"]\nlimit = \"500 W\"\nshed = [\"l3\", \"l2\"]\n"
        },
    )
}

/// The same with proofs, one of them shared by the two loads of a rotation across both boards.
pub fn proved_house_text() -> impl Strategy<Value = String> {
    (limited_house_text(), 1..30_u32, condition()).prop_map(|(mut text, within_s, condition)| {
        let proofs = [
            (0, "sensor = \"s0\", at_least = 10"),
            (1, "sensor = \"s2\", at_least = 5"),
            (2, "sensor = \"s1\", at_least = 10"),
            (3, "sensor = \"s1\", at_least = 10"),
            (5, "input = \"c2\", on_failure = \"withdraw\""),
        ];
        for (load, proof) in proofs {
            let header = format!("[load.l{load}]\n");
            text = text.replace(&header, &format!("{header}proof = {{ {proof}, within = \"{within_s}s\" }}\n"));
        }
        // Rules speak to the rotation, not past it; `check` refuses that.
        text = text.replace("load = \"l2\"", "load = \"pair\"").replace("load = \"l3\"", "load = \"pair\"");
        text += "[rotation.pair]\nloads = [\"l2\", \"l3\"]\nchange_after = \"1m\"\n";
        text + &format!("[rule.pair]\nload = \"pair\"\ndemand = \"on\"\nwhile = {condition}\n")
    })
}

/// Any of them.
pub fn any_house_text() -> impl Strategy<Value = String> {
    prop_oneof![house_text(), limited_house_text(), proved_house_text()]
}

/// Something that happens to a house whose boards are played.
#[derive(Clone, Debug)]
pub enum Act {
    Measure(usize, i32),
    Garble(usize),
    Contact(usize, bool),
    Press(bool),
    Hold(usize, &'static str),
    Withdraw(usize, bool),
    Plug(bool, bool),
    Power(bool, bool),
    LoseOrders(bool, bool),
    LoseReports(bool, bool),
    Broker(bool),
    StepClock(i32),
    Trust(bool),
    Wait(u32),
}

/// What leaves boards, links and clocks alone.
pub fn calm_act() -> impl Strategy<Value = Act> {
    let words = ["on 2m", "off 2m", "on", "off", "release", "on until 12:05", "off until next change"];
    prop_oneof![
        4 => (0..3_usize, -5..35_i32).prop_map(|(sensor, value)| Act::Measure(sensor, value)),
        1 => (0..3_usize).prop_map(Act::Garble),
        2 => (0..3_usize, any::<bool>()).prop_map(|(contact, closed)| Act::Contact(contact, closed)),
        1 => any::<bool>().prop_map(Act::Press),
        2 => (0..LOADS, 0..words.len()).prop_map(move |(load, word)| Act::Hold(load, words[word])),
        1 => (0..LOADS, any::<bool>()).prop_map(|(load, out)| Act::Withdraw(load, out)),
        5 => (0..100_u32).prop_map(Act::Wait),
    ]
}

/// What leaves boards and links alone.
pub fn steady_act() -> impl Strategy<Value = Act> {
    prop_oneof![
        8 => calm_act(),
        1 => any::<i32>().prop_map(Act::StepClock),
        1 => any::<bool>().prop_map(Act::Trust),
    ]
}

/// Anything.
pub fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        8 => calm_act(),
        1 => any::<(bool, bool)>().prop_map(|(a, up)| Act::Plug(a, up)),
        1 => any::<(bool, bool)>().prop_map(|(a, up)| Act::Power(a, up)),
        1 => any::<(bool, bool)>().prop_map(|(a, lost)| Act::LoseOrders(a, lost)),
        1 => any::<(bool, bool)>().prop_map(|(a, lost)| Act::LoseReports(a, lost)),
        1 => any::<bool>().prop_map(Act::Broker),
        1 => any::<i32>().prop_map(Act::StepClock),
        1 => any::<bool>().prop_map(Act::Trust),
    ]
}

fn board(a: bool) -> &'static str {
    if a { "a" } else { "b" }
}

/// The board that a sensor or contact of this number hangs on.
fn board_of(number: usize) -> &'static str {
    ["a", "b", "a"][number]
}

impl Act {
    /// Lets it happen on the bench.
    pub fn happen(&self, bench: &mut Bench) {
        match self {
            Act::Measure(sensor, value) => {
                let (name, text) = (format!("t{sensor}"), value.to_string());
                bench.happen(board_of(*sensor), Happening::Reading { name: &name, text: &text });
            }
            Act::Garble(sensor) => {
                let name = format!("t{sensor}");
                bench.happen(board_of(*sensor), Happening::Reading { name: &name, text: "warm" });
            }
            Act::Contact(contact, closed) => {
                let input = format!("c{contact}");
                bench.happen(board_of(*contact), Happening::Contact { input: &input, closed: *closed });
            }
            Act::Press(a) => bench.press(board(*a), if *a { "p0" } else { "p1" }),
            Act::Hold(load, words) => {
                bench.hold(&format!("l{load}"), words);
            }
            Act::Withdraw(load, true) => {
                bench.withdraw(&format!("l{load}"), "drawn");
            }
            Act::Withdraw(load, false) => {
                bench.restore(&format!("l{load}"));
            }
            Act::Plug(a, up) => {
                let player = bench.player(board(*a));
                if player.powered && player.linked != *up {
                    if *up { bench.plug(board(*a)) } else { bench.unplug(board(*a)) }
                }
            }
            Act::Power(a, up) => {
                if bench.player(board(*a)).powered != *up {
                    if *up { bench.power_up(board(*a)) } else { bench.cut_power(board(*a)) }
                }
            }
            Act::LoseOrders(a, lost) => bench.player(board(*a)).loses_orders = *lost,
            Act::LoseReports(a, lost) => bench.player(board(*a)).loses_reports = *lost,
            Act::Broker(true) => bench.link_up(),
            Act::Broker(false) => bench.step(Event::LinkDown),
            Act::StepClock(seconds) => bench.step_clock(i64::from(*seconds) * 1000),
            Act::Trust(trusted) => bench.trust(*trusted),
            Act::Wait(seconds) => bench.run_for(&format!("{seconds}s")),
        }
        bench.run_for("100ms");
    }
}
