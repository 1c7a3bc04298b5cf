//! Pictures on their way to files.

use headstall::report::look::png::png;

use super::failure::Failure;
use super::folder::{Folder, save};

/// Puts a picture in the folder, as SVG and, if that is wanted, as PNG.
pub fn picture(folder: &mut Folder, name: &str, svg: &str, as_png: bool) -> Result<(), Failure> {
    save(folder, &format!("{name}.svg"), svg.as_bytes())?;
    if as_png {
        let bytes = png(svg).map_err(|e| Failure::Other(format!("{name}.png: {e}")))?;
        save(folder, &format!("{name}.png"), &bytes)?;
    }
    Ok(())
}
