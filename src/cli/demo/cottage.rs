//! The invented house behind the demo's boards: physics, doors and a weather station, as seen over MQTT. It never talks to
//! the daemon but through the broker, and never knows a rule.

use std::collections::BTreeMap;
use std::future::poll_fn;
use std::sync::Arc;
use std::task::Poll;
use std::time::Duration;

use crate::board::{self, Faults, Flash, OtherBoard, Setup};
use crate::cli::board_shell::{self, Deed, News, Running};
use crate::cli::other_shell;
use crate::daemon::clock::Pace;
use crate::house::{Board, BoardId, House, Relay, Source, State};
use crate::mqtt::{self, Message, Outbox};
use crate::units::{Span, WallTime};
use crate::wire::{Prefix, Word};
use crate::world::World;

/// How often the world is looked at, in its own time.
const LOOK: Span = Span::from_s(10);
/// And in real time never more often than this.
const LOOK_REAL_MIN: Duration = Duration::from_millis(100);
/// So long a board's link is waited for.
const LINK_WITHIN: Duration = Duration::from_secs(5);
/// The weather of every demo is this one, so that two people see the same.
const SEED: u64 = 7;

/// The house that is played.
pub struct Cottage {
    house: Arc<House>,
    pace: Pace,
    world: World,
    boards: Vec<Running>,
    /// The weather station on the roof, which is no board of the house.
    station: Outbox,
    /// By sensor, what was said last and when.
    said: BTreeMap<String, (f64, WallTime)>,
    /// By input, how its contact was left.
    contacts: BTreeMap<&'static str, State>,
}

impl Cottage {
    /// Gives power to every board of the house. Must be called within a tokio runtime.
    pub fn start(house: Arc<House>, prefix: &Prefix, broker: &mqtt::Address, pace: Pace) -> Cottage {
        let now = pace.wall_now();
        let world = World::rowan_cottage(house.site.latitude, house.site.longitude, now, SEED);
        let boards = (0..house.boards.len())
            .map(|board| start_board(&house, BoardId(board as u32), prefix, broker, pace))
            .collect();
        let (station, mut unread) = mqtt::start(link(broker, "weather-station".to_owned()));
        // It only speaks, but a link wants to be read.
        tokio::spawn(async move { while unread.next().await.is_some() {} });
        Cottage { house, pace, world, boards, station, said: BTreeMap::new(), contacts: BTreeMap::new() }
    }

    /// Lets the house live until the future is dropped.
    pub async fn live(&mut self) {
        self.wait_for_links().await;
        let real = Duration::from_millis(LOOK.0 / u64::from(self.pace.speed()));
        let mut look = tokio::time::interval(real.max(LOOK_REAL_MIN));
        look.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        loop {
            let arrives = self.until_arrival();
            let moved = tokio::select! {
                _ = look.tick() => None,
                () = tokio::time::sleep(arrives.unwrap_or(Duration::MAX)), if arrives.is_some() => None,
                moved = next_move(&mut self.boards) => Some(moved),
            };
            match moved {
                // A contact answers its relay long before the next look.
                Some((relay, energised)) => {
                    self.world.relay_moved(self.pace.wall_now(), &self.house, relay, energised);
                    self.move_contacts().await;
                }
                None => self.look().await,
            }
        }
    }

    /// How long in real time until something that travels is at its end.
    fn until_arrival(&self) -> Option<Duration> {
        let left = self.world.arrives()?.0.saturating_sub(self.pace.wall_now().0);
        let real = u64::try_from(left).unwrap_or(0).div_ceil(u64::from(self.pace.speed()));
        Some(Duration::from_millis(real))
    }

    /// Lets every board die in good order.
    pub async fn leave(self) {
        self.station.close(Vec::new()).await;
        for board in self.boards {
            board.leave().await;
        }
    }

    /// What is measured before a board has its link is measured for nobody.
    async fn wait_for_links(&mut self) {
        for board in &mut self.boards {
            let up = async { while board.news.recv().await.is_some_and(|news| news != News::LinkUp) {} };
            // Without one the house lives on: that is worth a demonstration too.
            let _ = tokio::time::timeout(LINK_WITHIN, up).await;
        }
    }

    async fn look(&mut self) {
        let now = self.pace.wall_now();
        let (house, boards) = (&self.house, &self.boards);
        let runs = |name: &str| {
            house.load_named(name).is_some_and(|load| {
                let load = house.load(load);
                let Some(relay) = load.relay() else { return false };
                let relays = boards[relay.board.index()].relays.borrow();
                let energised = relays.get(usize::from(relay.number) - 1).copied().unwrap_or(false);
                load.state(energised) == State::On
            })
        };
        self.world.advance(now, runs);
        self.measure(now).await;
        self.move_contacts().await;
    }

    /// Publishes what changed, and everything often enough that nothing goes stale.
    async fn measure(&mut self, now: WallTime) {
        let house = self.house.clone();
        for sensor in &house.sensors {
            let Some(value) = self.world.reading(&sensor.name) else { continue };
            let repeat = Span(sensor.stale_after.0 / 3);
            if self.said.get(&sensor.name).is_some_and(|(last, at)| *last == value && now < *at + repeat) {
                continue;
            }
            let said = match &sensor.source {
                Source::Board { board, reading } => {
                    let deed = Deed::Reading { name: reading.clone(), text: value.to_string() };
                    self.boards[board.index()].deeds.try_send(deed).is_ok()
                }
                Source::Derived(_) => continue,
                Source::Topic { topic, field } => {
                    let payload = board::document(field.as_deref(), value.into()).into_bytes();
                    let message =
                        Message { topic: topic.clone(), payload, acknowledged: false, retain: false, expires: None };
                    self.station.publish(&message).is_ok()
                }
            };
            if said {
                self.said.insert(sensor.name.clone(), (value, now));
            }
        }
    }

    async fn move_contacts(&mut self) {
        for (name, state) in self.world.contacts() {
            let Some(input) = self.house.inputs.iter().find(|input| input.name == name) else { continue };
            if self.contacts.get(name) == Some(&state) {
                continue;
            }
            let port = &self.house.ports[input.port.index()];
            let deed = Deed::Contact { input: port.name.clone(), closed: state == State::On };
            if self.boards[port.board.index()].deeds.try_send(deed).is_ok() {
                self.contacts.insert(name, state);
            }
        }
    }
}

/// The next armature that moves on any of the boards, and whether it is energised now.
async fn next_move(boards: &mut [Running]) -> (Relay, bool) {
    poll_fn(|cx| {
        for (board, running) in boards.iter_mut().enumerate() {
            while let Poll::Ready(Some(news)) = running.news.poll_recv(cx) {
                if let News::Relay { number, energised } = news {
                    return Poll::Ready((Relay { board: BoardId(board as u32), number }, energised));
                }
            }
        }
        Poll::Pending
    })
    .await
}

fn start_board(house: &House, board: BoardId, prefix: &Prefix, broker: &mqtt::Address, pace: Pace) -> Running {
    if let Some(other) = OtherBoard::of_house(house.board(board)) {
        let Board { name, relays, .. } = house.board(board);
        return other_shell::start(other, usize::from(*relays), pace, link(broker, format!("other-{name}")));
    }
    let setup = Setup::of_house(house, board, prefix);
    let options = board_shell::Options {
        board: board::Board::new(setup, Flash::default(), Faults::default()),
        pace,
        link: link(broker, format!("board-{}", house.board(board).name)),
        makes_way: false,
    };
    board_shell::start(options, Word::nearest("power-on"))
}

fn link(broker: &mqtt::Address, client_id: String) -> mqtt::Options {
    mqtt::Options {
        address: broker.clone(),
        tls: None,
        client_id,
        username: None,
        password: None,
        will: None,
        seat: None,
        subscriptions: Vec::new(),
        latest_wins: Arc::new(|_| false),
    }
}
