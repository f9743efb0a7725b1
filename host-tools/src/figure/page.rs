//! A picture as part of a page or a report: named for screen readers, its texts held to the width they were placed by.
//!
//! Texts are placed by the carried font. A browser that lacks it takes another one, wider or narrower, and labels would
//! run into each other; so each text says how wide it is to be.

use super::text;

/// Units of the picture's coordinates a pixel.
const FINE: f64 = 10.0;

/// An SVG of [`super::Figure::draw`], to stand inside HTML.
#[must_use]
pub fn for_page(svg: &str) -> String {
    let mut out = String::with_capacity(svg.len() + svg.len() / 8);
    let named = svg.replacen("<svg ", "<svg role=\"img\" ", 1);
    let mut rest = named.as_str();
    while let Some((before, from)) = rest.split_once("<text ") {
        out += before;
        out += "<text ";
        rest = from;
        let Some((attributes, after)) = from.split_once('>') else { break };
        let Some((content, _)) = after.split_once('<') else { break };
        let size = value(attributes, "font-size").and_then(|size| size.parse::<f64>().ok());
        let words = unescape(content.trim());
        if let Some(size) = size.filter(|_| words.chars().count() > 1) {
            let bold = value(attributes, "font-weight").is_some_and(|weight| weight == "bold");
            let width = text::width(&words, size / FINE, bold) * FINE;
            out += &format!("textLength=\"{width:.0}\" lengthAdjust=\"spacingAndGlyphs\" ");
        }
    }
    out + rest
}

fn value<'a>(attributes: &'a str, name: &str) -> Option<&'a str> {
    let (_, from) = attributes.split_once(&format!("{name}=\""))?;
    from.split_once('"').map(|(value, _)| value)
}

fn unescape(text: &str) -> String {
    let plain = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&apos;", "'");
    plain.replace("&amp;", "&")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_text_is_held_to_its_width_and_nothing_else_changes() {
        let svg = "<svg a=\"b\">\n<text x=\"1\" font-size=\"140\" font-weight=\"bold\">\nA &amp; B\n</text>\n<line/>\n\
                   <text x=\"2\" font-size=\"120\">\nload\n</text>\n<text font-size=\"120\">\n5\n</text>\n</svg>";
        let page = for_page(svg);
        let held = |words: &str, px: f64, bold| {
            format!(
                "textLength=\"{:.0}\" lengthAdjust=\"spacingAndGlyphs\" ",
                10.0 * text::width(words, px, bold)
            )
        };
        let (first, second) = (held("A & B", 14.0, true), held("load", 12.0, false));
        assert!(page.starts_with("<svg role=\"img\" a=\"b\">"), "{page}");
        assert_eq!(page.matches("textLength").count(), 2, "one letter cannot be spaced: {page}");
        let back = page.replace(&first, "").replace(&second, "").replace(" role=\"img\"", "");
        assert_eq!(back, svg);
    }
}
