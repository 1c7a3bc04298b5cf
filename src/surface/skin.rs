//! What is seen of a job: gathers the printed path, layer by layer, and has each layer worked off when it ends,
//! at once or on a thread of its own.

use std::io;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::{Builder, JoinHandle};

use crate::board::types::Nozzle;
use crate::motion::path::Place;
use crate::replay::stream::Done;

use super::flow::Excess;
use super::layer::{Asked, Layer};
use super::shell::Shell;

pub use super::facing::{Face, Faces, Surface};
pub use super::left_out::{LeftOut, Why};
pub use super::parts::Part;
pub use super::shell::Exposure;
pub use super::walls::{SPEED_BINS, WallPoint};

/// What is wanted of a surface.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    /// Its walls, for pictures.
    pub walls: bool,
    /// All that is printed is part: skirts, purge lines and supports too.
    pub whole: bool,
    /// Layers are worked off on another thread, where the system gives one.
    pub aside: bool,
}

/// A block that loses more than this belongs to a stall, and is asked about, s.
pub const LOST_MIN_S: f64 = 1e-4;

/// Follows the printed path, layer by layer.
#[derive(Debug)]
pub struct Skin {
    filament_mm2: f64,
    nozzle_mm: f64,
    walls: bool,
    layer: Layer,
    /// Blocks so far.
    blocks: u64,
    worker: Worker,
    /// Too much plastic on the outside of the layer before the one that ended last, mm³.
    outer_mm3: f64,
}

/// Who works layers off; tells what each has too much on its outside when the next one comes.
#[derive(Debug)]
enum Worker {
    Here { shell: Box<Shell>, last_mm3: f64 },
    Aside(Aside),
}

impl Worker {
    /// Takes a layer; returns what the one before it has too much on its outside, mm³.
    fn layer(&mut self, layer: Layer) -> f64 {
        match self {
            Worker::Here { shell, last_mm3 } => std::mem::replace(last_mm3, shell.layer(layer)),
            Worker::Aside(aside) => {
                let before_mm3 = aside.wait();
                aside.busy = aside.layers.send(layer).is_ok();
                before_mm3
            }
        }
    }

    /// Ends the job; also returns what the last layer has too much on its outside, mm³.
    fn finish(self) -> (Shell, f64) {
        match self {
            Worker::Here { shell, last_mm3 } => (*shell, last_mm3),
            Worker::Aside(mut aside) => {
                let last_mm3 = aside.wait();
                (aside.finish(), last_mm3)
            }
        }
    }
}

/// A thread that works layers off, one behind.
#[derive(Debug)]
struct Aside {
    layers: SyncSender<Layer>,
    outer_mm3: Receiver<f64>,
    thread: JoinHandle<Shell>,
    /// Whether a layer is with it.
    busy: bool,
}

impl Aside {
    fn new(mut shell: Shell) -> io::Result<Self> {
        let (layers, todo) = sync_channel::<Layer>(1);
        let (done, outer_mm3) = sync_channel(1);
        let thread = Builder::new().name("surface".to_string()).spawn(move || {
            for layer in todo {
                if done.send(shell.layer(layer)).is_err() {
                    break;
                }
            }
            shell
        })?;
        Ok(Aside {
            layers,
            outer_mm3,
            thread,
            busy: false,
        })
    }

    /// What the layer that is with it has too much on its outside, mm³.
    fn wait(&mut self) -> f64 {
        let busy = std::mem::replace(&mut self.busy, false);
        // No answer: the thread has panicked, which `finish` passes on.
        let answer = busy.then(|| self.outer_mm3.recv().ok()).flatten();
        answer.unwrap_or(0.0)
    }

    fn finish(self) -> Shell {
        drop(self.layers);
        match self.thread.join() {
            Ok(shell) => shell,
            Err(panic) => std::panic::resume_unwind(panic),
        }
    }
}

/// A point seen from above.
fn flat(at_mm: [f64; 3]) -> [f32; 2] {
    [at_mm[0] as f32, at_mm[1] as f32]
}

impl Skin {
    /// Nothing printed.
    pub fn new(nozzle: &Nozzle, wanted: &Wanted) -> Self {
        let shell = || Shell::new(nozzle.nozzle_mm, wanted.walls, wanted.whole);
        let here = || Worker::Here {
            shell: Box::new(shell()),
            last_mm3: 0.0,
        };
        let thread = wanted.aside.then(|| Aside::new(shell()).ok()).flatten();
        Skin {
            filament_mm2: std::f64::consts::PI * nozzle.filament_mm * nozzle.filament_mm / 4.0,
            nozzle_mm: nozzle.nozzle_mm,
            walls: wanted.walls,
            layer: Layer::default(),
            blocks: 0,
            worker: thread.map_or_else(here, Worker::Aside),
            outer_mm3: 0.0,
        }
    }

    /// The next block of a replay, with what it leaves too much.
    pub fn block(&mut self, done: &Done, excess: &Excess) {
        let class = (done.speed_ratio() * SPEED_BINS as f64) as usize;
        self.step(
            done.ran.block,
            &done.place,
            done.layer,
            done.layer_height_mm,
            class.min(SPEED_BINS - 1) as u8,
        );
        if done.lost_s() > LOST_MIN_S {
            self.too_much(&done.place, excess);
        }
    }

    /// The next block of a job that is not replayed.
    pub fn trace(&mut self, block: u64, place: &Place, layer: u32, layer_height_mm: f64) {
        self.step(block, place, layer, layer_height_mm, SPEED_BINS as u8 - 1);
    }

    #[inline]
    fn step(&mut self, block: u64, place: &Place, layer: u32, layer_height_mm: f64, speed: u8) {
        debug_assert_eq!(block, self.blocks, "blocks come in order, from 0");
        self.blocks += 1;
        if layer != self.layer.number {
            self.end_layer(layer);
        }
        self.layer.blocks += 1;
        let (from, to) = (place.from_mm, place.to_mm);
        let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
        let plane = (dx * dx + dy * dy).sqrt();
        if place.e_mm > 0.0 && plane > 0.0 {
            let width_mm = self.width_mm(place.e_mm / plane, layer_height_mm);
            self.layer.z_mm = to[2];
            self.layer.height_mm = layer_height_mm;
            self.layer.bead(flat(from), flat(to), width_mm as f32);
            if self.walls {
                self.layer.speeds.push(speed);
            }
        }
    }

    /// The newest block leaves too much.
    fn too_much(&mut self, place: &Place, excess: &Excess) {
        let excess_mm3 = excess.rest_mm3.max(0.0) + excess.motion_mm3.max(0.0);
        if excess_mm3 <= 0.0 {
            return;
        }
        let last_mm = self.layer.last_width_mm();
        self.layer.asked.push(Asked {
            at_mm: flat(place.from_mm),
            width_mm: last_mm.unwrap_or(self.nozzle_mm as f32),
            excess_mm3: excess_mm3 as f32,
        });
    }

    /// Width of a bead with round ends: its section is (w - h) h + π h²/4.
    fn width_mm(&self, e_mm_a_mm: f64, layer_height_mm: f64) -> f64 {
        let section_mm2 = self.filament_mm2 * e_mm_a_mm;
        let h = layer_height_mm;
        let width = if h > 0.0 {
            section_mm2 / h + h * (1.0 - std::f64::consts::FRAC_PI_4)
        } else {
            self.nozzle_mm
        };
        width.clamp(0.5 * self.nozzle_mm, 3.0 * self.nozzle_mm)
    }

    fn end_layer(&mut self, next: u32) {
        let begun = Layer::new(next, self.layer.z_mm);
        let ended = std::mem::replace(&mut self.layer, begun);
        self.outer_mm3 = self.worker.layer(ended);
    }

    /// Too much plastic on the outside of the layer before the one that ended last, mm³.
    pub fn outer_mm3(&self) -> f64 {
        self.outer_mm3
    }

    /// Ends the job. Also tells what is too much on the outside of the last two layers, mm³.
    pub fn finish(mut self) -> (Exposure, [f64; 2]) {
        self.end_layer(self.layer.number);
        let (shell, last_mm3) = self.worker.finish();
        (shell.finish(), [self.outer_mm3, last_mm3])
    }
}
