//! Answers about a printer and a print: what bumps agree with, a coupon, a board fitted to its times.

use headstall::answer::explain::{ExplainQuestion, Unexplained, errors, explain};
use headstall::answer::fit::{self, FitQuestion};
use headstall::board::profile;
use headstall::report::explain::{ExplainTable, report};
use headstall::report::fit::{self as words, Given, JobLoss};
use headstall::report::told::remedies_command;
use headstall::report::{board_file, dry_run, folded, loudness};
use headstall::study::explain::seen;
use headstall::study::fit::coupon::{LinkKind, Plan};
use headstall::study::fit::forward::Coupon;
use headstall::study::fit::problem::Reading;
use headstall::study::fit::times;
use headstall::text::clean_lines;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::super::inputs;
use super::super::recording::Recording;
use super::super::room::threads;
use super::super::values;
use super::ask::{BoardAsked, Question, label};
use super::store::Held;
use super::work::{self, Answer, Heard};

#[derive(Serialize)]
struct Explained<'a> {
    json: &'a ExplainTable,
    text: String,
    svg: String,
}

/// What the bumps that somebody saw agree with.
///
/// # Errors
/// In words: those of the command line.
pub fn explained(asked: &Question, held: &Held, heard: &Heard) -> Answer {
    let board = asked.board.read()?;
    let list = label(asked.seen_name.as_deref().unwrap_or("seen.csv"));
    let csv = asked
        .seen
        .as_deref()
        .ok_or("seen: the list of bumps is missing")?;
    let marks = seen::read(csv).map_err(|why| format!("{list}: {why}"))?;
    let of = |what: &str, why: String| format!("{what}: {why}");
    let angle_deg = values::angle_err(&asked.angle_err_deg.to_string());
    let angle_deg = angle_deg.map_err(|why| of("angle_err_deg", why))?;
    let z_mm = asked.z_err_mm.map(|mm| values::z_err(&mm.to_string()));
    let z_mm = z_mm.transpose().map_err(|why| of("z_err_mm", why))?;
    let window = asked.window.as_deref().map(values::window);
    let question = ExplainQuestion {
        board: &board.board,
        marks: &marks,
        window: window.transpose().map_err(|why| of("window", why))?,
        errors: errors(&marks, angle_deg, z_mm),
        visible_mm: asked.visible_mm,
        seed: asked.draws_seed,
        draws: asked.draws as usize,
        threads: threads(),
    };
    let mut job = held.job(&heard.cancel);
    job.reshape = asked.reshape();
    let answer = explain(&mut job, &question, heard).map_err(|e| match e {
        Unexplained::Trouble(trouble) => inputs::failure(trouble, &board.shown).to_string(),
        Unexplained::NothingPrinted => format!("{}: {e}", held.name),
        _ => format!("{list}: {e}"),
    })?;
    let remedies = remedies_command(&held.name, &board.shown, &board.set());
    let table = ExplainTable::new(&answer, &remedies);
    work::answer(&Explained {
        svg: folded::svg(&answer, &table),
        text: clean_lines(&report(&table, &str::to_string)).into(),
        json: &table,
    })
}

/// A question for a coupon.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CouponAsked {
    /// The board to start from.
    board: BoardAsked,
    /// Corner of the box that the head stays in, mm.
    #[serde(default = "at_mm")]
    at: [f64; 2],
    /// Height of the head, mm.
    #[serde(default = "z_mm")]
    z: f64,
    /// Highest speed, mm/s.
    #[serde(default = "speed_mm_s")]
    speed: f64,
    /// Whether the controller knows arcs.
    #[serde(default = "arcs")]
    arcs: bool,
    /// Seed of all draws.
    #[serde(default)]
    seed: u64,
}

fn at_mm() -> [f64; 2] {
    [80.0; 2]
}

fn z_mm() -> f64 {
    20.0
}

fn speed_mm_s() -> f64 {
    100.0
}

fn arcs() -> bool {
    true
}

#[derive(Serialize)]
struct CouponText {
    gcode: String,
    text: String,
    /// Names of its sections.
    sections: Vec<&'static str>,
}

/// A dry run that measures a board, and what to know before running it.
///
/// # Errors
/// In words: those of the command line.
pub fn coupon(asked: &CouponAsked) -> Answer {
    let board = asked.board.read()?;
    let plan = Plan {
        link: LinkKind::of(&board.board),
        at_mm: asked.at,
        z_mm: asked.z,
        speed_mm_s: asked.speed,
        arcs: asked.arcs,
    };
    plan.check()?;
    let about_s = fit::duration_s(&plan, &board.board, &board.shown, asked.seed)?;
    let name = &board.board.name;
    let gcode = plan.text(&dry_run::head(&plan, about_s, name));
    let told = dry_run::told(&plan, about_s, name, "coupon.gcode", gcode.len());
    work::answer(&CouponText {
        text: clean_lines(&told).into(),
        sections: plan.names(),
        gcode,
    })
}

/// A question for a fit.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FitAsked {
    /// The board to start from.
    board: BoardAsked,
    /// The coupon that was run: its text.
    coupon: String,
    /// What it is called.
    #[serde(default)]
    coupon_name: Option<String>,
    /// Times by stop-watch, CSV.
    #[serde(default)]
    times: Option<String>,
    /// The ID of a recording in their place.
    #[serde(default)]
    pub recording: Option<String>,
    /// Standard deviation of a reading that gives none, s.
    #[serde(default = "sigma_s")]
    sigma: f64,
    /// Seed of the search.
    #[serde(default)]
    seed: u64,
    /// IDs of jobs whose lost time is to be told.
    #[serde(default)]
    pub jobs: Vec<String>,
}

fn sigma_s() -> f64 {
    0.15
}

#[derive(Serialize)]
struct Fitted {
    json: Value,
    text: String,
    board_text: String,
    times_csv: Option<String>,
    svg: Option<String>,
}

/// What was measured: readings; and, of a recording, its times as a table, and its picture.
type Measured = (Vec<Reading>, Option<String>, Option<String>);

fn measured(
    asked: &FitAsked,
    recording: Option<&Held>,
    (coupon, names): (&Coupon, &[String]),
    heard: &Heard,
) -> Result<Measured, String> {
    let sections = coupon.count();
    let Some(held) = recording else {
        let text = asked
            .times
            .as_deref()
            .ok_or("times: the list of times, or a recording, is missing")?;
        let readings = times::read(text, "times.csv", sections, asked.sigma)?;
        return Ok((readings, None, None));
    };
    let bytes = std::io::BufReader::new(held.reader(&heard.cancel));
    let recording = Recording::from(bytes, &held.name).map_err(|e| e.to_string())?;
    heard.cancel.check();
    let sound = recording.hear(sections);
    let sound = sound.map_err(|no| loudness::refused(&no, &held.name))?;
    let svg = loudness::svg(&sound.loudness, &sound.edges_s, &held.name, "");
    let table = times::write(&sound.readings, names);
    Ok((sound.readings, Some(table), Some(svg)))
}

/// The board on which the coupon takes these times.
///
/// # Errors
/// In words: those of the command line.
pub fn fitted(asked: &FitAsked, recording: Option<&Held>, jobs: &[Held], heard: &Heard) -> Answer {
    values::sigma(&asked.sigma.to_string()).map_err(|why| format!("sigma: {why}"))?;
    let board = asked.board.read()?;
    let coupon_name = label(asked.coupon_name.as_deref().unwrap_or("coupon.gcode"));
    let read = fit::coupon(asked.coupon.as_bytes(), &coupon_name, &board.board)?;
    let coupon = read.coupon;
    let mut given = Given {
        coupon: coupon_name,
        times: recording
            .map_or("times.csv", |held| &held.name[..])
            .to_string(),
        board: board.shown.clone(),
        names: read.names,
        warnings: read.warnings,
    };
    let (readings, times_csv, svg) = measured(asked, recording, (&coupon, &given.names), heard)?;
    let rate_is_free = profile::gives_bytes_per_s(&board.text, &board.shown, &board.sets)
        .map_err(|e| e.to_string())?;
    let question = FitQuestion {
        coupon: &coupon,
        board: &board.board,
        board_name: &board.shown,
        rate_is_free,
        readings: &readings,
        times_name: &given.times,
        seed: asked.seed,
        threads: threads(),
    };
    let fit = fit::fit(&question, heard)?;
    let mut cut = Vec::new();
    let loss = |held: &Held| {
        let (steps, warnings) = fit::steps(&held.job(&heard.cancel), &board.board)?;
        cut.extend(warnings);
        let [lost_s, low, high] = fit::lost_s(&held.name, &steps, &fit.board, threads(), heard)?;
        let job = held.name.clone();
        Ok(JobLoss {
            job,
            lost_s,
            low,
            high,
        })
    };
    let losses: Vec<JobLoss> = jobs.iter().map(loss).collect::<Result<_, String>>()?;
    given.warnings.extend(cut);
    let from = words::origin(&given);
    work::answer(&Fitted {
        json: serde_json::from_str(&words::json(&fit, &given, &losses))
            .map_err(|e| e.to_string())?,
        text: clean_lines(&words::told(&fit, &given, &losses)).into(),
        board_text: board_file::text(&fit, &from, !rate_is_free),
        times_csv,
        svg,
    })
}
