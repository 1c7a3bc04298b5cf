//! The parts on a plate.

use std::collections::BTreeMap;

use super::ground::Ground;

/// A part: what hangs together, from its first layer to its last.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its letter: `A` is the first from the left; after `Z` come `AA`, `AB`.
    pub letter: String,
    /// The least x, y and z of its beads' middle lines, mm.
    pub low_mm: [f64; 3],
    /// The greatest, mm.
    pub high_mm: [f64; 3],
    /// Its first layer, from 0.
    pub first_layer: u32,
    /// Its last layer.
    pub last_layer: u32,
    /// Its outer wall: length of the beads that face outside times the layer's height, mm².
    pub outer_mm2: f64,
}

/// The letter of a part, from 0.
fn letter(mut part: usize) -> String {
    let mut letters = Vec::new();
    loop {
        letters.push(char::from(b'A' + (part % 26) as u8));
        let Some(next) = (part / 26).checked_sub(1) else {
            break;
        };
        part = next;
    }
    letters.iter().rev().collect()
}

/// The parts that these columns are, from left to right, and each column's place among them.
pub(super) fn parts(columns: &[u32], ground: &mut Ground) -> (Vec<Part>, BTreeMap<u32, usize>) {
    let mut all: Vec<(u32, Part)> = columns
        .iter()
        .map(|root| {
            let column = *ground.column(*root);
            let part = Part {
                letter: String::new(),
                low_mm: column.low_mm,
                high_mm: column.high_mm,
                first_layer: column.first_layer,
                last_layer: column.last_layer,
                outer_mm2: column.outer_mm2,
            };
            (*root, part)
        })
        .collect();
    all.sort_by(|(_, a), (_, b)| {
        let by = |k: usize| a.low_mm[k].total_cmp(&b.low_mm[k]);
        by(0).then(by(1)).then(by(2))
    });
    let of = all.iter().enumerate().map(|(k, (root, _))| (*root, k));
    let of = of.collect();
    let named = all.into_iter().enumerate().map(|(k, (_, part))| Part {
        letter: letter(k),
        ..part
    });
    (named.collect(), of)
}

#[cfg(test)]
mod tests {
    use super::letter;

    #[test]
    fn letters_go_on_after_z() {
        let some = [0, 25, 26, 27, 51, 52, 701, 702].map(letter);
        assert_eq!(some, ["A", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA"]);
    }
}
