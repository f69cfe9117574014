//! Houses: random but such as a person could have written. It never makes one that the reader refuses; a trial would say so.

use super::super::rng::Rng;
use super::draft::{Draft, DraftBoard, DraftCondition, DraftInput, DraftLoad, DraftRule, DraftSensor, Press};
use crate::units::WallTime;

/// A place and a moment at which a trial begins.
#[derive(Clone, Copy, Debug)]
pub struct Season {
    /// Degrees north and east.
    pub position: (f64, f64),
    /// IANA zone.
    pub zone: &'static str,
    /// The wall clock at the beginning, in seconds since 1970-01-01T00:00Z.
    pub start_s: i64,
    /// The local time of then, in minutes of the day.
    pub minute: u64,
}

/// Near a change of the clock by an hour or by half an hour, near midnight, in summer and in winter, far north and far south.
const SEASONS: [Season; 8] = [
    // 2026-03-29T00:20Z, 40 minutes before summer time begins.
    Season { position: (54.60, -3.14), zone: "Europe/London", start_s: 1_774_743_600, minute: 20 },
    // 2026-10-24T23:30Z, 90 minutes before it ends.
    Season { position: (54.60, -3.14), zone: "Europe/London", start_s: 1_792_884_600, minute: 30 },
    // 2026-04-04T14:00Z: the clock goes back by half an hour at 15:00Z.
    Season { position: (-31.55, 159.08), zone: "Australia/Lord_Howe", start_s: 1_775_311_200, minute: 60 },
    // 2026-06-21T20:00Z, an hour before sunset.
    Season { position: (54.60, -3.14), zone: "Europe/London", start_s: 1_782_072_000, minute: 21 * 60 },
    // 2026-12-21T05:40Z.
    Season { position: (54.60, -3.14), zone: "Europe/London", start_s: 1_797_831_600, minute: 5 * 60 + 40 },
    // 2026-12-31T22:30Z, New Year's night.
    Season { position: (54.60, -3.14), zone: "Europe/London", start_s: 1_798_756_200, minute: 22 * 60 + 30 },
    // 2026-06-21T08:00Z under the midnight sun.
    Season { position: (69.65, 18.96), zone: "Europe/Oslo", start_s: 1_782_028_800, minute: 10 * 60 },
    // 2026-09-15T12:00Z.
    Season { position: (0.0, 0.0), zone: "UTC", start_s: 1_789_473_600, minute: 12 * 60 },
];

impl Season {
    /// One of several.
    pub fn draw(rng: &mut Rng) -> Season {
        *rng.pick(&SEASONS).unwrap_or(&SEASONS[0])
    }

    /// What the wall clock shows at the beginning.
    pub fn start(&self) -> WallTime {
        WallTime(self.start_s * 1000)
    }
}

/// Draws a house.
pub fn draw_house(rng: &mut Rng, season: Season) -> Draft {
    let mut draft = Draft {
        position: season.position,
        zone: season.zone,
        stagger_ms: rng.one_of(&[100, 300, 1000]),
        ..Draft::default()
    };
    draft.boards = draw_boards(rng);
    draft.sensors = draw_sensors(rng, &draft.boards);
    for board in draft.boards.clone() {
        for relay in 1..=board.relays {
            if rng.percent(75) {
                let name = format!("{}-load-{relay}", board.name);
                draft.loads.push(draw_load(rng, name, &board.name, relay));
            }
        }
    }
    draw_inputs(rng, &mut draft);
    for number in 0..rng.below(3) {
        let condition = draw_condition(rng, &draft, season, 1);
        draft.conditions.push((format!("condition-{number}"), condition));
    }
    for load in draft.loads.clone() {
        draw_rules(rng, &mut draft, &load, season);
    }
    draft
}

fn draw_boards(rng: &mut Rng) -> Vec<DraftBoard> {
    let names = ["cellar", "hall", "yard"];
    let count = rng.between(1, 3) as usize;
    let board = |name: &&str| DraftBoard {
        name: (*name).to_owned(),
        relays: rng.between(1, 5) as u8,
        lease_s: rng.one_of(&[0, 10, 20, 30, 60, 90, 90, 120]),
    };
    names.iter().take(count).map(board).collect()
}

fn draw_sensors(rng: &mut Rng, boards: &[DraftBoard]) -> Vec<DraftSensor> {
    let count = rng.between(1, 4);
    let sensor = |number| {
        let board = rng.pick(boards).filter(|_| number % 3 != 2).map(|board| board.name.clone());
        DraftSensor {
            name: format!("t{number}"),
            board,
            stale_s: rng.between(60, 240),
            unit: "",
            median_of: 1,
            max_rate: None,
            strays: false,
            follows: None,
            calibration: None,
        }
    };
    (0..count).map(sensor).collect()
}

fn draw_load(rng: &mut Rng, name: String, board: &str, relay: u8) -> DraftLoad {
    let mut dwell = || if rng.percent(40) { 0 } else { rng.between(5, 240) };
    let (min_on_s, min_off_s) = (dwell(), dwell());
    DraftLoad {
        name,
        board: board.to_owned(),
        relay,
        is_nc: rng.percent(20),
        safe_on: rng.percent(25),
        resting_on: rng.percent(15),
        min_on_s,
        min_off_s,
        hold_for: rng.percent(60).then(|| draw_hold_for(rng)),
        max_on_s: None,
        rest_s: None,
        max_starts: None,
        power_w: None,
        pulse_ms: None,
        proof: None,
        pulse_at_change: false,
    }
}

/// How long a hold lasts when nobody says: the house's text knows durations and the next change only.
fn draw_hold_for(rng: &mut Rng) -> String {
    if rng.percent(25) { "next change".to_owned() } else { format!("{}s", rng.between(20, 3000)) }
}

/// How long a hold lasts, in the words of a person who makes one.
pub(super) fn draw_term(rng: &mut Rng, season: Season) -> String {
    match rng.below(10) {
        0..=4 => format!("{}s", rng.between(20, 3000)),
        5 | 6 => "next change".to_owned(),
        7 => "until sunset + 10m".to_owned(),
        _ => format!("until {}", clock(season.minute + rng.between(5, 200))),
    }
}

fn clock(minute: u64) -> String {
    format!("{:02}:{:02}", minute / 60 % 24, minute % 60)
}

fn draw_inputs(rng: &mut Rng, draft: &mut Draft) {
    for board in draft.boards.clone() {
        for number in 0..rng.between(1, 3) {
            let Some(load) = rng.pick(&draft.loads).map(|load| load.name.clone()) else { return };
            let own = draft.loads.iter().filter(|load| load.board == board.name).map(|load| load.name.clone());
            let own: Vec<String> = own.collect();
            let name = format!("{}-button-{number}", board.name);
            let press = match rng.below(10) {
                0..=5 => Press::Toggles(rng.pick(&own).cloned().unwrap_or(load)),
                6 | 7 => Press::Holds(load, rng.percent(50)),
                8 => Press::Releases(load),
                _ => Press::Toggles(load),
            };
            let makes_hold = !matches!(press, Press::Releases(_));
            let hold_for = (makes_hold && rng.percent(50)).then(|| draw_hold_for(rng));
            let port = format!("p{number}");
            draft.inputs.push(DraftInput { name, board: board.name.clone(), port, code: None, press, hold_for });
        }
        if rng.percent(60) {
            let (name, port) = (format!("{}-door", board.name), "door".to_owned());
            let (board, press) = (board.name.clone(), Press::Nothing);
            draft.inputs.push(DraftInput { name, board, port, code: None, press, hold_for: None });
        }
    }
    let board = draft.boards[0].name.clone();
    for (number, code) in ["A1", "B2"].into_iter().enumerate() {
        if let Some(load) = rng.pick(&draft.loads).map(|load| load.name.clone()).filter(|_| rng.percent(50)) {
            let (name, port, code) = (format!("key-{number}"), "ir".to_owned(), Some(code.to_owned()));
            let press = if number == 0 { Press::Toggles(load) } else { Press::Releases(load) };
            draft.inputs.push(DraftInput { name, board: board.clone(), port, code, press, hold_for: None });
        }
    }
}

fn draw_rules(rng: &mut Rng, draft: &mut Draft, load: &DraftLoad, season: Season) {
    // A third of the loads follow one threshold and nothing else, which shows plainly when that switches.
    if rng.percent(33) {
        let condition = draw_threshold(rng, draft);
        draft.rules.push(rule(format!("{}-alone", load.name), load, condition));
        if let Some(load) = draft.loads.iter_mut().find(|one| one.name == load.name) {
            (load.min_on_s, load.min_off_s) = (0, 0);
        }
        return;
    }
    for number in 0..rng.between(0, 3) {
        let condition = draw_condition(rng, draft, season, 2);
        let mut rule = rule(format!("{}-rule-{number}", load.name), load, condition);
        let mut delay = || if rng.percent(60) { 0 } else { rng.between(1, 90) };
        (rule.on_delay_s, rule.off_delay_s) = (delay(), delay());
        rule.demand_on = rng.percent(70);
        rule.otherwise_on = rng.percent(30).then(|| rng.percent(50));
        rule.priority = rng.one_of(&[2, 9, 10, 12, 15, 16, 16, 16]) as u8;
        rule.releases = rng.percent(25);
        draft.rules.push(rule);
    }
}

pub(super) fn rule(name: String, load: &DraftLoad, condition: DraftCondition) -> DraftRule {
    DraftRule {
        name,
        load: load.name.clone(),
        demand_on: !load.resting_on,
        otherwise_on: None,
        priority: 16,
        on_delay_s: 0,
        off_delay_s: 0,
        releases: false,
        latches: false,
        condition,
    }
}

pub(super) fn draw_threshold(rng: &mut Rng, draft: &Draft) -> DraftCondition {
    let sensor = rng.pick(&draft.sensors).map(|sensor| sensor.name.clone()).unwrap_or_default();
    let (low, deadband) = (rng.between(150, 700) as f64 / 10.0, rng.between(10, 150) as f64 / 10.0);
    let high = (low * 10.0 + deadband * 10.0).round() / 10.0;
    let is_high = rng.percent(50);
    let (cut_in, cut_out) = if is_high { (high, low) } else { (low, high) };
    DraftCondition::Threshold { sensor, minus: None, is_high, cut_in, cut_out }
}

fn draw_condition(rng: &mut Rng, draft: &Draft, season: Season, depth: u32) -> DraftCondition {
    let deeper = depth > 0 && rng.percent(40);
    if deeper {
        let mut parts = || (0..rng.between(1, 3)).map(|_| draw_condition(rng, draft, season, depth - 1)).collect();
        let parts: Vec<DraftCondition> = parts();
        return match rng.below(3) {
            0 => DraftCondition::All(parts),
            1 => DraftCondition::Any(parts),
            _ => DraftCondition::Not(Box::new(parts.into_iter().next().unwrap_or_else(|| draw_threshold(rng, draft)))),
        };
    }
    let doors: Vec<String> =
        draft.inputs.iter().filter(|input| input.press == Press::Nothing).map(|input| input.name.clone()).collect();
    match rng.below(10) {
        0 | 1 => DraftCondition::Window(draw_window(rng, season)),
        2 | 3 if !doors.is_empty() => {
            DraftCondition::Contact(rng.pick(&doors).cloned().unwrap_or_default(), rng.percent(70))
        }
        4 if !draft.conditions.is_empty() => {
            DraftCondition::Named(rng.pick(&draft.conditions).map(|(name, _)| name.clone()).unwrap_or_default())
        }
        _ => draw_threshold(rng, draft),
    }
}

fn draw_window(rng: &mut Rng, season: Season) -> String {
    let from = season.minute + 1440 - 60 + rng.between(0, 240);
    let (opens, closes) = (clock(from), clock(from + rng.between(5, 150)));
    match rng.below(8) {
        0 => "from = \"sunset - 20m\", to = \"sunrise\"".to_owned(),
        1 => "from = \"dusk\", to = \"23:10\"".to_owned(),
        2 => format!("from = \"{opens}\", to = \"{closes}\", days = \"sat,sun\""),
        _ => format!("from = \"{opens}\", to = \"{closes}\""),
    }
}
