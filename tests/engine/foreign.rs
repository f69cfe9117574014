//! Boards of other firmware: one that cannot report, one that reports by relay and in JSON with its pins the wrong way round,
//! and one whose payload carries a lease. All of them, their topics and their words are invented.

use standfast::engine::Answer;
use standfast::house::State::{self, Off, On};

use crate::bench::Bench;

impl Bench {
    /// What is known of a load of which everything is only assumed.
    fn assumed(&self, load: &str) -> Option<State> {
        let explanation = self.explain(load);
        explanation.known.filter(|_| explanation.assumed)
    }
}

/// Cannot report, has no lease: one topic, the relay in the payload.
const SHED: &str = r#"
[board.shed]
relays = 2
lease = "none"
report = "none"
order = { topic = "shed/coils", energised = '{"coil":{relay},"pull":1}', released = '{"coil":{relay},"pull":0}' }
"#;

/// Reports each relay on a topic of its own, says that it is there, counts from 0 and has its pins the wrong way round.
const TOWER: &str = r#"
[board.tower]
relays = 2
lease = "none"
first = 0
active_low = true
order = { topic = "tower/put/{relay}", energised = "set", released = "clear" }
report = { topic = "tower/got/{relay}", field = "/pin", energised = "set", released = "clear" }
alive = { topic = "tower/link", there = "up", gone = "down" }
"#;

/// Releases its relays by itself after the seconds in the order, and answers a question.
const HENS: &str = r#"
[board.hens]
relays = 1
lease = "80s"
order = { topic = "hens/do", energised = "pull for {lease_s}", released = "let go" }
report = { topic = "hens/is", energised = "pulled", released = "free" }
ask = { topic = "hens/tell", payload = "all", every = "1m" }
lost_after = "3m"
"#;

const AIR: &str = "[sensor.air]\ntopic = \"roof\"\nunit = \"°C\"\nstale_after = \"7d\"\n";

fn load(board: &str, more: &str) -> String {
    format!(
        "{AIR}[load.fan]\nrelay = \"{board}/1\"\nkind = \"motor\"\n{more}\n[load.lamp]\nrelay = \"{board}/2\"\nkind = \"led\"\n\
         [rule.fan-when-hot]\nload = \"fan\"\ndemand = \"on\"\nwhile = {{ sensor = \"air\", cut_in = \">= 28\", cut_out = \"<= 26\" }}\n"
    )
}

fn shed(more: &str) -> String {
    format!("{SHED}{}", load("shed", more))
}

fn tower(more: &str) -> String {
    format!("{TOWER}{}", load("tower", more))
}

fn hens(more: &str) -> String {
    format!("{HENS}{}", load("hens", more).replace("[load.lamp]\nrelay = \"hens/2\"\nkind = \"led\"\n", ""))
}

/// What was said to boards since the last look, `topic payload`.
fn said(bench: &mut Bench) -> Vec<String> {
    std::mem::take(&mut bench.foreign).into_iter().map(|(topic, payload)| format!("{topic} {payload}")).collect()
}

fn roof(bench: &mut Bench, degrees: &str) {
    bench.message("roof", degrees, false);
}

mod cannot_report {
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
}

mod reports {
    use super::*;

    /// The tower as its broker knows it: there, both relays released, which is what it calls set.
    fn there(more: &str) -> Bench {
        let mut bench = Bench::new(&tower(more));
        bench.message("tower/got/0", r#"{"pin":"set"}"#, true);
        bench.message("tower/got/1", r#"{"pin":"set"}"#, true);
        bench.message("tower/link", "up", true);
        roof(&mut bench, "20");
        bench.run_for("31s");
        bench
    }

    #[test]
    fn a_report_that_the_broker_kept_counts_once_the_board_is_there() {
        let mut bench = Bench::new(&tower(""));
        bench.message("tower/got/0", r#"{"pin":"clear"}"#, true);
        assert_eq!(bench.explain("fan").known, None);
        bench.message("tower/link", "up", true);
        assert_eq!(bench.explain("fan").known, Some(On), "its pins are the wrong way round");
        assert_eq!(bench.explain("lamp").known, None, "the other relay was not reported yet");
        assert_eq!(said(&mut bench), ["tower/put/0 clear"], "until its load has settled it stays as reported");
    }

    #[test]
    fn is_told_in_its_words_and_confirmed_by_its_report() {
        let mut bench = there("");
        said(&mut bench);
        roof(&mut bench, "29");
        assert_eq!(said(&mut bench), ["tower/put/0 clear"]);
        assert_eq!((bench.explain("fan").known, bench.explain("fan").ordered), (Some(Off), Some(On)));
        bench.message("tower/got/0", r#"{"pin":"clear","mA":41}"#, false);
        assert_eq!((bench.explain("fan").known, bench.assumed("fan")), (Some(On), None));
        let journal = bench.take_journal();
        assert!(journal.iter().any(|row| row.contains(r#""entry":"changed","load":"fan""#)), "{journal:?}");
        assert!(!journal.iter().any(|row| row.contains(r#""entry":"assumed""#)), "{journal:?}");
    }

    #[test]
    fn what_is_no_word_of_it_says_nothing() {
        let mut bench = there("");
        for payload in ["clear", "{}", r#"{"pin":"on"}"#, r#"{"pin":null}"#, "\u{0}"] {
            bench.message("tower/got/0", payload, false);
            assert_eq!(bench.explain("fan").known, Some(Off), "{payload}");
        }
        bench.from("tower/report", "17 1 0 on on");
        assert_eq!(bench.explain("fan").known, Some(Off), "the contract is not what it speaks");
    }

    #[test]
    fn gone_is_lost_at_once_and_a_late_report_does_not_bring_it_back() {
        let mut bench = there("");
        bench.message("tower/link", "down", false);
        assert_eq!(bench.alarms(), ["board-tower"]);
        assert!(bench.alarm("board-tower").text.contains("no lease"), "{}", bench.alarm("board-tower").text);
        bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
        assert_eq!(bench.explain("fan").known, None);
        said(&mut bench);
        roof(&mut bench, "29");
        bench.run_for("10m");
        assert_eq!(said(&mut bench), [] as [&str; 0], "nobody is there to tell");
        bench.message("tower/link", "up", false);
        bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
        assert_eq!(bench.alarms(), [] as [&str; 0]);
        assert_eq!(said(&mut bench), ["tower/put/0 clear"]);
    }

    #[test]
    fn one_that_says_nothing_at_all_is_missed_after_a_minute() {
        let mut bench = Bench::new(&tower(""));
        bench.run_for("59s");
        assert_eq!(bench.alarms(), [] as [&str; 0]);
        bench.run_for("2s");
        assert_eq!(bench.alarms(), ["board-tower"]);
        assert_eq!(said(&mut bench), [] as [&str; 0], "of a contact that nobody knows nothing is ordered");
    }

    #[test]
    fn one_that_does_not_obey_is_told_again_and_then_a_person() {
        let mut bench = there("");
        roof(&mut bench, "29");
        said(&mut bench);
        bench.run_for("11s");
        assert_eq!(said(&mut bench), ["tower/put/0 clear"], "after ten seconds nothing is under way any more");
        bench.run_for("1m");
        assert!(bench.alarms().contains(&"obey-fan"), "{:?}", bench.alarms());
        bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
        assert_eq!(bench.alarms(), [] as [&str; 0]);
    }

    #[test]
    fn one_that_answers_every_order_with_no_is_not_told_in_a_circle() {
        let mut bench = there("");
        roof(&mut bench, "29");
        said(&mut bench);
        for _ in 0..50 {
            bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
        }
        assert_eq!(said(&mut bench), [] as [&str; 0]);
    }

    #[test]
    fn a_report_from_before_an_order_does_not_confirm_it() {
        let mut bench = there("min_on = \"2m\"");
        roof(&mut bench, "29");
        bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
        // The order is under way: it may be on by now, and turning it off again would break its min on.
        roof(&mut bench, "20");
        said(&mut bench);
        bench.run_for("5s");
        assert_eq!(said(&mut bench), [] as [&str; 0]);
        bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
        assert_eq!(bench.explain("fan").known, Some(On));
        bench.run_for("1m54s");
        assert!(!said(&mut bench).contains(&"tower/put/0 set".to_owned()));
        bench.run_for("7s");
        assert_eq!(said(&mut bench).last().map(String::as_str), Some("tower/put/0 set"));
    }

    #[test]
    fn orders_that_overtake_reports_leave_open_what_it_does_until_all_turns_are_told() {
        let mut bench = there("");
        roof(&mut bench, "29");
        roof(&mut bench, "20");
        let relay = bench.engine.house().load(bench.load("fan")).relay().unwrap();
        // Off, as before: that may be the state before the first order or after the second.
        bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
        assert!(bench.engine.possible(relay).energised);
        bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
        bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
        let possible = bench.engine.possible(relay);
        assert_eq!((possible.energised, possible.released), (false, true), "both turns were told");
    }

    #[test]
    fn a_hand_at_the_board_is_undone_since_it_cannot_be_told_from_a_reset() {
        let mut bench = there("");
        said(&mut bench);
        bench.message("tower/got/1", r#"{"pin":"clear"}"#, false);
        assert_eq!(said(&mut bench), ["tower/put/1 set"]);
        assert_eq!(bench.explain("lamp").hold, None);
    }

    #[test]
    fn after_a_restart_its_state_is_what_it_reports() {
        let mut bench = there("");
        roof(&mut bench, "29");
        bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
        said(&mut bench);
        bench.restart(&tower(""), "20s", true, true);
        assert_eq!(bench.explain("fan").known, None, "not heard yet");
        bench.message("tower/link", "up", true);
        bench.message("tower/got/0", r#"{"pin":"clear"}"#, true);
        bench.message("tower/got/1", r#"{"pin":"set"}"#, true);
        bench.run_for("2m");
        assert_eq!((bench.explain("fan").known, bench.explain("lamp").known), (Some(On), Some(Off)));
        assert!(!said(&mut bench).contains(&"tower/put/0 set".to_owned()), "a restart changes no contact");
    }

    #[test]
    fn a_board_that_is_spoken_to_otherwise_is_forgotten_once_its_relays_are_known_open() {
        let mut bench = there("");
        roof(&mut bench, "29");
        bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
        said(&mut bench);
        let other = tower("").replace("tower/put", "mast/put");
        bench.reload(&other);
        assert_eq!(bench.engine.house().boards.len(), 2, "the old one is to be opened first");
        assert!(said(&mut bench).contains(&"tower/put/0 set".to_owned()));
        bench.reload(&other);
        assert_eq!(bench.engine.house().boards.len(), 2, "nobody has confirmed it yet");
        bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
        bench.reload(&other);
        assert_eq!(bench.engine.house().boards.len(), 1);
    }
}

mod leases {
    use super::*;

    fn heard(more: &str) -> Bench {
        let mut bench = Bench::new(&hens(more));
        bench.message("hens/is", "free", false);
        roof(&mut bench, "29");
        bench
    }

    #[test]
    fn an_order_carries_the_lease_and_is_renewed_well_within_it() {
        let mut bench = heard("");
        assert_eq!(said(&mut bench), ["hens/tell all", "hens/do let go", "hens/do pull for 80"]);
        bench.message("hens/is", "pulled", false);
        bench.run_for("60s");
        let orders = said(&mut bench);
        assert_eq!(orders.iter().filter(|order| *order == "hens/do pull for 80").count(), 3, "{orders:?}");
    }

    #[test]
    fn a_board_is_asked_and_missed_when_it_does_not_answer() {
        let mut bench = heard("");
        bench.run_for("2m59s");
        assert!(!bench.alarms().contains(&"board-hens"));
        assert_eq!(said(&mut bench).iter().filter(|order| *order == "hens/tell all").count(), 3);
        bench.run_for("2s");
        assert!(bench.alarms().contains(&"board-hens"));
    }

    #[test]
    fn a_lost_one_has_surely_released_once_its_lease_is_over() {
        let mut bench = heard("");
        bench.message("hens/is", "pulled", false);
        let relay = bench.engine.house().load(bench.load("fan")).relay().unwrap();
        bench.run_for("3m1s");
        assert!(bench.alarms().contains(&"board-hens"));
        assert!(bench.engine.possible(relay).energised, "it had its last order a moment ago");
        // 80 s, a hundredth for its clock, a second, and ten for an order that came late.
        bench.run_for("92s");
        assert!(!bench.engine.possible(relay).energised);
    }

    #[test]
    fn what_it_released_by_itself_is_journaled_as_such() {
        let mut bench = heard("");
        bench.message("hens/is", "pulled", false);
        bench.run_for("10m");
        bench.take_journal();
        roof(&mut bench, "20");
        bench.message("hens/is", "free", false);
        let journal = bench.take_journal();
        assert!(journal.iter().any(|row| row.contains("lease-ran-out")), "{journal:?}");
    }

    #[test]
    fn its_fallback_is_released_whatever_is_safe() {
        let bench = heard("safe = \"on\"");
        assert_eq!(bench.engine.fallback(bench.board("hens")).encode(), "80 off");
        assert!(bench.fallbacks.is_empty(), "and nobody tells it");
    }
}
