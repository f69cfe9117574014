//! Loads that are new on relays which had none. Such a relay has no orders, so its lease has run out however well its board is
//! heard, and a fallback that is new switches it at once: its orders are to speak first.

use standfast::wire::FallbackWord;

use crate::bench::{Bench, house};

const HOUSE: &str = r#"
[board.yard]
relays = 4
[load.lamp]
relay = "yard/1"
kind = "led"
"#;

const EXTRA: &str = r#"
[load.extra]
relay = "yard/4"
kind = "compressor"
safe = "on"
min_on = "30s"
min_off = "30s"
"#;

const WANTED: &str = r#"
[rule.cold]
load = "extra"
demand = "on"
while = { not = { load = "lamp", is = "on" } }
"#;

/// The house with its board there for longer than a lease.
fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.run_for("4m");
    bench
}

/// How often the contact of `yard/4` moved.
fn moves(bench: &mut Bench) -> usize {
    bench.player("yard").did.iter().filter(|(_, relay, _)| *relay == 4).count()
}

fn told(bench: &Bench) -> FallbackWord {
    bench.fallbacks["yard"].relays[3].word
}

#[test]
fn its_fallback_moves_nothing_before_its_orders() {
    let mut bench = bench();
    let text = format!("{HOUSE}{EXTRA}");
    assert_eq!(bench.engine.preview(house(&text)), [], "as is true");
    bench.reload(&text);
    assert_eq!(told(&bench), FallbackWord::Off, "its first orders are under way");
    bench.run_for("10m");
    assert_eq!((moves(&mut bench), bench.runs("extra")), (0, false));
    assert_eq!(told(&bench), FallbackWord::On);
    assert!(bench.journal.iter().all(|row| !format!("{row:?}").contains("Changed")), "{:?}", bench.journal);
    // It is as safe as any other from there on.
    bench.player("yard").loses_orders = true;
    bench.run_for("2m");
    assert!(bench.runs("extra"));
}

#[test]
fn what_is_wanted_on_is_switched_on_once_and_by_its_orders() {
    let mut bench = bench();
    bench.reload(&format!("{HOUSE}{EXTRA}{WANTED}"));
    bench.run_for("10m");
    assert_eq!((moves(&mut bench), bench.runs("extra")), (1, true));
    let journal = bench.take_journal().join("\n");
    assert!(journal.contains("cold") && !journal.contains("unordered"), "{journal}");
}

#[test]
fn a_board_that_is_away_meanwhile_is_told_once_it_has_taken_orders() {
    let mut bench = bench();
    bench.unplug("yard");
    bench.run_for("3m");
    bench.reload(&format!("{HOUSE}{EXTRA}"));
    bench.run_for("3m");
    bench.plug("yard");
    bench.run_for("10m");
    assert_eq!((moves(&mut bench), told(&bench)), (0, FallbackWord::On));
}

#[test]
fn a_start_with_it_and_another_before_the_board_is_told_move_nothing_either() {
    let mut bench = bench();
    let text = format!("{HOUSE}{EXTRA}");
    bench.player("yard").loses_orders = true;
    bench.crash(&text, "1s", true, true);
    bench.run_for("5s");
    bench.crash(&text, "1s", true, true);
    bench.run_for("5s");
    bench.player("yard").loses_orders = false;
    bench.run_for("10m");
    assert_eq!((moves(&mut bench), told(&bench)), (0, FallbackWord::On));
}

#[test]
fn a_board_that_is_new_to_the_house_is_told_nothing_before_its_first_orders() {
    let mut bench = Bench::new(HOUSE);
    bench.from("hall/report", "17 1 0 off off");
    bench.reload(&format!(
        "{HOUSE}\n[board.hall]\nrelays = 2\n[load.flap]\nrelay = \"hall/1\"\nkind = \"solenoid\"\nsafe = \"on\"\n"
    ));
    assert!(!bench.fallbacks.contains_key("hall"));
    bench.from("hall/report", "17 2 0 off:500:0:0 off:500:0:0");
    assert!(bench.orders.contains_key("hall") && !bench.fallbacks.contains_key("hall"));
    let taken = bench.orders["hall"].number;
    bench.from("hall/report", &format!("17 3 {taken} off:500:0:0 off:500:0:0"));
    assert_eq!(bench.fallbacks["hall"].encode(), "90 on off");
}

#[test]
fn a_relay_that_loses_its_load_before_it_took_orders_falls_back_to_off_at_once() {
    let mut bench = Bench::new(&format!("{HOUSE}{EXTRA}"));
    assert_eq!(told(&bench), FallbackWord::On);
    bench.reload(HOUSE);
    assert_eq!(told(&bench), FallbackWord::Off);
}
