//! Another version of the house while one runs: taken, kept waiting for a person, or refused. A house with errors, or gone,
//! changes nothing that runs.

use tokio::sync::oneshot;

use super::first::Instead;
use super::keeper::Keeper;
use super::protocol::Response;
use super::source::{Source, Version};
use crate::engine::{Engine, Event};
use crate::house::{House, losses};
use crate::store::AcceptedHouse;

/// The alarm about a house with errors.
pub const HOUSE_ALARM: &str = "house";
/// The alarm about a house that waits for a person.
pub const WAITS_ALARM: &str = "house-waits";
/// So many losses are named in a line.
const LOSSES_NAMED: usize = 5;

/// Who wants the change.
#[derive(Debug)]
pub enum Origin {
    /// It was seen on disk or in git.
    Watched,
    /// A person, who may wait for the answer.
    Person(Option<oneshot::Sender<Response>>),
    /// A person who only wants to know what it would change.
    Curious(oneshot::Sender<Response>),
}

/// Changes a decoded house before it runs; for houses that are only played.
pub type Adapt = Box<dyn Fn(House) -> House + Send>;

/// The versions of the house that come, one at a time.
pub struct Changes {
    source: Source,
    adapt: Option<Adapt>,
    /// The files of the house that runs.
    running: Vec<(String, String)>,
    /// What the log was told last of a house that does not run. It is looked for again and again, and once is enough.
    told: Option<String>,
}

impl Changes {
    /// With the files of the house that runs, and why it is not the one on disk where it is not.
    pub fn new(
        source: Source,
        adapt: Option<Adapt>,
        running: Vec<(String, String)>,
        instead: Option<&Instead>,
    ) -> Changes {
        let told = instead.map(|instead| match instead {
            Instead::Faulty(faults) => faulty(&faults.line),
            Instead::Waits(text) => text.clone(),
        });
        Changes { source, adapt, running, told }
    }

    /// Where the house comes from.
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// Takes a version that was read, or says why not.
    pub fn take(&mut self, keeper: &mut Keeper, version: Version, origin: Origin) {
        let before = keeper.revision().to_owned();
        let response = self.decide(keeper, version, matches!(origin, Origin::Person(_)));
        if let Origin::Person(answer) = origin {
            // That another runs now has a row of its own.
            if keeper.revision() == before {
                tracing::info!("apply: {}", response.text);
            }
            // A start goes by what the store knows as accepted, so the answer waits for that. Who asked may be a signal.
            if let Some(answer) = answer {
                keeper.answer_once_stored(answer, response);
            }
        }
    }

    /// What a version would change at once, without taking it.
    pub fn preview(&self, keeper: &Keeper, version: Version) -> Response {
        let Version { files, revision, house, warnings, leaves_out_saved } = version;
        let house = match house {
            Ok(house) => house,
            Err(faults) => return Response::refused(format!("the house has errors\n\n{}", faults.text)),
        };
        let note = if leaves_out_saved { "\nwhat is saved and not committed is not in it" } else { "" };
        if files == self.running && revision == keeper.revision() {
            return Response::done(format!("house {revision} runs already{note}"));
        }
        let mut lines = vec![format!("house {revision} would take the place of {}{note}", keeper.revision())];
        let losses = what_is_lost(keeper.engine(), &house);
        lines.extend(warnings.iter().chain(&losses).cloned());
        let house = match &self.adapt {
            Some(adapt) => adapt(house),
            None => house,
        };
        let zone = house.site.zone.clone();
        let turned = keeper.engine().preview(house);
        lines.extend(turned.iter().map(|one| match &one.load {
            Some(load) => format!("{load} ({}) would go {} at once: {}", one.relay, one.to, one.why.sentence(&zone)),
            None => format!("{} would be opened at once: {}", one.relay, one.why.sentence(&zone)),
        }));
        if turned.is_empty() {
            lines.push("no contact would change at once".to_owned());
        }
        let contacts = turned.iter().map(|one| {
            serde_json::json!({ "relay": one.relay, "load": one.load, "to": one.to, "why": one.why.sentence(&zone) })
        });
        let data = serde_json::json!({
            "revision": revision,
            "running": keeper.revision(),
            "leaves_out_saved": leaves_out_saved,
            "warnings": warnings,
            "losses": losses,
            "contacts": contacts.collect::<Vec<_>>(),
        });
        Response::found(lines.join("\n"), data)
    }

    fn decide(&mut self, keeper: &mut Keeper, version: Version, by_person: bool) -> Response {
        let Version { files, revision, house, warnings, leaves_out_saved } = version;
        let house = match house {
            Ok(house) => house,
            Err(faults) => {
                let text = faulty(&faults.line);
                if !by_person && self.told.as_ref() != Some(&text) {
                    tracing::error!("{text}");
                }
                self.told = Some(text.clone());
                keeper.step(alarm(HOUSE_ALARM, Some(text)));
                // What waited is not there any more, so nobody could apply it.
                keeper.step(alarm(WAITS_ALARM, None));
                return Response::refused(format!("the house has errors; the one before goes on\n\n{}", faults.text));
            }
        };
        keeper.step(alarm(HOUSE_ALARM, None));
        let note = if leaves_out_saved { "; what is saved and not committed is not in it" } else { "" };
        if files == self.running && revision == keeper.revision() {
            self.told = None;
            keeper.step(alarm(WAITS_ALARM, None));
            return Response::done(format!("house {revision} runs already{note}"));
        }
        if !by_person && let Some(losses) = named_losses(keeper.engine(), &house) {
            let text = waits(&revision, &losses);
            if self.told.as_ref() != Some(&text) {
                tracing::warn!("{text}");
            }
            self.told = Some(text.clone());
            keeper.step(alarm(WAITS_ALARM, Some(text)));
            return Response::refused("it takes away what somebody may count on");
        }
        for warning in warnings {
            tracing::warn!("{warning}");
        }
        let house = match &self.adapt {
            Some(adapt) => adapt(house),
            None => house,
        };
        let zone = house.site.zone.clone();
        let mut told = keeper.engine().rows_of_let_go(&house);
        told.extend(keeper.engine().rows_of_withdrawals(&house));
        let told: String = told.iter().map(|row| format!("; {}", row.sentence(&zone))).collect();
        // Before the memory of it: a start that found that with the house of before would wait with what a person has applied.
        keeper.store().accept(AcceptedHouse { revision: revision.clone(), files: files.clone() });
        keeper.reload(house, revision.clone());
        (self.running, self.told) = (files, None);
        keeper.step(alarm(WAITS_ALARM, None));
        Response::done(format!("house {revision} runs now{note}{told}"))
    }
}

/// An alarm of the shell's own.
pub fn alarm(id: &str, text: Option<String>) -> Event {
    Event::Alarm { id: id.to_owned(), text }
}

/// That a house has errors, in words.
fn faulty(line: &str) -> String {
    format!("the house has errors, so the one before goes on: {line}")
}

/// That a house waits for a person, in words.
pub fn waits(revision: &str, why: &str) -> String {
    format!("house {revision} waits for `standfast apply`: {why}")
}

/// What another house takes away: withdrawals and what comes of them, loads, and safety trips that wait for somebody to look.
/// Only so many are named in a line, so what somebody's hands may rest upon comes first.
fn what_is_lost(running: &Engine, after: &House) -> Vec<String> {
    let mut lost = running.withdrawals_touched(after);
    lost.extend(running.trips_let_go(after));
    lost.extend(losses(running.house(), after).into_iter().map(|loss| loss.to_string()));
    lost
}

/// What a person has to confirm, in words.
pub fn named_losses(running: &Engine, after: &House) -> Option<String> {
    let losses = what_is_lost(running, after);
    if losses.is_empty() {
        return None;
    }
    let mut named: Vec<String> = losses.iter().take(LOSSES_NAMED).cloned().collect();
    if losses.len() > LOSSES_NAMED {
        named.push(format!("{} more", losses.len() - LOSSES_NAMED));
    }
    // What somebody is told of one may have commas of its own.
    Some(named.join("; "))
}
