//! What every report has in common: one self-contained document with its style inside, made to be printed.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::Provenance;
use crate::cmd::CAUTION;
use crate::figure::{Figure, Size, for_page};
use crate::markup::{lamp, marks};

/// The style sheet every report carries.
pub const STYLE: &str = include_str!("report.css");
/// Pictures are drawn as small as their labels fit: on 180 mm of paper their small print is then 2.7 mm high.
const ON_PAPER: Size = Size::LEAST;

/// A report's pieces.
#[derive(Debug)]
pub(super) struct Paper<'a> {
    pub(super) title: String,
    pub(super) under: String,
    pub(super) body: Markup,
    pub(super) provenance: &'a Provenance,
}

impl Paper<'_> {
    /// The whole document.
    pub(super) fn html(self) -> String {
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { (self.title) }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    (marks())
                    h1 { (self.title) }
                    p class="under" { (self.under) }
                    (self.body)
                    (self.provenance.markup())
                    h2 { "What a load monitor is not" }
                    p class="caution" { (CAUTION) }
                }
            }
        };
        page.into_string()
    }
}

/// A picture with what it shows; why there is none where it cannot be drawn.
pub(super) fn figure(figure: &dyn Figure, says: &str) -> Markup {
    html! {
        @match figure.draw(ON_PAPER) {
            Ok(svg) => { figure { (PreEscaped(for_page(&svg))) figcaption { (says) } } }
            Err(why) => { p class="small" { "No picture (" (says) "): " (why) "." } }
        }
    }
}

/// How many strokes had each verdict, pass to trip.
pub(super) fn tally(counts: [u64; 4]) -> Markup {
    html! {
        ul class="tally" {
            @for (word, count) in ["pass", "note", "hold", "trip"].into_iter().zip(counts) {
                li { b { (count) } " " (lamp(word)) }
            }
        }
    }
}

/// Lines to be signed on paper.
pub(super) fn signatures(lines: [&str; 2]) -> Markup {
    html! { div class="sign" { @for line in lines { div { (line) } } } }
}
