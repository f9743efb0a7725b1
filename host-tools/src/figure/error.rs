//! What can be wrong with a figure's data.

/// Why a picture could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FigureError {
    /// There is nothing to draw.
    #[error("nothing to draw: {what} has no values; give at least {least}")]
    Empty {
        /// The field that is empty.
        what: String,
        /// How many values the picture needs.
        least: usize,
    },
    /// Two fields that belong together differ in length.
    #[error("{what} has {found} values where {expected} are needed, one for each {of}")]
    Length {
        /// The field of the wrong length.
        what: String,
        /// Its length.
        found: usize,
        /// The length it should have.
        expected: usize,
        /// What the values belong to.
        of: &'static str,
    },
    /// A value is NaN or infinite.
    #[error(
        "{what} holds a value that is not a finite number, at position {index} (from 0); leave it out or repair the data"
    )]
    NotFinite {
        /// The field.
        what: String,
        /// Position of the first such value.
        index: usize,
    },
    /// A value makes no sense where it stands.
    #[error("{what}: {why}")]
    Value {
        /// The field.
        what: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// The picture is too small to read or too large to hold.
    #[error(
        "a picture of {width} x {height} px cannot be made: {least_width} x {least_height} px to {most} px a side are possible"
    )]
    Size {
        /// Width asked for, px.
        width: u32,
        /// Height asked for, px.
        height: u32,
        /// Least width, px.
        least_width: u32,
        /// Least height, px.
        least_height: u32,
        /// Greatest side, px.
        most: u32,
    },
    /// The SVG writer failed.
    #[error("the picture could not be drawn: {0}")]
    Drawing(String),
    /// The SVG could not be turned into a PNG.
    #[error("the picture could not be turned into a PNG: {0}")]
    Png(String),
}
