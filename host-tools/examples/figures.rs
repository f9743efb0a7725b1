//! Draws every figure with invented data, as SVG, PNG and CSV, into the folder given.
//!
//! ```text
//! cargo run --release -p bolster --example figures -- pictures
//! ```

#[path = "figures/gallery.rs"]
mod gallery;

use std::path::PathBuf;
use std::time::Instant;

use bolster::figure::png;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder: PathBuf = std::env::args_os().nth(1).unwrap_or_else(|| "pictures".into()).into();
    std::fs::create_dir_all(&folder)?;
    for (name, figure, size) in gallery::all() {
        let begin = Instant::now();
        let svg = figure.draw(size)?;
        let drawn = begin.elapsed();
        let picture = png(&svg)?;
        println!(
            "{name}: SVG {} kB in {drawn:.1?}, PNG in {:.1?}",
            svg.len() / 1000,
            begin.elapsed() - drawn
        );
        std::fs::write(folder.join(format!("{name}.svg")), svg)?;
        std::fs::write(folder.join(format!("{name}.png")), picture)?;
        std::fs::write(folder.join(format!("{name}.csv")), figure.table().to_csv())?;
    }
    Ok(())
}
