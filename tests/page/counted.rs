//! The page of history: what it counts of a journal that is known, by load, by day and by reason.

use rusqlite::Connection;

use super::client::Site;
use super::home::Home;
use super::markup::{element, page, rows};
use super::support::Broker;

/// Milliseconds of a time in UTC.
fn ms(at: &str) -> i64 {
    at.parse::<jiff::Timestamp>().expect("a time").as_millisecond()
}

/// Rows as the daemon writes them: two nights of British summer time, whose midnights are at 23:00 UTC.
fn write_journal(home: &Home) {
    let rule = |relay: &str| format!(r#"{{"cause":"{relay}"}}"#);
    let (hand, resting) = (rule("hand-at-board"), rule("resting"));
    let database = Connection::open(home.folder.path("data/standfast.db")).expect("opens");
    for (at, load, relay, state, cause) in [
        ("2026-05-11T10:00:00Z", "fan", "yard/1", "on", &resting),
        ("2026-05-11T13:00:00Z", "fan", "yard/1", "off", &resting),
        ("2026-05-11T22:00:00Z", "fan", "yard/1", "on", &hand),
        ("2026-05-12T01:00:00Z", "fan", "yard/1", "off", &resting),
        ("2026-05-12T09:00:00Z", "lamp", "yard/2", "on", &hand),
        ("2026-05-12T09:15:00Z", "lamp", "yard/2", "off", &resting),
    ] {
        let entry =
            format!(r#"{{"entry":"changed","load":"{load}","relay":"{relay}","state":"{state}","cause":{cause}}}"#);
        let row = (ms(at), true, "known", entry);
        database
            .execute("INSERT INTO journal (at_ms, trusted, revision, entry) VALUES (?1, ?2, ?3, ?4)", row)
            .expect("written");
    }
}

#[test]
fn hours_energy_switchings_and_contact_life_are_counted_from_the_journal() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    // A fan of 500 W whose relay stands 400 switchings; of the lamp neither is known.
    home.save_with("kind = \"motor\"", "kind = \"motor\"\npower = \"500 W\"\nendurance = 400");
    Site::start(&home).stop();
    write_journal(&home);
    let site = Site::start(&home);
    let history = page(&site, "/history?since=2026-05-11&until=2026-05-13", &[]);
    let check = |id: &str, expected: &[&[&str]]| {
        let of = history.find(&format!("<h2 id=\"{id}\"")).expect("a heading");
        let section = history[of..].split("</section>").next().expect("a section");
        assert_eq!(rows(section), expected, "{id}: {section}");
    };
    // Load, hours, kWh, switched on, share of contact life, life used in all: three hours and three, at 500 W.
    check("each-load", &[&["Fan", "6.00", "3.00", "2", "0.50 %", "0.00 %"], &["Lamp", "0.25", "–", "1", "–", "–"]]);
    // The night is cut at 23:00 UTC, which is the site's midnight.
    check(
        "by-day",
        &[
            &["Fan", "2026-05-11", "4.00", "2.00", "2", "0.50 %"],
            &["Fan", "2026-05-12", "2.00", "1.00", "0", "0.00 %"],
            &["Lamp", "2026-05-12", "0.25", "–", "1", "–"],
        ],
    );
    check(
        "by-reason",
        &[
            &["Fan", "hand at board", "3.00", "1.50", "1", "0.25 %"],
            &["Fan", "resting", "3.00", "1.50", "1", "0.25 %"],
            &["Lamp", "hand at board", "0.25", "–", "1", "–"],
        ],
    );
    // Of one load and of one day only that is counted, and so is what began before.
    let one = page(&site, "/history?load=fan&since=2026-05-12&until=2026-05-13", &[]);
    assert_eq!(rows(&one)[0], ["Fan", "2.00", "1.00", "0", "0.00 %", "0.00 %"], "{one}");
    assert!(element(&one, "main").contains("12 May 02:00:00"), "the journal is by the site's clock: {one}");
    assert!(!one.contains("/load/lamp\""), "{one}");
}
