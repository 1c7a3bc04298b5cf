//! Small pieces that every picture is made of.

use std::fmt::Write;

use super::palette::{CARD, INK, INK_SOFT};
use super::words::wrap;

/// Type that every system has.
pub const FONT: &str = "system-ui,-apple-system,'Segoe UI','DejaVu Sans',Arial,sans-serif";

/// A text safe inside an element or an attribute; control characters become blanks.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push(' '),
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

/// A picture in the making: a card with a heading.
pub struct Picture {
    body: String,
    width: f64,
    title: String,
    description: String,
    /// Where what follows the heading may begin.
    pub top: f64,
}

impl Picture {
    /// A card `width` wide, headed by a sentence and a line of less weight; `description` is for
    /// those who don't see it.
    pub fn new(width: f64, heading: &str, line: &str, description: &str) -> Self {
        let mut picture = Picture {
            body: String::new(),
            width,
            title: heading.to_string(),
            description: description.to_string(),
            top: 24.0,
        };
        for row in wrap(heading, ((width - 80.0) / 20.5) as usize) {
            picture.top += 46.0;
            let y = picture.top;
            picture.text(40.0, y, 36.0, "700", INK, "start", &row);
        }
        for row in wrap(line, ((width - 80.0) / 13.5) as usize) {
            picture.top += 34.0;
            let y = picture.top;
            picture.text(40.0, y, 24.0, "400", INK_SOFT, "start", &row);
        }
        picture.top += 24.0;
        picture
    }

    /// Adds a ready piece.
    pub fn add(&mut self, piece: &str) {
        self.body.push_str(piece);
        self.body.push('\n');
    }

    /// Adds a text.
    #[allow(clippy::too_many_arguments)]
    pub fn text(
        &mut self,
        x: f64,
        y: f64,
        size: f64,
        weight: &str,
        ink: &str,
        anchor: &str,
        text: &str,
    ) {
        let _ = writeln!(
            self.body,
            r#"<text x="{}" y="{}" font-size="{}" font-weight="{weight}" fill="{ink}" text-anchor="{anchor}">{}</text>"#,
            number(x),
            number(y),
            number(size),
            escape(text)
        );
    }

    /// The finished picture, `height` high.
    pub fn finish(self, height: f64) -> String {
        let (w, h) = (number(self.width), number(height));
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
