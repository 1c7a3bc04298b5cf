//! `times.csv`: what was measured, section by section (RFC 4180).
//!
//! Columns `section` (from 1) and `seconds`, from the first movement to the last standstill; if wanted `sigma_s`,
//! the reading's standard deviation, and `run` (from 1), where the coupon was run and timed several times. Other
//! columns are ignored, and so are rows without seconds.

use super::problem::Reading;

/// Fewest sections that a board can be fitted to.
pub const SECTIONS_MIN: usize = 6;
/// Most sections of a coupon.
pub const SECTIONS_MAX: usize = 1000;
/// Most readings of a list: the walkers weigh each of them some two million times.
const READINGS_MAX: usize = 2000;
/// Longest reading, s.
const SECONDS_MAX: f64 = 36_000.0;
/// Least and greatest standard deviation of a reading, s.
const SIGMA_S: [f64; 2] = [0.001, 60.0];
/// Most runs of one coupon.
const RUNS_MAX: usize = 100;

/// Reads the times of a coupon of `sections` sections; `sigma_s` stands where a row gives none.
///
/// The error names the file, the line, the value and what is allowed.
pub fn read(text: &str, file: &str, sections: usize, sigma_s: f64) -> Result<Vec<Reading>, String> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut table = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let header = table
        .headers()
        .map_err(|e| format!("{file}:1: {e}"))?
        .clone();
    let column = |name: &str| header.iter().position(|h| h.eq_ignore_ascii_case(name));
    let (Some(of_section), Some(of_seconds)) = (column("section"), column("seconds")) else {
        let found: Vec<&str> = header.iter().take(6).collect();
        return Err(format!(
            "{file}:1: the header line must name the columns section and seconds, separated by a comma; found `{}`",
            found.join(",").escape_debug()
        ));
    };
    let (of_sigma, of_run) = (column("sigma_s"), column("run"));
    let mut readings: Vec<(Reading, u64)> = Vec::new();
    for row in table.records() {
        let row = row.map_err(|e| {
            let line = e.position().map_or(0, csv::Position::line);
            format!("{file}:{line}: is not CSV: {e}")
        })?;
        let line = row.position().map_or(0, csv::Position::line);
        let cell =
            |column: Option<usize>| column.and_then(|c| row.get(c)).filter(|c| !c.is_empty());
        let Some(seconds) = cell(Some(of_seconds)) else {
            continue;
        };
        let cells = Cells { file, line };
        let section = cells.whole("section", cell(Some(of_section)).unwrap_or(""), sections)?;
        let run = cell(of_run).map_or(Ok(1), |run| cells.whole("run", run, RUNS_MAX))?;
        let seconds = cells.number("seconds", seconds, [0.01, SECONDS_MAX])?;
        let sigma_s =
            cell(of_sigma).map_or(Ok(sigma_s), |s| cells.number("sigma_s", s, SIGMA_S))?;
        let reading = Reading {
            section: section - 1,
            seconds,
            sigma_s,
            run: run - 1,
        };
        let same = |r: &Reading| (r.section, r.run) == (reading.section, reading.run);
        if let Some((_, first)) = readings.iter().find(|(r, _)| same(r)) {
            let hint = if of_run.is_some() {
                format!(" for run {run}")
            } else {
                "; to hand in several runs, add a column `run`".to_string()
            };
            return Err(format!(
                "{file}:{line}: section {section} stands twice (first in line {first}){hint}"
            ));
        }
        if readings.len() == READINGS_MAX {
            return Err(format!(
                "{file}:{line}: has more than {READINGS_MAX} times; leave out some sections or runs"
            ));
        }
        readings.push((reading, line));
    }
    let readings: Vec<Reading> = readings.into_iter().map(|(r, _)| r).collect();
    enough(&readings).map_err(|why| format!("{file}: {why}"))?;
    Ok(readings)
}

/// Checks that there are enough sections to fit a board to.
pub fn enough(readings: &[Reading]) -> Result<(), String> {
    let mut sections: Vec<usize> = readings.iter().map(|r| r.section).collect();
    sections.sort_unstable();
    sections.dedup();
    if sections.len() >= SECTIONS_MIN {
        return Ok(());
    }
    Err(format!(
        "has times of {} sections; at least {SECTIONS_MIN} are needed",
        sections.len()
    ))
}

/// Readings as `times.csv`, each with its section's name.
pub fn write(readings: &[Reading], names: &[String]) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    let _ = table.write_record(["section", "seconds", "sigma_s", "note"]);
    for reading in readings {
        let name = names.get(reading.section).map_or("", String::as_str);
        let _ = table.write_record([
            &(reading.section + 1).to_string(),
            &format!("{:.3}", reading.seconds),
            &format!("{:.3}", reading.sigma_s),
            name,
        ]);
    }
    // Memory takes all that is written to it.
    String::from_utf8(table.into_inner().unwrap_or_default()).unwrap_or_default()
}

/// Where a cell stands, for messages.
struct Cells<'a> {
    file: &'a str,
    line: u64,
}

impl Cells<'_> {
    fn whole(&self, name: &str, text: &str, most: usize) -> Result<usize, String> {
        let number = text.parse().ok().filter(|n| (1..=most).contains(n));
        number.ok_or_else(|| self.wrong(name, text, &format!("a whole number from 1 to {most}")))
    }

    fn number(&self, name: &str, text: &str, [low, high]: [f64; 2]) -> Result<f64, String> {
        let number = text.parse().ok().filter(|n| (low..=high).contains(n));
        number.ok_or_else(|| {
            self.wrong(
                name,
                text,
                &format!("a number of seconds from {low} to {high}, with a decimal point"),
            )
        })
    }

    fn wrong(&self, name: &str, text: &str, must: &str) -> String {
        let text: String = text.chars().take(40).collect();
        format!(
            "{}:{}: {name} = `{}`: must be {must}",
            self.file,
            self.line,
            text.escape_debug()
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROWS: &str = "1,5.0\n2,6\n3,7\n4,8\n5,9\n6,10\n";

    #[test]
    fn columns_may_be_missing_or_more() {
        let read = |text: &str| read(text, "t.csv", 20, 0.15);
        let plain = read(&format!("section,seconds\n{ROWS}7,\n")).unwrap();
        assert_eq!(plain.len(), 6);
        assert!((plain[1].seconds - 6.0).abs() < 1e-12 && (plain[1].sigma_s - 0.15).abs() < 1e-12);
        let more = read(&format!(
            "\u{feff}note,section,seconds,sigma_s,run\n,1,5.5,0.02,2\n{}",
            ROWS.replace('\n', ",,\n")
                .replace("1,", ",1,")
                .replace("\n2", "\n,2")
                .replace("\n3", "\n,3")
                .replace("\n4", "\n,4")
                .replace("\n5", "\n,5")
                .replace("\n6", "\n,6")
        ))
        .unwrap();
        assert_eq!((more[0].run, more[0].section, more.len()), (1, 0, 7));
    }

    #[test]
    fn mistakes_are_named() {
        let wrong = |text: &str, why: &str| {
            let error = read(text, "t.csv", 20, 0.15).unwrap_err();
            assert!(error.contains(why), "{error}");
        };
        wrong("", "t.csv:1: the header line must name");
        wrong(
            "section;seconds\n1;2\n",
            "t.csv:1: the header line must name",
        );
        wrong(
            &format!("section,seconds\n{ROWS}21,5\n"),
            "t.csv:8: section = `21`: must be a whole number from 1 to 20",
        );
        wrong(
            &format!("section,seconds\n{ROWS}7,abc\n"),
            "t.csv:8: seconds = `abc`: must be a number",
        );
        wrong(
            &format!("section,seconds\n{ROWS}7,NaN\n"),
            "t.csv:8: seconds = `NaN`",
        );
        wrong(
            &format!("section,seconds\n{ROWS}3,5\n"),
            "t.csv:8: section 3 stands twice (first in line 4)",
        );
        wrong(
            "section,seconds\n1,2\n",
            "has times of 1 sections; at least 6",
        );
        wrong(
            &format!("section,seconds,sigma_s\n{}7,1,0\n", ROWS),
            "sigma_s = `0`",
        );
    }

    #[test]
    fn what_is_written_can_be_read() {
        let readings = read(&format!("section,seconds\n{ROWS}"), "t.csv", 20, 0.15).unwrap();
        let names: Vec<String> = (0..20).map(|k| format!("name, {k}")).collect();
        assert_eq!(
            read(&write(&readings, &names), "u.csv", 20, 9.0).unwrap(),
            readings
        );
    }
}
