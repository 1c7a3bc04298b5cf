//! Numbers as people read them.

/// A time: `0.42 s`, `71 s`, `3 min 12 s`, `2 h 14 min`.
pub fn time(s: f64) -> String {
    // Less is what rounding leaves.
    if s.abs() < 1e-6 {
        return "0 s".to_string();
    }
    if s < 0.0 {
        return format!("-{}", time(-s));
    }
    if s < 0.0995 {
        return format!("{:.0} ms", (s * 1e3).max(1.0));
    }
    if s < 9.95 {
        return format!("{s:.1} s");
    }
    let whole = s.round() as u64;
    match whole {
        0..=119 => format!("{whole} s"),
        120..=7199 => format!("{} min {} s", whole / 60, whole % 60),
        _ => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
    }
}

/// A share, in per cent: `73 %`, `0.4 %`.
pub fn share(part: f64) -> String {
    let percent = part * 100.0;
    if percent == 0.0 {
        "0 %".to_string()
    } else if percent.abs() < 0.095 {
        "under 0.1 %".to_string()
    } else if percent.abs() < 9.95 {
        format!("{percent:.1} %")
    } else {
        format!("{percent:.0} %")
    }
}

/// A count with its noun: `1 stall`, `412 stalls`.
pub fn count(n: u64, noun: &str) -> String {
    if n == 1 {
        format!("1 {noun}")
    } else {
        format!("{n} {noun}s")
    }
}

/// A rate of bytes: `850 B/s`, `12.3 kB/s`.
pub fn byte_rate(bytes_per_s: f64) -> String {
    if bytes_per_s < 1000.0 {
        format!("{bytes_per_s:.0} B/s")
    } else {
        format!("{:.1} kB/s", bytes_per_s / 1e3)
    }
}

/// A rate or a density, with two significant digits: `8.2`, `41`, `410`, `4100`.
pub fn rate(of: f64) -> String {
    if of < 9.95 {
        return format!("{of:.1}");
    }
    let step = 10_f64.powf((of.log10() - 1.0).floor().max(0.0));
    format!("{:.0}", (of / step).round() * step)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_have_two_digits() {
        for (of, text) in [
            (0.0, "0.0"),
            (9.94, "9.9"),
            (9.96, "10"),
            (99.6, "100"),
            (861.2, "860"),
            (996.0, "1000"),
            (4149.0, "4100"),
        ] {
            assert_eq!(rate(of), text);
        }
    }

    #[test]
    fn times_read_well() {
        for (s, text) in [
            (0.0, "0 s"),
            (-1e-13, "0 s"),
            (-0.0004, "-1 ms"),
            (0.0004, "1 ms"),
            (0.042, "42 ms"),
            (0.42, "0.4 s"),
            (9.96, "10 s"),
            (71.2, "71 s"),
            (119.6, "2 min 0 s"),
            (192.0, "3 min 12 s"),
            (8040.0, "2 h 14 min"),
        ] {
            assert_eq!(time(s), text);
        }
    }
}
