//! A fitted board as a board file, each key with what is known of it.

use std::fmt::Write;

use crate::board::types::{Board, Corner, Fitted, Layout, Link, ReplyWhen, SaveWhen, Span};
use crate::study::fit::fitting::Fit;
use crate::study::fit::keys::Key;

use super::fit::{comment, short};
use super::text::wrap;

/// Significant digits of values that were fitted, and of those that were not.
const DIGITS: [usize; 2] = [5, 12];

/// The fitted board's file. `from`: where the numbers come from, for the notes. `baud`: whether the wire's speed is
/// given as a baud rate.
pub fn text(fit: &Fit, from: &str, baud: bool) -> String {
    let board = &fit.board;
    let mut file = File {
        fit,
        text: String::new(),
    };
    let name = format!("{}-fitted", board.name);
    file.top(&name, from);
    file.link(&board.link, baud);
    file.costs(board);
    for chore in &board.chores {
        file.table("\n[[chore]]");
        file.plain("name", &quoted(&chore.name));
        file.plain("every_s", &number(chore.every_s, 1.0));
        file.span("us", &chore.work, 1e6, Key::Chores);
    }
    file.queue(board);
    file.motion(board);
    file.table("\n[wait]");
    file.plain("heat_s", &number(board.wait.heat_s, 1.0));
    file.plain("home_s", &number(board.wait.home_s, 1.0));
    file.plain("change_s", &number(board.wait.change_s, 1.0));
    file.save(board);
    file.table("\n[nozzle]");
    file.plain("filament_mm", &number(board.nozzle.filament_mm, 1.0));
    file.plain("nozzle_mm", &number(board.nozzle.nozzle_mm, 1.0));
    file.plain("lag_s", &number(board.nozzle.lag_s, 1.0));
    file.plain("lead_s", &number(board.nozzle.lead_s, 1.0));
    if let Some(fitted) = &board.fit {
        file.fitted(fitted);
    }
    file.text
}

struct File<'a> {
    fit: &'a Fit,
    text: String,
}

impl File<'_> {
    fn top(&mut self, name: &str, from: &str) {
        self.text += "# A board fitted by headstall. Each key says what the times tell of it; keys without a\n\
                      # comment were not asked for and are those of the start board.\n\n";
        self.plain("name", &quoted(name));
        let notes = format!(
            "{from}\n\nThe start board's notes: {}",
            self.fit.board.notes.trim()
        );
        self.plain("notes", &quoted(&notes));
    }

    fn table(&mut self, header: &str) {
        let _ = writeln!(self.text, "{header}");
    }

    fn plain(&mut self, key: &str, value: &str) {
        let _ = writeln!(self.text, "{key} = {value}");
    }

    /// A key, with the fit's comment above it.
    fn told(&mut self, key: &str, value: &str, of: Key) {
        if let Some(said) = comment(self.fit, of) {
            for line in wrap(&said, 98) {
                let _ = writeln!(self.text, "# {line}");
            }
        }
        self.plain(key, value);
    }

    fn number(&mut self, key: &str, value: f64, scale: f64, of: Key) {
        let value = self.shown(value, scale, of);
        self.told(key, &value, of);
    }

    fn shown(&self, value: f64, scale: f64, of: Key) -> String {
        let is_fitted = self
            .fit
            .keys
            .iter()
            .any(|f| f.key == of && f.value != f.start);
        short(value * scale, DIGITS[usize::from(!is_fitted)])
    }

    fn span(&mut self, key: &str, span: &Span, scale: f64, of: Key) {
        let part = |s: f64| self.shown(s, scale, of);
        let value = match *span {
            Span::Fixed(s) => part(s),
            Span::Uniform { min, max } => format!("{{ min = {}, max = {} }}", part(min), part(max)),
            Span::Exponential { mean } => format!("{{ mean = {} }}", part(mean)),
            Span::Lognormal { median, p99 } => {
                format!("{{ median = {}, p99 = {} }}", part(median), part(p99))
            }
        };
        self.told(key, &value, of);
    }

    fn link(&mut self, link: &Link, baud: bool) {
        self.table("\n[link]");
        match link {
            Link::Card(card) => {
                self.plain("kind", "\"card\"");
                self.span("sector_ms", &card.sector, 1e3, Key::SectorMs);
                self.plain("cluster_kib", &card.cluster_kib.to_string());
                self.plain("chain_ms", &number(card.chain_s, 1e3));
                self.plain("hiccup_chance", &number(card.hiccup_chance, 1.0));
                let hiccup = span_text(&card.hiccup, 1e3);
                self.plain("hiccup_ms", &hiccup);
            }
            Link::Serial(serial) => {
                self.plain("kind", "\"serial\"");
                if baud {
                    // A byte of ten bits, whatever the start board said: the same bytes a second.
                    self.plain("baud", &number(serial.bytes_per_s, 10.0));
                } else {
                    self.number("bytes_per_s", serial.bytes_per_s, 1.0, Key::BytesPerS);
                }
                self.plain("overhead_bytes", &number(serial.overhead_bytes, 1.0));
                self.span("reply_ms", &serial.reply, 1e3, Key::ReplyMs);
                self.plain("in_flight", &serial.in_flight.to_string());
                let when = match serial.reply_when {
                    ReplyWhen::Finished => "\"finished\"",
                    ReplyWhen::Received => "\"received\"",
                };
                self.plain("reply_when", when);
                self.plain("poll_s", &number(serial.poll_s, 1.0));
                self.plain("poll_bytes", &number(serial.poll_bytes, 1.0));
                self.plain("resend_chance", &number(serial.resend_chance, 1.0));
            }
        }
    }

    fn costs(&mut self, board: &Board) {
        let costs = &board.costs;
        self.table("\n[loop]");
        self.number("line_us", costs.line_s, 1e6, Key::LineUs);
        self.number("byte_us", costs.byte_s, 1e6, Key::ByteUs);
        self.number("block_us", costs.block_s, 1e6, Key::BlockUs);
        self.number("pass_us", costs.pass_s, 1e6, Key::PassUs);
        self.number("chord_us", costs.chord_s, 1e6, Key::ChordUs);
        self.number("step_us", costs.step_s, 1e6, Key::StepUs);
        self.plain("load_max", &number(costs.load_max, 1.0));
    }

    fn queue(&mut self, board: &Board) {
        let queue = &board.queue;
        self.table("\n[queue]");
        self.told("lines", &queue.lines.to_string(), Key::Lines);
        self.told("blocks", &queue.blocks.to_string(), Key::Blocks);
        self.plain("restart_blocks", &queue.restart_blocks.to_string());
        self.plain("restart_wait_ms", &number(queue.restart_wait_s, 1e3));
        self.told("low_water", &queue.low_water.to_string(), Key::LowWater);
        self.number("stretch_ms", queue.stretch_s, 1e3, Key::StretchMs);
    }

    fn motion(&mut self, board: &Board) {
        let motion = &board.motion;
        self.table("\n[motion]");
        let layout = match motion.layout {
            Layout::Cartesian => "\"cartesian\"",
            Layout::CoreXy => "\"corexy\"",
        };
        self.plain("layout", layout);
        self.plain(
            "speed_max",
            &axes(motion.speed_max_mm_s, |v| number(v, 1.0)),
        );
        let shown = |v: f64| self.shown(v, 1.0, Key::Accel);
        let accel_max = axes(motion.accel_max_mm_s2, shown);
        let accel = format!(
            "{{ print = {}, travel = {}, retract = {} }}",
            shown(motion.accel.print_mm_s2),
            shown(motion.accel.travel_mm_s2),
            number(motion.accel.retract_mm_s2, 1.0)
        );
        self.plain("accel_max", &accel_max);
        self.told("accel", &accel, Key::Accel);
        let shown = |v: f64| self.shown(v, 1.0, Key::Corner);
        let corner = match motion.corner {
            Corner::Deviation { mm } => format!("{{ rule = \"deviation\", mm = {} }}", shown(mm)),
            Corner::Jump { mm_s } => axes(mm_s, shown).replacen('{', "{ rule = \"jump\",", 1),
        };
        self.told("corner", &corner, Key::Corner);
        self.plain(
            "steps_per_mm",
            &axes(motion.steps_per_mm, |v| number(v, 1.0)),
        );
        self.number("arc_chord_mm", motion.arc_chord_mm, 1.0, Key::ArcChordMm);
    }

    fn save(&mut self, board: &Board) {
        let save = &board.save;
        self.table("\n[save]");
        match save.when {
            SaveWhen::Off => self.plain("when", "\"off\""),
            SaveWhen::Layer => self.plain("when", "\"layer\""),
            SaveWhen::Lines(lines) => {
                self.plain("when", "\"lines\"");
                self.plain("every", &lines.to_string());
            }
            SaveWhen::Seconds(every_s) => {
                self.plain("when", "\"seconds\"");
                self.number("every", every_s, 1.0, Key::SaveEvery);
            }
        }
        self.span("ms", &save.hold, 1e3, Key::SaveMs);
        self.plain("stop_first", if save.stop_first { "true" } else { "false" });
        self.plain("reread", if save.reread { "true" } else { "false" });
    }

    fn fitted(&mut self, fitted: &Fitted) {
        self.text += "\n# What the times leave open: boards that fit them as well. A row is one such board; under each key stands a\n\
                      # thousand times the natural logarithm of a factor on the value above.\n[fit]\n";
        self.plain("keys", &quoted(&fitted.keys.join(" ")));
        let row = |row: &Vec<f64>| {
            let cells = row
                .iter()
                .map(|v| ((v * 1000.0).round() as i64).to_string());
            cells.collect::<Vec<String>>().join(" ")
        };
        let rows: Vec<String> = fitted.draws.iter().map(row).collect();
        let _ = writeln!(self.text, "draws = \"\"\"\n{}\n\"\"\"", rows.join("\n"));
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_string()).to_string()
}

fn number(value: f64, scale: f64) -> String {
    short(value * scale, DIGITS[1])
}

fn span_text(span: &Span, scale: f64) -> String {
    let part = |s: f64| number(s, scale);
    match *span {
        Span::Fixed(s) => part(s),
        Span::Uniform { min, max } => format!("{{ min = {}, max = {} }}", part(min), part(max)),
        Span::Exponential { mean } => format!("{{ mean = {} }}", part(mean)),
        Span::Lognormal { median, p99 } => {
            format!("{{ median = {}, p99 = {} }}", part(median), part(p99))
        }
    }
}

fn axes(values: [f64; 4], shown: impl Fn(f64) -> String) -> String {
    let pairs = ["x", "y", "z", "e"].iter().zip(values);
    let pairs: Vec<String> = pairs
        .map(|(axis, v)| format!("{axis} = {}", shown(v)))
        .collect();
    format!("{{ {} }}", pairs.join(", "))
}
