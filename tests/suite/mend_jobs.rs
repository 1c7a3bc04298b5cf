//! Mended jobs of every dialect, compared with the job as it was: by the job reader, but not by the proof of `mend` itself.

use std::collections::BTreeMap;
use std::io::{self, Read};

use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::job::state::{Act, Move};
use headstall::study::mend::choose::{Choice, choose};
use headstall::study::mend::pass::Pass;
use headstall::study::mend::plan::{Allow, Plan, Treat};
use headstall::study::mend::runs::Terms;

use super::making::board;

const WITHIN_MM: f64 = 0.02;
const ROUNDING_MM: f64 = 1.5e-3;
const CHORDS: usize = 240;

/// How a job is written.
#[derive(Clone, Copy, Default)]
struct Dialect {
    name: &'static str,
    /// Lines in the middle of each wall.
    within: &'static [&'static str],
    relative: bool,
    relative_e: bool,
    inches: bool,
    crlf: bool,
    numbered: bool,
    spiral: bool,
    /// Some chords are arcs.
    arcs: bool,
}

/// Writes a job and knows where it stands.
struct Pen {
    how: Dialect,
    lines: Vec<Vec<u8>>,
    at_mm: [f64; 3],
    origin_mm: [f64; 3],
    e_mm: f64,
}

impl Pen {
    fn put(&mut self, line: &str) {
        match line {
            "G92 E0" => self.e_mm = 0.0,
            "G92 X0 Y0 E0" => {
                self.e_mm = 0.0;
                self.origin_mm = [self.at_mm[0], self.at_mm[1], 0.0];
            }
            "M82" | "M83" => self.how.relative_e = line == "M83",
            _ => {}
        }
        self.lines.push(line.as_bytes().to_vec());
    }

    /// The word for a place or a step, and what it comes to in millimetres.
    fn word(&self, letter: char, value_mm: f64, decimals: usize) -> (String, f64) {
        let (unit_mm, decimals) = if self.how.inches {
            (25.4, decimals + 2)
        } else {
            (1.0, decimals)
        };
        let number = format!("{:.decimals$}", value_mm / unit_mm);
        let written_mm = number.parse::<f64>().unwrap() * unit_mm;
        (format!(" {letter}{number}"), written_mm)
    }

    fn go(&mut self, command: &str, to_mm: [f64; 3], e_mm: f64, more: &str) {
        let mut line = command.to_string();
        let from_mm = self.at_mm;
        for (k, letter) in ['X', 'Y', 'Z'].into_iter().enumerate() {
            if k == 2 && to_mm[2] == from_mm[2] {
                continue;
            }
            let base_mm = if self.how.relative {
                self.at_mm[k]
            } else {
                self.origin_mm[k]
            };
            let (word, written_mm) = self.word(letter, to_mm[k] - base_mm, 3);
            self.at_mm[k] = base_mm + written_mm;
            line += &word;
        }
        if matches!(command, "G2" | "G3") {
            line += &self.word('I', 50.0 - from_mm[0], 3).0;
            line += &self.word('J', 50.0 - from_mm[1], 3).0;
        }
        if e_mm > 0.0 {
            self.e_mm += e_mm;
            let steps = self.how.relative || self.how.relative_e;
            line += &self.word('E', if steps { e_mm } else { self.e_mm }, 5).0;
        }
        self.put(&(line + more));
    }
}

/// Three rings of chords; a travel without a feed of its own behind each.
fn job(how: Dialect) -> Vec<u8> {
    let mut pen = Pen {
        how,
        lines: vec![b"; from the caf\xE9 \xB5".to_vec()],
        at_mm: [0.0; 3],
        origin_mm: [0.0; 3],
        e_mm: 0.0,
    };
    let feed = |mm_min: f64| {
        let unit_mm = if how.inches { 25.4 } else { 1.0 };
        format!(" F{}", (mm_min / unit_mm).round())
    };
    pen.put(if how.inches { "G20" } else { "G21" });
    pen.put(if how.relative { "G91" } else { "G90" });
    pen.put(if how.relative_e { "M83" } else { "M82" });
    pen.put("G92 E0");
    for layer in 1..=3u32 {
        let z_mm = 0.25 * f64::from(layer);
        pen.lines.push(b"; layer \xFC".to_vec());
        pen.put("M106 S200");
        if !how.spiral || layer == 1 {
            pen.go("G0", [60.0, 50.0, z_mm], 0.0, &feed(9000.0));
        }
        pen.put(&format!("G1{}", feed(3000.0)));
        for k in 1..=CHORDS {
            let share = k as f64 / CHORDS as f64;
            let (sin, cos) = (share * std::f64::consts::TAU).sin_cos();
            let rise_mm = if how.spiral { 0.25 * share } else { 0.0 };
            let to_mm = [50.0 + 10.0 * cos, 50.0 + 10.0 * sin, z_mm + rise_mm];
            let command = if how.arcs && k % 60 == 30 { "G3" } else { "G1" };
            pen.go(command, to_mm, 0.0254, "");
            if k == CHORDS / 3 {
                how.within.iter().for_each(|line| pen.put(line));
            }
        }
        if !how.spiral {
            pen.go("G1", [70.0, 40.0, z_mm], 0.0, "");
        }
    }
    pen.put("M107");
    let mut text = Vec::new();
    for (k, line) in pen.lines.iter().enumerate() {
        let mut line = line.clone();
        if how.numbered && line[0] != b';' {
            line = [format!("N{k} ").into_bytes(), line].concat();
            let sum = line.iter().fold(0, |sum, b| sum ^ b);
            line.extend_from_slice(format!("*{sum}").as_bytes());
        }
        text.extend_from_slice(&line);
        text.extend_from_slice(if how.crlf { b"\r\n" } else { b"\n" });
    }
    text
}

/// A line without its end, number and checksum.
fn bare(line: &[u8]) -> &[u8] {
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    if line.first() != Some(&b'N') {
        return line;
    }
    let from = line.iter().position(|b| *b == b' ').map_or(0, |at| at + 1);
    let to = line.iter().position(|b| *b == b'*').unwrap_or(line.len());
    &line[from..to]
}

/// What a job comes to.
#[derive(Default)]
struct Print {
    /// Corners of the path, cut where lines stand that are no moves; arcs in short chords.
    paths_mm: Vec<Vec<[f64; 3]>>,
    /// Filament up to each of those cuts, mm.
    filament_mm: Vec<f64>,
    /// Filament by height in micrometres, mm.
    layers_mm: BTreeMap<i64, f64>,
    /// Where moves that print nothing end, and their feeds.
    travels: Vec<([f64; 4], f64)>,
    /// Lines that are no moves.
    others: Vec<Vec<u8>>,
}

fn along(m: &Move) -> Vec<[f64; 3]> {
    let place = |at: &[f64; 4]| [at[0], at[1], at[2]];
    let (a, b) = (place(&m.from_mm), place(&m.to_mm));
    let Some(circle) = m.circle else {
        return vec![a, b];
    };
    let [cx, cy] = circle.centre_mm;
    let (first, last) = ((a[1] - cy).atan2(a[0] - cx), (b[1] - cy).atan2(b[0] - cx));
    let radius_mm = (a[0] - cx).hypot(a[1] - cy);
    let full = std::f64::consts::TAU;
    let turn = if circle.clockwise {
        -(first - last).rem_euclid(full)
    } else {
        (last - first).rem_euclid(full)
    };
    let count = (turn.abs() * radius_mm / 0.2).ceil().max(1.0);
    let point = |k: i32| {
        let share = f64::from(k) / count;
        let (sin, cos) = (first + share * turn).sin_cos();
        let z_mm = a[2] + share * (b[2] - a[2]);
        [cx + radius_mm * cos, cy + radius_mm * sin, z_mm]
    };
    (0..=count as i32).map(point).collect()
}

fn print(job: &[u8]) -> Print {
    let lines: Vec<&[u8]> = job.split(|b| *b == b'\n').map(bare).collect();
    let mut all = Print::default();
    let (mut reader, mut path_mm, mut filament_mm) = (JobReader::new(job), Vec::new(), 0.0);
    while let Some(step) = reader.next_step().unwrap() {
        let Act::Move(m) = step.act else {
            let line = lines[step.line as usize - 1];
            // Lines that only set the feed or the command of what follows.
            if !(line.starts_with(b"G1 F") || matches!(line, b"G0" | b"G1")) {
                all.others.push(line.to_vec());
                all.paths_mm.push(std::mem::take(&mut path_mm));
                all.filament_mm.push(filament_mm);
            }
            continue;
        };
        path_mm.extend(along(&m));
        filament_mm += m.e_mm;
        *all.layers_mm
            .entry((1e3 * m.to_mm[2]).round() as i64)
            .or_default() += m.e_mm;
        if m.e_mm == 0.0 {
            all.travels.push((m.to_mm, m.feed_mm_s));
        }
    }
    all.paths_mm.push(path_mm);
    all.filament_mm.push(filament_mm);
    all
}

/// The largest distance from points all along one path to the other, mm.
pub fn apart_mm(one: &[[f64; 3]], other: &[[f64; 3]]) -> f64 {
    let to_leg_mm = |p: [f64; 3], a: [f64; 3], b: [f64; 3]| {
        let (mut dot, mut square) = (0.0, 0.0);
        for k in 0..3 {
            dot += (p[k] - a[k]) * (b[k] - a[k]);
            square += (b[k] - a[k]).powi(2);
        }
        let share = if square > 0.0 {
            (dot / square).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let off = |k: usize| (a[k] + share * (b[k] - a[k]) - p[k]).powi(2);
        (off(0) + off(1) + off(2)).sqrt()
    };
    let mut farthest_mm: f64 = 0.0;
    for leg in one.windows(2) {
        for quarter in 0..=4 {
            let share = 0.25 * f64::from(quarter);
            let p = std::array::from_fn(|k| leg[0][k] + share * (leg[1][k] - leg[0][k]));
            let legs = other.windows(2).map(|l| to_leg_mm(p, l[0], l[1]));
            farthest_mm = farthest_mm.max(legs.fold(f64::INFINITY, f64::min));
        }
    }
    farthest_mm
}

/// The same print, within the allowance?
fn compare(how: &Dialect, old: &[u8], new: &[u8]) {
    let (before, after) = (print(old), print(new));
    let name = how.name;
    assert_eq!(before.others, after.others, "{name}");
    let mut largest_mm: f64 = 0.0;
    for (k, (one, other)) in before.paths_mm.iter().zip(&after.paths_mm).enumerate() {
        assert_eq!(one.is_empty(), other.is_empty(), "{name}: stretch {k}");
        largest_mm = largest_mm
            .max(apart_mm(one, other))
            .max(apart_mm(other, one));
        let filament_mm = before.filament_mm[k] - after.filament_mm[k];
        assert!(filament_mm.abs() < 1e-4, "{name}: {filament_mm}");
    }
    assert!(
        largest_mm <= WITHIN_MM + ROUNDING_MM,
        "{name}: {largest_mm}"
    );
    if !how.spiral {
        for (layer, mm) in &before.layers_mm {
            let other_mm = after.layers_mm.get(layer).copied().unwrap_or(0.0);
            assert!((mm - other_mm).abs() < 1e-4, "{name}: {mm} {other_mm}");
        }
    }
    assert_eq!(before.travels.len(), after.travels.len(), "{name}");
    for (one, other) in before.travels.iter().zip(&after.travels) {
        let near = |k: usize| (one.0[k] - other.0[k]).abs() < 1e-3;
        assert!((0..3).all(near), "{name}: {one:?} {other:?}");
        assert!((one.1 - other.1).abs() < 1e-6, "{name}: {one:?} {other:?}");
    }
}

/// What the text itself keeps: line ends, comments, travels, numbers, checksums.
fn compare_text(how: &Dialect, old: &[u8], new: &[u8]) {
    let kept = |job: &[u8]| -> Vec<Vec<u8>> {
        let (mut all, mut command) = (Vec::new(), Vec::new());
        for line in job.split(|b| *b == b'\n').map(bare) {
            if matches!(line, [b'G', b'0'..=b'3', ..]) {
                command = line[..2].to_vec();
            }
            match line {
                [b'G', b'1'..=b'3', ..] | b"G0" => {}
                // It goes on with the command that it went on with.
                [b'X' | b'Y', ..] => all.push([&command, line].concat()),
                _ => all.push(line.to_vec()),
            }
        }
        all
    };
    assert_eq!(kept(old), kept(new), "{}", how.name);
    let ends = new.iter().filter(|b| **b == b'\n').count();
    let returns = new.windows(2).filter(|w| w == b"\r\n").count();
    assert_eq!(returns, if how.crlf { ends } else { 0 }, "{}", how.name);
    if !how.numbered {
        return;
    }
    let mut number: Option<u64> = None;
    for line in new.split(|b| *b == b'\n').filter(|l| l.starts_with(b"N")) {
        let text = String::from_utf8_lossy(line).into_owned();
        let (body, sum) = text.trim_end().rsplit_once('*').unwrap();
        assert_eq!(
            sum.parse(),
            Ok(body.bytes().fold(0u8, |s, b| s ^ b)),
            "{text}"
        );
        let own: u64 = body[1..].split(' ').next().unwrap().parse().unwrap();
        // Comments of the job have no number, but count.
        assert!(
            number.is_none_or(|n| own == n + 1 || own == n + 2),
            "{text}"
        );
        number = Some(own);
    }
}

const PLAIN: Dialect = Dialect {
    name: "plain",
    within: &[],
    relative: false,
    relative_e: false,
    inches: false,
    crlf: false,
    numbered: false,
    spiral: false,
    arcs: false,
};

#[rustfmt::skip]
const DIALECTS: &[Dialect] = &[
    PLAIN,
    Dialect { name: "E set anew", within: &["G92 E0"], ..PLAIN },
    Dialect { name: "all set anew", within: &["G92 X0 Y0 E0"], ..PLAIN },
    Dialect { name: "inches", inches: true, ..PLAIN },
    Dialect { name: "inches, relative", inches: true, relative: true, ..PLAIN },
    Dialect { name: "relative", relative: true, ..PLAIN },
    Dialect { name: "relative E", relative_e: true, ..PLAIN },
    Dialect { name: "E absolute, then relative", within: &["M83"], ..PLAIN },
    Dialect { name: "factors", within: &["M220 S80", "M221 S95"], relative_e: true, ..PLAIN },
    Dialect { name: "CR LF", crlf: true, ..PLAIN },
    Dialect { name: "numbered", numbered: true, within: &["M73 P5"], ..PLAIN },
    Dialect { name: "numbered, CR LF, relative E", numbered: true, crlf: true, relative_e: true, ..PLAIN },
    Dialect { name: "arcs", arcs: true, ..PLAIN },
    Dialect { name: "arcs, relative, inches", arcs: true, relative: true, inches: true, ..PLAIN },
    Dialect { name: "spiral", spiral: true, relative_e: true, ..PLAIN },
    Dialect { name: "no command", within: &["X45.5 Y50.5"], ..PLAIN },
    Dialect { name: "no command, centre", within: &["X40 Y52 I4 J2"], ..PLAIN },
    Dialect { name: "no command, numbered", numbered: true, within: &["X45.5 Y50.5", "X44"], ..PLAIN },
    Dialect { name: "no command, own feed", within: &["Y51 F1234"], ..PLAIN },
];

#[test]
fn a_mended_job_is_the_same_print_in_every_dialect() {
    let join = Treat {
        merge: true,
        block_s: 1.0,
        ..Treat::NONE
    };
    let arcs = Treat { arcs: true, ..join };
    let slow = |treat| Treat {
        pace: 0.8,
        strip: true,
        ..treat
    };
    for how in DIALECTS {
        let old = job(*how);
        for treat in [join, arcs, slow(join), slow(arcs)] {
            let plan = Plan {
                others: treat,
                ..Plan::none(WITHIN_MM)
            };
            let mut new = Vec::new();
            let mut pass = Pass::new(&old[..], &old[..], &board(&[]), &plan);
            pass.read_to_end(&mut new).unwrap();
            assert!(3 * new.len() < 2 * old.len(), "{}: {treat:?}", how.name);
            let arcs = pass.counts.arcs > 0;
            assert!(how.spiral || treat.arcs == arcs, "{}", how.name);
            compare(how, &old, &new);
            compare_text(how, &old, &new);
        }
    }
}

/// What the search chooses where everything is allowed.
fn chosen(job: &[u8], board: &Board) -> Choice {
    let terms = Terms {
        within_mm: WITHIN_MM,
        allow: Allow {
            arcs: true,
            ..Allow::USUAL
        },
        everywhere: true,
        visible_mm: 0.02,
        runs: 2,
        seed: 0,
        threads: 1,
    };
    let job = job.to_vec();
    let open =
        move || -> io::Result<Box<dyn Read + Send>> { Ok(Box::new(io::Cursor::new(job.clone()))) };
    choose(&open, board, &terms, &|_, _| {}).unwrap()
}

/// Where nothing can be changed no candidate is replayed: there may be a hundred replays of a job that takes seconds each.
#[test]
fn a_job_without_printed_straight_moves_is_not_searched() {
    let board = board(&[]);
    let arcs = format!("M83\nG1 Z0.2 F600\n{}", "G2 I9 E1 F6000\n".repeat(50));
    let with_straight = format!("{arcs}G1 X5 E0.2\n");
    assert_eq!(chosen(arcs.as_bytes(), &board).tried, 0);
    assert!(chosen(with_straight.as_bytes(), &board).tried > 0);
}

/// Mended by what the search chooses, and once more: the second time nothing is done.
#[test]
fn a_mended_job_needs_no_more_in_any_dialect() {
    let board = board(&[]);
    for how in DIALECTS {
        let old = job(*how);
        let first = chosen(&old, &board);
        assert!(!first.plan.is_none(), "{}", how.name);
        let mut new = Vec::new();
        Pass::new(&old[..], &old[..], &board, &first.plan)
            .read_to_end(&mut new)
            .unwrap();
        assert!(new.len() < old.len(), "{}", how.name);
        compare(how, &old, &new);
        let second = chosen(&new, &board);
        assert!(
            second.same_settings && second.plan.is_none(),
            "{}",
            how.name
        );
        let mut again = Vec::new();
        Pass::new(&new[..], &new[..], &board, &second.plan)
            .read_to_end(&mut again)
            .unwrap();
        assert_eq!(again, new, "{}", how.name);
    }
}
