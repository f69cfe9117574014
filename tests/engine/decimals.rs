//! Numbers on their bounds: what a person reckons in decimals is what a threshold is reached by.

use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// What stands on a bound is in.
#[test]
fn numbers_on_their_bounds_count_after_scale_and_offset() {
    let text = "[sensor.t]\nreading = \"yard/t1\"\nunit = \"Cel\"\nrange = [-20, 60]\nscale = 0.1\noffset = 0.3\n\
        [load.fan]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.x]\nload = \"fan\"\ndemand = \"on\"\n\
        while = { sensor = \"t\", cut_in = \">= 30.3 °C\", cut_out = \"<= 29.9 Cel\" }\n";
    let mut bench = Bench::played(text);
    for (raw, wanted) in
        [(200.0, Off), (299.0, Off), (300.0, On), (297.0, On), (296.0, Off), (597.0, On), (-203.0, Off)]
    {
        bench.reading("t", raw);
        assert_eq!(bench.wanted("fan"), wanted, "at {raw}: {}", bench.why("fan"));
    }
    assert!(bench.why("fan").contains("nothing is demanded"), "{}", bench.why("fan"));
    for _ in 0..3 {
        bench.reading("t", 598.0);
    }
    assert!(bench.why("fan").contains("unknown") || bench.why("fan").contains("not known"), "{}", bench.why("fan"));
}

#[test]
fn a_difference_on_its_bound_counts() {
    let text = "[sensor.collector]\nreading = \"yard/t1\"\n[sensor.tank]\nreading = \"yard/t2\"\n\
        [load.pump]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.x]\nload = \"pump\"\ndemand = \"on\"\n\
        while = { sensor = \"collector\", minus = \"tank\", cut_in = \">= 8\", cut_out = \"<= 0.1\" }\n";
    let mut bench = Bench::played(text);
    // In binary fractions 68.1 - 60.1 is 7.999999999999993, and 60.4 - 60.3 is 0.10000000000000142.
    for (collector, tank, wanted) in
        [(68.0, 60.1, Off), (68.1, 60.1, On), (60.3, 60.1, On), (60.4, 60.3, Off), (68.1, 60.1, On), (0.3, 0.2, Off)]
    {
        bench.reading("tank", tank);
        bench.reading("collector", collector);
        assert_eq!(bench.wanted("pump"), wanted, "{collector} less {tank}: {}", bench.why("pump"));
    }
}

#[test]
fn a_mean_on_its_bound_counts() {
    let text = "[sensor.a]\nreading = \"yard/t1\"\n[sensor.b]\nreading = \"yard/t2\"\n[sensor.c]\nreading = \"yard/t3\"\n\
        [sensor.air]\nmean = [\"a\", \"b\", \"c\"]\n[sensor.middle]\nmedian = [\"a\", \"b\"]\n\
        [load.fan]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.x]\nload = \"fan\"\ndemand = \"on\"\n\
        while = { sensor = \"air\", cut_in = \"<= 46.8\", cut_out = \">= 60\" }\n\
        [load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\n[rule.y]\nload = \"lamp\"\ndemand = \"on\"\n\
        while = { sensor = \"middle\", cut_in = \"<= 0.15\", cut_out = \">= 60\" }\n";
    let mut bench = Bench::played(text);
    // In binary fractions (92.7 + 25 + 22.7) / 3 is 46.800000000000004, and (0.1 + 0.2) / 2 is 0.15000000000000002.
    for (sensor, value) in [("a", 92.7), ("b", 25.0), ("c", 22.7)] {
        bench.reading(sensor, value);
    }
    assert_eq!(bench.wanted("fan"), On, "{}", bench.why("fan"));
    for (sensor, value) in [("a", 0.1), ("b", 0.2)] {
        bench.reading(sensor, value);
    }
    bench.run_for("1s");
    assert_eq!(bench.wanted("lamp"), On, "{}", bench.why("lamp"));
}
