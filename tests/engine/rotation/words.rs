//! What is said of a rotation: who leads and by how much, and whom the one that has the job waits for.

use super::*;

#[test]
fn it_says_who_leads_and_by_how_much() {
    let mut sump = Sump::new(SUMP);
    sump.job(640);
    sump.wet(true);
    let why = sump.bench.why("sump");
    assert!(
        why.starts_with("sump: on, as input yard/wet is on; off when input yard/wet is off (rule pumped)"),
        "{why}"
    );
    assert!(why.ends_with("; in rotation sump pump-b leads (0 min against 10 min)"), "{why}");
    let why = sump.bench.why("pump-b");
    assert!(why.starts_with("pump-b: on, in rotation sump pump-b leads (0 min against 10 min): rule pumped"), "{why}");
    assert_eq!(sump.bench.explain("pump-b").slot, Some(16), "the slot that decides the rotation");
    let why = sump.bench.why("pump-a");
    assert!(why.starts_with("pump-a: off, in rotation sump pump-b leads"), "{why}");
}

#[test]
fn it_says_that_the_one_that_takes_over_waits_until_the_other_is_off() {
    let mut sump = Sump::new(SUMP);
    sump.wet(true);
    assert_eq!(sump.who(), "a");
    sump.bench.hold("pump-a", "off 1h");
    let expected =
        "in rotation sump pump-b took over from pump-a, which was held off; pump-b waits until pump-a is surely off";
    for load in ["sump", "pump-b"] {
        let why = sump.bench.why(load);
        assert!(why.contains(expected), "{why}");
    }
    sump.run(4);
    assert_eq!(sump.who(), "b");
    let why = sump.bench.why("sump");
    assert!(!why.contains("surely off"), "{why}");
}
