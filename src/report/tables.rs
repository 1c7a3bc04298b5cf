//! The tables: `blocks.csv`, `stalls.csv` and `bumps.csv` (RFC 4180), row by row.
//!
//! Numbers are written with the fewest digits that read back to the same number.

use std::io::Write;

use serde::Serialize;

use crate::answer::progress::Listener;
use crate::answer::replay::ReplayAnswer;
use crate::replay::stream::Done;
use crate::study::stalls::Stall;
use crate::surface::bump::Bump;
use crate::surface::skin::Surface;

use super::finite::assert_finite;
use crate::text::cell;

#[derive(Serialize)]
struct BlockRow {
    block: u64,
    line: u64,
    layer: u32,
    x0_mm: f64,
    y0_mm: f64,
    z0_mm: f64,
    x1_mm: f64,
    y1_mm: f64,
    z1_mm: f64,
    e_mm: f64,
    length_mm: f64,
    nominal_mm_s: f64,
    entry_mm_s: f64,
    peak_mm_s: f64,
    exit_mm_s: f64,
    start_s: f64,
    end_s: f64,
    gap_s: f64,
    ideal_s: f64,
    lost_s: f64,
    queued: u32,
}

/// Writes one row of `blocks.csv`; the header comes with the first.
pub fn block<W: Write>(table: &mut csv::Writer<W>, done: &Done) -> csv::Result<()> {
    let [x0_mm, y0_mm, z0_mm] = done.place.from_mm;
    let [x1_mm, y1_mm, z1_mm] = done.place.to_mm;
    let ran = &done.ran;
    let row = BlockRow {
        block: ran.block,
        line: done.line,
        layer: done.layer,
        x0_mm,
        y0_mm,
        z0_mm,
        x1_mm,
        y1_mm,
        z1_mm,
        e_mm: done.place.e_mm,
        length_mm: done.length_mm,
        nominal_mm_s: ran.nominal_mm_s,
        entry_mm_s: ran.profile.entry_mm_s,
        peak_mm_s: ran.profile.peak_mm_s,
        exit_mm_s: ran.profile.exit_mm_s,
        start_s: ran.start_s,
        end_s: ran.end_s,
        gap_s: ran.gap_s,
        ideal_s: done.ideal_s(),
        lost_s: done.lost_s(),
        queued: ran.queued,
    };
    assert_finite(&row);
    table.serialize(row)
}

/// Header of `blocks.csv`, for a job without blocks.
pub const BLOCKS_HEADER: &str = "block,line,layer,x0_mm,y0_mm,z0_mm,x1_mm,y1_mm,z1_mm,e_mm,length_mm,nominal_mm_s,entry_mm_s,peak_mm_s,exit_mm_s,start_s,end_s,gap_s,ideal_s,lost_s,queued";

/// Header of `stalls.csv`.
pub const STALLS_HEADER: &str = "stall,kind,cause,line,layer,t_s,x_mm,y_mm,z_mm,dwell_s,lost_s,ideal_mm_s,least_mm_s,excess_mm3,bump_mm,surface,two_largest,link_s,hiccup_s,save_s,chore_s,compute_s,depth_s,deficit_mm3,bumps";

#[derive(Serialize)]
struct StallRow {
    stall: u64,
    kind: &'static str,
    cause: &'static str,
    line: u64,
    layer: u32,
    t_s: f64,
    x_mm: f64,
    y_mm: f64,
    z_mm: f64,
    dwell_s: f64,
    lost_s: f64,
    ideal_mm_s: f64,
    least_mm_s: f64,
    excess_mm3: f64,
    bump_mm: Option<f64>,
    surface: &'static str,
    two_largest: String,
    link_s: Option<f64>,
    hiccup_s: Option<f64>,
    save_s: Option<f64>,
    chore_s: Option<f64>,
    compute_s: Option<f64>,
    depth_s: Option<f64>,
    deficit_mm3: f64,
    bumps: u64,
}

/// Writes one row of `stalls.csv`; the header comes with the first.
pub fn stall<W: Write>(table: &mut csv::Writer<W>, stall: &Stall) -> csv::Result<()> {
    let [x_mm, y_mm, z_mm] = stall.place_mm;
    let [link_s, hiccup_s, save_s, chore_s, compute_s, depth_s] = match stall.shares_s {
        Some(shares_s) => shares_s.values().map(Some),
        None => [None; 6],
    };
    let two = stall
        .two_largest()
        .map(|two| two.map(|c| c.name()).join("+"));
    let row = StallRow {
        stall: stall.stall,
        kind: stall.kind.name(),
        cause: stall.cause_name(),
        line: stall.line,
        layer: stall.layer,
        t_s: stall.t_s,
        x_mm,
        y_mm,
        z_mm,
        dwell_s: stall.dwell_s,
        lost_s: stall.lost_s,
        ideal_mm_s: stall.ideal_mm_s,
        least_mm_s: stall.least_mm_s,
        excess_mm3: stall.excess_mm3,
        bump_mm: stall.bump_mm,
        surface: stall.surface.map_or("", Surface::name),
        two_largest: two.unwrap_or_default(),
        link_s,
        hiccup_s,
        save_s,
        chore_s,
        compute_s,
        depth_s,
        deficit_mm3: stall.deficit_mm3,
        bumps: stall.bumps,
    };
    assert_finite(&row);
    table.serialize(row)
}

/// Header of `bumps.csv`.
pub const BUMPS_HEADER: &str =
    "bump,stall,line,layer,x_mm,y_mm,z_mm,t_s,height_mm,surplus_mm3,stretch_mm,surface";

#[derive(Serialize)]
struct BumpRow {
    bump: u64,
    stall: u64,
    line: u64,
    layer: u32,
    x_mm: f64,
    y_mm: f64,
    z_mm: f64,
    t_s: f64,
    height_mm: f64,
    surplus_mm3: f64,
    stretch_mm: f64,
    surface: &'static str,
}

/// Writes one row of `bumps.csv`; the header comes with the first.
pub fn bump<W: Write>(table: &mut csv::Writer<W>, bump: &Bump) -> csv::Result<()> {
    let [x_mm, y_mm, z_mm] = bump.place_mm;
    let row = BumpRow {
        bump: bump.bump,
        stall: bump.stall,
        line: bump.line,
        layer: bump.layer,
        x_mm,
        y_mm,
        z_mm,
        t_s: bump.t_s,
        height_mm: bump.height_mm,
        surplus_mm3: bump.surplus_mm3,
        stretch_mm: bump.stretch_mm,
        surface: bump.surface.map_or("", Surface::name),
    };
    assert_finite(&row);
    table.serialize(row)
}

/// Stalls and bumps of one replay on their way to tables in memory: those that an answer does not hold come one by
/// one.
pub struct Lists {
    stalls: csv::Writer<Vec<u8>>,
    bumps: csv::Writer<Vec<u8>>,
    /// Whether stalls have come, and bumps.
    spilled: [bool; 2],
}

impl Default for Lists {
    fn default() -> Self {
        let table = |header: &str| {
            let mut rows = csv::WriterBuilder::new();
            rows.has_headers(false)
                .from_writer(format!("{header}\n").into_bytes())
        };
        Lists {
            stalls: table(STALLS_HEADER),
            bumps: table(BUMPS_HEADER),
            spilled: [false; 2],
        }
    }
}

impl Listener for Lists {
    fn stall(&mut self, of: &Stall) {
        self.spilled[0] = true;
        stall(&mut self.stalls, of).expect("memory takes all rows");
    }

    fn bump(&mut self, of: &Bump) {
        self.spilled[1] = true;
        bump(&mut self.bumps, of).expect("memory takes all rows");
    }
}

impl Lists {
    /// `stalls.csv` and `bumps.csv` of an answer.
    pub fn finish(mut self, answer: &ReplayAnswer) -> [Vec<u8>; 2] {
        if !self.spilled[0] {
            answer.stalls.list().iter().for_each(|s| self.stall(s));
        }
        if !self.spilled[1] {
            answer.bumps.list().iter().for_each(|b| self.bump(b));
        }
        let whole =
            |table: csv::Writer<Vec<u8>>| table.into_inner().expect("memory takes all rows");
        [whole(self.stalls), whole(self.bumps)]
    }
}

/// Rows as a whole table, with a header from their fields' names; texts are guarded against spreadsheets.
pub fn csv<R: Serialize>(rows: impl IntoIterator<Item = R>) -> Vec<u8> {
    let mut plain = csv::Writer::from_writer(Vec::new());
    for row in rows {
        assert_finite(&row);
        plain.serialize(row).expect("a row of plain data");
    }
    let plain = plain.into_inner().expect("memory takes all rows");
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(plain.as_slice());
    let mut table = csv::Writer::from_writer(Vec::new());
    for record in reader.records() {
        let record = record.expect("what has just been written");
        let guarded = record.iter().map(|text| cell(text).into_owned());
        table.write_record(guarded).expect("memory takes all rows");
    }
    table.into_inner().expect("memory takes all rows")
}

#[cfg(test)]
mod tests {
    use super::csv;

    #[test]
    fn texts_are_guarded_and_numbers_are_not() {
        let table = csv([("=1+1", -0.5), ("plain, with comma", 1e-7)]);
        let text = String::from_utf8(table).unwrap();
        assert_eq!(text, "'=1+1,-0.5\n\"plain, with comma\",1e-7\n");
    }
}
