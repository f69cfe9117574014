//! Boards of other firmware: one that cannot report, one that reports by relay and in JSON with its pins the wrong way round,
//! and one whose payload carries a lease. All of them, their topics and their words are invented.

mod cannot_report;
mod leases;
mod reports;

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
