//! What a script does to what most houses do without: it turns selectors, sets setpoints, and hurts the board of other firmware.
//! It never asks whether anybody copes.

use super::super::link::{Client, Way};
use super::super::stage::Stage;
use super::house::draw_term;
use super::script::{Act, Script};
use crate::engine::{By, HandOrder};
use crate::house::Term;
use crate::units::{Finite, Span};

impl Script {
    /// Somebody turns the selector or sets the setpoint, by message or by command.
    pub(super) fn set_mode(&mut self, stage: &mut Stage) {
        let term = self.rng.percent(70).then(|| draw_term(&mut self.rng, self.season));
        let is_selector = self.rng.percent(50);
        let value = self.rng.between(20, 60);
        let position = if self.rng.percent(60) { "away" } else { "lived-in" };
        let back = self.rng.percent(20);
        if self.rng.percent(40) {
            let word = if is_selector { position.to_owned() } else { value.to_string() };
            let text = match &term {
                _ if back => "release".to_owned(),
                Some(term) => format!("{word} {term}"),
                None => word,
            };
            let topic = if is_selector { "standfast/selector/house" } else { "standfast/setpoint/warm" };
            stage.say(format!("a message on {topic}: {text}"));
            return stage.publish_by_hand(topic, text.as_bytes(), self.rng.percent(10));
        }
        let Some(engine) = stage.engine() else { return };
        let house = engine.house().clone();
        let (Some(selector), Some(setpoint)) = (house.selector_named("house"), house.setpoint_named("warm")) else {
            return;
        };
        let term = term.and_then(|term| Term::parse(&term).ok());
        let Some(value) = Finite::new(value as f64) else { return };
        let order = match (is_selector, back) {
            (true, true) => HandOrder::ReturnSelector { selector },
            (true, false) => HandOrder::Select { selector, position: position.to_owned(), term },
            (false, true) => HandOrder::ReturnSetpoint { setpoint },
            (false, false) => HandOrder::Adjust { setpoint, value, term },
        };
        stage.say(format!("a command: {order:?}"));
        stage.order(order, By::Command("ann".to_owned()));
    }

    /// Something happens to a board of other firmware.
    pub(super) fn hurt_appliance(&mut self, stage: &mut Stage) {
        let place = self.rng.below(stage.appliances().len().max(1) as u64) as usize;
        let Some(name) = stage.appliances().get(place).map(|one| one.name().to_owned()) else { return };
        let client = Client::Appliance(place);
        let length = self.rng.span(Span(100), Span::from_s(240));
        match self.rng.below(4) {
            0 => {
                let within = (self.rng.span(Span(10), Span::from_s(60)), self.rng.span(Span(10), Span::from_s(60)));
                stage.say(format!("the connection of {name} dies"));
                stage.cut(client, length, within.0, within.1);
            }
            1 => {
                let way = if self.rng.percent(50) { Way::Up } else { Way::Down };
                stage.say(format!("bytes wait: {name} {way:?}"));
                stage.stall(client, way, true);
                self.put(stage.now() + length, Act::Flow(client, way));
            }
            2 => {
                stage.say(format!("{name} restarts"));
                stage.power_appliance(place);
            }
            _ => {
                stage.say(format!("{name} loses power"));
                stage.unpower_appliance(place);
                self.put(stage.now() + length, Act::ApplianceOn(place));
            }
        }
    }
}
