//! Charts: axes with ticks, series and labels, drawn by `plotters` in the look of all pictures.
//!
//! A [`Chart`] is a thin layer over a `plotters` chart with two axes of numbers. It is opened on a
//! [`Picture`] at a [`Frame`] and over two ranges; then its axes are drawn, then its series, each in
//! one call with a class, a colour of [`super::palette`] and values in the chart's own units. When
//! it is dropped, all of it stands in the picture. Values outside the ranges are drawn at the edge,
//! and points that are no numbers are left out.
//!
//! ```
//! use headstall::report::look::chart::{Chart, Frame, seconds};
//! use headstall::report::look::palette::{DONE, INK};
//! use headstall::report::look::picture::{Anchor, Picture, Voice};
//!
//! let mut picture = Picture::new("The third minute is louder.", "loudness over time", "");
//! let frame = Frame { left: 110.0, right: 960.0, top: picture.top + 40.0, height: 240.0 };
//! let mut chart = Chart::new(&mut picture, frame, 0.0..180.0, 0.0..1.0);
//! chart.x_axis(&seconds(180.0));
//! chart.y_axis(&|v| format!("{:.0} %", 100.0 * v));
//! chart.band("section", DONE, 120.0..180.0);
//! let loudness = [(0.0, 0.2), (120.0, 0.2), (121.0, 0.8), (180.0, 0.7)];
//! chart.line("loud", INK, 3.0, loudness);
//! chart.label((150.0, 0.9), (0.0, 0.0), Voice::Strong, Anchor::Middle, "louder");
//! drop(chart);
//! let svg = picture.finish(frame.foot() + 60.0);
//! assert!(svg.contains("<path class=\"loud\" d=\"M110 "));
//! ```
//!
//! What has no method here can be drawn with any element of plotters through [`Chart::draw`], with
//! places from [`Chart::inside`] (plotters overflows far outside its ranges); lengths are then in [`UNITS`], see [`stroke`], [`fill`] and [`px`].

use std::cell::RefCell;
use std::ops::Range;
use std::rc::Rc;

use plotters::chart::{ChartBuilder, ChartContext, LabelAreaPosition};
use plotters::coord::cartesian::Cartesian2d;
use plotters::coord::types::RangedCoordf64;
use plotters::element::{
    Drawable, EmptyElement, ErrorBar, PathElement, PointCollection, Polygon, Rectangle, Text,
};
use plotters::prelude::{IntoDrawingArea, IntoFont};
use plotters::series::{AreaSeries, LineSeries};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, RGBColor, ShapeStyle, TRANSPARENT, TextStyle};

use super::canvas::{Canvas, Pen, UNITS};
use super::palette::{CARD, INK_FAINT};
use super::picture::{Anchor, Picture, Voice, WIDTH};

/// Where a chart's plotting area stands in its picture, px. Labels of the upright axis stand to the
/// left of it, those of the level axis in [`AXIS`] pixels below it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Left edge.
    pub left: f64,
    /// Right edge.
    pub right: f64,
    /// Upper edge.
    pub top: f64,
    /// Height.
    pub height: f64,
}

impl Frame {
    /// Lower edge, px.
    pub fn foot(&self) -> f64 {
        self.top + self.height
    }

    /// Width, px.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }
}

/// Height of the level axis' labels below a chart, px.
pub const AXIS: f64 = 44.0;
/// Length of a tick, px.
const TICK: f64 = 8.0;
/// From one label of the upright axis to the next, px at least.
const BETWEEN_ROWS: f64 = 52.0;

type Plane = Cartesian2d<RangedCoordf64, RangedCoordf64>;

/// A chart in a picture.
pub struct Chart<'p> {
    context: ChartContext<'p, Canvas<'p>, Plane>,
    pen: Rc<RefCell<Pen>>,
    frame: Frame,
    x: Range<f64>,
    y: Range<f64>,
}

impl<'p> Chart<'p> {
    /// Opens a chart over these ranges; either may run backwards. A range without length, or with
    /// an end that is no number, is replaced by one of length 1.
    pub fn new(picture: &'p mut Picture, frame: Frame, x: Range<f64>, y: Range<f64>) -> Self {
        let (x, y) = (sound(x), sound(y));
        let (canvas, pen) = Canvas::new(picture, frame.foot() + AXIS);
        let size = (px(frame.right), px(frame.height + AXIS));
        let area = canvas.into_drawing_area().shrink((0, px(frame.top)), size);
        let context = ChartBuilder::on(&area)
            .set_label_area_size(LabelAreaPosition::Left, px(frame.left))
            .set_label_area_size(LabelAreaPosition::Bottom, px(AXIS))
            .build_cartesian_2d(x.clone(), y.clone())
            .expect("a canvas in memory takes all that is drawn");
        Chart {
            context,
            pen,
            frame,
            x,
            y,
        }
    }

    /// Draws the level axis: a line along the foot, ticks at round values, and their labels, as
    /// many as have room.
    pub fn x_axis(&mut self, label: &dyn Fn(f64) -> String) {
        let widest = [self.x.start, self.x.end]
            .map(|v| Voice::Note.width(&label(v)))
            .into_iter()
            .fold(40.0, f64::max);
        let most = (self.frame.width() / (1.1 * widest + 24.0)) as usize;
        let formatter = |value: &f64| label(*value);
        self.set("axis", false);
        self.context
            .configure_mesh()
            .disable_mesh()
            .disable_y_axis()
            .axis_style(stroke(INK_FAINT, 2.0))
            .label_style(voice(Voice::Note, Voice::Note.ink(), HPos::Center))
            .set_tick_mark_size(LabelAreaPosition::Bottom, px(TICK))
            .x_labels(most.clamp(2, 9))
            .y_labels(0)
            .x_label_formatter(&formatter)
            .draw()
            .expect("a canvas in memory takes all that is drawn");
    }

    /// Draws the upright axis: level lines through the chart at round values, their labels left of
    /// it. Before the series, so that they stand above the lines.
    pub fn y_axis(&mut self, label: &dyn Fn(f64) -> String) {
        let most = (self.frame.height / BETWEEN_ROWS) as usize;
        let formatter = |value: &f64| label(*value);
        self.set("axis", false);
        self.context
            .configure_mesh()
            .disable_x_mesh()
            .disable_x_axis()
            .axis_style(TRANSPARENT)
            .bold_line_style(stroke(INK_FAINT, 1.5))
            .light_line_style(TRANSPARENT)
            .label_style(voice(Voice::Note, Voice::Note.ink(), HPos::Right))
            .set_tick_mark_size(LabelAreaPosition::Left, px(TICK))
            .x_labels(0)
            .y_labels(most.clamp(2, 9))
            .y_label_formatter(&formatter)
            .draw()
            .expect("a canvas in memory takes all that is drawn");
    }

    /// A line through these points, `wide` px.
    pub fn line(
        &mut self,
        class: &'static str,
        colour: &str,
        wide: f64,
        points: impl IntoIterator<Item = (f64, f64)>,
    ) {
        let points = self.inside(points);
        self.draw(class, LineSeries::new(points, stroke(colour, wide)));
    }

    /// The same, dashed.
    pub fn dashed(
        &mut self,
        class: &'static str,
        colour: &str,
        wide: f64,
        points: impl IntoIterator<Item = (f64, f64)>,
    ) {
        let path = PathElement::new(self.inside(points), stroke(colour, wide));
        self.set(class, true);
        self.put([path]);
    }

    /// The area between a line and `y = 0`.
    pub fn area(
        &mut self,
        class: &'static str,
        colour: &str,
        points: impl IntoIterator<Item = (f64, f64)>,
    ) {
        let points = self.inside(points);
        let foot = self.inside([(self.x.start, 0.0)])[0].1;
        self.draw(class, AreaSeries::new(points, foot, fill(colour)));
    }

    /// Rectangles, each over a range of x and one of y: the bars of a histogram or of a bar chart.
    pub fn bars(
        &mut self,
        class: &'static str,
        colour: &str,
        bars: impl IntoIterator<Item = (Range<f64>, Range<f64>)>,
    ) {
        let style = fill(colour);
        let bars = bars
            .into_iter()
            .map(|(x, y)| self.inside([(x.start, y.start), (x.end, y.end)]))
            .filter(|corners| corners.len() == 2)
            .map(|corners| Rectangle::new([corners[0], corners[1]], style))
            .collect::<Vec<_>>();
        self.draw(class, bars);
    }

    /// A tint over the chart's whole height, light enough that axes and series show through: a
    /// section of time that is marked.
    pub fn band(&mut self, class: &'static str, colour: &str, x: Range<f64>) {
        let corners = self.inside([(x.start, self.y.start), (x.end, self.y.end)]);
        let tint = rgb(colour).mix(0.35).filled();
        if let [from, to] = corners[..] {
            self.draw(class, [Rectangle::new([from, to], tint)]);
        }
    }

    /// A level line at `y` over the whole width: a threshold, a mean, what would be expected.
    pub fn level(&mut self, class: &'static str, colour: &str, y: f64) {
        self.dashed(class, colour, 3.0, [(self.x.start, y), (self.x.end, y)]);
    }

    /// A confidence interval over x: a bracket from `low` to `high`, a dot at `middle`, on a white
    /// edge that keeps it apart from a bar under it.
    pub fn interval(&mut self, class: &'static str, ink: &str, y: f64, x: [f64; 3]) {
        let [(low, y), (middle, _), (high, _)] = self.inside(x.map(|x| (x, y)))[..] else {
            return;
        };
        let bar = |style: ShapeStyle, wide: f64| {
            ErrorBar::new_horizontal(y, low, middle, high, style, px(wide) as u32)
        };
        self.draw("", [bar(stroke(CARD, 7.0), 9.0)]);
        self.draw(class, [bar(stroke(ink, 2.5).filled(), 9.0)]);
    }

    /// A closed shape through these points.
    pub fn shape(
        &mut self,
        class: &'static str,
        colour: &str,
        points: impl IntoIterator<Item = (f64, f64)>,
    ) {
        let points = self.inside(points);
        self.draw(class, [Polygon::new(points, fill(colour))]);
    }

    /// A text at a place of the chart, moved by this many px right and down from it; its middle is
    /// at that height.
    pub fn label(
        &mut self,
        at: (f64, f64),
        by_px: (f64, f64),
        voice: Voice,
        anchor: Anchor,
        text: &str,
    ) {
        self.label_in(voice.ink(), at, by_px, voice, anchor, text);
    }

    /// The same in this ink.
    pub fn label_in(
        &mut self,
        ink: &str,
        at: (f64, f64),
        by_px: (f64, f64),
        of: Voice,
        anchor: Anchor,
        text: &str,
    ) {
        let side = [HPos::Left, HPos::Center, HPos::Right][anchor as usize];
        let style = voice(of, ink, side).pos(Pos::new(side, VPos::Center));
        let by = (px(by_px.0), px(by_px.1));
        let text = Text::new(text.to_string(), by, style);
        if let [at] = self.inside([at])[..] {
            self.draw("", [EmptyElement::at(at) + text]);
        }
    }

    /// How many px a length along x takes.
    pub fn px_along_x(&self, length: f64) -> f64 {
        self.frame.width() * (length / (self.x.end - self.x.start)).abs()
    }

    /// These points without those that are no numbers, moved to the nearest within the ranges.
    pub fn inside(&self, points: impl IntoIterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
        let within = |v: f64, range: &Range<f64>| {
            let (low, high) = (range.start.min(range.end), range.start.max(range.end));
            v.clamp(low, high)
        };
        points
            .into_iter()
            .filter(|(x, y)| !x.is_nan() && !y.is_nan())
            .map(|(x, y)| (within(x, &self.x), within(y, &self.y)))
            .collect()
    }

    /// Draws any elements of plotters, with this class.
    pub fn draw<E>(&mut self, class: &'static str, elements: impl IntoIterator<Item = E>)
    where
        for<'b> &'b E: PointCollection<'b, (f64, f64)>,
        E: Drawable<Canvas<'p>>,
    {
        self.set(class, false);
        self.put(elements);
    }

    fn set(&mut self, class: &'static str, dashed: bool) {
        *self.pen.borrow_mut() = Pen { class, dashed };
    }

    fn put<E>(&mut self, elements: impl IntoIterator<Item = E>)
    where
        for<'b> &'b E: PointCollection<'b, (f64, f64)>,
        E: Drawable<Canvas<'p>>,
    {
        self.context
            .draw_series(elements)
            .expect("a canvas in memory takes all that is drawn");
    }
}

/// A range with a length that plotters can find ticks in.
fn sound(range: Range<f64>) -> Range<f64> {
    let least = 1e-9 * range.start.abs().max(range.end.abs()).max(1e-3);
    if (range.end - range.start).abs() > least && (range.end - range.start).is_finite() {
        range
    } else if range.start.is_finite() && range.start.abs() < 1e9 {
        range.start..range.start + 1.0
    } else {
        0.0..1.0
    }
}

/// A length of the picture in plotters' units.
pub fn px(pixels: f64) -> i32 {
    (pixels.clamp(-10.0 * WIDTH, 100.0 * WIDTH) * UNITS).round() as i32
}

/// A colour of the palette as plotters knows it.
pub fn rgb(colour: &str) -> RGBColor {
    let part = |from: usize| {
        let digits = colour.get(from..from + 2).unwrap_or("00");
        u8::from_str_radix(digits, 16).unwrap_or(0)
    };
    RGBColor(part(1), part(3), part(5))
}

/// A line of this colour and width, px.
pub fn stroke(colour: &str, wide_px: f64) -> ShapeStyle {
    rgb(colour).stroke_width(px(wide_px) as u32)
}

/// An area of this colour.
pub fn fill(colour: &str) -> ShapeStyle {
    rgb(colour).filled()
}

fn voice(voice: Voice, ink: &str, side: HPos) -> TextStyle<'static> {
    let style = if voice.is_bold() { "bold" } else { "normal" };
    let font = ("sans-serif", voice.size() * UNITS, style).into_font();
    let mut style = TextStyle::from(font).pos(Pos::new(side, VPos::Top));
    style.color = rgb(ink).to_backend_color();
    style
}

/// Labels for an axis of time that spans so many seconds: all in one unit, `0` without it.
pub fn seconds(span_s: f64) -> impl Fn(f64) -> String {
    let (unit_s, unit) = match span_s.abs() {
        s if s <= 2.0 => (1e-3, "ms"),
        s if s <= 240.0 => (1.0, "s"),
        s if s <= 14_400.0 => (60.0, "min"),
        _ => (3600.0, "h"),
    };
    let plain = plain(span_s / unit_s);
    move |s| match plain(s / unit_s) {
        zero if zero == "0" => zero,
        value => format!("{value} {unit}"),
    }
}

/// Labels for an axis of numbers that spans so much: with as many decimals as its ticks need, none
/// idle.
pub fn plain(span: f64) -> impl Fn(f64) -> String {
    let decimals = (-(span.abs() / 10.0).log10()).ceil().clamp(0.0, 9.0) as usize;
    move |value| {
        let text = format!("{value:.decimals$}");
        let text = match text.contains('.') {
            true => text.trim_end_matches('0').trim_end_matches('.'),
            false => &text,
        };
        if text == "-0" {
            "0".to_string()
        } else {
            text.to_string()
        }
    }
}
