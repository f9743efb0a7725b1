//! What stands around every page: the ways to other pages, units, light and dark, the cautions.

use maud::{DOCTYPE, Markup, html};

use super::words::{marks, part};
use crate::cmd::CAUTION;
use crate::console::respond::{Theme, Visitor, unit_word};
use crate::figure::LoadUnit;

/// The style sheet.
pub const STYLE: &str = include_str!("../assets/console.css");
/// What follows strokes.
pub const LIVE_SCRIPT: &str = include_str!("../assets/live.js");
/// What reads values off pictures.
pub const PICTURE_SCRIPT: &str = include_str!("../assets/picture.js");

const VERSION: &str = env!("CARGO_PKG_VERSION");

fn choice(visitor: &Visitor, what: &str, word: &str, label: &str, chosen: bool) -> Markup {
    html! {
        @if chosen {
            strong aria-current="true" { (label) }
        } @else {
            a href={ "/prefer?" (what) "=" (word) "&back=" (part(&visitor.here)) } { (label) }
        }
    }
}

fn preferences(visitor: &Visitor) -> Markup {
    let unit = |unit: LoadUnit| choice(visitor, "unit", unit_word(unit), unit.symbol(), visitor.unit == unit);
    let theme = |theme: Theme, label| choice(visitor, "theme", theme.word(), label, visitor.theme == theme);
    html! {
        div class="prefer" {
            span class="set" role="group" aria-label="Unit of loads" {
                (unit(LoadUnit::Kn)) (unit(LoadUnit::UsTonf)) (unit(LoadUnit::TonneForce))
            }
            span class="set" role="group" aria-label="Light or dark" {
                (theme(Theme::Auto, "auto")) (theme(Theme::Light, "light")) (theme(Theme::Dark, "dark"))
            }
        }
    }
}

/// A whole page.
#[must_use]
pub fn whole(visitor: &Visitor, title: &str, body: Markup) -> Markup {
    let ways = [
        ("/", "Presses"),
        ("/strokes", "Strokes"),
        ("/dies", "Dies"),
        ("/wear", "Wear"),
        ("/health", "Press health"),
        ("/journal", "Journal"),
        ("/about", "About"),
    ];
    let here = visitor.here.split('?').next().unwrap_or("/");
    html! {
        (DOCTYPE)
        html lang="en" data-theme=(visitor.theme.word()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " – Bolster" }
                link rel="stylesheet" href={ "/assets/console.css?" (VERSION) };
                script src={ "/assets/live.js?" (VERSION) } defer {}
                script src={ "/assets/picture.js?" (VERSION) } defer {}
            }
            body {
                a class="skip" href="#main" { "To the content" }
                (marks())
                header {
                    nav aria-label="Pages" {
                        @for (path, label) in ways {
                            @if path == here { a href=(path) aria-current="page" { (label) } }
                            @else { a href=(path) { (label) } }
                        }
                    }
                    (preferences(visitor))
                    div class="who" {
                        @match &visitor.engineer {
                            Some(name) => { span { "Engineer: " strong { (name) } } " " a href="/sign-in" { "Sign out" } }
                            None => { a href="/sign-in" { "Sign in as engineer" } }
                        }
                    }
                }
                main id="main" tabindex="-1" { (body) }
                footer { p { (CAUTION) } }
            }
        }
    }
}
