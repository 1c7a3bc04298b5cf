//! What the maker must know of a coupon before running it, in its head and on the terminal.

use crate::study::fit::coupon::{LinkKind, Plan};

use super::numbers::time;
use super::text::wrap;

/// Widest comment line, so that no controller's line buffer overflows.
const COLUMNS: usize = 58;

/// Paragraphs: what it does, cautions, how to take the times.
fn paragraphs(plan: &Plan, about_s: f64, board: &str) -> [(&'static str, Vec<String>); 3] {
    let [x0, y0, x1, y1] = plan.box_mm();
    let (z, speed, count) = (plan.z_mm, plan.speed_mm_s, plan.names().len());
    let link = match plan.link {
        LinkKind::Card => "from a card",
        LinkKind::Serial => "over a serial line from a host",
    };
    let does = vec![
        format!(
            "A dry run for a board that takes its jobs {link}. It heats nothing and moves no filament."
        ),
        format!(
            "The head homes all axes, rises to z = {z} mm and stays inside the box x {x0} to {x1}, y {y0} to {y1} mm, \
             at {speed} mm/s or less. {count} sections stand between rests of 3 s."
        ),
        format!(
            "It takes about {} on the board `{board}`; on yours perhaps half or twice that.",
            time(about_s)
        ),
    ];
    let cautions = [
        "The hot end stays cold: let it cool down before you start.",
        "Clear the bed. Check that the box and the height lie inside your machine, and that nothing stands there: \
         clips, cables, a camera.",
        "Moving axes pinch. Keep hands, hair and sleeves away while it runs, stay with it, and know where the power \
         switch is: keep one hand there.",
        "If the machine grinds or loses steps, switch it off and make a coupon with a lower --speed.",
        "The maker's manual and local rules go before anything said here.",
    ];
    let times = [
        "Time each section from its first movement to its last standstill. Each begins with a hop of 5 mm and ends \
         with a hop of 30 mm or more.",
        "By stop-watch: write a file with the header `section,seconds` and a row for each section; a section that \
         you missed may be left out.",
        "By sound: lay a telephone on the printer's frame, switch fans off, start recording before you start the \
         job and stop 5 s after the end; save the recording as WAV.",
        "Then run: headstall fit COUPON TIMES.csv (or RECORDING.wav) --board START -o BOARD.toml",
    ];
    let owned = |lines: &[&str]| lines.iter().map(|l| (*l).to_string()).collect();
    [
        ("What it does", does),
        ("Cautions", owned(&cautions)),
        ("How to take the times", owned(&times)),
    ]
}

/// Comment lines for the coupon's top, without semicolons.
pub fn head(plan: &Plan, about_s: f64, board: &str) -> Vec<String> {
    let mut lines = vec!["Headstall coupon: a dry run that measures a board.".to_string()];
    for (title, sentences) in paragraphs(plan, about_s, board) {
        lines.push(format!("-- {title} --"));
        // Set in, so that none can be taken for the name of a section.
        let rows = sentences.iter().flat_map(|s| wrap(s, COLUMNS));
        lines.extend(rows.map(|row| format!("  {row}")));
    }
    lines
}

/// The same for the terminal.
pub fn told(plan: &Plan, about_s: f64, board: &str, file: &str, bytes: usize) -> String {
    let mut text = format!(
        "{file}: {} sections, {} kB\n",
        plan.names().len(),
        bytes / 1000
    );
    for (title, sentences) in paragraphs(plan, about_s, board) {
        text += &format!("\n{title}\n");
        for sentence in sentences {
            for (k, row) in wrap(&sentence, 76).iter().enumerate() {
                text += &format!("{}{row}\n", if k == 0 { "- " } else { "  " });
            }
        }
    }
    text
}
