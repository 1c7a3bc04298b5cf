//! Decimal numbers as a job holds them: as few decimals as are worth their bytes, and rounding errors that
//! are carried on to the next number in place of adding up.

/// Decimals of a coordinate in millimetres: its rounding error is at most 0.0005 mm.
pub const PLACE_DECIMALS: usize = 3;
/// Decimals of a length of filament in millimetres: its rounding error is at most 5e-6 mm.
pub const FILAMENT_DECIMALS: usize = 5;
/// An inch has 25.4 mm: numbers in inches need two decimals more for the same step.
pub const INCH_DECIMALS: usize = 2;
/// Millimetres in an inch.
pub const MM_PER_INCH: f64 = 25.4;
/// Decimals of a feed, in units per minute.
pub const FEED_DECIMALS: usize = 1;

/// The number with at most `decimals` decimals, without zeros that say nothing.
pub fn text(value: f64, decimals: usize) -> String {
    let mut text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".to_string() } else { text }
}

/// How many digits stand behind the point of a number as it is written.
pub fn decimals(number: &str) -> usize {
    number.split_once('.').map_or(0, |(_, behind)| {
        behind.bytes().filter(u8::is_ascii_digit).count()
    })
}

/// The number in fewer bytes: without zeros that say nothing, and rounded to `most` decimals.
pub fn shortened(number: &str, most: usize) -> String {
    match number.parse::<f64>() {
        Ok(value) => {
            let short = text(value, most.min(decimals(number)));
            if short.len() < number.len() {
                short
            } else {
                number.to_string()
            }
        }
        Err(_) => number.to_string(),
    }
}

/// What rounding has left out so far; it goes into the next number.
#[derive(Clone, Copy, Debug, Default)]
pub struct Carry {
    left: f64,
}

impl Carry {
    /// The number, with what was left out before, at `decimals` decimals.
    pub fn text(&mut self, value: f64, decimals: usize) -> String {
        let wanted = value + self.left;
        let text = text(wanted, decimals);
        let written: f64 = text.parse().unwrap_or(wanted);
        self.left = wanted - written;
        text
    }

    /// From here on numbers are in another unit, of which one of before has so many.
    pub fn rescale(&mut self, units: f64) {
        self.left *= units;
    }

    /// What is still left out.
    pub fn left(&self) -> f64 {
        self.left
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zeros_that_say_nothing_go() {
        assert_eq!(text(1.2300, 4), "1.23");
        assert_eq!(text(-0.00001, 3), "0");
        assert_eq!(text(120.0, 3), "120");
        assert_eq!(shortened("10.500", 3), "10.5");
        assert_eq!(shortened("-0.1234567", 5), "-0.12346");
        assert_eq!(shortened("7", 3), "7");
        assert_eq!(shortened(".5", 3), ".5");
    }

    #[test]
    fn what_rounding_leaves_out_is_not_lost() {
        let mut carry = Carry::default();
        let third = 1.0 / 3.0;
        let sum: f64 = (0..3000)
            .map(|_| carry.text(third, 3).parse::<f64>().unwrap())
            .sum();
        assert!((sum - 1000.0).abs() < 1e-3, "{sum}");
        assert!(carry.left().abs() <= 0.0005 + 1e-9);
    }
}
