//! The features of a recording by the plainest computation there is: f64, unfiltered, nothing of the product's.

use std::io::Read as _;
use std::path::Path;

/// One stroke's features.
#[derive(Debug, Clone, PartialEq)]
pub struct Plain {
    /// Number in the recording.
    pub stroke: u64,
    /// Greatest and least total load, kN.
    pub total: [f64; 2],
    /// `[column]`: greatest and least load, kN.
    pub columns: Vec<[f64; 2]>,
    /// Work over slide travel by trapezoids, kJ.
    pub work_kj: f64,
    /// Readings.
    pub rows: usize,
}

/// Text of a file, unpacked where its name ends in `.gz`.
///
/// # Panics
/// If it cannot be read.
#[must_use]
pub fn text_of(path: &Path) -> String {
    let bytes = std::fs::read(path).expect("the recording can be read");
    if path.extension().is_none_or(|ending| ending != "gz") {
        return String::from_utf8(bytes).unwrap();
    }
    let mut text = String::new();
    flate2::read::MultiGzDecoder::new(&bytes[..]).read_to_string(&mut text).unwrap();
    text
}

/// Features of each stroke of a recording in kN; `height_mm` gives slide height by crank angle in degrees.
///
/// # Panics
/// If the recording is not one.
#[must_use]
pub fn features(path: &Path, height_mm: impl Fn(f64) -> f64) -> Vec<Plain> {
    let text = text_of(path);
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let place = |name: &str| header.iter().position(|column| *column == name);
    let gauges: Vec<usize> = (0..header.len()).filter(|n| header[*n].ends_with("_kn")).collect();
    let (stroke_at, angle_at) = (place("stroke").unwrap(), place("angle_deg"));
    let mut strokes: Vec<Plain> = Vec::new();
    let mut last: Option<(f64, f64)> = None;
    for line in lines {
        let fields: Vec<f64> = line.split(',').map(|field| field.parse().expect(line)).collect();
        let stroke = fields[stroke_at] as u64;
        if strokes.last().is_none_or(|open| open.stroke != stroke) {
            let columns = vec![[0.0; 2]; gauges.len()];
            strokes.push(Plain { stroke, total: [0.0; 2], columns, work_kj: 0.0, rows: 0 });
            last = None;
        }
        let open = strokes.last_mut().unwrap();
        open.rows += 1;
        let take = |extremes: &mut [f64; 2], load: f64| {
            *extremes = [extremes[0].max(load), extremes[1].min(load)];
        };
        for (column, gauge) in open.columns.iter_mut().zip(&gauges) {
            take(column, fields[*gauge]);
        }
        let total: f64 = gauges.iter().map(|gauge| fields[*gauge]).sum();
        take(&mut open.total, total);
        if let Some(angle_at) = angle_at {
            let height = height_mm(fields[angle_at]);
            if let Some((before, load)) = last {
                open.work_kj += 0.5 * (load + total) * (before - height) * 1e-3;
            }
            last = Some((height, total));
        }
    }
    strokes
}
