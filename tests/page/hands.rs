//! Hands from everywhere: who it was is recorded, an end is understood alike wherever it is typed, and a load that is out of
//! service is told its latest reason.

use serde_json::{Value, json};

use super::client::Site;
use super::home::Home;
use super::login::{home_with_password, log_in_as};
use super::markup::{element, page, submit, words};
use super::support::{Broker, Deadline, TEN_SECONDS, command};

const INPUTS: &str = "[input.hall-1]\nat = \"yard/b1\"\nholds = \"lamp on\"\n\n\
                      [input.remote-red]\nat = \"yard/ir\"\ncode = \"20DF40BF\"\nholds = \"lamp on\"\n";

/// The user who runs this.
fn user() -> String {
    let output = command("id").arg("-un").output().expect("id of coreutils runs");
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

#[test]
fn who_held_is_recorded_whoever_it_was() {
    let broker = Broker::start();
    let home = home_with_password(&broker, "");
    home.folder.write("rules/inputs.toml", INPUTS);
    let site = Site::start(&home);
    let mut board = home.live_board();
    let cookie = log_in_as(&site, "Ann");
    let seen = [("Cookie", cookie.as_str())];
    let mut check = |hold: &dyn Fn(), who: &str| {
        hold();
        board.expect([false, true]);
        let shown = words(element(&page(&site, "/load/lamp", &seen), "now"));
        assert!(shown.contains(&format!("held on by {who} ")), "{who}: {shown}");
        assert!(shown.contains(&format!("hand on by {who} ")), "{who}: {shown}");
        let told = site.request("GET", "/api/loads/lamp", &seen, "").done();
        assert_eq!(told["hold"]["by"], who, "{told}");
        let row = home.ask(&["log", "lamp", "--json"]).out;
        let rows: Value = serde_json::from_str(&row).expect("one document");
        let rows = rows["rows"].as_array().expect("rows");
        let held = rows.iter().rev().find(|row| row["entry"]["entry"] == "held").expect("a hold was written");
        assert_eq!(held["text"], format!("lamp held on by {who}"), "{held}");
        let changed = rows.iter().rev().find(|row| row["entry"]["entry"] == "changed").expect("a change was written");
        assert!(changed["text"].as_str().is_some_and(|text| text.contains(&format!("held on by {who}"))), "{changed}");
        assert_eq!(home.ask(&["release", "lamp"]).code, 0);
        board.expect([false, false]);
    };
    check(&|| home.say("from/yard/input/b1", "press 1"), "input hall-1");
    check(&|| home.say("from/yard/input/ir", "20DF40BF 1"), "input remote-red");
    check(&|| drop(submit(&site, "/load/lamp/hand", &[("do", "on"), ("said", "2h")], &seen)), "Ann on the page");
    let json = [seen[0], ("Content-Type", "application/json")];
    let ask = || drop(site.request("POST", "/api/loads/lamp/hold", &json, "{\"state\":\"on\"}").done());
    check(&ask, "a program of Ann");
    check(&|| assert_eq!(home.ask(&["hold", "lamp", "on"]).code, 0), &format!("a command of {}", user()));
    check(&|| home.say("hold/lamp", "on 2h"), "a message");
}

/// The ways in which an end can be said, and what each answers: the words, or why it is refused.
struct Ways {
    // Ended first, since its daemon makes its folder anew.
    site: Site,
    home: Home,
}

impl Ways {
    fn said(&self, term: &str) -> Vec<(&'static str, Result<String, String>)> {
        let asked = |more: &[&str]| {
            let answer = self.home.ask(&[&["hold", "lamp", "on"][..], more].concat());
            if answer.code == 0 { Ok(answer.out) } else { Err(answer.err) }
        };
        let posted = |field: &str| {
            let page = submit(&self.site, "/load/lamp/hand", &[("do", "on"), (field, term)], &[]);
            let notice = words(element(&page, "notice"));
            match notice.strip_prefix("Done: ") {
                Some(done) => Ok(done.to_owned()),
                None => Err(notice),
            }
        };
        let api = self.site.post("/api/loads/lamp/hold", &json!({ "state": "on", "term": term }).to_string());
        let api = match api.status {
            200 => Ok(api.json()["text"].as_str().expect("words").to_owned()),
            400 => Err(api.json()["detail"].as_str().expect("words").to_owned()),
            _ => panic!("{term}: {api:?}"),
        };
        vec![
            ("in words", asked(&term.split(' ').collect::<Vec<_>>())),
            ("--for", asked(&["--for", term])),
            ("--until", asked(&["--until", term])),
            ("the page's field", posted("said")),
            ("the page's list", posted("until")),
            ("the API", api),
        ]
    }

    /// Until when the lamp is held, as it is told to whoever listens.
    fn until(&self) -> Value {
        let lamp = self.site.get("/api/loads/lamp").done();
        json!([lamp["hold"]["until"], lamp["hold"]["until_next_change"]])
    }
}

#[test]
fn an_end_is_understood_alike_wherever_it_is_typed() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let site = Site::start(&home);
    let mut board = home.live_board();
    let ways = Ways { home, site };
    for (term, words) in [
        ("2h", "lamp is held on until "),
        ("for 2h", "lamp is held on until "),
        ("1h30m", "lamp is held on until "),
        ("22:30", "lamp is held on until 22:30 to"),
        ("until 22:30", "lamp is held on until 22:30 to"),
        ("sunset+30m", "lamp is held on until "),
        ("until sunset + 30m", "lamp is held on until "),
        ("next change", "lamp is held on until the rules say something else, at most 24 h"),
        ("until next change", "lamp is held on until the rules say something else, at most 24 h"),
    ] {
        for (way, said) in ways.said(term) {
            let said = said.unwrap_or_else(|why| panic!("{term} by {way}: {why}"));
            assert!(said.starts_with(words), "{term} by {way}: {said}");
        }
    }
    board.expect([false, true]);
    // By message too: nobody answers there, so what it came to is looked at.
    for term in ["22:30", "until sunset", "next change"] {
        assert_eq!(ways.home.ask(&["hold", "lamp", "on", term]).code, 0);
        let wanted = ways.until();
        assert_eq!(ways.home.ask(&["hold", "lamp", "on", "5m"]).code, 0);
        ways.home.say("hold/lamp", &format!("on {term}"));
        let patience = Deadline::after(TEN_SECONDS);
        let is_same = |found: &Value| match term {
            // That is 24 h from when it was said.
            "next change" => found[1] == wanted[1],
            _ => *found == wanted,
        };
        while !is_same(&ways.until()) {
            assert!(!patience.passed(), "{term} by a message: {} and not {wanted}", ways.until());
        }
    }
}

#[test]
fn what_is_no_end_is_refused_alike_with_what_to_write_instead() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let mut listener = home.listen("standfast/load/lamp");
    let site = Site::start(&home);
    let mut board = home.live_board();
    let mut ways = Ways { home, site };
    for (term, advice) in [
        ("2026-12-24", "write how many days and hours from now, such as \"3d\" or \"2d12h\""),
        ("until 2026-12-24 22:30", "write how many days and hours from now, such as \"3d\" or \"2d12h\""),
        ("24.12.2026", "write how many days and hours from now, such as \"3d\" or \"2d12h\""),
        ("sometime", "write a duration such as \"2h\", a time such as \"22:30\", an event such as \"sunset + 30m\""),
        ("until 2h", "leave out \"until\": write \"2h\""),
        ("0s", "a hold of no length holds nothing"),
        ("24:30", "hours go from 00 to 23"),
    ] {
        for (way, said) in ways.said(term) {
            let why = said.expect_err(&format!("{term} by {way}"));
            assert!(why.split_whitespace().collect::<Vec<_>>().join(" ").contains(advice), "{term} by {way}: {why}");
        }
    }
    ways.home.say("hold/lamp", "on 2026-12-24");
    let said = "write how many days and hours from now";
    ways.site.daemon.expect_line(|line| line.contains("standfast/hold/lamp") && line.contains(said), TEN_SECONDS);
    assert!(board.is_left_alone(), "none of them holds anything");
    listener.expect(|message| message.payload.contains("\"wanted\":\"off\""), TEN_SECONDS);
}

#[test]
fn another_reason_for_a_load_out_of_service_takes_the_place_of_the_first() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let site = Site::start(&home);
    let _board = home.live_board();
    let service = |why: &str| submit(&site, "/load/lamp/service", &[("do", "withdraw"), ("why", why)], &[]);
    let first = service("glass broken");
    assert!(words(element(&first, "notice")).contains("Done: lamp is withdrawn"), "{first}");
    // The page offers to write another one.
    assert!(first.contains("value=\"withdraw\"") && first.contains("Write this reason instead"), "{first}");
    let stays = "lamp was withdrawn already and stays so; the reason is written anew. This is no isolation";
    let second = service("the wire behind it is bare");
    assert_eq!(words(element(&second, "notice")), format!("Done: {stays}"));
    assert!(words(element(&second, "now")).contains("withdrawn (the wire behind it is bare); this is no isolation"));
    let same = service("the wire behind it is bare");
    assert_eq!(words(element(&same, "notice")), "Done: there was nothing to do: lamp is withdrawn already");
    assert_eq!(home.ask(&["withdraw", "lamp", "switch", "too"]).out, stays);
    let program = site.post("/api/loads/lamp/withdraw", "{\"why\":\"all of it\"}").done();
    assert_eq!(program["text"], stays);
    assert_eq!(site.get("/api/loads/lamp").done()["withdrawn"]["why"], "all of it");
    let log = home.ask(&["log", "lamp"]).out;
    let log = log.split_whitespace().collect::<Vec<_>>().join(" ");
    for row in [
        "lamp withdrawn (glass broken) by the page;",
        "lamp stays withdrawn (the wire behind it is bare) by the page;",
        "lamp stays withdrawn (all of it) by a program;",
    ] {
        assert!(log.contains(row), "{row}: {log}");
    }
    assert_eq!(log.matches("lamp stays withdrawn").count(), 3, "{log}");
}
