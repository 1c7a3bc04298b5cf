//! The stalls of one replay: all of them, or, where there are too many to be held, the largest ones.

use std::cell::RefCell;

use crate::study::causes::{Shares, Span};
use crate::study::stalls::Stall;

use super::progress::Listener;

/// How many stalls are kept where not all can be: those that lose most.
const LARGEST: usize = 1_000;

/// Stalls, each in one place.
#[derive(Clone, Debug, Default)]
pub struct StallBook {
    stalls: Vec<Stall>,
    /// Whether these are all there were.
    complete: bool,
}

impl StallBook {
    /// All stalls of the replay in order; where there were too many, those that lost most.
    pub fn list(&self) -> &[Stall] {
        &self.stalls
    }

    /// Whether [`StallBook::list`] has all of them.
    pub fn is_complete(&self) -> bool {
        self.complete
    }

    /// The stall of this number, if it was kept.
    pub fn of(&self, number: u64) -> Option<&Stall> {
        let at = self.stalls.binary_search_by_key(&number, |s| s.stall);
        at.ok().map(|at| &self.stalls[at])
    }

    /// The `most` stalls that lose most, the largest first.
    pub fn worst(&self, most: usize) -> Vec<&Stall> {
        let mut all: Vec<&Stall> = self.stalls.iter().collect();
        all.sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s));
        all.truncate(most);
        all
    }

    /// The blocks of all stalls.
    pub(super) fn spans(&self) -> Vec<Span> {
        let span = |s: &Stall| Span {
            first: s.first_block,
            last: s.last_block,
        };
        self.stalls.iter().map(span).collect()
    }

    /// Gives the stalls, which are all there are, their shares.
    pub(super) fn share(&mut self, shares: &Shares) {
        for (stall, shares_s) in self.stalls.iter_mut().zip(&shares.spans_s) {
            stall.shares_s = Some(*shares_s);
        }
    }

    /// Tells each stall where it lies.
    pub(super) fn each(&mut self, tell: impl FnMut(&mut Stall)) {
        self.stalls.iter_mut().for_each(tell);
    }
}

/// Fills a book as stalls come.
pub(super) struct Collecting<'l> {
    book: StallBook,
    most: usize,
    beyond: &'l RefCell<&'l mut dyn Listener>,
}

impl<'l> Collecting<'l> {
    /// An empty book for at most `most` stalls; with more, `beyond` hears of each.
    pub fn new(most: usize, beyond: &'l RefCell<&'l mut dyn Listener>) -> Self {
        Collecting {
            book: StallBook {
                stalls: Vec::new(),
                complete: true,
            },
            most,
            beyond,
        }
    }

    /// Takes the next stall.
    pub fn take(&mut self, stall: &Stall) {
        let book = &mut self.book;
        if book.complete && book.stalls.len() >= self.most {
            book.complete = false;
            let mut beyond = self.beyond.borrow_mut();
            book.stalls.iter().for_each(|s| beyond.stall(s));
        }
        if !book.complete {
            self.beyond.borrow_mut().stall(stall);
            if book.stalls.len() >= 2 * LARGEST.max(self.most) {
                keep_largest(&mut book.stalls);
            }
        }
        book.stalls.push(*stall);
    }

    /// The book, in the stalls' order.
    pub fn finish(mut self) -> StallBook {
        if !self.book.complete {
            keep_largest(&mut self.book.stalls);
            self.book.stalls.sort_by_key(|s| s.stall);
        }
        self.book
    }
}

fn keep_largest(stalls: &mut Vec<Stall>) {
    stalls.sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s).then(a.stall.cmp(&b.stall)));
    stalls.truncate(LARGEST);
}
