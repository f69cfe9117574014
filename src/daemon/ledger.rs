//! Who waits for an answer, and what is safe on disk. A hold acts at once; that it is saved is said when it is, or that it is
//! not after a while. It never decides what an answer says of the house.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot};
use tokio::time::timeout;

use super::protocol::{Response, ResponseOutcome};
use super::words::Replies;

/// A save that takes longer is told as not saved.
const PATIENCE: Duration = Duration::from_secs(2);

/// What is said behind an answer where the disk does not take it.
const NOT_SAVED: &str = " (in force, not saved: a restart would forget it)";

/// Who asked.
#[derive(Debug)]
pub enum Asker {
    /// A person at the command socket.
    Person {
        /// Where the answer goes.
        answer: oneshot::Sender<Response>,
        /// What to say when it is done, or was not needed.
        replies: Replies,
    },
    /// A message; only a refusal is told, in the log.
    Message {
        /// The topic that it came on.
        topic: String,
    },
}

/// What happened to a save.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SaveNews {
    /// This one and all before it are on disk.
    Stored(u64),
    /// This one takes long.
    Late(u64),
    /// Order numbers of the board of this name are reserved, up to this one.
    Reserved(String, u32),
}

/// The book of open answers.
pub struct Ledger {
    next_token: u64,
    askers: BTreeMap<u64, Asker>,
    /// The number of the last save.
    begun: u64,
    /// The number of the last save that is on disk.
    stored: u64,
    /// The number of the last save that was told to take long.
    late: u64,
    /// Answers that wait for a save.
    waiting: Vec<(u64, oneshot::Sender<Response>, Response)>,
    /// Loads whose hold was last shown as not stored, and the save that changes that.
    unsaved_loads: BTreeMap<String, u64>,
    news: mpsc::UnboundedSender<SaveNews>,
}

impl Ledger {
    /// An empty one; the receiver yields what becomes of saves. It holds one piece of news for each save under way.
    pub fn new() -> (Ledger, mpsc::UnboundedReceiver<SaveNews>) {
        let (news, receiver) = mpsc::unbounded_channel();
        let ledger = Ledger {
            next_token: 1,
            askers: BTreeMap::new(),
            begun: 0,
            stored: 0,
            late: 0,
            waiting: Vec::new(),
            unsaved_loads: BTreeMap::new(),
            news,
        };
        (ledger, receiver)
    }

    /// Notes who asks; the token comes back with the answer.
    pub fn open(&mut self, asker: Asker) -> u64 {
        let token = self.next_token;
        self.next_token += 1;
        self.askers.insert(token, asker);
        token
    }

    /// What to say to whoever asked when it is done, or was not needed.
    pub fn replies(&self, token: u64) -> Replies {
        match self.askers.get(&token) {
            Some(Asker::Person { replies, .. }) => replies.clone(),
            _ => Replies::default(),
        }
    }

    /// Forgets a token that leads to no answer.
    pub fn forget(&mut self, token: u64) {
        self.askers.remove(&token);
    }

    /// Answers once all that it says is on disk: after the save that is coming, or after those under way where there is
    /// nothing new to save, for then it rests on what came before. Yields the topic and the reason where a message was refused.
    pub fn answer(&mut self, token: u64, mut response: Response, save_follows: bool) -> Option<(String, String)> {
        match self.askers.remove(&token)? {
            Asker::Message { topic } => {
                (response.outcome == ResponseOutcome::Refused).then_some((topic, response.text))
            }
            Asker::Person { answer, .. } if save_follows => {
                self.waiting.push((self.begun + 1, answer, response));
                None
            }
            Asker::Person { answer, .. } => {
                if response.outcome == ResponseOutcome::Done && self.stored < self.begun {
                    if self.late < self.begun {
                        self.waiting.push((self.begun, answer, response));
                        return None;
                    }
                    response.text.push_str(NOT_SAVED);
                }
                // Whoever asked may have left.
                let _ = answer.send(response);
                None
            }
        }
    }

    /// Notes that a save has begun and watches it.
    pub fn saving(&mut self, stored: oneshot::Receiver<()>) {
        self.begun += 1;
        let (number, news) = (self.begun, self.news.clone());
        tokio::spawn(async move {
            let mut stored = stored;
            let mut end = timeout(PATIENCE, &mut stored).await;
            if end.is_err() {
                let _ = news.send(SaveNews::Late(number));
                end = Ok(stored.await);
            }
            // A save that was given up is followed by another.
            if matches!(end, Ok(Ok(()))) {
                let _ = news.send(SaveNews::Stored(number));
            } else {
                let _ = news.send(SaveNews::Late(number));
            }
        });
    }

    /// Watches a reservation of order numbers.
    pub fn reserving(&mut self, board: String, through: u32, stored: oneshot::Receiver<()>) {
        let news = self.news.clone();
        tokio::spawn(async move {
            if stored.await.is_ok() {
                let _ = news.send(SaveNews::Reserved(board, through));
            }
        });
    }

    /// Whether all that was begun is on disk; where `save_follows`, one more is about to begin.
    pub fn is_stored(&self, save_follows: bool) -> bool {
        !save_follows && self.stored >= self.begun
    }

    /// Notes that a load's hold was shown as not stored yet.
    pub fn shown_unsaved(&mut self, load: &str, save_follows: bool) {
        self.unsaved_loads.insert(load.to_owned(), self.begun + u64::from(save_follows));
    }

    /// Takes in what became of a save, answers whom it concerns, and yields the loads to show again.
    pub fn hear(&mut self, news: SaveNews) -> Vec<String> {
        let (number, is_stored) = match news {
            SaveNews::Stored(number) => (number, true),
            SaveNews::Late(number) => (number, false),
            // No answer waits for it.
            SaveNews::Reserved(..) => return Vec::new(),
        };
        let (due, waiting) = std::mem::take(&mut self.waiting).into_iter().partition(|(save, ..)| *save <= number);
        self.waiting = waiting;
        for (_, answer, mut response) in Vec::from_iter::<Vec<(u64, oneshot::Sender<Response>, Response)>>(due) {
            if !is_stored {
                response.text.push_str(NOT_SAVED);
            }
            let _ = answer.send(response);
        }
        if !is_stored {
            self.late = self.late.max(number);
            return Vec::new();
        }
        self.stored = self.stored.max(number);
        let stored = self.stored;
        let due: Vec<String> =
            self.unsaved_loads.iter().filter(|(_, save)| **save <= stored).map(|(load, _)| load.clone()).collect();
        self.unsaved_loads.retain(|_, save| *save > stored);
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(answer: oneshot::Sender<Response>) -> Asker {
        Asker::Person { answer, replies: Replies::default() }
    }

    #[tokio::test]
    async fn an_answer_waits_for_the_save_and_one_without_does_not() {
        let (mut ledger, mut news) = Ledger::new();
        let (answer, mut answered) = oneshot::channel();
        let token = ledger.open(person(answer));
        assert_eq!(ledger.answer(token, Response::done("held"), true), None);
        assert!(!ledger.is_stored(true));
        ledger.shown_unsaved("fan", true);
        let (disk, stored) = oneshot::channel();
        ledger.saving(stored);
        assert!(!ledger.is_stored(false));
        assert!(answered.try_recv().is_err());
        disk.send(()).expect("watched");
        let loads = ledger.hear(news.recv().await.expect("news"));
        assert_eq!(loads, ["fan"]);
        assert_eq!(answered.await.expect("answered"), Response::done("held"));
        assert!(ledger.is_stored(false));
        let (answer, answered) = oneshot::channel();
        let token = ledger.open(person(answer));
        ledger.answer(token, Response::refused("no"), false);
        assert_eq!(answered.await.expect("answered"), Response::refused("no"));
    }

    #[tokio::test]
    async fn a_save_that_takes_long_is_told_and_shown_as_stored_later() {
        let (mut ledger, mut news) = Ledger::new();
        let (answer, answered) = oneshot::channel();
        let token = ledger.open(person(answer));
        ledger.answer(token, Response::done("held"), true);
        ledger.shown_unsaved("fan", true);
        let (disk, stored) = oneshot::channel();
        ledger.saving(stored);
        let late = news.recv().await.expect("news");
        assert_eq!(late, SaveNews::Late(1));
        assert!(ledger.hear(late).is_empty());
        let text = answered.await.expect("answered").text;
        assert!(text.starts_with("held (in force, not saved"), "{text}");
        disk.send(()).expect("watched");
        assert_eq!(ledger.hear(news.recv().await.expect("news")), ["fan"]);
    }

    /// Somebody else has just said the same: that it was so before is no answer until it is on disk.
    #[tokio::test]
    async fn an_answer_that_changes_nothing_waits_for_what_it_rests_on() {
        let (mut ledger, mut news) = Ledger::new();
        let (disk, stored) = oneshot::channel();
        ledger.saving(stored);
        let (answer, mut answered) = oneshot::channel();
        let token = ledger.open(person(answer));
        ledger.answer(token, Response::done("away already"), false);
        assert!(answered.try_recv().is_err());
        ledger.hear(SaveNews::Late(1));
        assert!(answered.await.expect("answered").text.starts_with("away already (in force, not saved"));
        // While the disk fails nobody waits for it.
        let (answer, answered) = oneshot::channel();
        let token = ledger.open(person(answer));
        ledger.answer(token, Response::done("away already"), false);
        assert!(answered.await.expect("answered").text.starts_with("away already (in force, not saved"));
        disk.send(()).expect("watched");
        ledger.hear(news.recv().await.expect("news"));
        let (answer, answered) = oneshot::channel();
        let token = ledger.open(person(answer));
        ledger.answer(token, Response::done("away already"), false);
        assert_eq!(answered.await.expect("answered"), Response::done("away already"));
    }

    #[tokio::test]
    async fn a_later_save_covers_an_earlier_one() {
        let (mut ledger, mut news) = Ledger::new();
        let (_first, stored) = oneshot::channel();
        ledger.saving(stored);
        ledger.shown_unsaved("fan", false);
        let (disk, stored) = oneshot::channel();
        ledger.saving(stored);
        disk.send(()).expect("watched");
        assert_eq!(news.recv().await, Some(SaveNews::Stored(2)));
        assert_eq!(ledger.hear(SaveNews::Stored(2)), ["fan"]);
    }

    #[test]
    fn a_message_is_told_of_only_when_refused() {
        let (mut ledger, _news) = Ledger::new();
        let mut answer = |response| {
            let token = ledger.open(Asker::Message { topic: "t".to_owned() });
            ledger.answer(token, response, true)
        };
        assert_eq!(answer(Response::refused("why")), Some(("t".to_owned(), "why".to_owned())));
        assert_eq!(answer(Response::done("held")), None);
    }
}
