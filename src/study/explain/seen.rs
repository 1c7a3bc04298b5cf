//! `SEEN.csv`: the bumps that somebody saw, one a line.

/// How high a bump sits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Height {
    /// Over the bed, mm.
    Mm(f64),
    /// The layer, counted from 0.
    Layer(u32),
}

/// Where around the part a bump sits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Around {
    /// The angle about the part's middle, counter-clockwise from +x seen from above, degrees.
    Angle(f64),
    /// x and y, mm.
    Place([f64; 2]),
}

/// A bump as it was noted.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// The file's line, from 1.
    pub line: usize,
    /// How high.
    pub height: Height,
    /// Where around the part.
    pub around: Around,
    /// On which part of the plate, from 1 by the x of their middles; `None` where the list doesn't say.
    pub part: Option<u32>,
}

/// The largest list that is read.
const MARKS_MAX: usize = 4000;
/// Characters of a header or a value that a message shows.
const SHOWN_MAX: usize = 60;
/// The largest coordinate, mm.
const MM_MAX: f64 = 1e5;

/// Where the columns are.
struct Columns {
    z_mm: Option<usize>,
    layer: Option<usize>,
    angle_deg: Option<usize>,
    x_mm: Option<usize>,
    y_mm: Option<usize>,
    part: Option<usize>,
}

impl Columns {
    fn find(header: &csv::StringRecord) -> Result<Self, String> {
        let names: Vec<String> = header
            .iter()
            .map(|h| h.trim().trim_start_matches('\u{feff}').to_lowercase())
            .collect();
        let line: String = names.join(",").chars().take(SHOWN_MAX).collect();
        if names.len() == 1 && line.contains([';', '\t']) {
            return Err(format!(
                "line 1: {line}: columns must be separated by commas, and numbers written with a point"
            ));
        }
        let column = |name: &str| -> Result<Option<usize>, String> {
            let mut at = (0..names.len()).filter(|i| names[*i] == name);
            let first = at.next();
            match at.next() {
                Some(_) => Err(format!("line 1: there are two columns {name}")),
                None => Ok(first),
            }
        };
        let columns = Columns {
            z_mm: column("z_mm")?,
            layer: column("layer")?,
            angle_deg: column("angle_deg")?,
            x_mm: column("x_mm")?,
            y_mm: column("y_mm")?,
            part: column("part")?,
        };
        match (columns.z_mm, columns.layer) {
            (None, None) if names.iter().all(|n| n.parse::<f64>().is_ok()) => {
                return Err(format!(
                    "line 1: {line}: is no header; the first line must name the columns, such as z_mm,angle_deg"
                ));
            }
            (None, None) => {
                return Err(format!(
                    "line 1: {line}: a column z_mm (height over the bed) or layer (counted from 0) is needed"
                ));
            }
            (Some(_), Some(_)) => {
                return Err("line 1: give z_mm or layer, not both".to_string());
            }
            _ => {}
        }
        let both = columns.x_mm.is_some() && columns.y_mm.is_some();
        let either = columns.x_mm.is_some() || columns.y_mm.is_some();
        match (columns.angle_deg, both, either) {
            (Some(_), _, true) => Err("line 1: give angle_deg, or x_mm and y_mm, not both".into()),
            (None, false, _) => Err(format!(
                "line 1: {line}: a column angle_deg, or columns x_mm and y_mm, are needed"
            )),
            _ => Ok(columns),
        }
    }
}

/// Reads a list of bumps: a header line, then one bump a line; further columns are ignored.
///
/// # Errors
/// The first thing that is wrong: its line, the value, and what is allowed.
pub fn read(text: &str) -> Result<Vec<Mark>, String> {
    let empty = "line 1: is empty; a header such as z_mm,angle_deg is needed";
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    // Line by line, so that each row is known by its line, blank ones and comments counted.
    let mut rows = (1..)
        .zip(text.lines())
        .filter(|(_, row)| !row.trim().is_empty() && !row.starts_with('#'));
    let (line, first) = rows.next().ok_or(empty)?;
    let header = fields(first, line)?;
    let columns = Columns::find(&header)?;
    let mut marks = Vec::new();
    for (line, row) in rows {
        let row = fields(row, line)?;
        if row.iter().all(str::is_empty) {
            continue;
        }
        if row.len() > header.len() {
            return Err(format!(
                "line {line}: has {} values, the header has {}; numbers must be written with a point, not a comma",
                row.len(),
                header.len()
            ));
        }
        if marks.len() == MARKS_MAX {
            return Err(format!("line {line}: more than {MARKS_MAX} bumps"));
        }
        marks.push(mark(&row, line, &columns)?);
    }
    if marks.is_empty() {
        return Err("lists no bump: one bump a line must follow the header".into());
    }
    Ok(marks)
}

/// The values of one line.
fn fields(row: &str, line: usize) -> Result<csv::StringRecord, String> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(row.as_bytes());
    let first = reader.records().next();
    let row = first.unwrap_or_else(|| Ok(csv::StringRecord::new()));
    row.map_err(|_| format!("line {line}: cannot be read as CSV"))
}

fn mark(row: &csv::StringRecord, line: usize, columns: &Columns) -> Result<Mark, String> {
    let value = |column: usize, name: &str| -> Result<String, String> {
        match row.get(column).unwrap_or("") {
            "" => Err(format!(
                "line {line}: {name} is missing: each line needs one"
            )),
            text => Ok(text.chars().take(SHOWN_MAX).collect()),
        }
    };
    let number = |column: usize, name: &str, low: f64, high: f64| -> Result<f64, String> {
        let text = value(column, name)?;
        let read: Option<f64> = text.parse().ok();
        let allowed = format!("must be a number from {low} to {high}");
        match read {
            Some(v) if (low..=high).contains(&v) => Ok(v),
            Some(_) => Err(format!("line {line}: {name} {text}: {allowed}")),
            None => Err(format!(
                "line {line}: {name} {text}: {allowed}, written with a point and without a unit"
            )),
        }
    };
    let whole = |column: usize, name: &str, low: u32| -> Result<u32, String> {
        let text = value(column, name)?;
        let read: Option<u32> = text.parse().ok();
        read.filter(|v| *v >= low).ok_or_else(|| {
            format!("line {line}: {name} {text}: must be a whole number, {low} or more")
        })
    };
    let height = match (columns.z_mm, columns.layer) {
        (Some(z_mm), _) => Height::Mm(number(z_mm, "z_mm", -MM_MAX, MM_MAX)?),
        (None, Some(layer)) => Height::Layer(whole(layer, "layer", 0)?),
        (None, None) => unreachable!("one of them was found"),
    };
    let around = match (columns.angle_deg, columns.x_mm, columns.y_mm) {
        (Some(angle), ..) => Around::Angle(number(angle, "angle_deg", -360.0, 720.0)?),
        (None, Some(x), Some(y)) => Around::Place([
            number(x, "x_mm", -MM_MAX, MM_MAX)?,
            number(y, "y_mm", -MM_MAX, MM_MAX)?,
        ]),
        _ => unreachable!("one of them was found"),
    };
    let part = columns.part.map(|c| whole(c, "part", 1)).transpose()?;
    Ok(Mark {
        line,
        height,
        around,
        part,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_may_be_written_in_several_ways() {
        let plain = read("z_mm,angle_deg\n1.5, 20\n\n# the back\n2,-30\n").unwrap();
        assert_eq!(plain.len(), 2);
        assert_eq!(plain[0].height, Height::Mm(1.5));
        assert_eq!((plain[1].line, plain[1].around), (5, Around::Angle(-30.0)));
        let other = read("\u{feff}Part,layer,x_mm,y_mm,note\n2,7,1,2,big\n").unwrap();
        assert_eq!(other[0].height, Height::Layer(7));
        assert_eq!(other[0].around, Around::Place([1.0, 2.0]));
        assert_eq!(other[0].part, Some(2));
    }

    #[test]
    fn each_mistake_is_told_with_its_line_and_value() {
        for (text, why) in [
            ("", "line 1: is empty"),
            ("z_mm;angle_deg\n1;2\n", "separated by commas"),
            ("angle_deg\n1\n", "a column z_mm"),
            ("z_mm,layer,angle_deg\n1,2,3\n", "z_mm or layer, not both"),
            ("z_mm,x_mm\n1,2\n", "columns x_mm and y_mm"),
            ("z_mm,angle_deg\n\n", "lists no bump"),
            ("z_mm,angle_deg,x_mm,y_mm\n", "not both"),
            ("z_mm,z_mm,angle_deg\n", "two columns z_mm"),
            (
                "z_mm,angle_deg\n1,2\nhigh,3\n",
                "line 3: z_mm high: must be a number",
            ),
            ("z_mm,angle_deg\n1,2,5\n", "line 2: has 3 values"),
            ("z_mm,angle_deg\n1\n", "line 2: angle_deg is missing"),
            (
                "z_mm,angle_deg\n1,1000\n",
                "angle_deg 1000: must be a number from -360 to 720",
            ),
            ("z_mm,angle_deg\nNaN,10\n", "z_mm NaN"),
            (
                "layer,angle_deg\n-1,10\n",
                "layer -1: must be a whole number, 0 or more",
            ),
            (
                "part,layer,angle_deg\n0,1,10\n",
                "part 0: must be a whole number, 1 or more",
            ),
        ] {
            let error = read(text).unwrap_err();
            assert!(error.contains(why), "{text:?}: {error}");
        }
    }
}
