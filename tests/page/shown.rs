//! What pages show of what happened: what a load wants and does, what loses, what was pressed, what a change would do.

use super::client::Site;
use super::home::{HOUSE, Home};
use super::markup::{element, page, submit, words};
use super::support::{Broker, Deadline, Folder, Standfast, TEN_SECONDS};

const BROWSER: [(&str, &str); 1] = [("Accept", "text/html,application/xhtml+xml")];

/// The words of a part of a page, once they hold all of this: what is published is on its way.
fn shows(site: &Site, path: &str, id: &str, parts: &[&str]) -> String {
    let patience = Deadline::after(TEN_SECONDS);
    loop {
        let shown = words(element(&page(site, path, &[]), id));
        match parts.iter().find(|part| !shown.contains(**part)) {
            None => return shown,
            Some(part) => assert!(!patience.passed(), "#{id} of {path} does not show {part:?}: {shown}"),
        }
    }
}

/// A home whose fan must stay off for ten minutes, with a daemon that has a page.
fn slow_fan(broker: &Broker) -> (Home, Site) {
    let home = Home::with_page(broker.port());
    home.save_with("kind = \"motor\"", "kind = \"motor\"\nmin_on = \"10m\"");
    let site = Site::start(&home);
    (home, site)
}

#[test]
fn a_loads_page_shows_what_wants_it_otherwise_and_loses() {
    let broker = Broker::start();
    let (home, site) = slow_fan(&broker);
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "29.5");
    board.expect([true, false]);
    let held = submit(&site, "/load/fan/hand", &[("do", "off"), ("until", "2h")], &[]);
    assert!(words(element(&held, "notice")).contains("Done: fan is held off until "), "{held}");
    // The hand is weaker than the ten minutes for which a fan that has begun stays on, and stronger than the rule.
    let why =
        shows(&site, "/load/fan", "why", &["6 on : min on", "8 off : a hold by the page", "16 on : rule fan-when-hot"]);
    let slots = why.split_once("Slots, the lowest decides").expect("slots").1;
    let verdicts: Vec<&str> = slots.split_whitespace().filter(|word| matches!(*word, "decides" | "loses")).collect();
    assert_eq!(verdicts, ["decides", "loses", "loses"], "{why}");
    let now = shows(&site, "/load/fan", "now", &["wanted on", "ordered on", "known on", "hand off by the page until"]);
    assert!(now.contains("safe state off"), "{now}");
    shows(&site, "/load/fan", "did", &["time on in 7 days", "fan held off by the page"]);
    let marks = words(element(&page(&site, "/", &[]), "now-fan"));
    assert!(marks.contains("hand off until") && marks.contains(" wants off and loses"), "{marks}");
    assert!(!marks.contains("rule fan-when-hot wants"), "what wants the same loses nothing: {marks}");
}

#[test]
fn a_loads_page_marks_where_wanted_ordered_and_known_differ() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let site = Site::start(&home);
    let facts = |parts: &[&str]| -> Vec<String> {
        shows(&site, "/load/lamp", "now", parts);
        let page = page(&site, "/load/lamp", &[]);
        let marked = element(&page, "now").split("<div class=\"differs\">").skip(1);
        marked.map(|rest| words(rest.split("</div>").next().unwrap_or_default())).collect()
    };
    // Before its board is heard.
    let apart = facts(&["wanted off", "ordered nothing", "known not known"]);
    assert_eq!(apart, ["ordered nothing", "known not known"]);
    let mut board = home.live_board();
    assert_eq!(facts(&["wanted off", "ordered off", "known off"]), [""; 0]);
    // It is ordered, and the board has not said yet that it obeys.
    assert_eq!(home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    let apart = facts(&["wanted on", "ordered on", "known off"]);
    assert_eq!(apart, ["known off"]);
    board.expect([false, true]);
    assert_eq!(facts(&["wanted on", "ordered on", "known on"]), [""; 0]);
}

#[test]
fn what_was_pressed_is_offered_as_toml_that_the_checker_takes() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    // A name that is offered would be taken already.
    home.folder.write("rules/more.toml", "[input.yard-b1]\nat = \"yard/b9\"\ntoggles = \"lamp\"\n");
    let site = Site::start(&home);
    let _board = home.live_board();
    let none = shows(&site, "/inputs", "paste", &[]);
    assert_eq!(none, "Whatever was said lately is named in the house.");
    for (place, said) in [
        ("yard/input/ir", "20DF40BF 7"),
        ("yard/input/ir", "20df40bf 8"),
        ("yard/input/ir", "20DFC03F 9"),
        ("yard/input/ir", "20-DF 10"),
        ("yard/input/b1", "press 1"),
        ("yard/input/door", "on"),
        ("yard/input/Door_2", "off"),
        ("yard/reading/t9", "4.5"),
        ("attic/input/ir", "20DF40BF 1"),
    ] {
        home.say(&format!("from/{place}"), said);
    }
    let said = shows(&site, "/inputs", "said", &["attic/ir: code 20DF40BF , not named in the house"]);
    assert!(said.contains("yard/b1: press, not named") && said.contains("yard/door: on, not named"), "{said}");
    let inputs = page(&site, "/inputs", &[]);
    let pre = element(&inputs, "paste").split_once("<code>").expect("sections").1;
    let pasted = words(pre.split_once("</code>").expect("an end").0);
    for head in [
        "[input.yard-ir-20df40bf]",
        "[input.yard-ir-20dfc03f]",
        "[input.yard-b1-2]",
        "[input.yard-door]",
        "[sensor.yard-t9]",
    ] {
        assert_eq!(pasted.lines().filter(|line| *line == head).count(), 1, "{head}: {pasted}");
    }
    assert!(pasted.contains("# The house has no board \"attic\": write [board.attic]"), "{pasted}");
    assert!(pasted.contains("# [input.attic-ir-20df40bf]"), "{pasted}");
    // Into a file of its own, and at the foot of one that is there.
    let folder = Folder::new();
    folder.write("own/house.toml", HOUSE);
    folder.write("own/pasted.toml", &pasted);
    folder.write("foot/house.toml", &format!("{HOUSE}\n{pasted}"));
    for house in ["own", "foot"] {
        let checked = Standfast::run(&["check", &folder.path(house).display().to_string()]);
        assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stdout));
    }
    home.folder.write("rules/pasted.toml", &pasted);
    assert_eq!(home.ask(&["apply"]).code, 0);
    // What was said before is named now, and not offered again.
    shows(
        &site,
        "/inputs",
        "said",
        &["yard/b1: press input \"yard-b1-2\"", "code 20DFC03F input \"yard-ir-20dfc03f\""],
    );
    let left = shows(&site, "/inputs", "paste", &["attic"]);
    assert!(!left.contains("yard-ir") && !left.contains("yard-b1"), "{left}");
}

#[test]
fn the_page_of_a_waiting_change_says_what_it_would_do_and_takes_it() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let site = Site::start(&home);
    let mut board = home.live_board();
    let change = || words(element(&page(&site, "/house/waiting", &[]), "main"));
    assert!(change().contains("runs already"), "{}", change());
    assert_eq!(home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    board.expect([false, true]);
    let (before, after) = HOUSE.split_once("[load.lamp]").expect("it has a lamp");
    let rule = after.split_once("[rule.").expect("it has a rule").1;
    home.folder.write("rules/house.toml", &format!("{before}[rule.{rule}"));
    shows(&site, "/house", "rules", &["waits for `standfast apply`", "load \"lamp\" on yard/2 is gone"]);
    let waits = change();
    assert!(waits.contains("would take the place of "), "{waits}");
    assert!(
        waits.contains("load \"lamp\" on yard/2 is gone") && waits.contains("yard/2 would be opened at once"),
        "{waits}"
    );
    assert!(waits.contains("Taking it acts at once. What it takes away is opened first."), "{waits}");
    assert!(board.is_left_alone(), "looking takes nothing");
    let taken = submit(&site, "/house/apply", &[], &[]);
    assert!(words(element(&taken, "notice")).contains("runs now"), "{taken}");
    board.expect([false, false]);
    assert!(!words(element(&taken, "rules")).contains("waits"), "{taken}");
    // One with errors says which, and cannot be taken.
    home.save_with("kind = \"motor\"", "kind = \"moter\"");
    let wrong = page(&site, "/house/waiting", &[]);
    let said = words(element(&wrong, "main"));
    assert!(said.contains("It cannot be taken.") && said.contains("did you mean \"motor\"?"), "{said}");
    assert!(!wrong.contains("/house/apply"), "{wrong}");
}

#[test]
fn an_address_that_is_no_text_is_answered_with_an_error_page() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let site = Site::start(&home);
    for path in ["/%ff", "/load/%ff", "/load/fan%c3%28", "/assets/%80", "/login%fe", "/selector/%ff"] {
        let shown = site.request("GET", path, &BROWSER, "");
        assert_eq!(shown.status, 400, "{path}: {shown:?}");
        assert!(words(&shown.body).contains("This address cannot be read"), "{path}: {shown:?}");
        assert!(shown.header("content-security-policy").is_some(), "{path}: {shown:?}");
        site.get(path).expect_problem(400, &["UTF-8"]);
    }
    for path in ["/api/%ff", "/api/loads/%ff", "/api/loads/lamp%ff/why", "/api/alarms/%c0%af/acknowledge"] {
        site.request("GET", path, &BROWSER, "").expect_problem(400, &["UTF-8"]);
        site.post(path, "{}").expect_problem(400, &["UTF-8"]);
    }
    let posted = site.request(
        "POST",
        "/load/%ff/hand",
        &[BROWSER[0], ("Content-Type", "application/x-www-form-urlencoded")],
        "do=on",
    );
    assert!(posted.status == 400 && posted.body.contains("This address cannot be read"), "{posted:?}");
    // In a query it is an answer too, whatever it asks for.
    for (path, status) in
        [("/history?load=%ff", 200), ("/?said=%ff", 200), ("/load/lamp?said=x", 200), ("/api/journal?load=%ff", 404)]
    {
        assert_eq!(site.request("GET", path, &BROWSER, "").status, status, "{path}");
    }
    // One that is text, beyond ASCII as well, is looked for.
    let other = site.request("GET", "/load/%C3%A9tage", &BROWSER, "");
    assert!(other.status == 404 && other.body.contains("no load of that name"), "{other:?}");
}
