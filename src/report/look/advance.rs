//! How wide a text is, without asking any system for its fonts.

/// Advance widths of the printable ASCII characters, from the blank on, in thousandths of the type
/// size: those of the fonts in `font/`, a wide face, so that most systems need less room. Taken
/// from the fonts' `hmtx` tables; a test below holds them against what `resvg` lays out.
const REGULAR: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636,
    636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632,
    575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685,
    611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579,
    278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];

/// The same of the bold face.
const BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696,
    696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683,
    683, 821, 837, 372, 372, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771,
    724, 725, 457, 365, 457, 838, 500, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665,
    343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
];

/// All other characters are counted as this wide: few letters are wider.
const OTHER: [f64; 2] = [0.72, 0.80];

/// The width of a text, in the unit of its type size.
pub fn width(text: &str, size: f64, bold: bool) -> f64 {
    let (table, other) = if bold {
        (&BOLD, OTHER[1])
    } else {
        (&REGULAR, OTHER[0])
    };
    let em = |c: char| {
        let place = (c as usize).wrapping_sub(' ' as usize);
        table
            .get(place)
            .map_or(other, |thousandths| f64::from(*thousandths) / 1e3)
    };
    size * text.chars().map(em).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::width;
    use crate::report::look::png::laid_out_width;

    /// Against the layout engine of `resvg`, with the same fonts and no kerning.
    #[test]
    fn widths_are_those_of_the_layout_engine() {
        for (bold, weight) in [(false, 400), (true, 700)] {
            for text in [
                "0123456789",
                "Head, mm/s",
                "layer 12: 84 ms",
                "WMwm@%|il.",
                "still 0.4 s",
            ] {
                let found = width(text, 100.0, bold);
                let expected = laid_out_width(text, 100.0, weight);
                assert!(
                    (found - expected).abs() < 0.002 * expected,
                    "{text}: {found} against {expected}"
                );
            }
        }
    }
}
