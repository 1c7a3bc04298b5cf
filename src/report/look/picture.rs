//! What every picture is made of: a card, its type, its scale bar.

use std::fmt::Write;

use super::advance;
use super::palette::{CARD, INK, INK_FAINT, INK_SOFT};
use crate::report::text::wrap_evenly;
use crate::text::clean;

/// Type that every system has.
pub const FONT: &str = "system-ui,-apple-system,'Segoe UI','DejaVu Sans',Arial,sans-serif";

/// A text safe inside an element or an attribute, cleaned of what acts.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in clean(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// A number with at most two decimals and no idle zeros, never `-0`.
pub fn number(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    if rounded == 0.0 {
        "0".to_string()
    } else {
        format!("{rounded}")
    }
}

/// What a text is for: its size, weight and ink.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Voice {
    /// The answer, on top.
    Head,
    /// What is shown, under it.
    Line,
    /// A heading or a number within the picture.
    Strong,
    /// A label.
    Body,
    /// Axes and notes.
    Note,
}

impl Voice {
    /// Size, px on a card 1000 wide: 24 is still read on a phone 360 wide.
    pub fn size(self) -> f64 {
        [38.0, 26.0, 26.0, 26.0, 24.0][self as usize]
    }

    /// Whether it is bold.
    pub fn is_bold(self) -> bool {
        matches!(self, Voice::Head | Voice::Strong)
    }

    /// Its colour.
    pub fn ink(self) -> &'static str {
        [INK, INK_SOFT, INK, INK, INK_SOFT][self as usize]
    }

    /// How wide a text is, px; on most systems a little less.
    pub fn width(self, text: &str) -> f64 {
        advance::width(text, self.size(), self.is_bold())
    }

    /// How many characters a line of running text has.
    fn columns(self, width: f64) -> usize {
        // Measured on a wide sans-serif; most are narrower.
        let em = if self.is_bold() { 0.66 } else { 0.58 };
        ((width / (em * self.size())) as usize).max(8)
    }
}

/// Where a text stands against its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// Width of every picture.
pub const WIDTH: f64 = 1000.0;
/// Free at either side.
pub const MARGIN: f64 = 40.0;

/// A picture in the making: a card with a heading.
pub struct Picture {
    body: String,
    title: String,
    description: String,
    /// Where what follows the heading may begin.
    pub top: f64,
}

impl Picture {
    /// A card headed by a sentence and a line of less weight; `description` is for those who don't
    /// see it.
    pub fn new(heading: &str, line: &str, description: &str) -> Self {
        let mut picture = Picture {
            body: String::new(),
            title: heading.to_string(),
            description: description.to_string(),
            top: 62.0,
        };
        picture.top = picture.paragraph(picture.top, Voice::Head, heading);
        picture.top = picture.paragraph(picture.top - 4.0, Voice::Line, line);
        picture
    }

    /// A card without a heading, for a page that says the rest.
    pub fn bare(title: &str) -> Self {
        Picture {
            body: String::new(),
            title: title.to_string(),
            description: String::new(),
            top: 0.0,
        }
    }

    /// Adds a ready piece.
    pub fn add(&mut self, piece: &str) {
        self.body.push_str(piece);
        self.body.push('\n');
    }

    /// Adds a text.
    pub fn say(&mut self, x: f64, y: f64, voice: Voice, anchor: Anchor, text: &str) {
        self.say_in(voice.ink(), x, y, voice, anchor, text);
    }

    /// Adds a text in this ink.
    pub fn say_in(&mut self, ink: &str, x: f64, y: f64, voice: Voice, anchor: Anchor, text: &str) {
        self.type_set((x, y), voice.size(), voice.is_bold(), ink, anchor, text);
    }

    /// Adds a text of any size.
    pub(super) fn type_set(
        &mut self,
        (x, y): (f64, f64),
        size: f64,
        bold: bool,
        ink: &str,
        anchor: Anchor,
        text: &str,
    ) {
        let anchor = ["start", "middle", "end"][anchor as usize];
        let weight = if bold { "700" } else { "400" };
        let _ = writeln!(
            self.body,
            r#"<text x="{}" y="{}" font-size="{}" font-weight="{weight}" fill="{ink}" text-anchor="{anchor}">{}</text>"#,
            number(x),
            number(y),
            number(size),
            escape(text)
        );
    }

    /// Adds a text over the whole width, from this base line on; returns where the next may begin.
    pub fn paragraph(&mut self, mut y: f64, voice: Voice, text: &str) -> f64 {
        for row in wrap_evenly(text, voice.columns(WIDTH - 2.0 * MARGIN)) {
            self.say(MARGIN, y, voice, Anchor::Start, &row);
            y += (1.28 * voice.size()).round();
        }
        y
    }

    /// Adds a rule over the whole width.
    pub fn rule(&mut self, y: f64) {
        self.add(&format!(
            "<path d=\"M {MARGIN} {}H{}\" stroke=\"{INK_FAINT}\" stroke-width=\"1.5\"/>",
            number(y),
            WIDTH - MARGIN
        ));
    }

    /// Adds a scale bar that ends at (x, y), its label under it, and is at most `most` long.
    pub fn scale_bar(&mut self, x: f64, y: f64, most: f64, pixels_per_mm: f64) {
        let bar_mm = round_length(most / pixels_per_mm);
        let bar = bar_mm * pixels_per_mm;
        self.add(&format!(
            "<path class=\"scale\" d=\"M {} {}v14h{}v-14\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"3\"/>",
            number(x - bar),
            number(y - 14.0),
            number(bar)
        ));
        let label = format!("{} mm", number(bar_mm));
        // A short bar's label keeps its end inside the card.
        self.say(x, y + 30.0, Voice::Note, Anchor::End, &label);
    }

    /// The finished picture, `height` high.
    pub fn finish(self, height: f64) -> String {
        let (w, h) = (number(WIDTH), number(height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" \
             role=\"img\" aria-labelledby=\"title description\" font-family=\"{FONT}\">\n\
             <title id=\"title\">{}</title>\n<desc id=\"description\">{}</desc>\n\
             <rect width=\"{w}\" height=\"{h}\" rx=\"18\" fill=\"{CARD}\"/>\n{}</svg>\n",
            escape(&self.title),
            escape(&self.description),
            self.body
        )
    }
}

/// The largest of 1, 2, 5 times a power of ten that is at most `most`.
pub fn round_length(most: f64) -> f64 {
    let power = 10f64.powf(most.log10().floor());
    [5.0, 2.0, 1.0]
        .into_iter()
        .map(|k| k * power)
        .find(|v| *v <= most)
        .unwrap_or(power)
}
