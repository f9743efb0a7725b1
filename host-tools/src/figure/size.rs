//! Picture size in pixels, with the bounds inside which a picture can be read.

use super::FigureError;

/// Width and height of a picture, px.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Width, px.
    pub width: u32,
    /// Height, px.
    pub height: u32,
}

impl Size {
    /// 1200 × 700 px: what every figure is laid out for.
    pub const NORMAL: Size = Size { width: 1200, height: 700 };
    /// Below this the labels do not fit.
    pub const LEAST: Size = Size { width: 800, height: 500 };
    /// Greatest side, px: a PNG of this size squared takes 256 MB while it is drawn.
    pub const MOST: u32 = 8000;

    /// A size of `width` × `height` px; [`Figure::draw`](super::Figure::draw) checks the bounds.
    #[must_use]
    pub fn new(width: u32, height: u32) -> Self {
        Self { width, height }
    }

    pub(super) fn check(self) -> Result<(), FigureError> {
        let fits = self.width >= Self::LEAST.width
            && self.height >= Self::LEAST.height
            && self.width <= Self::MOST
            && self.height <= Self::MOST;
        if fits {
            return Ok(());
        }
        Err(FigureError::Size {
            width: self.width,
            height: self.height,
            least_width: Self::LEAST.width,
            least_height: Self::LEAST.height,
            most: Self::MOST,
        })
    }
}

impl Default for Size {
    fn default() -> Self {
        Self::NORMAL
    }
}
