//! Outer, hole or inner: analytic shapes.

use headstall::board::profile;
use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::stream::{Done, Watcher, replay};
use headstall::study::bumps::Found;
use headstall::study::watch::Watch;
use headstall::surface::faces;
use headstall::surface::flow::Flow;
use headstall::surface::grid::{Bead, Grid, OUTSIDE, SOLID};
use headstall::surface::limits::Budget;
use headstall::surface::skin::{Exposure, Skin, Surface, Wanted};
use proptest::prelude::*;

use super::laws::{any_board, any_job};
use super::making::board;

const W: f64 = 0.45;

/// Beads end to end, from `at(0)` to `at(count)`.
fn path(count: u32, at: impl Fn(u32) -> [f64; 2]) -> Vec<Bead> {
    let bead = |k| Bead {
        from_mm: at(k),
        to_mm: at(k + 1),
        width_mm: W,
    };
    (0..count).map(bead).collect()
}

/// A ring of beads, its middle line on `radius`.
fn ring(x: f64, y: f64, radius: f64) -> Vec<Bead> {
    let at = |k: u32| {
        let a = f64::from(k) / 180.0 * std::f64::consts::TAU;
        [x + radius * a.cos(), y + radius * a.sin()]
    };
    path(180, at)
}

fn disc(x: f64, y: f64, radius: f64, hole: f64) -> Vec<Bead> {
    let mut beads = Vec::new();
    let mut r = radius - W / 2.0;
    while r > hole + W / 4.0 {
        beads.extend(ring(x, y, r));
        r -= W;
    }
    beads
}

fn length(b: &Bead) -> f64 {
    (b.to_mm[0] - b.from_mm[0]).hypot(b.to_mm[1] - b.from_mm[1])
}

fn drawn(beads: impl Iterator<Item = Bead> + Clone) -> Grid {
    Grid::new(beads, 0.12, &mut Budget::default()).unwrap()
}

/// Length of path that faces outside, and that faces a void; by points 0.05 mm apart.
fn facing(beads: &[Bead]) -> [f64; 2] {
    let grid = drawn(beads.iter().copied());
    let mut lengths = [0.0; 2];
    let mut seen = None;
    for bead in beads {
        let count = (length(bead) / 0.05).ceil();
        for k in 0..count as u32 {
            let t = (f64::from(k) + 0.5) / count;
            let at = [0, 1].map(|i| bead.from_mm[i] + t * (bead.to_mm[i] - bead.from_mm[i]));
            let faced = grid.faces(at, W, &mut seen);
            // What was seen before changes no answer.
            assert_eq!(faced, grid.faces(at, W, &mut None));
            match faced {
                SOLID => {}
                OUTSIDE => lengths[0] += length(bead) / count,
                _ => lengths[1] += length(bead) / count,
            }
        }
    }
    lengths
}

fn round(radius: f64) -> f64 {
    std::f64::consts::TAU * radius
}

#[track_caller]
fn check(beads: &[Bead], outer: f64, hole: f64) {
    let [o, h] = facing(beads);
    assert!(
        (o - outer).abs() <= 0.01 * outer.max(1.0),
        "outer {o}, by formula {outer}"
    );
    assert!(
        (h - hole).abs() <= 0.01 * hole.max(1.0),
        "hole {h}, by formula {hole}"
    );
}

#[test]
fn analytic_shapes() {
    check(&disc(0.0, 0.0, 9.0, 0.0), round(9.0 - W / 2.0), 0.0);
    let last = |radius: f64, hole: f64| {
        let mut r = radius - W / 2.0;
        while r - W > hole + W / 4.0 {
            r -= W;
        }
        r
    };
    check(
        &disc(0.0, 0.0, 9.0, 4.0),
        round(9.0 - W / 2.0),
        round(last(9.0, 4.0)),
    );
    // Two discs apart, and nested tubes: the gap between them is a void of the outer one.
    let two = [disc(0.0, 0.0, 5.0, 0.0), disc(20.0, 3.0, 5.0, 0.0)].concat();
    check(&two, 2.0 * round(5.0 - W / 2.0), 0.0);
    let nested = [ring(0.0, 0.0, 9.0), ring(0.0, 0.0, 5.0)].concat();
    check(&nested, round(9.0), round(5.0));
}

/// Two squares side by side, a bead apart, are one part: outside sees three sides of each.
#[test]
fn touching_parts() {
    let square = |x: f64| -> Vec<Bead> {
        let corners = [[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]];
        let at = |k: u32| [0, 1].map(|i| corners[k as usize % 4][i] + [x, 0.0][i]);
        path(4, at)
    };
    let [outer, inner] = facing(&[square(0.0), square(40.0 + W)].concat());
    assert!((outer / 240.0 - 1.0).abs() < 0.01, "{outer}");
    // What touches is seen from the void of its own square.
    assert!((inner / 80.0 - 1.0).abs() < 0.02, "{inner}");
}

/// Three walls around three quarters of a circle: the outer and the inner one face outside, the
/// middle one does not, but at its ends.
#[test]
fn an_open_c() {
    let beads: Vec<Bead> = [9.0, 9.0 - W, 9.0 - 2.0 * W]
        .into_iter()
        .flat_map(|radius| ring(0.0, 0.0, radius).into_iter().take(135))
        .collect();
    let [outer, hole] = facing(&beads);
    let analytic = 0.75 * (round(9.0) + round(9.0 - 2.0 * W));
    assert!((outer / analytic - 1.0).abs() < 0.015, "{outer} {analytic}");
    assert_eq!(hole, 0.0);
}

/// A wall seen from both sides counts once, by what comes first; a narrow gap lets nothing in, a
/// wide one does.
#[test]
fn gaps() {
    let open = |gap: f64| -> Vec<Bead> {
        ring(0.0, 0.0, 8.0)
            .into_iter()
            .filter(|b| b.to_mm[0] < 0.0 || b.to_mm[1].abs() > gap / 2.0 + W / 2.0)
            .collect()
    };
    // A bead in the middle faces what is inside.
    let inside = |beads: &[Bead]| {
        let dot = Bead {
            from_mm: [0.0; 2],
            to_mm: [0.0; 2],
            width_mm: W,
        };
        drawn(beads.iter().copied().chain([dot])).faces([0.0; 2], W, &mut None)
    };
    assert_eq!(inside(&open(2.0)), OUTSIDE);
    assert_ne!(inside(&ring(0.0, 0.0, 8.0)), OUTSIDE);
    let mut cut = ring(0.0, 0.0, 8.0);
    cut.pop();
    let (a, b) = (cut[0].from_mm, cut[cut.len() - 1].to_mm);
    assert!((a[0] - b[0]).hypot(a[1] - b[1]) > 0.2);
    assert_ne!(
        inside(&cut),
        OUTSIDE,
        "a gap below half a bead behind round ends"
    );
}

#[test]
fn turned_and_shifted_it_is_the_same() {
    let turn = |beads: &[Bead], a: f64, x: f64, y: f64| -> Vec<Bead> {
        let at = |p: [f64; 2]| {
            [
                x + p[0] * a.cos() - p[1] * a.sin(),
                y + p[0] * a.sin() + p[1] * a.cos(),
            ]
        };
        beads
            .iter()
            .map(|b| Bead {
                from_mm: at(b.from_mm),
                to_mm: at(b.to_mm),
                ..*b
            })
            .collect()
    };
    // A star of three walls, filled: most of its path faces plastic only.
    let corner = |k: u32, inset: f64| {
        let a = f64::from(k) * std::f64::consts::PI / 5.0;
        let r = if k.is_multiple_of(2) { 12.0 } else { 8.0 };
        [(r - inset) * a.cos(), (r - inset) * a.sin()]
    };
    let wall = |inset: f64| -> Vec<Bead> { path(10, |k| corner(k, inset)) };
    let outline = wall(0.0);
    let star = [outline.clone(), disc(0.0, 0.0, 7.6, 0.0)].concat();
    for beads in [&star, &disc(0.0, 0.0, 9.0, 4.0)] {
        let plain = facing(beads);
        let whole: f64 = beads.iter().map(length).sum();
        assert!(
            plain[0] > 20.0 && plain[0] < 0.6 * whole,
            "{plain:?} {whole}"
        );
        for (a, x, y) in [(0.3, 100.0, -7.0), (1.234, 0.06, 0.09), (2.5, -3e3, 4e3)] {
            let turned = facing(&turn(beads, a, x, y));
            assert!(
                (turned[0] / plain[0] - 1.0).abs() < 0.01,
                "{turned:?} {plain:?}"
            );
            assert!(
                (turned[1] - plain[1]).abs() < 0.02 * plain[0],
                "{turned:?} {plain:?}"
            );
        }
    }
}

/// Asks of each block where it lies.
struct Follow {
    flow: Flow,
    skin: Skin,
    blocks: Vec<(u64, u32, [f64; 3])>,
}

impl Follow {
    fn new(board: &Board) -> Self {
        Follow {
            flow: Flow::new(&board.nozzle),
            skin: Skin::new(&board.nozzle, &WANTED),
            blocks: Vec::new(),
        }
    }
}

impl Watcher for Follow {
    fn block(&mut self, done: &Done) {
        let excess = self.flow.block(done);
        self.skin.block(done, &excess);
        if done.lost_s() > 1e-4 && done.place.e_mm > 0.0 {
            self.blocks
                .push((done.ran.block, done.layer, done.place.from_mm));
        }
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.flow.stop(start_s, end_s);
    }
}

const WANTED: Wanted = Wanted {
    walls: true,
    whole: false,
    aside: true,
};

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// What a block faces is a matter of the job: a replay on any board with any seed, a pass that stores the job
    /// and one that only reads it tell the same.
    #[test]
    fn faces_are_those_of_the_job(job in any_job(), text in any_board(), seed in 0..99u64) {
        let board = profile::parse(&text, "any.toml", &[]).unwrap();
        let planned = || Planned::new(JobReader::new(job.as_bytes()), &board);
        let mut watch = Watch::new(&board.nozzle, |_: &Found| {});
        watch = watch.with_surface(&board.nozzle, &WANTED);
        let Ok(done) = replay(job.as_bytes(), &board, seed, &mut watch) else {
            return Ok(());
        };
        let told = watch.found().exposure.unwrap();
        prop_assert_eq!(told.faces.block_count(), done.totals.blocks);
        let alone = Wanted { walls: false, ..WANTED };
        let (stored, of_store) = faces::store(&mut planned(), &board.nozzle, &alone).unwrap();
        let of_source = faces::faces(&mut planned(), &board.nozzle, &alone).unwrap();
        prop_assert_eq!(stored.block_count() as u64, done.totals.blocks);
        prop_assert_eq!(&told.faces, &of_store.faces);
        prop_assert_eq!(&of_store, &of_source);
        prop_assert_eq!(told.outer_mm2, of_store.outer_mm2);
        prop_assert_eq!(&told.left_out, &of_store.left_out);
        prop_assert!(told.walls.iter().all(|w| (w.part as usize) < told.parts.len()));
    }
}

/// A board on which each block is late.
fn late() -> Board {
    board(&["loop.block_us=90000", "queue.blocks=2", "nozzle.lag_s=0.05"])
}

fn print(layers: &[Vec<Bead>]) -> (Exposure, Vec<(u64, u32, [f64; 3])>) {
    let mut job = String::from("M83\nG1 F3000\n");
    for (k, beads) in layers.iter().enumerate() {
        job += &format!("G0 Z{:.2}\n", 0.2 * (k + 1) as f64);
        let mut at = [f64::NAN; 2];
        for bead in beads {
            if at != bead.from_mm {
                job += &format!("G0 X{:.4} Y{:.4}\n", bead.from_mm[0], bead.from_mm[1]);
            }
            at = bead.to_mm;
            // 0.45 x 0.2 with round ends on 1.75 mm filament (0.03385 mm for each mm, computed).
            job += &format!(
                "G1 X{:.4} Y{:.4} E{:.6}\n",
                at[0],
                at[1],
                0.03385 * length(bead)
            );
        }
    }
    let board = late();
    let mut follow = Follow::new(&board);
    replay(job.as_bytes(), &board, 0, &mut follow).unwrap();
    let blocks = follow.blocks;
    (follow.skin.finish().0, blocks)
}

/// A vase is seen inside and outside; under a lid its inside is not.
#[test]
fn vases_and_boxes() {
    let tube = |_| [ring(0.0, 0.0, 9.0), ring(0.0, 0.0, 8.6)].concat();
    let mut vase: Vec<Vec<Bead>> = vec![disc(0.0, 0.0, 9.2, 0.0)];
    vase.extend((0..6).map(tube));
    let mut lidded = vase.clone();
    lidded.extend((0..2).map(|_| disc(0.0, 0.0, 9.2, 0.0)));
    for (layers, inside) in [(&vase, Surface::Hole), (&lidded, Surface::Inner)] {
        let (exposure, blocks) = print(layers);
        let mut counts = [0; 3];
        for (block, layer, at) in &blocks {
            if !(1..=6).contains(layer) {
                continue;
            }
            let radius = at[0].hypot(at[1]);
            let found = exposure.of(*block).unwrap();
            counts[found as usize] += 1;
            let expected = if radius > 8.8 { Surface::Outer } else { inside };
            assert_eq!(found, expected, "layer {layer}, radius {radius}");
        }
        assert!(
            counts[0] > 500 && counts[inside as usize] > 500,
            "{counts:?}"
        );
        assert!(exposure.walls.len() > 200);
    }
}

/// A bell is open below; a pinhole in a lid opens nothing.
#[test]
fn bells_and_pinholes() {
    let tube = |_| [ring(0.0, 0.0, 9.0), ring(0.0, 0.0, 8.6)].concat();
    let lid = || disc(0.0, 0.0, 9.2, 0.0);
    let pierced = || disc(0.0, 0.0, 9.2, 0.3);
    let walls: Vec<Vec<Bead>> = (0..6).map(tube).collect();
    let bell = [walls.clone(), vec![lid(), lid()]].concat();
    let box_ = |top: Vec<Bead>| [vec![lid()], walls.clone(), vec![top.clone(), top]].concat();
    for (layers, inside) in [
        (bell, Surface::Hole),
        (box_(lid()), Surface::Inner),
        (box_(pierced()), Surface::Inner),
        (box_(disc(0.0, 0.0, 9.2, 2.0)), Surface::Hole),
    ] {
        let (exposure, blocks) = print(&layers);
        let mut count = 0;
        for (block, layer, at) in &blocks {
            if (1..=5).contains(layer) && at[0].hypot(at[1]) < 8.8 {
                assert_eq!(exposure.of(*block), Some(inside), "layer {layer}");
                count += 1;
            }
        }
        assert!(count > 200, "{count}");
    }
}

/// Two posts far apart: what lies between them costs nothing worth naming, and is outside.
#[test]
fn far_apart() {
    let two = [disc(0.0, 0.0, 3.0, 0.0), disc(500.0, 500.0, 3.0, 0.0)].concat();
    let [outer, hole] = facing(&two);
    assert!(
        (outer / (2.0 * round(3.0 - W / 2.0)) - 1.0).abs() < 0.01,
        "{outer}"
    );
    let [_, alone] = facing(&disc(0.0, 0.0, 3.0, 0.0));
    assert!((hole - 2.0 * alone).abs() < 0.1 * outer, "{hole} {alone}");
}

/// Long straight walls are kept along their whole length, once around.
#[test]
fn walls_of_a_box() {
    let corners = [[0.0, 0.0], [30.0, 0.0], [30.0, 20.0], [0.0, 20.0]];
    let sides = path(4, |k| corners[k as usize % 4]);
    let (exposure, _) = print(&[sides.clone(), sides]);
    let walls = &exposure.walls;
    let mut length = 0.0;
    for pair in walls.windows(2).filter(|pair| !pair[1].starts) {
        let step =
            f64::from(pair[1].x_mm - pair[0].x_mm).hypot(f64::from(pair[1].y_mm - pair[0].y_mm));
        assert!(step < 1.5, "{pair:?}");
        length += step;
    }
    assert!((length - 200.0).abs() < 0.5, "{length}");
    assert_eq!(walls.iter().filter(|w| w.starts).count(), 2);
}
