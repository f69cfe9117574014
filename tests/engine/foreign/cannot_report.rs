//! Boards of other firmware that cannot report: assumed to obey, and never confirmed.

use super::*;

fn settled(more: &str) -> Bench {
    let mut bench = Bench::new(&shed(more));
    roof(&mut bench, "20");
    bench.run_for("31s");
    bench
}

#[test]
fn is_ordered_in_its_words_and_assumed_to_obey() {
    let mut bench = settled("");
    let first = [r#"shed/coils {"coil":2,"pull":0}"#, r#"shed/coils {"coil":1,"pull":0}"#];
    assert_eq!(said(&mut bench), first, "the lamp has no rule, so it waits for nothing");
    roof(&mut bench, "29");
    assert_eq!(said(&mut bench), [r#"shed/coils {"coil":1,"pull":1}"#], "only what changed is said");
    let explanation = bench.explain("fan");
    assert_eq!((explanation.known, explanation.assumed, explanation.ordered), (Some(On), true, Some(On)));
    let why = bench.why("fan");
    assert!(why.starts_with("fan: on (assumed), ") && why.contains("(rule "), "{why}");
    let status = bench.engine.load_status(bench.load("fan"), true, "r1");
    assert!(status.contains(r#""known":"on","assumed":true"#), "{status}");
    let journal = bench.take_journal();
    assert!(journal.iter().any(|row| row.contains(r#""entry":"assumed","load":"fan""#)), "{journal:?}");
    assert!(!journal.iter().any(|row| row.contains(r#""entry":"changed""#)), "{journal:?}");
    assert_eq!(bench.alarms(), [] as [&str; 0]);
}

#[test]
fn is_told_nothing_before_its_loads_have_settled() {
    let mut bench = Bench::new(&shed(""));
    bench.run_for("29s");
    // The lamp has no rule, so it waits for nothing; nobody knows yet what the fan's rule will say.
    assert_eq!(said(&mut bench), [r#"shed/coils {"coil":2,"pull":0}"#]);
    bench.run_for("2s");
    assert_eq!(said(&mut bench), [r#"shed/coils {"coil":1,"pull":0}"#], "unknown demands the safe state");
}

#[test]
fn hears_its_orders_again_every_minute_and_after_a_reconnect() {
    let mut bench = settled("");
    roof(&mut bench, "29");
    said(&mut bench);
    let all = [r#"shed/coils {"coil":1,"pull":1}"#, r#"shed/coils {"coil":2,"pull":0}"#];
    bench.run_for("1m");
    assert_eq!(said(&mut bench), all);
    bench.step(standfast::engine::Event::LinkDown);
    roof(&mut bench, "20");
    bench.run_for("5m");
    assert_eq!(said(&mut bench), [] as [&str; 0]);
    assert_eq!(bench.assumed("fan"), Some(On), "nothing was said, so nothing is assumed to have changed");
    bench.link_up();
    assert_eq!(said(&mut bench)[0], r#"shed/coils {"coil":1,"pull":0}"#);
    assert_eq!(bench.assumed("fan"), Some(Off));
}

#[test]
fn is_kept_to_min_on_min_off_and_max_on_by_what_is_assumed() {
    let mut bench = settled("min_on = \"2m\"\nmin_off = \"3m\"");
    bench.run_for("3m");
    roof(&mut bench, "29");
    roof(&mut bench, "20");
    assert_eq!((bench.wanted("fan"), bench.explain("fan").slot), (On, Some(6)));
    bench.run_for("1m59s");
    assert_eq!(bench.assumed("fan"), Some(On));
    bench.run_for("2s");
    assert_eq!(bench.assumed("fan"), Some(Off));
    roof(&mut bench, "29");
    bench.run_for("2m50s");
    assert_eq!(bench.assumed("fan"), Some(Off));
    bench.run_for("10s");
    assert_eq!(bench.assumed("fan"), Some(On));
}

#[test]
fn counts_runs_and_starts_by_what_is_assumed() {
    let mut bench = settled("max_on = \"20m\"\nrest = \"5m\"\nmax_starts = \"2 per 2h\"");
    roof(&mut bench, "29");
    bench.run_for("20m1s");
    assert_eq!((bench.assumed("fan"), bench.explain("fan").slot), (Some(Off), Some(5)));
    bench.run_for("5m");
    assert_eq!(bench.assumed("fan"), Some(On), "the second start");
    bench.run_for("25m1s");
    assert_eq!(bench.assumed("fan"), Some(Off));
    assert!(bench.why("fan").contains("started as often as it may"), "{}", bench.why("fan"));
}

#[test]
fn a_hold_is_an_order_like_any_other() {
    let mut bench = settled("");
    said(&mut bench);
    assert!(matches!(bench.hold("lamp", "on 10m"), Answer::Held { .. }));
    assert_eq!(said(&mut bench), [r#"shed/coils {"coil":2,"pull":1}"#]);
    bench.run_for("10m1s");
    assert_eq!(bench.assumed("lamp"), Some(Off));
}

#[test]
fn after_a_restart_it_is_assumed_to_be_as_it_was_left() {
    let text = shed("min_off = \"3m\"");
    let mut bench = Bench::new(&text);
    roof(&mut bench, "29");
    bench.run_for("2m59s");
    assert_eq!(bench.assumed("fan"), Some(Off), "it may have run until just before the first start");
    bench.run_for("1m");
    assert_eq!(bench.assumed("fan"), Some(On));
    said(&mut bench);
    bench.restart(&text, "20s", true, true);
    assert_eq!(bench.assumed("fan"), Some(On));
    assert!(!said(&mut bench).contains(&r#"shed/coils {"coil":1,"pull":0}"#.to_owned()));
    bench.run_for("2m");
    assert_eq!((bench.assumed("fan"), bench.assumed("lamp")), (Some(On), Some(Off)));
    assert!(
        !said(&mut bench).contains(&r#"shed/coils {"coil":1,"pull":0}"#.to_owned()),
        "a restart changes no contact"
    );
}

#[test]
fn a_load_that_leaves_the_house_is_opened_once() {
    let mut bench = settled("");
    bench.hold("lamp", "on 10h");
    said(&mut bench);
    bench.reload(&shed("").replace("[load.lamp]\nrelay = \"shed/2\"\nkind = \"led\"\n", ""));
    let orders = said(&mut bench);
    assert!(orders.contains(&r#"shed/coils {"coil":2,"pull":0}"#.to_owned()), "{orders:?}");
    bench.run_for("2m");
    assert!(!said(&mut bench).iter().any(|order| order.contains("\"coil\":2")), "nobody will ever confirm it");
}

#[test]
fn a_board_that_leaves_the_house_is_opened_in_the_words_that_it_knows() {
    let mut bench = settled("");
    roof(&mut bench, "29");
    said(&mut bench);
    bench.reload(&format!("[board.yard]\nrelays = 2\n{}", load("yard", "")));
    assert_eq!(said(&mut bench), [r#"shed/coils {"coil":1,"pull":0}"#]);
}

#[test]
fn the_same_after_a_restart_with_another_house() {
    let mut bench = settled("");
    roof(&mut bench, "29");
    said(&mut bench);
    bench.restart(&format!("[board.yard]\nrelays = 2\n{}", load("yard", "")), "5s", true, true);
    bench.run_for("1s");
    assert_eq!(said(&mut bench), [r#"shed/coils {"coil":1,"pull":0}"#]);
}

#[test]
fn a_board_that_is_spoken_to_otherwise_is_opened_in_the_old_words_first() {
    let mut bench = settled("min_off = \"3m\"");
    bench.run_for("3m");
    roof(&mut bench, "29");
    said(&mut bench);
    bench.reload(&shed("min_off = \"3m\"").replace("shed/coils", "shed/relays"));
    let orders = said(&mut bench);
    assert!(orders.contains(&r#"shed/coils {"coil":1,"pull":0}"#.to_owned()), "{orders:?}");
    let closing = r#"shed/relays {"coil":1,"pull":1}"#.to_owned();
    assert!(!orders.contains(&closing), "it may be the same relay, and would close again at once");
    bench.run_for("2m59s");
    assert!(!said(&mut bench).contains(&closing));
    bench.run_for("2s");
    assert!(said(&mut bench).contains(&closing));
}

#[test]
fn one_that_goes_and_comes_back_counts_as_released_and_its_min_off_runs_in_full() {
    let alive = "alive = { topic = \"shed/link\", there = \"up\", gone = \"down\" }\n";
    let text = shed("min_off = \"3m\"").replace("report = \"none\"\n", &format!("report = \"none\"\n{alive}"));
    let mut bench = Bench::new(&text);
    bench.message("shed/link", "up", true);
    roof(&mut bench, "29");
    bench.run_for("5m");
    assert_eq!(bench.assumed("fan"), Some(On));
    bench.message("shed/link", "down", false);
    assert_eq!(bench.alarms(), ["board-shed"]);
    assert_eq!(bench.assumed("fan"), None);
    said(&mut bench);
    bench.run_for("5m");
    assert_eq!(said(&mut bench), [] as [&str; 0]);
    bench.message("shed/link", "up", false);
    assert_eq!(bench.alarms(), [] as [&str; 0]);
    assert_eq!(said(&mut bench)[0], r#"shed/coils {"coil":1,"pull":0}"#);
    bench.run_for("2m59s");
    assert_eq!(bench.assumed("fan"), Some(Off));
    bench.run_for("2s");
    assert_eq!(bench.assumed("fan"), Some(On));
}

#[test]
fn circuits_count_what_was_ordered() {
    let more = "power = \"600 W\"";
    let text = shed(more).replace("[load.lamp]", "[load.lamp]\npower = \"600 W\"")
        + "[circuit.hut]\nloads = [\"fan\", \"lamp\"]\nlimit = \"1 kW\"\nshed = [\"fan\"]\n";
    let mut bench = Bench::new(&text);
    roof(&mut bench, "29");
    bench.run_for("31s");
    assert_eq!(bench.assumed("fan"), Some(On));
    bench.hold("lamp", "on 1h");
    assert_eq!((bench.assumed("fan"), bench.assumed("lamp")), (Some(Off), Some(On)));
    let orders = said(&mut bench);
    let place = |order: &str| orders.iter().rposition(|said| said == order).unwrap_or_else(|| panic!("{orders:?}"));
    assert!(place(r#"shed/coils {"coil":1,"pull":0}"#) < place(r#"shed/coils {"coil":2,"pull":1}"#));
}
