//! A board out of some bytes.

use headstall::board::types::Board;
use headstall::board::{builtin, profile};

const SETS: [&str; 32] = [
    "queue.blocks=2",
    "queue.blocks=512",
    "queue.lines=1",
    "queue.restart_blocks=2",
    "queue.restart_wait_ms=1",
    "queue.low_water=1000",
    "queue.stretch_ms=1e6",
    "motion.speed_max.x=0.05",
    "motion.accel.print=0.05",
    "motion.accel.travel=1e9",
    "motion.arc_chord_mm=0.05",
    "loop.load_max=0.999999",
    "loop.step_us=1e3",
    "loop.line_us=0",
    "loop.block_us=1e5",
    "loop.pass_us=1e4",
    "save.when=lines",
    "save.when=layer",
    "save.when=seconds",
    "save.ms=300",
    "save.stop_first=true",
    "link.sector_ms=0",
    "link.hiccup_chance=1",
    "link.reply_ms=0",
    "link.in_flight=100",
    "link.resend_chance=1",
    "link.poll_s=0.1",
    "motion.layout=corexy",
    "link.reply_when=received",
    "nozzle.lag_s=0",
    "nozzle.lead_s=0.3",
    "motion.corner={ rule = \"deviation\", mm = 0 }",
];

/// The board that the first bytes choose, and the bytes behind them.
pub fn board(bytes: &[u8]) -> Option<(Board, &[u8])> {
    let (head, rest) = bytes.split_at_checked(5)?;
    let name = builtin::names().nth(head[0] as usize % builtin::names().count())?;
    let text = builtin::text(name)?;
    let mut sets = Vec::new();
    for at in &head[1..] {
        let Some(set) = SETS.get(*at as usize) else {
            continue;
        };
        sets.push(profile::Override::parse(set).unwrap());
        if profile::parse(text, "fuzz", &sets).is_err() {
            sets.pop();
        }
    }
    Some((profile::parse(text, "fuzz", &sets).unwrap(), rest))
}
