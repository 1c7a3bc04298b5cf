//! The cells of one tile as bits, and the pieces into which they fall.

/// Cells along a tile's side.
pub(super) const SIDE: usize = 16;
/// Rows in a word.
const ROWS: usize = 4;
/// The first cell of each row in a word.
const FIRST: u64 = 0x0001_0001_0001_0001;
/// By row: all rows before it.
const BEFORE: [[u64; ROWS]; SIDE + 1] = before();

const fn before() -> [[u64; ROWS]; SIDE + 1] {
    let mut all = [[0; ROWS]; SIDE + 1];
    let mut end = 1;
    while end <= SIDE {
        all[end] = all[end - 1];
        all[end][(end - 1) / ROWS] |= 0xFFFF << (SIDE * ((end - 1) % ROWS));
        end += 1;
    }
    all
}

/// Some cells of a tile.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Cells([u64; ROWS]);

/// The cells of a row from one up to another.
#[inline]
pub(super) fn span(from: usize, to: usize) -> u16 {
    ((1u32 << to) - (1u32 << from)) as u16
}

impl Cells {
    /// All of a tile.
    pub const ALL: Cells = Cells([u64::MAX; ROWS]);

    /// These columns, as bits, of all rows.
    #[inline]
    pub fn columns(columns: u16) -> Self {
        Cells([u64::from(columns) * FIRST; ROWS])
    }

    /// These columns, as bits, of the rows from one up to another.
    #[inline]
    pub fn block(columns: u16, [first, end]: [usize; 2]) -> Self {
        let all = u64::from(columns) * FIRST;
        let (first, end) = (&BEFORE[first], &BEFORE[end]);
        Cells([0, 1, 2, 3].map(|k| all & end[k] & !first[k]))
    }

    /// Adds cells of one row.
    #[inline]
    pub fn add_row(&mut self, row: usize, cells: u16) {
        self.0[row / ROWS] |= u64::from(cells) << (SIDE * (row % ROWS));
    }

    /// Adds others.
    #[inline]
    pub fn add(&mut self, other: &Cells) {
        (0..ROWS).for_each(|k| self.0[k] |= other.0[k]);
    }

    /// Those that are not among these.
    #[inline]
    pub fn others(&self) -> Self {
        Cells(self.0.map(|four| !four))
    }

    /// Those that others have too.
    #[inline]
    pub fn both(&self, other: &Cells) -> Self {
        Cells([0, 1, 2, 3].map(|k| self.0[k] & other.0[k]))
    }

    /// Whether there are none.
    #[inline]
    pub fn is_empty(&self) -> bool {
        *self == Cells::default()
    }

    /// Whether others have some of them.
    #[inline]
    pub fn meet(&self, other: &Cells) -> bool {
        !self.both(other).is_empty()
    }

    /// A row's cells as bits.
    #[inline]
    pub fn row(&self, row: usize) -> u16 {
        (self.0[row / ROWS] >> (SIDE * (row % ROWS))) as u16
    }

    /// Whether it has this cell.
    #[inline]
    pub fn has(&self, column: usize, row: usize) -> bool {
        self.row(row) >> column & 1 != 0
    }

    /// The middle of the one whose middle is nearest to a point, counted from the tile's corner, and the square of how far
    /// away it is. There must be some.
    pub fn nearest(&self, [x, y]: [f64; 2]) -> ([f64; 2], f64) {
        let mut nearest = ([0.0; 2], f64::MAX);
        let before = (1u32 << (x.clamp(0.0, SIDE as f64) as u32)) - 1;
        for row in (0..SIDE).filter(|row| self.row(*row) != 0) {
            let cells = u32::from(self.row(row));
            let (lower, upper) = (cells & before, cells & !before);
            let highest = (lower != 0).then(|| lower.ilog2());
            let lowest = (upper != 0).then(|| upper.trailing_zeros());
            for column in [highest, lowest].into_iter().flatten() {
                let middle = [f64::from(column) + 0.5, row as f64 + 0.5];
                let (dx, dy) = (middle[0] - x, middle[1] - y);
                if dx * dx + dy * dy < nearest.1 {
                    nearest = (middle, dx * dx + dy * dy);
                }
            }
        }
        nearest
    }

    /// How many they are.
    fn count(&self) -> u16 {
        self.0.iter().map(|four| four.count_ones() as u16).sum()
    }

    /// The places whose middle they cover, as bits.
    fn places(&self) -> u16 {
        let mut places = 0;
        for row in 0..SIDE / PLACE_CELLS {
            let middle = self.row(PLACE_CELLS * row + 1) | self.row(PLACE_CELLS * row + 2);
            let met = (middle >> 1 | middle >> 2) & 0x1111;
            places |= (met & 1 | met >> 3 & 2 | met >> 6 & 4 | met >> 9 & 8) << (4 * row);
        }
        places
    }

    /// A number that differs for most that differ.
    #[inline]
    pub fn hash(&self) -> u64 {
        let mix = |all: u64, four: &u64| {
            (all ^ four)
                .wrapping_mul(0x9E37_79B9_7F4A_7C15)
                .rotate_left(29)
        };
        self.0.iter().fold(0, mix)
    }

    /// As bits: the rows that differ from the one above.
    #[inline]
    fn changes(&self) -> u16 {
        let mut above = self.0[0] & 0xFFFF;
        let mut rows = 0;
        for (k, four) in self.0.iter().enumerate() {
            let differ = four ^ (four << SIDE | above);
            above = four >> (3 * SIDE);
            // The uppermost bit of each row: whether any is set.
            let rest = !(FIRST << (SIDE - 1));
            let any = (((differ & rest) + rest) | differ) & !rest;
            rows |= ((any >> (SIDE - 1)).wrapping_mul(0x0001_0002_0004_0008) >> 48) << (ROWS * k);
        }
        rows as u16
    }
}

/// The plastic of those tiles that have some.
#[derive(Default)]
pub(super) struct Plastic {
    pub tiles: Vec<Cells>,
    /// Whether what was drawn last lies on what was there before.
    pub meets: bool,
}

impl Plastic {
    /// Adds to a tile.
    #[inline]
    pub fn add(&mut self, tile: usize, cells: &Cells) {
        self.meets |= self.tiles[tile].meet(cells);
        self.tiles[tile].add(cells);
    }
}

/// Cells of one tile that hang together within it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub cells: Cells,
    /// By row, as bits: whether it has the first cell, and whether it has the last.
    pub left: u16,
    pub right: u16,
    /// How many cells it has.
    pub count: u16,
    /// The places that it takes, as bits: those whose middle it covers.
    pub places: u16,
}

/// A place is this many cells wide; a tile has 4 by 4 of them.
const PLACE_CELLS: usize = 4;
/// Places of a tile.
pub(super) const PLACES: usize = (SIDE / PLACE_CELLS) * (SIDE / PLACE_CELLS);

/// Where a piece lies along the edges of its tile, as bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Edges {
    left: u16,
    right: u16,
    top: u16,
    bottom: u16,
}

impl Edges {
    /// Those of a whole tile.
    pub const ALL: Edges = Edges {
        left: u16::MAX,
        right: u16::MAX,
        top: u16::MAX,
        bottom: u16::MAX,
    };

    /// Whether it meets a piece of the tile on the right.
    #[inline]
    pub fn meets_right(&self, right: &Edges) -> bool {
        self.right & right.left != 0
    }

    /// Whether it meets a piece of the tile below.
    #[inline]
    pub fn meets_below(&self, below: &Edges) -> bool {
        self.bottom & below.top != 0
    }
}

impl Piece {
    const NOTHING: Piece = Piece {
        cells: Cells([0; ROWS]),
        left: 0,
        right: 0,
        count: 0,
        places: 0,
    };
    /// A whole tile.
    pub const ALL: Piece = Piece {
        cells: Cells::ALL,
        left: u16::MAX,
        right: u16::MAX,
        count: (SIDE * SIDE) as u16,
        places: u16::MAX,
    };

    /// Its edges.
    pub fn edges(&self) -> Edges {
        let [top, bottom] = [0, SIDE - 1].map(|row| self.cells.row(row));
        Edges {
            left: self.left,
            right: self.right,
            top,
            bottom,
        }
    }

    /// Adds a run of cells, on the rows from one up to another.
    #[inline]
    fn add(&mut self, run: u16, rows: [usize; 2]) {
        if rows[1] == rows[0] + 1 {
            self.cells.add_row(rows[0], run);
        } else {
            self.cells.add(&Cells::block(run, rows));
        }
        let rows = span(rows[0], rows[1]);
        self.left |= if run & 1 != 0 { rows } else { 0 };
        self.right |= if run >> (SIDE - 1) != 0 { rows } else { 0 };
    }
}

/// A row's runs, and the place of the piece to which each belongs.
type Runs = [(u16, u8); SIDE / 2];

/// Adds the pieces of a tile's cells, in the order of their first cells. What is done goes by the rows that differ from
/// the one above, and by their runs.
pub(super) fn split(cells: &Cells, pieces: &mut Vec<Piece>) {
    let begin = pieces.len();
    let mut changes = cells.changes();
    let (mut above, mut own): (Runs, Runs) = Default::default();
    let mut count = 0;
    let mut row = 0;
    while row < SIDE {
        let end = (changes.trailing_zeros() as usize).min(SIDE);
        changes &= changes.wrapping_sub(1);
        let mut left = cells.row(row);
        let mut own_count = 0;
        while left != 0 {
            // A carry runs to the end of the run.
            let run = left & !left.wrapping_add(left & left.wrapping_neg());
            left &= !run;
            let mut place = None;
            for k in 0..count {
                let (over, other) = above[k];
                match place {
                    _ if over & run == 0 => {}
                    None => place = Some(other),
                    Some(one) if one == other => {}
                    Some(one) => {
                        let (one, other) = (one.min(other), one.max(other));
                        merge(&mut pieces[begin..], one, other);
                        let runs = above[..count].iter_mut().chain(&mut own[..own_count]);
                        runs.filter(|r| r.1 == other).for_each(|r| r.1 = one);
                        place = Some(one);
                    }
                }
            }
            let place = place.unwrap_or_else(|| {
                pieces.push(Piece::NOTHING);
                (pieces.len() - 1 - begin) as u8
            });
            pieces[begin + usize::from(place)].add(run, [row, end]);
            own[own_count] = (run, place);
            own_count += 1;
        }
        (above, count) = (own, own_count);
        row = end;
    }
    // Those that were merged with others are left without cells.
    let mut to = begin;
    for k in begin..pieces.len() {
        if !pieces[k].cells.is_empty() {
            pieces[to] = pieces[k];
            pieces[to].count = pieces[k].cells.count();
            pieces[to].places = pieces[k].cells.places();
            to += 1;
        }
    }
    pieces.truncate(to);
}

/// Makes one piece of two; nothing is left of the second.
fn merge(pieces: &mut [Piece], one: u8, other: u8) {
    let gone = std::mem::replace(&mut pieces[usize::from(other)], Piece::NOTHING);
    let one = &mut pieces[usize::from(one)];
    one.cells.add(&gone.cells);
    one.left |= gone.left;
    one.right |= gone.right;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first cell, row by row.
    fn first(cells: &Cells) -> [usize; 2] {
        let mut all = (0..SIDE * SIDE).map(|k| [k % SIDE, k / SIDE]);
        all.find(|[x, y]| cells.has(*x, *y)).unwrap()
    }

    /// The cells that hang together with the first one, cell by cell.
    fn plainly(cells: &Cells) -> Cells {
        let [column, row] = first(cells);
        let (mut piece, mut next) = (Cells::default(), vec![(column, row)]);
        while let Some((x, y)) = next.pop() {
            if x < SIDE && y < SIDE && cells.has(x, y) && !piece.has(x, y) {
                piece.add_row(y, 1 << x);
                next.extend([
                    (x + 1, y),
                    (x.wrapping_sub(1), y),
                    (x, y + 1),
                    (x, y.wrapping_sub(1)),
                ]);
            }
        }
        piece
    }

    #[test]
    fn pieces_are_those_found_cell_by_cell() {
        let mut state = 1u64;
        let mut random = |most: u64| {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 33) % most
        };
        let mut most = 0;
        for round in 0..4000 {
            // Rows that mostly repeat or shift, now and then with a hole; and rows of any cells.
            let mut cells = Cells::default();
            let mut bits = random(1 << 16) as u16;
            for row in 0..SIDE {
                bits = match random(if round % 2 == 0 { 4 } else { 12 }) {
                    0 => random(1 << 16) as u16,
                    1 => bits.rotate_left(1),
                    2 => bits & !(1 << random(16)),
                    3 => u16::MAX >> random(17).min(15),
                    _ => bits,
                };
                cells.add_row(row, bits);
            }
            let mut pieces = Vec::new();
            split(&cells, &mut pieces);
            let mut left = cells;
            for piece in &pieces {
                let plain = plainly(&left);
                assert_eq!(piece.cells, plain);
                left = left.both(&plain.others());
                let mut count = 0;
                for row in 0..SIDE {
                    assert_eq!(piece.left >> row & 1 != 0, plain.has(0, row));
                    assert_eq!(piece.right >> row & 1 != 0, plain.has(SIDE - 1, row));
                    count += plain.row(row).count_ones();
                }
                assert_eq!(u32::from(piece.count), count);
            }
            assert!(left.is_empty());
            most = most.max(pieces.len());
        }
        assert!(most > 20, "{most}");
        for (cells, whole) in [(Cells::ALL, &[Piece::ALL][..]), (Cells::default(), &[])] {
            let mut pieces = vec![Piece::NOTHING];
            split(&cells, &mut pieces);
            assert_eq!(pieces[1..], *whole);
        }
    }
}
