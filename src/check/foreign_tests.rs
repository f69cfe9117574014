//! Tests of the findings about boards of other firmware, all invented: each is found where it is, and not elsewhere.

use super::*;

const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"

[board.hens]
relays = 2
lease = "90s"
order = { topic = "hens/put/{relay}", energised = "pull {lease_s}", released = "free" }
report = { topic = "hens/got/{relay}", energised = "pulled", released = "freed" }

[load.lamp]
relay = "hens/1"
kind = "led"

[load.fan]
relay = "hens/2"
kind = "motor"
"#;

/// A second board, with one load, whose tables are given.
fn second(more: &str) -> String {
    format!("[board.shed]\nrelays = 1\nlease = \"none\"\n{more}\n[load.pump]\nrelay = \"shed/1\"\nkind = \"motor\"\n")
}

fn check(replaced: (&str, &str), added: &str, expected: &[&str]) {
    assert!(HOUSE.contains(replaced.0), "{}", replaced.0);
    let text = HOUSE.replacen(replaced.0, replaced.1, 1) + added;
    let examined = examine(&[("house.toml".to_owned(), text)], &TimeZoneDatabase::bundled());
    assert_eq!(examined.house.is_none(), errors(&examined.diagnostics) > 0);
    let codes: Vec<&str> = examined.diagnostics.iter().map(|one| one.code.as_str()).collect();
    assert_eq!(codes, expected, "{:#?}", examined.diagnostics);
    assert!(examined.diagnostics.iter().all(|one| one.at.is_some() && !one.help.is_empty()));
}

const SILENT: &str = "report = \"none\"\norder = { topic = \"shed/put\", energised = \"1\", released = \"0\" }";

#[test]
fn a_board_that_takes_a_lease_and_reports_has_no_findings() {
    check(("", ""), "", &[]);
}

#[test]
fn without_a_lease_a_person_is_warned() {
    check(("", ""), &second(SILENT), &["no-lease"]);
}

#[test]
fn one_that_cannot_report_joins_no_interlock() {
    let interlock = "[interlock.x]\nloads = [\"lamp\", \"fan\"]\n";
    check(("", ""), interlock, &[]);
    check(("report = {", "report = \"none\" #"), interlock, &["untrusted-member", "untrusted-member"]);
}

#[test]
fn topics_that_are_claimed_twice() {
    let orders = SILENT.replace("shed/put", "hens/put/1").replace("\"0\"", "\"free\"");
    check(("", ""), &second(&orders), &["no-lease", "shared-topic"]);
    let echo = SILENT.replace("shed/put", "hens/got/1");
    check(("", ""), &second(&echo), &["no-lease", "echo"]);
    let report = "report = { topic = \"hens/got/1\", energised = \"1\", released = \"0\" }";
    check(("", ""), &second(&SILENT.replace("report = \"none\"", report)), &["no-lease", "shared-topic"]);
    // A bridge may speak for several boards in one document.
    let apart = report.replace("hens/got/1", "hens/all").replace("energised", "field = \"/shed\", energised");
    let bridge = ("\"hens/got/{relay}\"", "\"hens/all\", field = \"/hens/{relay}\"");
    check(bridge, &second(&SILENT.replace("report = \"none\"", &apart)), &["no-lease"]);
    let own = SILENT.replace("shed/put", "standfast/to/yard/orders");
    check(("", ""), &second(&own), &["no-lease", "own-topic"]);
}

#[test]
fn what_it_cannot_do() {
    let use_of = "[rule.x]\nload = \"fan\"\ndemand = \"on\"\nwhile = { sensor = \"t\", cut_in = \">= 5\", cut_out = \"<= 4\" }\n";
    check(("", ""), &format!("[sensor.t]\nreading = \"hens/t1\"\n{use_of}"), &["not-the-wire"]);
    check(("", ""), &format!("[sensor.t]\ntopic = \"hens/air\"\n{use_of}"), &[]);
    check(("", ""), "[input.x]\nat = \"hens/1\"\ntoggles = \"fan\"\n", &["not-the-wire"]);
    check(("released = \"free\"", "released = \"free\", retain = true"), "", &["kept-order"]);
}

#[test]
fn tables_that_cannot_be_read() {
    check(("{relay}\", energised = \"pull", "1\", energised = \"pull"), "", &["indistinct"]);
    check(("got/{relay}", "got"), "", &["indistinct"]);
    check(("got/{relay}", "got/{channel}"), "", &["bad-topic"]);
    check(("\"hens/got/{relay}\"", "[\"a\"]"), "", &["bad-topic"]);
    check(("\"hens/got/{relay}\"", "[\"a\", \"b\"]"), "", &[]);
    check(("got/{relay}", "got/+"), "", &["bad-topic"]);
    check(("released = \"free\"", "released = \"pull {lease_s}\""), "", &["indistinct"]);
    check((" {lease_s}", ""), "", &["contradiction"]);
    check(("lease = \"90s\"", "lease = \"none\""), "", &["contradiction"]);
    check(("lease = \"90s\"\n", ""), "", &[]);
    check(("report = {", "#"), "", &["missing-key"]);
    check(("order = {", "#"), "", &["contradiction"]);
    check(("report = {", "report = \"sometimes\" #"), "", &["wrong-type"]);
    check(("report = {", "lost_after = \"5m\"\nreport = \"none\" #"), "", &["contradiction"]);
    check(("report = {", "ask = { topic = \"a\", payload = \"b\" }\nreport = \"none\" #"), "", &["contradiction"]);
    check(("released = \"free\"", "released = \"free\", repeat = \"none\""), "", &["bad-duration"]);
    check(("released = \"free\"", "released = \"free\", repeat = \"80s\""), "", &["bad-duration"]);
    check(("released = \"free\"", "released = \"free\", qos = 2"), "", &["out-of-bounds"]);
    check(("released = \"free\"", "released = \"\""), "", &["bad-value"]);
    check(("report = {", "active_low = \"yes\"\nreport = {"), "", &["wrong-type"]);
    check(("relays = 2", "relays = 2\nfirst = 0"), "", &[]);
}
