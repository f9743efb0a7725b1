//! Claims about every picture of the gallery: it parses, its words stay on it and apart from each
//! other, its PNG has the right size and something on it.

// A claim that cannot be looked at fails with the reason given.
#![allow(clippy::expect_used)]

#[path = "../examples/figures/gallery.rs"]
mod gallery;

use std::sync::Arc;

use bolster::figure::{Capacity, Column, Figure, FigureError, Shares, Signature, Size, Strokes, Trace, png};
use resvg::tiny_skia::Pixmap;
use resvg::usvg::{self, Node, Rect, Tree};

fn parse(svg: &str) -> Tree {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(notosans::REGULAR_TTF.to_vec());
    fonts.load_font_data(notosans::BOLD_TTF.to_vec());
    let options = usvg::Options { fontdb: Arc::new(fonts), ..usvg::Options::default() };
    Tree::from_str(svg, &options).expect("the SVG parses")
}

/// The words of a picture with the boxes their ink fills, px.
fn words(tree: &Tree) -> Vec<(String, Rect)> {
    fn walk(group: &usvg::Group, out: &mut Vec<(String, Rect)>) {
        for node in group.children() {
            match node {
                Node::Group(inner) => walk(inner, out),
                Node::Text(text) => {
                    let all: String = text.chunks().iter().map(|c| c.text()).collect();
                    out.push((all, text.flattened().abs_bounding_box()));
                }
                _ => {}
            }
        }
    }
    let mut out = Vec::new();
    walk(tree.root(), &mut out);
    out
}

#[test]
fn no_word_leaves_its_picture_and_no_two_words_touch() {
    let mut faults = Vec::new();
    for (name, figure, size) in gallery::all() {
        let tree = parse(&figure.draw(size).expect("the gallery's data are sound"));
        let words = words(&tree);
        assert!(words.len() > 5, "{name}: only {} words were found", words.len());
        let (wide, high) = (size.width as f32, size.height as f32);
        for (i, (text, at)) in words.iter().enumerate() {
            let inside = at.left() >= 0.0 && at.top() >= 0.0 && at.right() <= wide && at.bottom() <= high;
            if !inside {
                faults.push(format!("{name}: {text:?} leaves the picture: {at:?}"));
            }
            for (other, there) in words.iter().skip(i + 1) {
                let apart = at.right() <= there.left()
                    || there.right() <= at.left()
                    || at.bottom() <= there.top()
                    || there.bottom() <= at.top();
                if !apart {
                    faults.push(format!("{name}: {text:?} touches {other:?}"));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_png_has_the_size_asked_for_and_ink_on_it() {
    for (name, figure, size) in gallery::all() {
        let bytes = png(&figure.draw(size).expect("sound data")).expect("a PNG");
        let pixels = Pixmap::decode_png(&bytes).expect("a PNG decodes");
        assert_eq!((pixels.width(), pixels.height()), (size.width, size.height), "{name}");
        let dark = pixels.pixels().iter().filter(|p| p.red() < 128 && p.alpha() == 255).count();
        // Title and axis words alone fill thousands of pixels; half of one per mille is a blank.
        assert!(dark > (size.width * size.height / 2000) as usize, "{name}: {dark} dark pixels");
    }
}

#[test]
fn every_word_is_set_in_the_carried_font() {
    for (name, figure, size) in gallery::all() {
        let svg = figure.draw(size).expect("sound data");
        let texts = svg.matches("<text").count();
        assert_eq!(svg.matches("font-family=\"Noto Sans, sans-serif\"").count(), texts, "{name}");
    }
}

#[test]
fn every_table_is_rectangular_and_has_the_figure_s_numbers() {
    for (name, figure, _) in gallery::all() {
        let table = figure.table();
        assert!(!table.rows.is_empty(), "{name}");
        for row in &table.rows {
            assert_eq!(row.len(), table.header.len(), "{name}: {:?}", table.header);
        }
        let text = table.to_csv();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        assert_eq!(reader.records().filter(Result::is_ok).count(), table.rows.len(), "{name}");
    }
}

#[test]
fn the_same_data_give_the_same_bytes() {
    for ((name, one, size), (_, two, _)) in gallery::all().into_iter().zip(gallery::all()) {
        assert_eq!(one.draw(size), two.draw(size), "{name}");
    }
}

#[test]
fn names_from_outside_cannot_break_the_document() {
    let hostile = "</text><script>alert(\"1\")</script> & 'x' \u{0}\u{1b}[31m \u{FFFF}\n🙂 漢字";
    let figure = Capacity {
        title: hostile.into(),
        subtitle: hostile.into(),
        height_mm: vec![5.0, 0.0],
        curve: "this stroke".into(),
        load_kn: vec![1.0, 2.0],
        allowed: vec![(0.0, 5.0), (5.0, 5.0)],
        ..Capacity::default()
    };
    let svg = figure.draw(Size::NORMAL).expect("text is never an error");
    assert!(!svg.contains("<script"));
    assert!(words(&parse(&svg)).iter().any(|w| w.0.contains("alert(\"1\")")));
    png(&svg).expect("a PNG");
}

fn sound() -> Signature {
    let trace = |name: &str| Trace { name: name.into(), load_kn: vec![0.0, 5.0, 1.0], envelope: None };
    Signature {
        position: vec![170.0, 180.0, 190.0],
        total: trace("total"),
        columns: vec![trace("L"), trace("R")],
        ..Signature::default()
    }
}

#[test]
fn missing_unequal_and_undefined_data_are_named() {
    assert!(sound().draw(Size::NORMAL).is_ok());
    assert!(matches!(
        Signature::default().draw(Size::NORMAL),
        Err(FigureError::Empty { what, least: 2 }) if what == "position"
    ));
    let mut short = sound();
    short.columns[1].load_kn.pop();
    assert!(matches!(
        short.draw(Size::NORMAL),
        Err(FigureError::Length { what, found: 2, expected: 3, .. }) if what == "load of R"
    ));
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let mut undefined = sound();
        undefined.total.load_kn[2] = bad;
        let error = undefined.draw(Size::NORMAL).expect_err("not finite");
        assert_eq!(error, FigureError::NotFinite { what: "load of total".into(), index: 2 });
    }
    let mut huge = sound();
    huge.total.load_kn[0] = f64::MAX;
    assert!(matches!(huge.draw(Size::NORMAL), Err(FigureError::Value { .. })));
    let falling = Shares {
        stroke: vec![2, 1],
        columns: vec![Column { name: "L".into(), values: vec![50.0, 50.0] }],
        ..Shares::default()
    };
    assert!(matches!(falling.draw(Size::NORMAL), Err(FigureError::Value { .. })));
    assert!(matches!(Strokes::default().draw(Size::NORMAL), Err(FigureError::Empty { .. })));
}

#[test]
fn a_size_that_cannot_be_read_or_held_is_refused() {
    for size in [Size::new(0, 0), Size::new(799, 700), Size::new(1200, 499), Size::new(u32::MAX, 700)] {
        assert!(matches!(sound().draw(size), Err(FigureError::Size { .. })), "{size:?}");
    }
    assert!(png("not a picture").is_err());
}
