//! Protections switched off one at a time, to see whether the checkers notice. Nothing here reaches the engine's own code:
//! it is handed another house, other settings or other messages than the person meant, or a board is built that does not
//! keep the contract.

use std::collections::{BTreeMap, BTreeSet};

use crate::board::Faults;
use crate::engine::{Event, Hand, HandOrder, Settings};
use crate::house::{Atom, Bound, Calibration, Derived, House, Sensor, Source, Term, ThresholdSide};
use crate::units::Span;
use crate::wire::{InputWord, Orders, RelayOrder};

/// A protection that is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weakness {
    /// The engine knows of no min on and min off.
    Dwell,
    /// The engine takes orders under way for carried out.
    OrdersInFlight,
    /// The engine believes reports that were overtaken by later ones.
    OldReports,
    /// Thresholds have no deadband.
    Deadband,
    /// Readings keep for ever.
    StaleReadings,
    /// Nothing is waited for after a start.
    Settling,
    /// Holds last twice as long as was said.
    HoldEnds,
    /// A doubled press counts twice.
    PressCounts,
    /// The store forgets which order numbers are taken.
    ReservationsForgotten,
    /// The store forgets everything else.
    SnapshotsForgotten,
    /// The journal has no row of changes that no report showed.
    UnseenChanges,
    /// Any members of an interlock may be on together.
    Interlock,
    /// No dead time lies between members of an interlock.
    DeadTime,
    /// Loads run for as long as they are wanted.
    MaxOn,
    /// After max on a load may start again at once.
    Rest,
    /// Loads start as often as they are wanted.
    MaxStarts,
    /// Circuits carry anything.
    CircuitLimit,
    /// Loads on a circuit close together.
    CircuitStagger,
    /// Loads close together after a start or a reconnect.
    SiteStagger,
    /// Safety trips let go by themselves.
    TripLatch,
    /// No dead time lies between the directions of an actuator.
    DriveDeadTime,
    /// The engine takes orders that the board times for never taken.
    TimedOrders,
    /// What selectors and setpoints are set to lasts twice as long as was said.
    ModeEnds,
    /// Readings count as they are sent.
    Calibration,
    /// One sensor is enough for a mean or a median.
    Quorum,
    /// Nobody says what is shed first.
    Shedding,
    /// Boards of other firmware are told everything once.
    ForeignRepeats,
    /// Nobody looks whether loads prove.
    Proof,
    /// The first of a rotation does all of it.
    Rotation,
    /// Readings are not smoothed.
    Median,
    /// Readings may leap.
    MaxRate,
    /// Boards let no lease run out.
    BoardLease,
    /// Boards take orders that answer an old beat.
    BoardAge,
    /// Boards take orders whatever their number.
    BoardNumber,
    /// Boards take orders for another boot.
    BoardBoot,
}

impl Weakness {
    /// The house that the engine is given.
    pub(super) fn house(weakness: Option<Weakness>, house: &House) -> House {
        let mut house = house.clone();
        match weakness {
            Some(Weakness::Dwell) => {
                for load in &mut house.loads {
                    (load.min_on, load.min_off) = (Span::ZERO, Span::ZERO);
                }
            }
            Some(Weakness::Interlock) => house.interlocks.clear(),
            Some(Weakness::DeadTime) => {
                house.interlocks.iter_mut().for_each(|interlock| interlock.dead_time = Span::ZERO);
            }
            Some(Weakness::DriveDeadTime) => {
                house.actuators.iter_mut().for_each(|actuator| actuator.dead_time = Span::ZERO);
            }
            Some(Weakness::Proof) => house.loads.iter_mut().for_each(|load| load.proof = None),
            Some(Weakness::Rotation) => {
                house.rotations.iter_mut().for_each(|rotation| rotation.loads[1] = rotation.loads[0]);
            }
            Some(Weakness::Calibration) => {
                house.sensors.iter_mut().for_each(|sensor| sensor.calibration = Calibration::default());
            }
            Some(Weakness::Quorum) => house.sensors.iter_mut().for_each(need_one),
            Some(Weakness::Shedding) => house.circuits.iter_mut().for_each(|circuit| circuit.shed.clear()),
            Some(Weakness::ForeignRepeats) => {
                let foreign = house.boards.iter_mut().filter_map(|board| board.foreign.as_mut());
                foreign.for_each(|foreign| foreign.repeat = None);
            }
            Some(Weakness::Median) => house.sensors.iter_mut().for_each(|sensor| sensor.median_of = 1),
            Some(Weakness::MaxRate) => house.sensors.iter_mut().for_each(|sensor| sensor.max_rate = None),
            Some(Weakness::MaxOn) => house.loads.iter_mut().for_each(|load| load.max_on = None),
            Some(Weakness::Rest) => house.loads.iter_mut().for_each(|load| load.rest = Span::ZERO),
            Some(Weakness::MaxStarts) => house.loads.iter_mut().for_each(|load| load.max_starts = None),
            Some(Weakness::CircuitLimit) => {
                house.circuits.iter_mut().for_each(|circuit| circuit.limit.0 = f64::from(f32::MAX));
            }
            Some(Weakness::CircuitStagger) => {
                house.circuits.iter_mut().for_each(|circuit| circuit.stagger = Span::ZERO);
            }
            Some(Weakness::SiteStagger) => house.site.stagger = Span::ZERO,
            Some(Weakness::TripLatch) => house.rules.iter_mut().for_each(|rule| rule.latches = false),
            Some(Weakness::Deadband) => house.atoms.iter_mut().for_each(narrow),
            Some(Weakness::StaleReadings) => {
                house.sensors.iter_mut().for_each(|sensor| sensor.stale_after = Span::from_h(48));
            }
            Some(Weakness::HoldEnds) => {
                for load in &mut house.loads {
                    load.hold_for = doubled(&load.hold_for);
                }
                for input in &mut house.inputs {
                    input.hold_for = input.hold_for.as_ref().map(doubled);
                }
            }
            _ => {}
        }
        house
    }

    /// The settings that the engine starts with.
    pub(super) fn settings(weakness: Option<Weakness>, settings: Settings) -> Settings {
        match weakness {
            Some(Weakness::Settling) => Settings { settle: Span::ZERO },
            _ => settings,
        }
    }

    /// Whether the engine is told of other reports than come: its journal tells of those.
    pub(super) fn disguises_reports(self) -> bool {
        matches!(self, Weakness::OldReports | Weakness::OrdersInFlight | Weakness::TimedOrders)
    }

    /// The boards that are hung up.
    pub(super) fn faults(weakness: Option<Weakness>, faults: Faults) -> Faults {
        match weakness {
            Some(Weakness::BoardLease) => Faults { ignores_lease: true, ..faults },
            Some(Weakness::BoardAge) => Faults { ignores_age: true, ..faults },
            Some(Weakness::BoardNumber) => Faults { ignores_number: true, ..faults },
            Some(Weakness::BoardBoot) => Faults { ignores_boot: true, ..faults },
            _ => faults,
        }
    }
}

/// What a weakness makes the engine believe, and what stands behind it.
#[derive(Debug, Default)]
pub(super) struct Disguise {
    /// By board: the beat given last, and the boot and beat behind each.
    beats: BTreeMap<usize, (u32, BTreeMap<u32, u32>)>,
    /// By board: the number of the last orders.
    numbers: BTreeMap<usize, u32>,
    presses: u32,
    /// Relays that were told to be energised for a time, by board and index.
    timed: BTreeSet<(usize, usize)>,
}

impl Disguise {
    /// What the engine is told instead of `event`, which came from the board at `place` where it came from one.
    pub fn put_on(&mut self, weakness: Option<Weakness>, event: Event, place: Option<usize>) -> Event {
        match (weakness, event, place) {
            (Some(Weakness::HoldEnds | Weakness::ModeEnds), Event::Hand(hand), _) => {
                Event::Hand(overrun(hand, weakness))
            }
            (Some(Weakness::OldReports), Event::Report { board, mut report }, Some(place)) => {
                let (last, behind) = self.beats.entry(place).or_default();
                *last += 1;
                behind.insert(*last, report.beat);
                report.beat = *last;
                Event::Report { board, report }
            }
            (Some(Weakness::OrdersInFlight), Event::Report { board, mut report }, Some(place)) => {
                report.taken = self.numbers.get(&place).copied().unwrap_or(report.taken);
                Event::Report { board, report }
            }
            (Some(Weakness::TimedOrders), Event::Report { board, mut report }, Some(place)) => {
                for (_, index) in self.timed.iter().filter(|(of, _)| *of == place) {
                    if let Some(relay) = report.relays.get_mut(*index) {
                        (relay.energised, relay.changes) = (false, Some(0));
                    }
                }
                Event::Report { board, report }
            }
            (Some(Weakness::PressCounts), Event::Input { port, word: InputWord::Press { .. } }, _) => {
                self.presses += 1;
                Event::Input { port, word: InputWord::Press { count: self.presses } }
            }
            (_, event, _) => event,
        }
    }

    /// Puts into orders what stands behind the engine's belief.
    pub fn take_off(&mut self, place: usize, orders: &mut Orders) {
        self.numbers.insert(place, orders.number);
        let timed = orders.relays.iter().enumerate().filter(|(_, word)| matches!(word, RelayOrder::Pulse(_)));
        self.timed.extend(timed.map(|(index, _)| (place, index)));
        if let Some((_, behind)) = self.beats.get(&place)
            && let Some(beat) = behind.get(&orders.beat)
        {
            orders.beat = *beat;
        }
    }
}

fn narrow(atom: &mut Atom) {
    if let Atom::Threshold(threshold) = atom {
        let beside = |number: f64| match threshold.side {
            ThresholdSide::High => number.next_down(),
            ThresholdSide::Low => number.next_up(),
        };
        threshold.cut_out = match threshold.cut_in {
            Bound::Number(number) => Bound::Number(beside(number)),
            Bound::Setpoint { setpoint, offset } => Bound::Setpoint { setpoint, offset: beside(offset) },
        };
    }
}

fn need_one(sensor: &mut Sensor) {
    if let Source::Derived(Derived::Mean { quorum, .. } | Derived::Median { quorum, .. }) = &mut sensor.source {
        *quorum = 1;
    }
}

fn doubled(term: &Term) -> Term {
    match term {
        Term::For(span) => Term::For(Span(span.0 * 2)),
        other => other.clone(),
    }
}

fn overrun(hand: Hand, weakness: Option<Weakness>) -> Hand {
    let of_mode = weakness == Some(Weakness::ModeEnds);
    let longer = |term: Option<Term>| term.as_ref().map(doubled);
    let order = match hand.order {
        HandOrder::Hold { load, state, term } if !of_mode => HandOrder::Hold { load, state, term: longer(term) },
        HandOrder::Select { selector, position, term } if of_mode => {
            HandOrder::Select { selector, position, term: longer(term) }
        }
        HandOrder::Adjust { setpoint, value, term } if of_mode => {
            HandOrder::Adjust { setpoint, value, term: longer(term) }
        }
        order => order,
    };
    Hand { order, ..hand }
}
