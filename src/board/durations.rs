//! Durations of a board file: a number or a draw in the key's unit, made into seconds.

use super::error::BoardError;
use super::keys::{Range, Short, Table};
use super::tree::{Node, Value};
use super::types::Span;

/// Longest duration, s.
pub(super) const TIME_S_MAX: f64 = 1e6;

/// Most that a draw's p99 may be above its median, as a factor.
const SPREAD_MAX: f64 = 1e6;

impl Table<'_> {
    /// A fixed duration, s. The key's suffix gives the unit in the file.
    pub fn time(&self, key: &str) -> Result<Option<f64>, BoardError> {
        let (scale, range) = time_unit(key);
        if matches!(
            self.entries.get(key),
            Some(Node {
                value: Value::Table(_),
                ..
            })
        ) {
            return Err(self.wrong(key, &format!("must be {range}; it cannot be drawn")));
        }
        Ok(self.number(key, range)?.map(|x| x * scale))
    }

    /// A duration that is fixed or drawn, s. The key's suffix gives the unit in the file.
    pub fn span(&self, key: &str) -> Result<Option<Span>, BoardError> {
        let (scale, range) = time_unit(key);
        let Some(node) = self.entries.get(key) else {
            return Ok(None);
        };
        let any =
            format!("must be {range}, or a draw: {{ min, max }}, {{ mean }} or {{ median, p99 }}");
        let entries = match &node.value {
            Value::Number(_) => {
                return Ok(self.number(key, range)?.map(|x| Span::Fixed(x * scale)));
            }
            Value::Table(entries) => entries,
            _ => return Err(self.wrong(key, &any)),
        };
        let draw = Table {
            source: self.source,
            path: self.key(key),
            at: node.at,
            entries,
        };
        let names: Vec<&str> = entries.keys().map(String::as_str).collect();
        let number = |name: &str| draw.needed(name, draw.number(name, range)?);
        Ok(Some(match names.as_slice() {
            ["max", "min"] => {
                let (min, max) = (number("min")?, number("max")?);
                if min > max {
                    return Err(
                        draw.wrong("max", &format!("must be at least min = {}", Short(min)))
                    );
                }
                Span::Uniform {
                    min: min * scale,
                    max: max * scale,
                }
            }
            ["mean"] => Span::Exponential {
                mean: number("mean")? * scale,
            },
            ["median", "p99"] => {
                let (median, p99) = (number("median")?, number("p99")?);
                if median <= 0.0 {
                    return Err(draw.wrong("median", "must be greater than 0"));
                }
                if !(1.0..=SPREAD_MAX).contains(&(p99 / median)) {
                    let (most, median) = (Short(SPREAD_MAX), Short(median));
                    let why = format!("must be from 1 to {most} times the median = {median}");
                    return Err(draw.wrong("p99", &why));
                }
                Span::Lognormal {
                    median: median * scale,
                    p99: p99 * scale,
                }
            }
            _ => return Err(self.wrong(key, &any)),
        }))
    }
}

/// What one of the key's unit is in seconds, and the range in that unit.
fn time_unit(key: &str) -> (f64, Range) {
    let (scale, unit, per_s) = if key.ends_with("us") {
        (1e-6, "us", 1e6)
    } else if key.ends_with("ms") {
        (1e-3, "ms", 1e3)
    } else {
        (1.0, "s", 1.0)
    };
    (scale, Range::new(0.0, TIME_S_MAX * per_s, unit))
}
