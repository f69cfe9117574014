//! Whatever happens to a board: leases end, deadlines move on, and nothing panics.

use proptest::prelude::*;

use super::*;

#[derive(Clone, Debug)]
enum Step {
    Pass(u64),
    Orders { number: u32, boot: u32, beat: u32, lease: u32, words: u8 },
    Fallback { lease: u32, words: u8 },
    Other(u8),
    Bytes(Vec<u8>),
}

fn a_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        3 => (0..60_000_u64).prop_map(Step::Pass),
        4 => (1..60_u32, 1..4_u32, 1..60_u32, prop_oneof![Just(0), 5..60_u32], any::<u8>())
            .prop_map(|(number, boot, beat, lease, words)| Step::Orders { number, boot, beat, lease, words }),
        1 => (prop_oneof![Just(0), 5..60_u32], any::<u8>()).prop_map(|(lease, words)| Step::Fallback { lease, words }),
        3 => any::<u8>().prop_map(Step::Other),
        1 => prop::collection::vec(any::<u8>(), 0..60).prop_map(Step::Bytes),
    ]
}

/// Nothing panics, deadlines move on, numbers only rise, no power leaves nothing energised, and once the longest lease taken
/// so far is over no relay obeys any more.
fn run(steps: &[Step]) {
    let mut rig = Rig::new();
    let mut lease_end_max = 90_000;
    for step in steps {
        match step {
            Step::Pass(ms) => {
                let end = rig.now + ms;
                rig.until(end);
            }
            Step::Orders { number, boot, beat, lease, words } => {
                let word = |bits: u8| ["on", "off", "-", "on:400"][usize::from(bits & 3)];
                let taken = rig.board.taken();
                rig.orders(&format!("{number} {boot} {beat} {lease} {} {}", word(*words), word(words >> 2)));
                if rig.board.taken() != taken {
                    assert!(rig.board.taken() > taken && *boot == rig.board.boot());
                    let end = if *lease == 0 { u64::MAX } else { rig.now + u64::from(*lease) * 1000 };
                    lease_end_max = end.max(lease_end_max);
                }
            }
            Step::Fallback { lease, words } => {
                let word = |bits: u8| ["on", "off", "keep", "off!"][usize::from(bits & 3)];
                rig.fallback(&format!("{lease} {} {}", word(*words), word(words >> 2)));
                lease_end_max = if *lease == 0 { u64::MAX } else { lease_end_max.max(u64::from(*lease) * 1000) };
            }
            Step::Other(0..40) => drop(rig.does(Event::Pressed { input: "1" })),
            Step::Other(40..80) => drop(rig.does(Event::Pressed { input: "2" })),
            Step::Other(80..120) => {
                let closed = rig.now.is_multiple_of(2);
                rig.does(Event::Contact { input: "door", closed });
            }
            Step::Other(120..160) => drop(rig.does(Event::LinkDown)),
            Step::Other(160..230) => drop(rig.does(Event::LinkUp)),
            Step::Other(230..) => {
                rig.does(Event::PowerLost);
                assert!(!rig.on(1) && !rig.on(2));
                rig.reset("power-on");
                rig.does(Event::LinkUp);
                lease_end_max = u64::MAX;
            }
            Step::Bytes(bytes) => {
                for topic in ["standfast/to/yard/orders", "standfast/to/yard/fallback", "standfast/controller", "x"] {
                    rig.does(Event::Message { topic, payload: bytes, retained: false });
                }
            }
        }
        if rig.now > lease_end_max {
            assert!(rig.board.run_out(1) && rig.board.run_out(2), "a lease outlived {lease_end_max} at {}", rig.now);
        }
    }
}

proptest! {
    #[test]
    fn whatever_happens_leases_end_and_deadlines_move(steps in prop::collection::vec(a_step(), 0..80)) {
        run(&steps);
    }
}
