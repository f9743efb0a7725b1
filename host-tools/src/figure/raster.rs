//! From SVG text to PNG bytes, with the carried font.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use super::{FigureError, Size};

static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    for bytes in [notosans::REGULAR_TTF, notosans::BOLD_TTF] {
        fonts.load_font_source(fontdb::Source::Binary(Arc::new(bytes)));
    }
    fonts.set_sans_serif_family("Noto Sans");
    Arc::new(fonts)
});

/// The parsed picture, as the PNG is made from it.
pub(super) fn parse(svg: &str) -> Result<Tree, FigureError> {
    let options =
        Options { fontdb: Arc::clone(&FONTS), font_family: "Noto Sans".to_owned(), ..Options::default() };
    Tree::from_str(svg, &options).map_err(|e| FigureError::Png(e.to_string()))
}

/// `svg` as PNG on white, one pixel a unit.
///
/// # Errors
/// [`FigureError::Png`] where `svg` is not SVG, or its sides are over [`Size::MOST`].
pub fn png(svg: &str) -> Result<Vec<u8>, FigureError> {
    let tree = parse(svg)?;
    let size = tree.size().to_int_size();
    if size.width() > Size::MOST || size.height() > Size::MOST {
        return Err(FigureError::Png(format!(
            "{} x {} px is over {} px a side",
            size.width(),
            size.height(),
            Size::MOST
        )));
    }
    let mut pixels = Pixmap::new(size.width(), size.height())
        .ok_or_else(|| FigureError::Png("the picture has no area".to_owned()))?;
    pixels.fill(Color::WHITE);
    resvg::render(&tree, Transform::identity(), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| FigureError::Png(e.to_string()))
}
