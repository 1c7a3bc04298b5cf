//! How long the server lives: as long as a page is open or work is under way, and a while longer.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::timeout;

/// How long it waits for the first page.
const FIRST_S: u64 = 600;

/// What is under way.
#[derive(Clone, Copy, Debug, Default)]
struct Count {
    busy: usize,
    /// Whether a page was ever open.
    came: bool,
}

/// Counts what is under way.
#[derive(Clone)]
pub struct Life(Arc<watch::Sender<Count>>);

/// Something under way: as long as this is held, the server lives.
pub struct Busy(Life);

impl Life {
    /// A life in which nothing is under way yet.
    pub fn new() -> Self {
        Life(Arc::new(watch::Sender::new(Count::default())))
    }

    /// A piece of work.
    pub fn busy(&self) -> Busy {
        self.0.send_modify(|count| count.busy += 1);
        Busy(self.clone())
    }

    /// A page that is open.
    pub fn page(&self) -> Busy {
        self.0.send_modify(|count| count.came = true);
        self.busy()
    }

    /// Waits until nothing has been under way for so long: `idle_s` after a page, longer before the first.
    pub async fn ends(&self, idle_s: u64) {
        let mut count = self.0.subscribe();
        loop {
            let now = *count.borrow_and_update();
            let wait_s = if now.came {
                idle_s
            } else {
                FIRST_S.max(idle_s)
            };
            let changed = count.changed();
            if now.busy > 0 {
                let _ = changed.await;
            } else if timeout(Duration::from_secs(wait_s), changed).await.is_err() {
                return;
            }
        }
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.0.0.send_modify(|count| count.busy -= 1);
    }
}
