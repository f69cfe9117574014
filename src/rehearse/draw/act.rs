//! What a script does: readings, faults, hands. It never asks whether anybody copes.

use super::super::broker::Comeback;
use super::super::link::{Client, Way};
use super::super::stage::Stage;
use super::draft::{Draft, Press};
use super::house::draw_term;
use super::mix::Kind;
use super::redraw::redraw;
use super::script::{Act, Script};
use crate::board::RelayFault;
use crate::engine::{By, HandOrder};
use crate::house::{House, LoadId, State, Term};
use crate::syntax;
use crate::units::Span;
use jiff::tz::TimeZoneDatabase;

/// Whether a load is on, by its contact.
fn is_on(draft: &Draft, load: &str, stage: &Stage) -> bool {
    let load = draft.loads.iter().find(|one| one.name == load);
    load.and_then(|load| Some((load, stage.place(&load.board)?)))
        .is_some_and(|(load, place)| stage.panels()[place].is_closed(load.relay) != load.is_nc)
}

impl Script {
    pub(super) fn measure(&mut self, stage: &mut Stage, sensor: usize) {
        let now = stage.now();
        let (rng, gauge) = (&mut self.rng, &mut self.gauges[sensor]);
        if !self.calm {
            gauge.value = (gauge.value + (rng.unit() * 2.0 - 1.0) * gauge.step).clamp(-3.0, 103.0);
            if rng.in_ten_thousand(40) {
                gauge.silent_until = now + Span::from_s(rng.between(30, 600));
            }
            if rng.in_ten_thousand(60) {
                gauge.value = rng.between(0, 1000) as f64 / 10.0;
            }
        }
        if gauge.silent_until > now {
            return;
        }
        let (scale, offset) = self.original.sensors.get(sensor).and_then(|one| one.calibration).unwrap_or((1.0, 0.0));
        let junk = !self.calm && rng.in_ten_thousand(100);
        let Some(definition) = self.original.sensors.get(sensor) else { return };
        let mut value = gauge.value;
        if let Some(load) = &definition.follows {
            value = if is_on(&self.draft, load, stage) { 5.0 } else { 0.0 };
        } else if definition.strays && !self.calm && rng.percent(10) {
            value = if value < 50.0 { value + 45.0 } else { value - 45.0 };
        }
        let text = match rng.below(5) {
            _ if !junk && definition.calibration.is_some() => format!("{:.3}", (value - offset) / scale),
            _ if !junk => format!("{value:.1}"),
            0 => "NaN".to_owned(),
            1 => "1e999".to_owned(),
            2 => String::new(),
            3 => "dry".to_owned(),
            _ => "140.0".to_owned(),
        };
        let retained = !self.calm && rng.in_ten_thousand(50);
        match definition.board.as_ref().and_then(|board| stage.place(board)) {
            Some(place) => stage.measure(place, &definition.name, &text),
            None => {
                let name = &definition.name;
                stage.publish_by_hand(&format!("roof/{name}"), format!("{{\"{name}\": {text}}}").as_bytes(), retained);
            }
        }
    }

    /// Lets every sensor stand where no threshold of the house is in doubt.
    pub(super) fn settle_gauges(&mut self) {
        let mut doubtful: Vec<(String, f64, f64)> = Vec::new();
        self.draft.thresholds(&mut |sensor, _, cut_in, cut_out| {
            doubtful.push((sensor.to_owned(), cut_in.min(*cut_out), cut_in.max(*cut_out)));
        });
        for (place, gauge) in self.gauges.iter_mut().enumerate() {
            let name = &self.original.sensors[place].name;
            let is_clear = |value: f64| {
                doubtful.iter().all(|(sensor, low, high)| sensor != name || value <= *low || value >= *high)
            };
            gauge.silent_until = crate::units::BootTime(0);
            gauge.value =
                (0..50).map(|_| self.rng.between(0, 1000) as f64 / 10.0).find(|value| is_clear(*value)).unwrap_or(0.5);
        }
    }

    pub(super) fn happen(&mut self, stage: &mut Stage, kind: Kind) {
        let boards = stage.panels().len() as u64;
        let place = self.rng.below(boards) as usize;
        match kind {
            Kind::Cut | Kind::Stall => self.hurt_link(stage, kind),
            Kind::Broker => {
                let (notices, apart) =
                    (self.rng.span(Span(50), Span::from_s(30)), self.rng.span(Span(0), Span::from_s(4)));
                stage.say("the broker ends".to_owned());
                stage.stop_broker(notices, apart);
                let back = stage.now() + self.rng.span(Span::from_s(1), Span::from_s(300));
                self.put(back, Act::BrokerBack);
            }
            Kind::BrokerWrite => stage.broker_writes(),
            Kind::Reset => stage.reset(place, "watchdog"),
            Kind::PowerCut => {
                stage.cut_power(place);
                let back = stage.now() + self.rng.span(Span(200), Span::from_s(300));
                self.put(back, Act::PowerOn(place));
            }
            Kind::Exchange => stage.exchange(place),
            Kind::Crash | Kind::Machine | Kind::Freeze => self.hurt_controller(stage, kind),
            Kind::ClockStep | Kind::Distrust => self.hurt_clock(stage, kind),
            Kind::Relay => {
                let relays = u64::from(stage.panels()[place].board().setup().relays);
                let relay = self.rng.between(1, relays) as u8;
                let fault = if self.rng.percent(50) { RelayFault::Welded } else { RelayFault::Dead };
                stage.break_relay(place, relay, Some(fault));
                let mended = stage.now() + self.rng.span(Span::from_s(5), Span::from_s(600));
                self.put(mended, Act::Mend(place, relay));
            }
            Kind::Button | Kind::Key | Kind::Door => self.touch_input(stage, kind),
            Kind::HoldMessage => self.send_hold(stage),
            Kind::Command => self.command(stage),
            Kind::TripReset => self.reset_trips(stage),
            Kind::Reload => self.reload(stage),
            Kind::BadHouse => self.save_bad_house(stage),
            Kind::Junk => self.send_junk(stage),
            Kind::Mode => self.set_mode(stage),
            Kind::Foreign => self.hurt_appliance(stage),
        }
    }

    fn hurt_link(&mut self, stage: &mut Stage, kind: Kind) {
        let client = match self.rng.below(stage.panels().len() as u64 + 1) {
            0 => Client::Controller,
            place => Client::Board(place as usize - 1),
        };
        let length = self.rng.span(Span(100), Span::from_s(240));
        if kind == Kind::Cut {
            let (broker, own) = (self.rng.span(Span(10), Span::from_s(60)), self.rng.span(Span(10), Span::from_s(60)));
            stage.say(format!("the connection of {client:?} dies"));
            return stage.cut(client, length, broker, own);
        }
        let way = if self.rng.percent(50) { Way::Up } else { Way::Down };
        stage.say(format!("bytes wait: {client:?} {way:?}"));
        stage.stall(client, way, true);
        self.put(stage.now() + length, Act::Flow(client, way));
    }

    fn hurt_controller(&mut self, stage: &mut Stage, kind: Kind) {
        let away = self.rng.span(Span(100), Span::from_s(200));
        let back = stage.now() + away;
        match kind {
            Kind::Freeze => {
                stage.say(format!("the controller does not get to run for {away}"));
                return stage.freeze_controller(away);
            }
            Kind::Machine => {
                let is_lost = self.rng.percent(50);
                stage.say(format!(
                    "the controller's machine restarts, its clock {}",
                    if is_lost { "lost" } else { "kept" }
                ));
                let error = self.rng.between(0, 7_200_000) as i64 - 3_600_000;
                stage.restart_machine(|machine, now| {
                    if is_lost {
                        machine.disturb(now, error, 0);
                        machine.trust(false);
                    }
                });
                if is_lost {
                    let right = back + self.rng.span(Span(500), Span::from_s(400));
                    self.put(right, Act::Synchronise);
                }
            }
            _ => stage.crash_controller(),
        }
        self.put(back, Act::Start);
    }

    fn hurt_clock(&mut self, stage: &mut Stage, kind: Kind) {
        let rng = &mut self.rng;
        let far = kind == Kind::Distrust;
        let reach = if far { 3 * 3_600_000 } else { 280_000 };
        let step = rng.between(0, 2 * reach) as i64 - reach as i64;
        let ppm = rng.between(0, 400) as i64 - 200;
        stage.say(format!("the wall clock steps by {step} ms and runs {ppm} ppm fast"));
        stage.set_clock(|machine, now| {
            machine.disturb(now, step, ppm);
            if far {
                machine.trust(false);
            }
        });
        let right = stage.now() + rng.span(Span::from_s(1), Span::from_s(900));
        self.put(right, Act::Synchronise);
    }

    fn touch_input(&mut self, stage: &mut Stage, kind: Kind) {
        // Buttons hang on the wall whatever the house says of them now.
        let fits = |input: &&super::draft::DraftInput| match kind {
            Kind::Key => input.code.is_some(),
            Kind::Door => input.press == Press::Nothing,
            _ => input.code.is_none() && input.press != Press::Nothing,
        };
        let inputs: Vec<_> = self.original.inputs.iter().filter(fits).cloned().collect();
        let Some(input) = self.rng.pick(&inputs) else { return };
        let Some(place) = stage.place(&input.board) else { return };
        stage.say(format!("somebody touches {} at {}/{}", input.name, input.board, input.port));
        match (&input.code, kind) {
            (Some(code), _) => stage.key(place, &input.port, code),
            (None, Kind::Door) => stage.contact(place, &input.port, self.rng.percent(50)),
            _ => stage.press(place, &input.port),
        }
    }

    fn send_hold(&mut self, stage: &mut Stage) {
        let Some(load) = self.rng.pick(&self.draft.loads).map(|load| load.name.clone()) else { return };
        let term = draw_term(&mut self.rng, self.season);
        let text = match self.rng.below(8) {
            0 | 1 => "release".to_owned(),
            2 => "on".to_owned(),
            3 => format!("off {term}"),
            4 => "on for ever".to_owned(),
            _ => format!("on {term}"),
        };
        let retained = self.rng.percent(10);
        stage.say(format!("a message for {load}: {text} (retained: {retained})"));
        stage.publish_by_hand(&format!("standfast/hold/{load}"), text.as_bytes(), retained);
    }

    fn command(&mut self, stage: &mut Stage) {
        let Some(engine) = stage.engine() else { return };
        let house = engine.house().clone();
        let Some(name) = self.rng.pick(&house.loads).map(|load| load.name.clone()) else { return };
        let Some(load) = house.load_named(&name) else { return };
        let term = Term::parse(&draw_term(&mut self.rng, self.season)).ok();
        let state = if self.rng.percent(50) { State::On } else { State::Off };
        let order = match self.rng.below(10) {
            0 => HandOrder::Release { load },
            1 => HandOrder::Withdraw { load, why: "bearing".to_owned() },
            2..=4 => HandOrder::Restore { load, why: String::new() },
            _ => HandOrder::Hold { load, state, term },
        };
        stage.say(format!("a command for {name}: {order:?}"));
        stage.order(order, By::Command("ann".to_owned()));
    }

    /// Somebody has looked at every safety trip that latched.
    fn reset_trips(&mut self, stage: &mut Stage) {
        let Some(engine) = stage.engine() else { return };
        let house = engine.house().clone();
        for load in (0..house.loads.len()).map(|load| LoadId(load as u32)) {
            if house.rules.iter().any(|rule| rule.load == load && rule.latches) {
                stage.say(format!("a command for {}: reset", house.load(load).name));
                stage.order(HandOrder::Reset { load }, By::Command("ann".to_owned()));
            }
        }
    }

    fn reload(&mut self, stage: &mut Stage) {
        let next = match self.rng.below(6) {
            0 => self.draft.clone(),
            1 => self.original.clone(),
            _ => redraw(&mut self.rng, &self.draft),
        };
        match read(&next.files()) {
            Ok(house) => {
                stage.say("somebody changes the house".to_owned());
                self.draft = next;
                stage.reload(house);
            }
            Err(why) => stage.say(format!("a changed house was drawn badly: {why}")),
        }
    }

    /// A house with errors never gets as far as the engine: the reader refuses it.
    fn save_bad_house(&mut self, stage: &mut Stage) {
        let mut text = self.draft.to_string();
        let spoilt = match self.rng.below(3) {
            0 => "\n[load.spoilt]\nrelay = \"nowhere/1\"\nkind = \"motor\"\n",
            1 => "\n[rule.spoilt]\nload = \"nothing\"\ndemand = \"on\"\nwhile = { sensor = \"t0\" }\n",
            _ => "\n[rule.spoilt\n",
        };
        text.push_str(spoilt);
        match read(&[("house.toml".to_owned(), text)]) {
            Ok(house) => stage.reload(house),
            Err(_) => stage.refuse_house(),
        }
    }

    fn send_junk(&mut self, stage: &mut Stage) {
        let name = stage.panels()[0].name.clone();
        let (topic, text): (String, &[u8]) = match self.rng.below(6) {
            0 => (format!("standfast/from/{name}/report"), b"1 1 1 on on on on on on on on on on"),
            1 => (format!("standfast/from/{name}/report"), b"\xff\xfe"),
            2 => (format!("standfast/from/{name}/life"), b"rebirth"),
            3 => (format!("standfast/to/{name}/orders"), b"4294967295 1 1 90 on on on on"),
            4 => (format!("standfast/to/{name}/fallback"), b"90 on"),
            _ => ("standfast/from/nobody/report".to_owned(), b"1 1 1 on"),
        };
        // A fallback that reads well is no junk to a board with one relay.
        if topic.ends_with("fallback") && stage.panels()[0].board().setup().relays == 1 {
            return;
        }
        if topic.ends_with("orders") && stage.panels()[0].board().setup().relays == 4 {
            return;
        }
        stage.publish_by_hand(&topic, text, false);
    }

    pub(super) fn bring_broker_back(&mut self, stage: &mut Stage) {
        let how = match self.rng.below(3) {
            0 => Comeback::Lost,
            1 => Comeback::Stale,
            _ => Comeback::Kept,
        };
        stage.say(format!("the broker is back, its retained messages: {how:?}"));
        stage.broker_comes_back(how);
    }
}

/// Reads a house, or says in words why it cannot be.
pub(crate) fn read(files: &[(String, String)]) -> Result<House, String> {
    let zones = TimeZoneDatabase::bundled();
    let (house, diagnostics) = syntax::read(files, &zones);
    house.ok_or_else(|| diagnostics.first().map_or_else(String::new, |one| format!("{one:?}")))
}
