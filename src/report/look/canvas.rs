//! A [`Picture`] as something that `plotters` can draw on.
//!
//! Plotters counts in whole units. Here a pixel of the picture has [`UNITS`] of them, so that
//! nothing is rounded visibly; what is written has one decimal. Shapes that follow each other in
//! one style become one `<path>`. Text stays text: its size and weight are those of a
//! [`super::picture::Voice`], its width is estimated from a table, and no font is asked for. All text
//! of a chart stands above its shapes, and a text that would run over the card's margin is moved
//! inside.

use std::cell::RefCell;
use std::convert::Infallible;
use std::fmt::Write;
use std::rc::Rc;

use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontStyle,
};

use super::advance;
use super::palette;
use super::picture::{Anchor, MARGIN, Picture, WIDTH, number};
use crate::study::thin::thin;

/// Plotters' units in a pixel of the picture.
pub const UNITS: f64 = 100.0;
/// Points of a line that lie so near to it are left out, px.
const FLAT: f64 = 0.3;
/// Height of a digit over the size of the type.
const DIGIT: f64 = 0.73;

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// What plotters has no word for: it holds for all that is drawn until it is changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Pen {
    /// The `class` of the elements; empty: none.
    pub class: &'static str,
    /// Lines are dashed.
    pub dashed: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Style {
    pen: Pen,
    rgb: (u8, u8, u8),
    alpha: f64,
    /// Width of the line, units; none: an area.
    line: Option<u32>,
}

/// A picture as a backend of plotters; what is drawn is in the picture when the canvas is dropped.
pub struct Canvas<'p> {
    picture: &'p mut Picture,
    height: f64,
    pen: Rc<RefCell<Pen>>,
    /// Shapes of one style that are not in the picture yet.
    waiting: Option<(Style, String)>,
    /// Texts, which are added when all shapes are drawn.
    texts: Vec<Said>,
}

struct Said {
    at: (f64, f64),
    size: f64,
    bold: bool,
    ink: String,
    anchor: Anchor,
    text: String,
}

impl<'p> Canvas<'p> {
    /// The uppermost `height` pixels of a picture, and the pen that draws.
    pub fn new(picture: &'p mut Picture, height: f64) -> (Self, Rc<RefCell<Pen>>) {
        let pen = Rc::new(RefCell::new(Pen::default()));
        let canvas = Canvas {
            picture,
            height,
            pen: Rc::clone(&pen),
            waiting: None,
            texts: Vec::new(),
        };
        (canvas, pen)
    }

    fn shape(&mut self, colour: BackendColor, line: Option<u32>, shape: &str) {
        if colour.alpha <= 0.0 || shape.is_empty() {
            return;
        }
        let style = Style {
            pen: *self.pen.borrow(),
            rgb: colour.rgb,
            alpha: colour.alpha,
            line,
        };
        match &mut self.waiting {
            Some((same, path)) if *same == style => path.push_str(shape),
            _ => {
                self.flush();
                self.waiting = Some((style, shape.to_string()));
            }
        }
    }

    fn flush(&mut self) {
        if let Some((style, path)) = self.waiting.take() {
            let drawn = format!("<path{} d=\"{path}\"{}/>", class(style.pen), paint(&style));
            self.picture.add(&drawn);
        }
    }
}

impl Drop for Canvas<'_> {
    fn drop(&mut self) {
        self.flush();
        for t in &self.texts {
            self.picture
                .type_set(t.at, t.size, t.bold, &t.ink, t.anchor, &t.text);
        }
    }
}

fn class(pen: Pen) -> String {
    match pen.class {
        "" => String::new(),
        name => format!(" class=\"{name}\""),
    }
}

/// How it is filled or stroked, as attributes.
fn paint(style: &Style) -> String {
    let (r, g, b) = style.rgb;
    let colour = palette::hex([r, g, b]);
    let (kind, mut more) = match style.line {
        None => ("fill", String::new()),
        Some(units) => {
            let wide = number(f64::from(units) / UNITS);
            let dashes = if style.pen.dashed {
                " stroke-dasharray=\"9 6\""
            } else {
                ""
            };
            let more = format!(" stroke-width=\"{wide}\"{dashes} fill=\"none\"");
            ("stroke", more)
        }
    };
    if style.alpha < 1.0 {
        let _ = write!(more, " {kind}-opacity=\"{}\"", number(style.alpha));
    }
    format!(" {kind}=\"{colour}\"{more}")
}

fn pixels(units: i32) -> f64 {
    f64::from(units) / UNITS
}

/// A place, px with one decimal.
fn place(px: f64) -> String {
    number((px * 10.0).round() / 10.0)
}

/// A line through these points.
fn polyline(points: impl IntoIterator<Item = BackendCoord>) -> String {
    let points: Vec<(f64, f64)> = points
        .into_iter()
        .map(|(x, y)| (pixels(x), pixels(y)))
        .collect();
    let mut path = String::new();
    if points.len() < 2 {
        return path;
    }
    let mut before: Option<(String, String)> = None;
    for (x, y) in thin(&points, FLAT) {
        let (x, y) = (place(x), place(y));
        let _ = match &before {
            None => write!(path, "M{x} {y}"),
            Some(before) if *before == (x.clone(), y.clone()) => continue,
            Some((_, level)) if *level == y => write!(path, "H{x}"),
            Some((upright, _)) if *upright == x => write!(path, "V{y}"),
            Some(_) => write!(path, "L{x} {y}"),
        };
        before = Some((x, y));
    }
    path
}

impl DrawingBackend for Canvas<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        ((WIDTH * UNITS) as u32, (self.height * UNITS) as u32)
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        self.flush();
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, colour: BackendColor) -> Drawn {
        self.draw_rect((x, y), (x + 1, y + 1), &colour, true)
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let (left, right) = (pixels(from.0.min(to.0)), pixels(from.0.max(to.0)));
        let (top, bottom) = (pixels(from.1.min(to.1)), pixels(from.1.max(to.1)));
        let line = (!fill).then(|| style.stroke_width());
        let (left, right) = (place(left), place(right));
        let shape = format!("M{left} {}H{right}V{}H{left}z", place(top), place(bottom));
        self.shape(style.color(), line, &shape);
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        self.shape(style.color(), Some(style.stroke_width()), &polyline(path));
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        (x, y): BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let r = place(f64::from(radius) / UNITS);
        let left = place(pixels(x) - f64::from(radius) / UNITS);
        let across = place(2.0 * f64::from(radius) / UNITS);
        let y = place(pixels(y));
        let line = (!fill).then(|| style.stroke_width());
        let shape = format!("M{left} {y}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0z");
        self.shape(style.color(), line, &shape);
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Drawn {
        let mut shape = polyline(corners);
        if !shape.is_empty() {
            shape.push('z');
        }
        self.shape(style.color(), None, &shape);
        Ok(())
    }

    fn draw_text<T: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &T,
        (x, y): BackendCoord,
    ) -> Drawn {
        if text.is_empty() {
            return Ok(());
        }
        let size = style.size() / UNITS;
        let bold = matches!(style.style(), FontStyle::Bold);
        let (r, g, b) = style.color().rgb;
        let wide = advance::width(text, size, bold);
        let (anchor, before) = match style.anchor().h_pos {
            HPos::Left => (Anchor::Start, 0.0),
            HPos::Center => (Anchor::Middle, wide / 2.0),
            HPos::Right => (Anchor::End, wide),
        };
        let rightmost = WIDTH - MARGIN - wide + before;
        let x = pixels(x).min(rightmost).max(MARGIN + before);
        let down = match style.anchor().v_pos {
            VPos::Top => DIGIT * size,
            VPos::Center => DIGIT * size / 2.0,
            VPos::Bottom => 0.0,
        };
        self.texts.push(Said {
            at: ((x * 10.0).round() / 10.0, (pixels(y) + down).round()),
            size,
            bold,
            ink: palette::hex([r, g, b]),
            anchor,
            text: text.to_string(),
        });
        Ok(())
    }

    fn estimate_text_size<T: BackendTextStyle>(
        &self,
        text: &str,
        style: &T,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        let bold = matches!(style.style(), FontStyle::Bold);
        let wide = advance::width(text, style.size(), bold);
        Ok((wide.ceil() as u32, (DIGIT * style.size()).ceil() as u32))
    }
}
