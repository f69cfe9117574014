//! What a test may see of the engine: its words, its orders, its alarms and its journal. Looking changes nothing but the
//! journal, which is taken.

use standfast::engine::{Alarm, Effect, Explanation};
use standfast::house::{BoardId, LoadId, SensorId, State};

use super::Bench;

impl Bench {
    pub fn load(&self, name: &str) -> LoadId {
        self.engine.house().load_named(name).unwrap_or_else(|| panic!("no load {name}"))
    }

    pub fn sensor(&self, name: &str) -> SensorId {
        self.engine.house().sensor_named(name).unwrap_or_else(|| panic!("no sensor {name}"))
    }

    pub fn board(&self, name: &str) -> BoardId {
        self.engine.house().board_named(name).unwrap_or_else(|| panic!("no board {name}"))
    }

    pub fn explain(&self, load: &str) -> Explanation {
        self.engine.explain(self.load(load))
    }

    pub fn wanted(&self, load: &str) -> State {
        self.explain(load).wanted
    }

    /// Why a load is as it is, in words.
    pub fn why(&self, load: &str) -> String {
        let account = self.engine.account(self.load(load));
        let head = account.find(", ").unwrap_or(account.len());
        let Some(since) = account[..head].find(" since ") else { return account };
        let end = account[..head].find(" (assumed)").unwrap_or(head);
        format!("{}{}", &account[..since], &account[end..])
    }

    /// What decides a load, as its row in the journal would say it.
    pub fn cause(&self, load: &str) -> String {
        self.explain(load).cause.sentence(&self.engine.house().site.zone)
    }

    /// The relays of the last orders to a board, `on off - -`.
    pub fn ordered(&self, board: &str) -> String {
        let orders = self.orders.get(board).unwrap_or_else(|| panic!("no orders to {board} yet"));
        orders.relays.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
    }

    /// Whether the last call sent orders to a board.
    pub fn sent_orders(&self, board: &str) -> bool {
        let id = self.board(board);
        self.effects.iter().any(|effect| matches!(effect, Effect::SendOrders { board, .. } if *board == id))
    }

    pub fn alarms(&self) -> Vec<&str> {
        self.engine.alarms().keys().map(String::as_str).collect()
    }

    pub fn alarm(&self, id: &str) -> &Alarm {
        self.engine.alarms().get(id).unwrap_or_else(|| panic!("no alarm {id} among {:?}", self.alarms()))
    }

    /// The rows of the journal so far, each as its JSON without the time, and empties it.
    pub fn take_journal(&mut self) -> Vec<String> {
        let rows = std::mem::take(&mut self.journal);
        rows.iter().map(|row| serde_json::to_string(&row.entry).expect("rows have a JSON form")).collect()
    }
}
