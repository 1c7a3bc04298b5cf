//! What of a print is part, and what is a skirt, a purge line, a brim, a raft, a support. The jobs are
//! drawn here; what each block is meant to be stands beside it.

use headstall::board::types::Board;
use headstall::board::{builtin, profile};
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::surface::faces::{self, Face, Surface};
use headstall::surface::skin::{Exposure, LeftOut, Wanted, Why};

const W: f64 = 0.45;
const H: f64 = 0.2;

/// What a block is meant to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Meant {
    Travel,
    /// An outer wall.
    Wall,
    /// Behind a wall.
    Inside,
    /// No part.
    Other,
}

/// A job, block by block.
#[derive(Default)]
struct Job {
    text: String,
    at: [f64; 2],
    z: f64,
    /// Of each block: its layer and what it is meant to be.
    blocks: Vec<(usize, Meant)>,
    layer: usize,
}

impl Job {
    fn new() -> Self {
        Job {
            text: "M83\nG1 F3000\n".into(),
            ..Job::default()
        }
    }

    fn layer(&mut self, z: f64) {
        if !self.blocks.is_empty() {
            self.layer += 1;
        }
        self.text += &format!("G0 Z{z:.4}\n");
        self.z = z;
        self.blocks.push((self.layer, Meant::Travel));
    }

    fn line(&mut self, points: &[[f64; 2]], meant: Meant) {
        if points[0] != self.at {
            self.text += &format!("G0 X{:.4} Y{:.4}\n", points[0][0], points[0][1]);
            self.blocks.push((self.layer, Meant::Travel));
        }
        for pair in points.windows(2) {
            let mm = (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]);
            // 0.45 x 0.2 with round ends on 1.75 mm filament: 0.03385 mm a mm, computed.
            let e = 0.03385 * mm;
            self.text += &format!("G1 X{:.4} Y{:.4} E{e:.6}\n", pair[1][0], pair[1][1]);
            self.blocks.push((self.layer, meant));
        }
        self.at = points[points.len() - 1];
    }

    fn square(&mut self, [x, y]: [f64; 2], half: f64, meant: Meant) {
        let at = |sx: f64, sy: f64| [x + sx * half, y + sy * half];
        let points = [
            at(-1.0, -1.0),
            at(1.0, -1.0),
            at(1.0, 1.0),
            at(-1.0, 1.0),
            at(-1.0, -1.0),
        ];
        self.line(&points, meant);
    }

    /// A field of lines `apart`, in one go.
    fn zigzag(&mut self, low: [f64; 2], high: [f64; 2], apart: f64, meant: Meant) {
        let count = ((high[1] - low[1]) / apart).round() as usize;
        let apart = (high[1] - low[1]) / count as f64;
        let mut points = Vec::new();
        for k in 0..=count {
            let y = low[1] + apart * k as f64;
            let ends = [[low[0], y], [high[0], y]];
            points.extend(if k % 2 == 0 { ends } else { [ends[1], ends[0]] });
        }
        self.line(&points, meant);
    }

    /// One layer of a box: two loops and what fills it.
    fn boxed(&mut self, at: [f64; 2], half: f64) {
        self.square(at, half, Meant::Wall);
        self.square(at, half - W, Meant::Inside);
        let inner = half - 2.0 * W;
        let low = [at[0] - inner, at[1] - inner];
        self.zigzag(low, [at[0] + inner, at[1] + inner], W, Meant::Inside);
    }

    fn exposure(&self, whole: bool) -> Exposure {
        let board = board();
        let wanted = Wanted {
            walls: true,
            whole,
            aside: false,
        };
        let mut planned = Planned::new(JobReader::new(self.text.as_bytes()), &board);
        let exposure = faces::faces(&mut planned, &board.nozzle, &wanted).unwrap();
        assert_eq!(exposure.faces.block_count(), self.blocks.len() as u64);
        exposure
    }

    /// Each block faces what it is meant to.
    #[track_caller]
    fn check(&self) -> Exposure {
        let exposure = self.exposure(false);
        for (block, (layer, meant)) in self.blocks.iter().enumerate() {
            let face = exposure.faces.face(block as u64);
            let good = match meant {
                Meant::Travel => true,
                Meant::Wall => face == Face::Part(Surface::Outer),
                Meant::Inside => face == Face::Part(Surface::Inner),
                Meant::Other => face == Face::LeftOut,
            };
            assert!(
                good,
                "block {block} on layer {layer}: {meant:?} is {face:?}"
            );
        }
        exposure
    }
}

fn board() -> Board {
    profile::parse(builtin::text("32bit-card").unwrap(), "32bit-card", &[]).unwrap()
}

fn z(layer: usize) -> f64 {
    H * (layer + 1) as f64
}

fn out(why: Why, count: u64, first_layer: u32, last_layer: u32) -> LeftOut {
    LeftOut {
        why,
        count,
        first_layer,
        last_layer,
    }
}

/// A box with a skirt of two loops around it and a purge line beside it.
fn with_skirt(skirt_layers: usize) -> Job {
    let mut job = Job::new();
    for layer in 0..10 {
        job.layer(z(layer));
        if layer < skirt_layers {
            job.square([100.0, 100.0], 16.0, Meant::Other);
            job.square([100.0, 100.0], 16.0 - W, Meant::Other);
        }
        if layer == 0 {
            job.line(&[[20.0, 40.0], [20.0, 160.0]], Meant::Other);
        }
        job.boxed([100.0, 100.0], 10.0);
    }
    job
}

#[test]
fn a_skirt_and_a_purge_line() {
    let exposure = with_skirt(1).check();
    assert_eq!(exposure.left_out, [out(Why::NothingStandsOn, 2, 0, 0)]);
    assert_eq!(exposure.parts.len(), 1);
    // Four sides of 20 mm, ten layers of 0.2 mm.
    assert!(
        (exposure.outer_mm2 / 160.0 - 1.0).abs() < 0.01,
        "{}",
        exposure.outer_mm2
    );
    assert!(
        exposure
            .walls
            .iter()
            .all(|w| (89.0..111.0).contains(&w.x_mm))
    );
}

#[test]
fn a_skirt_of_three_layers() {
    let exposure = with_skirt(3).check();
    assert_eq!(exposure.left_out, [out(Why::NothingStandsOn, 2, 0, 2)]);
}

#[test]
fn all_that_is_printed_counts_if_that_is_wanted() {
    let job = with_skirt(1);
    let exposure = job.exposure(true);
    assert_eq!((exposure.left_out.len(), exposure.parts.len()), (0, 3));
    // The skirt's outer loop and both sides of the purge line's one bead, counted once, are wall too; the box
    // stands behind the skirt on its first layer.
    let expected = 160.0 + 0.2 * (4.0 * 32.0 + 120.0 - 80.0);
    assert!(
        (exposure.outer_mm2 / expected - 1.0).abs() < 0.01,
        "{}",
        exposure.outer_mm2
    );
    assert!(exposure.walls.iter().any(|w| w.x_mm < 21.0));
}

#[test]
fn parts_have_letters_from_the_left() {
    let mut job = Job::new();
    for layer in 0..6 {
        job.layer(z(layer));
        job.boxed([80.0, 100.0], 6.0);
        job.boxed([30.0, 100.0], 8.0);
    }
    let exposure = job.check();
    let letters: Vec<&str> = exposure.parts.iter().map(|p| p.letter.as_str()).collect();
    assert_eq!(letters, ["A", "B"]);
    let [a, b] = [0, 1].map(|k| exposure.parts[k].outer_mm2);
    assert!(
        (a / 76.8 - 1.0).abs() < 0.01 && (b / 57.6 - 1.0).abs() < 0.01,
        "{a} {b}"
    );
    for wall in &exposure.walls {
        assert_eq!(wall.part, u32::from(wall.x_mm > 50.0));
    }
    let parts: Vec<_> = (0..job.blocks.len() as u64)
        .map(|b| exposure.faces.part(b))
        .collect();
    assert!(parts.contains(&Some(0)) && parts.contains(&Some(1)));
}

/// A gate: two legs that a beam joins are one part.
#[test]
fn legs_under_a_beam_are_one_part() {
    let mut job = Job::new();
    for layer in 0..8 {
        job.layer(z(layer));
        if layer < 5 {
            job.boxed([40.0, 50.0], 4.0);
            job.boxed([60.0, 50.0], 4.0);
        } else {
            let (low, high) = ([36.0, 46.0], [64.0, 54.0]);
            let corners = [low, [high[0], low[1]], high, [low[0], high[1]], low];
            job.line(&corners, Meant::Wall);
            job.zigzag(
                [low[0] + W, low[1] + W],
                [high[0] - W, high[1] - W],
                W,
                Meant::Inside,
            );
        }
    }
    assert_eq!(job.exposure(false).parts.len(), 1);
}

#[test]
fn parts_one_after_another() {
    let mut job = Job::new();
    for x in [40.0, 90.0, 140.0] {
        for layer in 0..7 {
            job.layer(z(layer));
            job.boxed([x, 100.0], 6.0);
        }
    }
    let exposure = job.check();
    assert_eq!((exposure.parts.len(), exposure.left_out.len()), (3, 0));
    let layers: Vec<_> = exposure
        .parts
        .iter()
        .map(|p| (p.first_layer, p.last_layer))
        .collect();
    assert_eq!(layers, [(0, 6), (7, 13), (14, 20)]);
}

#[test]
fn a_brim_that_touches() {
    let mut job = Job::new();
    for layer in 0..8 {
        job.layer(z(layer));
        if layer == 0 {
            for k in (1..=5).rev() {
                job.square([100.0, 100.0], 10.0 + W * f64::from(k), Meant::Other);
            }
        }
        job.boxed([100.0, 100.0], 10.0);
    }
    let exposure = job.check();
    assert_eq!(exposure.left_out, [out(Why::Brim, 5, 0, 0)]);
}

/// A box on a raft: lines far apart, then lines side by side, both wider than the box.
#[test]
fn a_raft() {
    let mut job = Job::new();
    for layer in 0..10 {
        job.layer(z(layer));
        match layer {
            0 => job.zigzag([85.0, 85.0], [115.0, 115.0], 2.0, Meant::Other),
            1 | 2 => job.zigzag([85.0, 85.0], [115.0, 115.0], W, Meant::Other),
            _ => job.boxed([100.0, 100.0], 10.0),
        }
    }
    let exposure = job.check();
    assert_eq!(exposure.left_out, [out(Why::BelowRoof, 1, 0, 2)]);
    assert_eq!(exposure.parts.len(), 1);
}

/// A roof that reaches out from a post, on a support beside the post; and a plate that lies on nothing but
/// supports, where no layer below it has a loop.
#[test]
fn supports() {
    for post in [true, false] {
        let mut job = Job::new();
        for layer in 0..20 {
            job.layer(z(layer));
            if layer < 15 {
                if post {
                    job.boxed([50.0, 50.0], 5.0);
                }
                // One layer of air below the roof.
                if layer < 14 {
                    job.zigzag([57.0, 45.0], [70.0, 55.0], 2.5, Meant::Other);
                }
            } else {
                let corners = [
                    [45.0, 45.0],
                    [70.0, 45.0],
                    [70.0, 55.0],
                    [45.0, 55.0],
                    [45.0, 45.0],
                ];
                job.line(&corners, Meant::Wall);
                job.zigzag([45.0 + W, 45.0 + W], [70.0 - W, 55.0 - W], W, Meant::Inside);
            }
        }
        let exposure = job.check();
        assert_eq!(exposure.left_out, [out(Why::BelowRoof, 1, 0, 13)], "{post}");
        assert_eq!(exposure.parts.len(), 1);
    }
}

/// A line that sticks out of a box is no wall beside the box's loops.
#[test]
fn an_open_line_beside_loops() {
    let mut job = Job::new();
    for layer in 0..6 {
        job.layer(z(layer));
        job.boxed([100.0, 100.0], 10.0);
        job.line(&[[110.0 + W, 100.0], [125.0, 100.0]], Meant::Other);
    }
    let exposure = job.check();
    assert_eq!(exposure.left_out, [out(Why::OpenLine, 6, 0, 5)]);
}

/// The reverse: a wall of one open bead that is all there is, with a skirt around it.
#[test]
fn an_open_wall_is_the_part() {
    let mut job = Job::new();
    for layer in 0..12 {
        job.layer(z(layer));
        if layer == 0 {
            job.square([100.0, 100.0], 20.0, Meant::Other);
        }
        job.line(
            &[[90.0, 110.0], [90.0, 90.0], [110.0, 90.0], [110.0, 110.0]],
            Meant::Wall,
        );
    }
    let exposure = job.check();
    assert_eq!(exposure.left_out, [out(Why::NothingStandsOn, 1, 0, 0)]);
    assert!((exposure.outer_mm2 / 144.0 - 1.0).abs() < 0.01);
}

/// A wall that is open below and closed above is no support of itself.
#[test]
fn an_open_wall_that_closes_further_up() {
    let mut job = Job::new();
    for layer in 0..12 {
        job.layer(z(layer));
        if layer < 6 {
            job.line(
                &[[90.0, 110.0], [90.0, 90.0], [110.0, 90.0], [110.0, 110.0]],
                Meant::Wall,
            );
        } else {
            job.square([100.0, 100.0], 10.0, Meant::Wall);
        }
    }
    let exposure = job.check();
    assert_eq!((exposure.left_out.len(), exposure.parts.len()), (0, 1));
}

/// A loop printed in two lines, each of them open, is a loop.
#[test]
fn a_loop_in_two_pieces() {
    let mut job = Job::new();
    for layer in 0..6 {
        job.layer(z(layer));
        job.boxed([60.0, 100.0], 8.0);
        job.line(&[[90.0, 90.0], [110.0, 90.0], [110.0, 110.0]], Meant::Wall);
        job.line(&[[90.0, 90.5], [90.0, 110.0], [109.6, 110.0]], Meant::Wall);
    }
    let exposure = job.check();
    assert_eq!((exposure.left_out.len(), exposure.parts.len()), (0, 2));
}

#[test]
fn one_flat_line_is_the_part() {
    let mut job = Job::new();
    job.layer(z(0));
    job.line(&[[10.0, 10.0], [60.0, 10.0], [60.0, 30.0]], Meant::Wall);
    let exposure = job.check();
    assert_eq!((exposure.left_out.len(), exposure.parts.len()), (0, 1));
}

/// A vase of one bead that climbs all the way, with a skirt.
#[test]
fn a_spiral() {
    let mut job = Job::new();
    job.layer(z(0));
    job.square([100.0, 100.0], 20.0, Meant::Other);
    let at = |k: u32| {
        let a = f64::from(k) / 120.0 * std::f64::consts::TAU;
        [100.0 + 10.0 * a.cos(), 100.0 + 10.0 * a.sin()]
    };
    let ring: Vec<[f64; 2]> = (0..=120).map(at).collect();
    job.line(&ring, Meant::Wall);
    for k in 1..=1200 {
        let [x, y] = at(k);
        let mm = std::f64::consts::TAU * 10.0 / 120.0;
        let z = H + H * f64::from(k) / 120.0;
        job.text += &format!("G1 X{x:.4} Y{y:.4} Z{z:.5} E{:.6}\n", 0.03385 * mm);
        job.blocks.push((1 + (k as usize - 1) / 120, Meant::Wall));
    }
    let exposure = job.check();
    assert_eq!(exposure.left_out, [out(Why::NothingStandsOn, 1, 0, 0)]);
    assert_eq!(exposure.parts.len(), 1);
}

/// What is too large is unknown, and said to be; it costs next to nothing.
#[test]
fn plates_of_kilometres() {
    let mut job = Job::new();
    job.layer(z(0));
    let far = |k: u32| [f64::from(k % 2) * 1.9e6 - 9.5e5, f64::from(k % 7) * 1e5];
    let points: Vec<[f64; 2]> = (0..60).map(far).collect();
    job.line(&points, Meant::Wall);
    let exposure = job.exposure(false);
    assert_eq!(
        (exposure.unknown_layers, exposure.first_unknown_layer),
        (1, Some(0))
    );
    let last = job.blocks.len() as u64 - 1;
    assert_eq!(exposure.faces.face(last), Face::Unknown);
    assert_eq!((exposure.walls.len(), exposure.outer_mm2), (0, 0.0));
}
