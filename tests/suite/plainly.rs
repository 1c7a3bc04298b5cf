//! A job read plainly: line by line, word by word, numbers by the standard library. Of the language it
//! knows what the jobs of the properties have.

use headstall::job::state::{Act, Circle, Limit, Move, Stop};

/// A step but for its layer: the line, its end, raw and command bytes, what it asks for.
pub type Said = (u64, u64, u32, u32, Act);

/// The steps of a job, up to one that no machine can take.
pub fn plainly(job: &str) -> Vec<Said> {
    let mut machine = Machine {
        place_mm: [0.0; 4],
        wound_mm: 0.0,
        feed_mm_s: 25.0,
        factor: 1.0,
    };
    let mut steps = Vec::new();
    let (mut end, mut taken) = (0, 0);
    for (number, line) in (1..).zip(job.split_inclusive('\n')) {
        end += line.len() as u64;
        let command = line.split(';').next().unwrap_or_default().trim();
        if command.is_empty() {
            continue;
        }
        let Some(act) = machine.act(command) else {
            break;
        };
        let raw_bytes = (end - taken) as u32;
        steps.push((number, end, raw_bytes, command.len() as u32 + 1, act));
        taken = end;
    }
    steps
}

struct Machine {
    place_mm: [f64; 4],
    /// Filament in all; rounding may part it from the place.
    wound_mm: f64,
    feed_mm_s: f64,
    factor: f64,
}

impl Machine {
    fn act(&mut self, command: &str) -> Option<Act> {
        let (name, words) = command.split_once(' ').unwrap_or((command, ""));
        // The last of a letter counts.
        let value = |letter: char| {
            let mut words = words.split_whitespace().rev();
            words.find_map(|w| w.strip_prefix(letter)?.parse::<f64>().ok())
        };
        Some(match name {
            "G0" | "G1" | "G2" => self.motion(name == "G2", value)?,
            "G4" => Act::Stop(Stop::Dwell(value('P')? / 1e3)),
            "M400" => Act::Stop(Stop::Plain),
            "M204" => Act::Limit(Limit::Accel([value('S'), value('S'), None])),
            "M220" => {
                self.factor = value('S')? / 100.0;
                Act::Nothing
            }
            _ => Act::Nothing,
        })
    }

    fn motion(&mut self, arc: bool, value: impl Fn(char) -> Option<f64>) -> Option<Act> {
        if let Some(mm_min) = value('F').filter(|f| *f > 0.0) {
            self.feed_mm_s = (mm_min / 60.0).max(0.001);
        }
        let axes = ['X', 'Y', 'Z', 'E'].map(&value);
        if !arc && axes.iter().all(Option::is_none) {
            return Some(Act::Nothing);
        }
        let from_mm = self.at_mm();
        let was_e_mm = self.place_mm[3];
        for (place_mm, axis) in self.place_mm.iter_mut().zip(axes).take(3) {
            *place_mm = axis.unwrap_or(*place_mm);
        }
        let e_mm = axes[3].unwrap_or(0.0);
        self.place_mm[3] += e_mm;
        self.wound_mm += self.place_mm[3] - was_e_mm;
        let to_mm = self.at_mm();
        let [x, y, z, _] = to_mm;
        if [x, y, z, e_mm].iter().any(|at| at.abs() > 1e6) {
            return None;
        }
        let [i, j] = ['I', 'J'].map(|letter| value(letter).unwrap_or(0.0));
        let circle = Circle {
            plane: [0, 1],
            centre_mm: [from_mm[0] + i, from_mm[1] + j],
            clockwise: true,
            full: from_mm[..2] == to_mm[..2],
        };
        Some(Act::Move(Move {
            from_mm,
            to_mm,
            e_mm: self.place_mm[3] - was_e_mm,
            feed_mm_s: (self.feed_mm_s * self.factor).max(0.001),
            circle: (arc && i.hypot(j) > 0.0).then_some(circle),
        }))
    }

    fn at_mm(&self) -> [f64; 4] {
        let [x, y, z, _] = self.place_mm;
        [x, y, z, self.wound_mm]
    }
}
