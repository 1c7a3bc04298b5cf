//! A picture as PNG, drawn with a built-in font, so that every machine gives the same bytes.

use std::sync::Arc;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::Database;
use resvg::usvg::{Options, Tree};

/// Width of every PNG, px.
pub const PNG_WIDTH: u32 = 1600;

const REGULAR: &[u8] = include_bytes!("font/regular.ttf");
const BOLD: &[u8] = include_bytes!("font/bold.ttf");

/// Whether the font has this character: its subset is stated in `font/LICENSE`.
fn has(c: char) -> bool {
    matches!(
        c,
        '\n' | ' '..='~' | '\u{a0}'..='\u{24f}' | '\u{370}'..='\u{3ff}' | '\u{400}'..='\u{45f}'
            | '\u{2010}'..='\u{2026}' | '‰' | '′' | '″' | '€' | '←'..='↓' | '−'
    )
}

fn with_own_type() -> Options<'static> {
    let mut fonts = Database::new();
    for font in [REGULAR, BOLD] {
        fonts.load_font_data(font.to_vec());
    }
    Options {
        font_family: "DejaVu Sans".to_string(),
        fontdb: Arc::new(fonts),
        ..Options::default()
    }
}

/// Draws an SVG of ours; the error says what is wrong with it.
pub fn png(svg: &str) -> Result<Vec<u8>, String> {
    // What the font lacks is shown as lacking, not left out.
    let svg: String = svg
        .chars()
        .map(|c| if has(c) { c } else { '\u{fffd}' })
        .collect();
    let tree = Tree::from_str(&svg, &with_own_type()).map_err(|e| e.to_string())?;
    let scale = PNG_WIDTH as f32 / tree.size().width();
    let height = (tree.size().height() * scale).ceil().max(1.0) as u32;
    let mut picture = Pixmap::new(PNG_WIDTH, height).ok_or("it is too large")?;
    resvg::render(
        &tree,
        Transform::from_scale(scale, scale),
        &mut picture.as_mut(),
    );
    picture.encode_png().map_err(|e| e.to_string())
}

/// How wide the layout engine sets this text, px.
#[cfg(test)]
pub(super) fn laid_out_width(text: &str, size: f64, weight: u32) -> f64 {
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='2000' height='200'>\
         <text x='0' y='100' font-size='{size}' font-weight='{weight}' \
         style='font-kerning:none'>{text}</text></svg>"
    );
    let tree = Tree::from_str(&svg, &with_own_type()).expect("a text is an SVG");
    f64::from(tree.root().children()[0].bounding_box().width())
}
