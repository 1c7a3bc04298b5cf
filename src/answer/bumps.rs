//! The bumps of one replay: all of them, or, where there are too many to be held, the highest; and which can be
//! seen, ranked once for everybody.

use std::cell::RefCell;
use std::collections::BTreeMap;

use crate::surface::bump::Bump;
use crate::surface::skin::{Exposure, Surface};

use super::progress::Listener;

/// How many bumps are listed where not all can be: the highest.
const HIGHEST: usize = 20_000;
/// How many bumps are counted where not all can be listed, at 24 bytes each.
const COUNTED_MAX: usize = 4_000_000;

/// What a layer's visible bumps come to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LayerBumps {
    /// How many there are.
    pub count: u64,
    /// Their heights, added up, mm.
    pub height_mm: f64,
}

/// Bumps, each in one place.
#[derive(Clone, Debug, Default)]
pub struct BumpBook {
    list: Vec<Bump>,
    complete: bool,
    /// Bumps on surfaces that can be seen, by their place in the list, the highest first.
    ranked: Vec<usize>,
    visible: u64,
    uncounted: u64,
    highest: Option<(f64, u32)>,
    by_layer: BTreeMap<u32, LayerBumps>,
}

impl BumpBook {
    /// All bumps in the order of the path; where there were too many, the highest.
    pub fn list(&self) -> &[Bump] {
        &self.list
    }

    /// Whether [`BumpBook::list`] has all of them.
    pub fn is_complete(&self) -> bool {
        self.complete
    }

    /// Bumps on surfaces that can be seen, the highest first.
    pub fn ranked(&self) -> impl Iterator<Item = &Bump> {
        self.ranked.iter().map(|at| &self.list[*at])
    }

    /// How many bumps are visible: on a surface that can be seen, and high enough.
    pub fn visible(&self) -> u64 {
        self.visible
    }

    /// Height of the highest bump on a surface that can be seen, mm, and its layer.
    pub fn highest(&self) -> Option<(f64, u32)> {
        self.highest
    }

    /// How many bumps were too many to be counted, whether visible or not.
    pub fn uncounted(&self) -> u64 {
        self.uncounted
    }

    /// Visible bumps by layer; layers without any are left out.
    pub fn by_layer(&self) -> &BTreeMap<u32, LayerBumps> {
        &self.by_layer
    }

    /// The layer with most visible bumps; among equals the one with the highest sum of heights.
    pub fn worst_layer(&self) -> Option<u32> {
        let most = self.by_layer.iter().max_by(|a, b| {
            let by_height = a.1.height_mm.total_cmp(&b.1.height_mm);
            a.1.count.cmp(&b.1.count).then(by_height).then(b.0.cmp(a.0))
        });
        most.map(|(layer, _)| *layer)
    }
}

/// Whether what lies there can be seen.
fn is_seen(surface: Option<Surface>) -> bool {
    matches!(surface, Some(Surface::Outer | Surface::Hole))
}

/// What is kept of a bump that is only counted.
#[derive(Clone, Copy, Debug)]
struct Counted {
    block: u64,
    layer: u32,
    travels: bool,
    height_mm: f64,
}

/// Fills a book as bumps come.
pub(super) struct Collecting<'l> {
    list: Vec<Bump>,
    counted: Vec<Counted>,
    uncounted: u64,
    most: usize,
    complete: bool,
    beyond: &'l RefCell<&'l mut dyn Listener>,
}

impl<'l> Collecting<'l> {
    /// An empty book for at most `most` bumps; with more, `beyond` hears of each.
    pub fn new(most: usize, beyond: &'l RefCell<&'l mut dyn Listener>) -> Self {
        Collecting {
            list: Vec::new(),
            counted: Vec::new(),
            uncounted: 0,
            most,
            complete: true,
            beyond,
        }
    }

    /// Takes the next bump.
    pub fn take(&mut self, bump: &Bump) {
        if self.complete && self.list.len() >= self.most {
            self.complete = false;
            for bump in std::mem::take(&mut self.list) {
                self.spill(bump);
            }
        }
        if self.complete {
            self.list.push(*bump);
        } else {
            self.spill(*bump);
        }
    }

    fn spill(&mut self, bump: Bump) {
        self.beyond.borrow_mut().bump(&bump);
        if self.counted.len() < COUNTED_MAX {
            self.counted.push(Counted {
                block: bump.block,
                layer: bump.layer,
                travels: bump.travels,
                height_mm: bump.height_mm,
            });
        } else {
            self.uncounted += 1;
        }
        self.list.push(bump);
        if self.list.len() >= 2 * HIGHEST {
            keep_highest(&mut self.list);
        }
    }

    /// The book. With `exposure`, what each bump lies on is known, and what is visible from this height on, mm.
    pub fn finish(mut self, exposure: Option<&Exposure>, visible_mm: f64) -> BumpBook {
        if !self.complete {
            keep_highest(&mut self.list);
            self.list.sort_by_key(|b| b.bump);
        }
        let mut book = BumpBook {
            list: self.list,
            complete: self.complete,
            uncounted: self.uncounted,
            ..BumpBook::default()
        };
        let Some(exposure) = exposure else {
            return book;
        };
        for bump in &mut book.list {
            if !bump.travels {
                bump.surface = exposure.of(bump.block);
            }
        }
        let mut count = |surface, layer, height_mm| {
            if !is_seen(surface) {
                return;
            }
            if book.highest.is_none_or(|(most_mm, _)| height_mm > most_mm) {
                book.highest = Some((height_mm, layer));
            }
            if height_mm >= visible_mm {
                book.visible += 1;
                let sums = book.by_layer.entry(layer).or_default();
                sums.count += 1;
                sums.height_mm += height_mm;
            }
        };
        if self.complete {
            for bump in &book.list {
                count(bump.surface, bump.layer, bump.height_mm);
            }
        } else {
            for bump in &self.counted {
                let surface = exposure.of(bump.block).filter(|_| !bump.travels);
                count(surface, bump.layer, bump.height_mm);
            }
        }
        let heights = |at: &usize| book.list[*at].height_mm;
        let mut ranked: Vec<usize> = (0..book.list.len())
            .filter(|at| is_seen(book.list[*at].surface))
            .collect();
        ranked.sort_by(|a, b| heights(b).total_cmp(&heights(a)).then(a.cmp(b)));
        book.ranked = ranked;
        book
    }
}

fn keep_highest(bumps: &mut Vec<Bump>) {
    bumps.sort_by(|a, b| {
        b.height_mm
            .total_cmp(&a.height_mm)
            .then(a.bump.cmp(&b.bump))
    });
    bumps.truncate(HIGHEST);
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    struct Told<'a>(&'a Cell<u64>);

    impl Listener for Told<'_> {
        fn bump(&mut self, _: &Bump) {
            self.0.set(self.0.get() + 1);
        }
    }

    /// So many bumps where ten can be held: the book, and how many were told one by one.
    fn book(bumps: u64) -> (BumpBook, u64) {
        let count = Cell::new(0);
        let mut told = Told(&count);
        let listener: RefCell<&mut dyn Listener> = RefCell::new(&mut told);
        let mut collecting = Collecting::new(10, &listener);
        for bump in 0..bumps {
            collecting.take(&Bump {
                bump,
                stall: bump,
                line: 1,
                layer: 0,
                block: bump,
                place_mm: [0.0; 3],
                t_s: 0.0,
                height_mm: (bump * 7919 % 100_003) as f64,
                surplus_mm3: 0.0,
                stretch_mm: 0.0,
                middle_mm: 0.0,
                travels: false,
                surface: None,
            });
        }
        let book = collecting.finish(None, 0.1);
        (book, count.get())
    }

    #[test]
    fn the_highest_bumps_are_listed_and_four_million_counted() {
        let (few, told) = book(10);
        assert!(few.is_complete() && few.list().len() == 10 && told == 0);
        // Heights are 0 to 100 002, each once.
        let (many, told) = book(100_003);
        assert!(!many.is_complete() && told == 100_003);
        assert_eq!((many.list().len(), many.uncounted()), (20_000, 0));
        assert!(many.list().iter().all(|b| b.height_mm > 80_002.0));
        assert!(many.list().windows(2).all(|b| b[0].bump < b[1].bump));
        let (most, told) = book(4_000_007);
        assert_eq!((most.uncounted(), told), (7, 4_000_007));
    }
}
