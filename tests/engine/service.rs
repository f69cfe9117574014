//! Withdrawals over a change of the house: whatever it is called now, what hangs on a relay whose load was withdrawn comes on
//! only when a person has restored it, and that is told.

use standfast::house::State::{Off, On};

use crate::bench::{Bench, house};

const HOUSE: &str = r#"
[board.cellar]
relays = 2
[board.yard]
relays = 4
[load.dehumidifier]
relay = "cellar/1"
kind = "compressor"
resting = "on"
[load.lamp]
relay = "yard/4"
kind = "led"
resting = "on"
"#;
const PUMPS: &str = r#"
[load.pump-a]
relay = "yard/1"
kind = "motor"
[load.pump-b]
relay = "yard/2"
kind = "motor"
"#;
const SUMP: &str = "[rotation.sump]\nloads = [\"pump-a\", \"pump-b\"]\nresting = \"on\"\n";

fn renamed() -> String {
    HOUSE.replace("load.dehumidifier", "load.drier")
}

/// Somebody has his hands in the dehumidifier.
fn withdrawn() -> Bench {
    let mut bench = Bench::played(HOUSE);
    assert!(bench.closed("cellar/1"));
    bench.withdraw("dehumidifier", "fan jams");
    bench.run_for("1s");
    assert!(!bench.closed("cellar/1"));
    bench
}

/// The rows about withdrawals that were written since, as a person reads them.
fn rows(bench: &mut Bench) -> Vec<String> {
    let rows = std::mem::take(&mut bench.journal);
    let rows = rows.iter().map(|row| row.entry.sentence(&bench.engine.house().site.zone));
    rows.filter(|row| row.contains("withdraw") || row.contains("hold of")).collect()
}

#[test]
fn a_renamed_load_stays_withdrawn_until_a_person_restores_it() {
    let mut bench = withdrawn();
    rows(&mut bench);
    assert_eq!(
        bench.engine.withdrawals_touched(&house(&renamed())),
        ["load \"drier\" would be withdrawn until somebody restores it, since it comes on cellar/1, whose load \
          \"dehumidifier\" is withdrawn (fan jams)"]
    );
    assert_eq!(bench.engine.preview(house(&renamed())), []);
    bench.reload(&renamed());
    bench.run_for("1h");
    assert!(!bench.closed("cellar/1"));
    assert_eq!(bench.fallbacks["cellar"].encode(), "90 off! off", "nor does its button switch it");
    assert!(bench.why("drier").contains("withdrawn (fan jams)"), "{}", bench.why("drier"));
    assert_eq!(
        rows(&mut bench),
        [
            "drier withdrawn (fan jams): it has come on cellar/1, and dehumidifier, which hung there, was withdrawn; this is no \
          isolation"
        ]
    );
    bench.restart(&renamed(), "10s", false, true);
    bench.run_for("1m");
    assert!(!bench.closed("cellar/1"));
    bench.restore("drier");
    bench.reload(&renamed());
    bench.run_for("1m");
    assert!(bench.closed("cellar/1"), "restored for good");
}

/// The memory is still that of the house before, such as after a crash right after `standfast apply`.
#[test]
fn a_load_that_was_renamed_while_nobody_looked_stays_withdrawn() {
    let mut bench = withdrawn();
    rows(&mut bench);
    bench.restart(&renamed(), "10s", true, true);
    bench.run_for("1m");
    assert!(!bench.closed("cellar/1"));
    assert!(rows(&mut bench)[0].starts_with("drier withdrawn (fan jams): "));
    // Nor does the next start know of anything else.
    bench.restart(&renamed(), "10s", true, true);
    bench.run_for("1m");
    assert!(!bench.closed("cellar/1"));
    assert_eq!(rows(&mut bench), [""; 0]);
}

#[test]
fn a_withdrawal_whose_load_is_taken_away_ends_and_that_is_told() {
    let without = &HOUSE[HOUSE.find("[load.lamp]").expect("it is there")..];
    let without = format!("[board.cellar]\nrelays = 2\n[board.yard]\nrelays = 4\n{without}");
    let told = "the withdrawal of dehumidifier (fan jams) ended: a change of the house took the load away";
    let mut bench = withdrawn();
    assert_eq!(
        bench.engine.withdrawals_touched(&house(&without)),
        [
            "the withdrawal of load \"dehumidifier\" (fan jams) would end, though nobody has restored it: the load is gone"
        ]
    );
    rows(&mut bench);
    bench.reload(&without);
    bench.run_for("1s");
    assert_eq!(rows(&mut bench), [told]);
    let mut bench = withdrawn();
    rows(&mut bench);
    bench.restart(&without, "10s", true, true);
    bench.run_for("1s");
    assert_eq!(rows(&mut bench), [told]);
}

/// A memory of before does not say on which relays withdrawn loads hung.
#[test]
fn of_a_memory_without_relays_a_withdrawal_that_ends_is_told() {
    let mut bench = withdrawn();
    bench.stored = {
        let stored = serde_json::to_string(&bench.engine.snapshot()).expect("a snapshot has a JSON form");
        let older = stored.replace(",\"relays\":[\"cellar/1\"]", "");
        assert_ne!(stored, older);
        serde_json::from_str(&older).expect("it is read all the same")
    };
    rows(&mut bench);
    bench.crash(&renamed(), "10s", true, true);
    bench.run_for("1s");
    assert!(rows(&mut bench)[0].starts_with("the withdrawal of dehumidifier (fan jams) ended"));
}

#[test]
fn of_two_loads_that_change_places_both_are_withdrawn_where_one_was() {
    let swapped =
        HOUSE.replace("\"cellar/1\"", "\"x\"").replace("\"yard/4\"", "\"cellar/1\"").replace("\"x\"", "\"yard/4\"");
    let mut bench = withdrawn();
    bench.hold("lamp", "on 2h");
    bench.run_for("1s");
    rows(&mut bench);
    bench.reload(&swapped);
    bench.run_for("1m");
    assert!(!bench.closed("cellar/1") && !bench.closed("yard/4"));
    let rows = rows(&mut bench);
    assert_eq!(rows[0], "the hold of lamp ended: the load was withdrawn");
    assert!(rows[1].starts_with("lamp withdrawn (fan jams): it has come on cellar/1, and dehumidifier,"), "{rows:?}");
    assert!(rows[2..].iter().all(|row| row.starts_with("dehumidifier off (yard/4): withdrawn")), "{rows:?}");
    for load in ["dehumidifier", "lamp"] {
        bench.restore(load);
    }
    bench.run_for("1m");
    assert!(bench.closed("cellar/1") && bench.closed("yard/4"));
    assert_eq!(bench.explain("lamp").hold, None);
}

#[test]
fn a_load_that_stays_on_its_relay_is_not_touched_by_the_withdrawal_of_another() {
    let mut bench = withdrawn();
    let more = format!("{HOUSE}[load.bell]\nrelay = \"cellar/2\"\nkind = \"led\"\nresting = \"on\"\n");
    assert_eq!(bench.engine.withdrawals_touched(&house(&more)), [""; 0]);
    bench.reload(&more);
    bench.run_for("1m");
    assert_eq!((bench.wanted("bell"), bench.wanted("lamp"), bench.wanted("dehumidifier")), (On, On, Off));
}

#[test]
fn a_rotation_of_another_name_stays_withdrawn_as_one_and_its_loads_do_without_it() {
    let sump = format!("{PUMPS}{SUMP}");
    let withdrawn = || {
        let mut bench = Bench::played(&sump);
        assert!(bench.closed("yard/1"));
        bench.withdraw("sump", "pit is open");
        bench.run_for("1s");
        rows(&mut bench);
        bench
    };
    let mut bench = withdrawn();
    bench.reload(&sump.replace("rotation.sump", "rotation.pit"));
    bench.run_for("1m");
    assert!(!bench.closed("yard/1") && !bench.closed("yard/2"));
    assert_eq!(rows(&mut bench).len(), 1);
    bench.restore("pit");
    bench.run_for("1m");
    assert!(bench.closed("yard/1"), "one word of a person is enough");
    let mut bench = withdrawn();
    bench.reload(&PUMPS.replace("kind = \"motor\"", "kind = \"motor\"\nresting = \"on\""));
    bench.run_for("1m");
    assert!(!bench.closed("yard/1") && !bench.closed("yard/2"));
    assert_eq!(rows(&mut bench).len(), 2);
}
