//! Outer, hole or inner: analytic shapes.

use headstall::surface::grid::{Bead, Grid, OUTSIDE, SOLID};

const W: f64 = 0.45;

/// A ring of beads, its middle line on `radius`.
fn ring(x: f64, y: f64, radius: f64) -> Vec<Bead> {
    let at = |k: u32| {
        let a = f64::from(k) / 180.0 * std::f64::consts::TAU;
        [x + radius * a.cos(), y + radius * a.sin()]
    };
    (0..180)
        .map(|k| Bead {
            from_mm: at(k),
            to_mm: at(k + 1),
            width_mm: W,
        })
        .collect()
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

/// Length of path that faces outside, and that faces a void; by points 0.05 mm apart.
fn facing(beads: &[Bead]) -> [f64; 2] {
    let grid = Grid::new(beads, 0.12);
    let mut lengths = [0.0; 2];
    for bead in beads {
        let count = (length(bead) / 0.05).ceil();
        for k in 0..count as u32 {
            let t = (f64::from(k) + 0.5) / count;
            let at = [0, 1].map(|i| bead.from_mm[i] + t * (bead.to_mm[i] - bead.from_mm[i]));
            match grid.faces(at, W) {
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
    let inside = |beads: &[Bead]| Grid::new(beads, 0.12).label([0.0, 0.0]);
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
    // A star of straight walls.
    let corner = |k: u32| {
        let a = f64::from(k) * std::f64::consts::PI / 5.0;
        let r = if k.is_multiple_of(2) { 9.0 } else { 4.0 };
        [r * a.cos(), r * a.sin()]
    };
    let star: Vec<Bead> = (0..10)
        .map(|k| Bead {
            from_mm: corner(k),
            to_mm: corner(k + 1),
            width_mm: W,
        })
        .collect();
    let [plain, _] = facing(&star);
    let whole: f64 = star.iter().map(length).sum();
    assert!((plain / whole - 1.0).abs() < 0.01);
    for (a, x, y) in [(0.3, 100.0, -7.0), (1.234, 0.06, 0.09)] {
        let [turned, _] = facing(&turn(&star, a, x, y));
        assert!((turned / plain - 1.0).abs() < 0.01, "{turned} {plain}");
    }
}
