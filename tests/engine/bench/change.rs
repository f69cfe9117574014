//! Another house on the bench, and what the disk does meanwhile.

use standfast::engine::{Effect, Event};
use standfast::wire::Router;

use super::{Bench, house, prefix};

impl Bench {
    /// Another house takes the place of the running one. The disk takes at once the numbers of boards that are new.
    pub fn reload(&mut self, text: &str) {
        self.reload_with(text, true);
    }

    /// The same; where it `stores` nothing, the disk keeps new boards waiting.
    pub fn reload_with(&mut self, text: &str, stores: bool) {
        let mut out = Vec::new();
        self.engine.reload(house(text), &mut out);
        self.router = Router::new(self.engine.house(), prefix());
        for effect in out.clone().into_iter().filter(|_| stores) {
            if let Effect::ReserveOrders { board, through } = effect {
                let board = self.board(&board);
                self.engine.step(self.now, Event::Reserved { board, through }, &mut out);
            }
        }
        self.carry_out(out);
    }
}
