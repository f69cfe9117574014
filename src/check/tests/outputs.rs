//! Findings about what loads share and how they are driven: circuits, interlocks, proofs, rotations, actuators.

use super::*;

#[test]
fn circuits_must_be_able_to_count() {
    let circuit = |limit: &str| {
        format!(
            "{HEATERS}[circuit.wash-house]\nloads = [\"rail\", \"immersion\"]\nlimit = \"{limit}\"\nshed = [\"rail\"]\n"
        )
    };
    check(("", ""), &circuit("2.8 kW"), &[]);
    check(("", ""), &circuit("1.8 kW"), &["never-room"]);
    check(("", ""), &circuit("2.8 kW").replace("power = \"600 W\"\n", ""), &["unknown-power"]);
    let safe_on = |limit: &str| circuit(limit).replace("power", "contact = \"NC\"\nsafe = \"on\"\npower");
    check(("", ""), &safe_on("2.6 kW"), &[]);
    check(("", ""), &safe_on("2.5 kW"), &["lapse-over-limit"]);
    check(("", ""), &circuit("2.8 kW").replace("shed = [\"rail\"]", "shed = [\"fan\"]"), &["contradiction"]);
}

#[test]
fn interlocks_want_members_that_are_surely_off() {
    let lock = format!("{HEATERS}[interlock.heat]\nloads = [\"rail\", \"immersion\"]\ndead_time = \"1s\"\n");
    check(("", ""), &lock, &[]);
    check(("relays = 4", "relays = 4\nlease = \"none\""), &lock, &["no-lease", "untrusted-member", "untrusted-member"]);
    check(("", ""), &lock.replace("[\"rail\", \"immersion\"]", "[\"rail\", \"rail\"]"), &["named-twice"]);
    check(("", ""), &lock.replace("[\"rail\", \"immersion\"]", "[\"rail\"]"), &["too-few"]);
    check(("", ""), &lock.replace("[\"rail\", \"immersion\"]", "[\"rail\", \"imersion\"]"), &["unknown-name"]);
}

#[test]
fn proofs_that_prove_nothing() {
    let kind = "kind = \"motor\"";
    let amps = "[sensor.amps]\nreading = \"yard/i1\"\nunit = \"A\"\nrange = [0, 10]\nstale_after = \"5s\"\n";
    let with = |proof: &str| format!("{kind}\nproof = {proof}");
    let by_amps = |at_least: &str| with(&format!("{{ sensor = \"amps\", at_least = {at_least}, within = \"5s\" }}"));
    check((kind, &by_amps("0.2")), amps, &[]);
    check((kind, &by_amps("\"0.2 A\"")), amps, &["wrong-type"]);
    check((kind, &by_amps("nan")), amps, &["wrong-type"]);
    check((kind, &by_amps("11")), amps, &["unreachable-proof"]);
    check((kind, &by_amps("0")), amps, &["unreachable-proof"]);
    check((kind, &by_amps("0.2")), &amps.replace("5s", "20s"), &["slow-proof"]);
    check((kind, &with("{ within = \"5s\" }")), "", &["missing-key"]);
    check((kind, &with("{ sensor = \"air\", within = \"5s\" }")), "", &["missing-key"]);
    check((kind, &with("{ input = \"door\", at_least = 2, within = \"5s\" }")), "", &["contradiction"]);
    check((kind, &with("{ input = \"door\", sensor = \"air\", within = \"5s\" }")), "", &["contradiction"]);
    check((kind, &with("{ input = \"door\", within = \"5s\" }")), "", &[]);
    check((kind, &with("{ input = \"dor\", within = \"5s\" }")), "", &["unknown-name"]);
    let key = "[input.key]\nat = \"yard/ir\"\ncode = \"0F\"\ntoggles = \"fan\"\n";
    check((kind, &with("{ input = \"key\", within = \"5s\" }")), key, &["wrong-input"]);
}

#[test]
fn proofs_that_two_loads_share() {
    let amps = "[sensor.amps]\nreading = \"yard/i1\"\nunit = \"A\"\nrange = [0, 20]\nstale_after = \"5s\"\n";
    let proof = "kind = \"resistive\"\nproof = { sensor = \"amps\", at_least = 0.2, within = \"5s\" }";
    let heaters = format!("{}{amps}", HEATERS.replace("kind = \"resistive\"", proof));
    check(("", ""), &heaters, &["shared-proof"]);
    check(("", ""), &format!("{heaters}[interlock.heat]\nloads = [\"rail\", \"immersion\"]\n"), &[]);
}

const PUMPS: &str = r#"
[sensor.amps]
reading = "yard/i1"
unit = "A"
range = [0, 20]
stale_after = "5s"
[load.pump-a]
relay = "yard/2"
kind = "motor"
proof = { sensor = "amps", at_least = 0.5, within = "5s" }
[load.pump-b]
relay = "yard/3"
kind = "motor"
proof = { sensor = "amps", at_least = 0.5, within = "5s" }
[rotation.sump]
loads = ["pump-a", "pump-b"]
[rule.pumped]
load = "sump"
demand = "on"
while = "warm"
"#;

#[test]
fn rotations_that_cannot_take_turns() {
    let with = |from: &str, to: &str, expected: &[&str]| {
        assert!(PUMPS.contains(from), "{from}");
        check(("", ""), &PUMPS.replacen(from, to, 1), expected);
    };
    with("", "", &[]);
    with("load = \"sump\"", "load = \"pump-a\"", &["rule-for-a-member"]);
    with("load = \"sump\"", "load = \"pump-a\"\npriority = 2", &[]);
    with("proof = { sensor = \"amps\", at_least = 0.5, within = \"5s\" }", "", &["no-proof"]);
    with("kind = \"motor\"", "kind = \"motor\"\nresting = \"on\"", &["unused"]);
    with("[rotation.sump]", "[rotation.sump]\nsafe = \"on\"", &["safe-states-differ"]);
    with("[rotation.sump]", "[circuit.c]\nlimit = \"1 kW\"\nloads = [\"sump\"]\n[rotation.sump]", &["wrong-member"]);
    with("\"pump-b\"]", "\"pump-b\", \"fan\"]", &["too-many"]);
    with("\"pump-b\"]", "]", &["too-few"]);
    with("\"pump-b\"]", "\"sump\"]", &["wrong-member"]);
    with("[rule.pumped]", "[rotation.two]\nloads = [\"pump-b\", \"fan\"]\n[rule.pumped]", &["named-twice"]);
    with("[rotation.sump]", "[rotation.pump-a]", &["defined-twice", "unknown-name"]);
}

#[test]
fn what_is_driven_for_a_moment_only() {
    let door = "[actuator.door]\nopen = \"yard/3\"\nclose = \"yard/4\"\ntravel = \"18s\"\n";
    let opener = "[load.gate]\nrelay = \"yard/2\"\nkind = \"electronics\"\npulse = \"400ms\"\n";
    check(("", ""), &format!("{door}{opener}"), &[]);
    check(("yard/1", "yard/3"), door, &["shared-relay"]);
    check(("", ""), &format!("{door}[interlock.x]\nloads = [\"door\", \"fan\"]\n"), &["driven-member"]);
    let circuit = "[circuit.x]\nloads = [\"gate\"]\nlimit = \"1 kW\"\n";
    let powered = opener.replace("pulse", "power = \"20 W\"\npulse");
    check(("", ""), &format!("{powered}{circuit}"), &["driven-member"]);
    // 61 s are more than two thirds of 90 s, 60 s are not.
    check(("", ""), &door.replace("18s", "61s"), &["long-run"]);
    check(("", ""), &door.replace("18s", "60s"), &[]);
    check(("relays = 4", "relays = 4\nlease = \"30s\""), &opener.replace("400ms", "21s"), &["long-run"]);
    let unleased = ("relays = 4", "relays = 4\nlease = \"none\"");
    check(unleased, door, &["no-lease", "unleased-run"]);
    check(unleased, opener, &["no-lease", "unleased-run"]);
    let ends = "[input.up]\nat = \"yard/up\"\n";
    check(("", ""), &format!("{door}open_end = \"up\"\n{ends}"), &[]);
    check(("", ""), &format!("{door}{ends}"), &["unused"]);
    check(("", ""), &door.replace("18s\"", "18s\"\nsafe = \"open\""), &[]);
}
