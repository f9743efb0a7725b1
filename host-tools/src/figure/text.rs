//! How wide a text is in the carried font, and how to make it fit.
//!
//! The SVG writer guesses widths without a font; a guess is not good enough to promise that no
//! label runs into another, so widths come from the font's own advance widths. Kerning is
//! ignored: it is off by well under a per cent, on the wide side for nearly all text.

use std::sync::LazyLock;

use skrifa::charmap::Charmap;
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::GlyphMetrics;
use skrifa::{FontRef, GlyphId, MetadataProvider};

/// Height of capital letters over the font size.
pub(super) const CAP_HEIGHT: f64 = 0.714;

struct Face {
    charmap: Charmap<'static>,
    glyphs: GlyphMetrics<'static>,
    per_em: f64,
}

fn face(bytes: &'static [u8]) -> Option<Face> {
    let font = FontRef::new(bytes).ok()?;
    let unscaled = Size::unscaled();
    Some(Face {
        charmap: font.charmap(),
        glyphs: font.glyph_metrics(unscaled, LocationRef::default()),
        per_em: f64::from(font.metrics(unscaled, LocationRef::default()).units_per_em),
    })
}

static REGULAR: LazyLock<Option<Face>> = LazyLock::new(|| face(notosans::REGULAR_TTF));
static BOLD: LazyLock<Option<Face>> = LazyLock::new(|| face(notosans::BOLD_TTF));

/// Width of `text` at a font size of `px`, in px. A letter the font lacks counts as the box that
/// stands for it.
pub(super) fn width(text: &str, px: f64, bold: bool) -> f64 {
    let Some(face) = (if bold { &*BOLD } else { &*REGULAR }) else {
        // 0.7 em is wider than the mean letter: without a font, labels are cut early.
        return 0.7 * px * text.chars().count() as f64;
    };
    let units: f64 = text
        .chars()
        .map(|c| {
            let glyph = face.charmap.map(c).unwrap_or(GlyphId::NOTDEF);
            face.glyphs.advance_width(glyph).map_or(0.6 * face.per_em, f64::from)
        })
        .sum();
    units / face.per_em * px
}

/// Text from outside made fit for an XML document and one line: control characters become
/// spaces, runs of white space one space. (`<`, `&` and quotes are escaped by the SVG writer.)
pub(super) fn clean(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        let allowed = !c.is_control() && !c.is_whitespace() && !matches!(c, '\u{FFFE}' | '\u{FFFF}');
        if allowed {
            out.push(c);
        } else if !out.ends_with(' ') && !out.is_empty() {
            out.push(' ');
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// `text` cut with an ellipsis so that it is at most `most` px wide; empty where not even the
/// ellipsis fits.
pub(super) fn fit(text: &str, px: f64, bold: bool, most: f64) -> String {
    let text = clean(text);
    if width(&text, px, bold) <= most {
        return text;
    }
    let mut room = most - width("…", px, bold);
    let mut cut = String::new();
    for c in text.chars() {
        let mut buffer = [0_u8; 4];
        room -= width(c.encode_utf8(&mut buffer), px, bold);
        if room < 0.0 {
            break;
        }
        cut.push(c);
    }
    if cut.is_empty() {
        return if width("…", px, bold) <= most { "…".into() } else { String::new() };
    }
    cut.truncate(cut.trim_end().len());
    cut.push('…');
    cut
}

/// `text` broken at spaces into at most `lines` lines of `most` px; the last one is cut.
pub(super) fn wrap(text: &str, px: f64, bold: bool, most: f64, lines: usize) -> Vec<String> {
    let text = clean(text);
    let mut out: Vec<String> = Vec::new();
    let mut line = String::new();
    let mut words = text.split(' ').filter(|w| !w.is_empty()).peekable();
    while let Some(word) = words.next() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if line.is_empty() || width(&longer, px, bold) <= most {
            line = longer;
        } else if out.len() + 1 < lines {
            out.push(fit(&line, px, bold, most));
            line = word.to_owned();
        } else {
            line = longer;
            for rest in words.by_ref() {
                line.push(' ');
                line.push_str(rest);
            }
        }
    }
    if !line.is_empty() && lines > 0 {
        out.push(fit(&line, px, bold, most));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_as_wide_as_its_advance_widths() {
        // Noto Sans Regular: every digit is 1171/2048 em wide (read from its hmtx and head tables).
        assert!((width("0123456789", 10.0, false) - 100.0 * 1171.0 / 2048.0).abs() < 1e-9);
    }

    #[test]
    fn a_long_name_is_cut_with_an_ellipsis_and_fits() {
        let long = "door plate ".repeat(40);
        for most in [12.0, 40.0, 133.0, 700.0] {
            let cut = fit(&long, 14.0, true, most);
            assert!(cut.ends_with('…'), "{cut}");
            assert!(width(&cut, 14.0, true) <= most, "{cut} at {most}");
        }
        assert_eq!(fit("short", 14.0, false, 700.0), "short");
        assert_eq!(fit("short", 14.0, false, 0.5), "");
    }

    #[test]
    fn wrapped_lines_keep_every_word_when_there_is_room() {
        let text = "one two three four five six seven";
        let lines = wrap(text, 14.0, false, 110.0, 9);
        assert!(lines.len() > 1);
        assert_eq!(lines.join(" "), text);
        assert!(lines.iter().all(|l| width(l, 14.0, false) <= 110.0));
        let two = wrap(text, 14.0, false, 110.0, 2);
        assert_eq!(two.len(), 2);
        assert!(two[1].ends_with('…'));
    }

    #[test]
    fn control_characters_from_outside_are_taken_out() {
        assert_eq!(clean("a\u{0}b\u{1b}[31m\n\tc "), "a b [31m c");
    }
}
