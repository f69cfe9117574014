//! Boards for the bench: the crate's own side of the contract, with links that can be cut and messages that can be lost.

use standfast::board::{Board, Effect, Event, Faults, Flash, Setup};
use standfast::house::State;
use standfast::units::{BootTime, Span};
use standfast::wire::Word;

use crate::bench::{Bench, prefix};

/// How long a message takes.
const LATENCY: Span = Span(20);

pub struct Player {
    pub board: Board,
    /// Whether it has power.
    pub powered: bool,
    /// Whether it is connected to the broker.
    pub linked: bool,
    /// Its time less the controller's: each machine counts from its own start.
    pub ahead: i64,
    /// Orders to it get lost.
    pub loses_orders: bool,
    /// Its reports get lost.
    pub loses_reports: bool,
    /// What its relays did: when by its own time, which from 1, and whether its contact closed.
    pub did: Vec<(BootTime, u8, bool)>,
}

impl Player {
    fn time(&self, now: BootTime) -> BootTime {
        BootTime((now.0 as i64 + self.ahead) as u64)
    }

    /// Lets the board do what is due and take an event, and notes what its contacts did.
    fn handle(&mut self, time: BootTime, event: Event<'_>) -> Vec<Effect> {
        let relays = self.board.setup().relays;
        let closed = |board: &Board| (1..=relays).map(|relay| board.no_contact_closed(relay)).collect::<Vec<bool>>();
        let before = closed(&self.board);
        let effects = self.board.handle(time, event);
        let turned = (1..=relays).zip(before).zip(closed(&self.board)).filter(|((_, before), after)| before != after);
        self.did.extend(turned.map(|((relay, _), closed)| (time, relay, closed)));
        effects
    }
}

fn cause() -> Word {
    Word::nearest("power-on")
}

impl Bench {
    pub fn play_all(&mut self) {
        let names: Vec<String> = self.engine.house().boards.iter().map(|board| board.name.clone()).collect();
        names.iter().for_each(|name| self.play(name));
    }

    /// Powers a board up for the first time; it has heard its fallback once before.
    pub fn play(&mut self, name: &str) {
        self.play_with(name, Faults::default());
    }

    pub fn play_with(&mut self, name: &str, faults: Faults) {
        let id = self.board(name);
        let setup = Setup::of_house(self.engine.house(), id, &prefix());
        let flash = Flash { boot: 16, fallback: Some(self.engine.fallback(id)) };
        let board = Board::new(setup, flash, faults);
        let did = Vec::new();
        let player =
            Player { board, powered: false, linked: false, ahead: 0, loses_orders: false, loses_reports: false, did };
        self.players.insert(name.to_owned(), player);
        self.power_up(name);
    }

    pub fn player(&mut self, name: &str) -> &mut Player {
        self.players.get_mut(name).unwrap_or_else(|| panic!("board {name} is not played"))
    }

    /// Power comes, the board starts and connects.
    pub fn power_up(&mut self, name: &str) {
        self.player(name).powered = true;
        self.happen(name, Event::Reset { cause: cause() });
        self.plug(name);
    }

    /// Power goes; the broker publishes the will at once.
    pub fn cut_power(&mut self, name: &str) {
        self.happen(name, Event::PowerLost);
        let will = self.player(name).board.will();
        let player = self.player(name);
        (player.powered, player.linked) = (false, false);
        self.message(&will.topic, &will.payload, false);
    }

    /// The board connects and reads what is retained for it.
    pub fn plug(&mut self, name: &str) {
        self.player(name).linked = true;
        self.happen(name, Event::LinkUp);
        if let Some(fallback) = self.fallbacks.get(name) {
            let payload = fallback.encode();
            self.deliver(name, &format!("standfast/to/{name}/fallback"), &payload);
        }
    }

    /// The network to the board is gone and nobody has noticed yet.
    pub fn unplug(&mut self, name: &str) {
        self.player(name).linked = false;
        self.happen(name, Event::LinkDown);
    }

    /// Something happens to a board now.
    pub fn happen(&mut self, name: &str, event: Event<'_>) {
        let now = self.now.boot;
        let player = self.player(name);
        let time = player.time(now);
        let effects = player.handle(time, event);
        self.carry_from(name, effects);
    }

    /// Someone presses a button that hangs on a board.
    pub fn press(&mut self, name: &str, input: &str) {
        self.happen(name, Event::Pressed { input });
    }

    fn carry_from(&mut self, name: &str, effects: Vec<Effect>) {
        let is_closed = |relay: &&&str| self.players.contains_key(&relay[..1]) && self.closed(relay);
        let closed: Vec<_> = self.never_together.iter().filter(is_closed).collect();
        assert!(closed.len() < 2, "{closed:?} are closed together");
        for effect in effects {
            let Effect::Publish(publish) = effect else { continue };
            let player = self.player(name);
            let lost = player.loses_reports && publish.topic.ends_with("/report");
            if player.linked && !lost {
                self.send(&publish.topic, &publish.payload);
            }
        }
    }

    /// Puts a message on its way.
    pub fn send(&mut self, topic: &str, payload: &str) {
        self.sent += 1;
        self.in_air.insert((self.now.boot + LATENCY, self.sent), (topic.to_owned(), payload.to_owned()));
    }

    /// On the controller's birth boards report and repeat their contacts.
    pub fn greet_players(&mut self) {
        self.send("standfast/controller", "birth 0.0.1 test");
    }

    fn deliver(&mut self, name: &str, topic: &str, payload: &str) {
        let player = self.player(name);
        if player.linked && !(player.loses_orders && topic.ends_with("/orders")) {
            self.happen(name, Event::Message { topic, payload: payload.as_bytes(), retained: false });
        }
    }

    /// Delivers what has arrived and ticks boards that wait for it.
    pub fn play_due(&mut self) {
        self.play_boards_due();
        while let Some(entry) = self.in_air.first_entry().filter(|entry| entry.key().0 <= self.now.boot) {
            let (topic, payload) = entry.remove();
            self.arrive(&topic, &payload, true);
        }
    }

    fn arrive(&mut self, topic: &str, payload: &str, controller_listens: bool) {
        if let Some(name) = topic.strip_prefix("standfast/to/").and_then(|rest| rest.split('/').next()) {
            if self.players.contains_key(name) {
                self.deliver(name, topic, payload);
            }
        } else if topic == "standfast/controller" {
            let names: Vec<String> = self.players.keys().cloned().collect();
            names.iter().for_each(|name| self.deliver(name, topic, payload));
        } else if controller_listens {
            self.message(topic, payload, false);
        }
    }

    fn play_boards_due(&mut self) {
        let now = self.now.boot;
        let is_due = |player: &Player| player.board.next_deadline().is_some_and(|due| due <= player.time(now));
        let due: Vec<String> =
            self.players.iter().filter(|(_, player)| is_due(player)).map(|(name, _)| name.clone()).collect();
        due.iter().for_each(|name| self.happen(name, Event::Tick));
    }

    pub fn next_of_players(&self) -> Option<BootTime> {
        let due = |player: &Player| {
            player.board.next_deadline().map(|due| BootTime((due.0 as i64 - player.ahead).max(0) as u64))
        };
        self.players.values().filter_map(due).min()
    }

    /// Lets boards go on while the controller is down.
    pub fn run_players_alone(&mut self, end: BootTime) {
        let start = self.now;
        loop {
            let message = self.in_air.keys().next().map(|(due, _)| *due);
            let due = [message, self.next_of_players()].into_iter().flatten().min();
            let Some(due) = due.filter(|due| *due <= end) else { break };
            self.pass_to(due.max(self.now.boot));
            self.play_boards_due();
            while let Some(entry) = self.in_air.first_entry().filter(|entry| entry.key().0 <= self.now.boot) {
                let (topic, payload) = entry.remove();
                self.arrive(&topic, &payload, false);
            }
        }
        self.in_air.clear();
        self.now = start;
    }

    /// The controller's machine starts again: boards keep their own time.
    pub fn shift_boards(&mut self, boot: BootTime, before: BootTime) {
        for player in self.players.values_mut() {
            player.ahead += before.0 as i64 - boot.0 as i64;
        }
    }

    /// Whether a relay's NO contact is closed, `yard/2`: what the load sees.
    pub fn closed(&self, relay: &str) -> bool {
        let (name, number) = relay.split_once('/').expect("board/number");
        self.players[name].board.no_contact_closed(number.parse().expect("a number"))
    }

    /// What a load really does.
    pub fn runs(&self, load: &str) -> bool {
        let house = self.engine.house();
        let load = house.load(self.load(load));
        let relay = load.relay().expect("a load with a relay of its own");
        load.state(self.closed(&house.relay_name(relay))) == State::On
    }
}
