//! First limits for a die that has not run yet, as a draft: an engineer accepts or changes them.
//!
//! It is a die card without provenance and shape: those come with learning.

use super::PressPlan;
use super::job::Job;
use crate::card::die::{DieCard, Head, LimitsCard, PressPrint, State};

/// How far beyond the band a first limit stands: the plan's band is for nineteen strokes in twenty.
const ROOM: f64 = 1.1;

/// First limits of a hit: upper ends of the bands and a tenth more, never over the press's own.
#[must_use]
pub fn limits(plan: &PressPlan, hit: u32) -> Option<LimitsCard> {
    let of = plan.hits.iter().find(|h| h.hit == hit)?;
    let (spec, bands) = (&plan.press.spec, &of.bands);
    let band = |high: f64, most: f64| {
        // A limit of a thousandth of a kN is as fine as anybody reads it.
        let high = (1000.0 * (ROOM * high).min(most).max(0.001)).round() / 1000.0;
        Some([0.0, high].into())
    };
    let usable = plan.press.usable_kj_at(plan.speed_spm).unwrap_or(f64::INFINITY);
    Some(LimitsCard {
        peak_kn: band(bands.peak_kn.high, spec.rated_kn),
        reverse_kn: band(bands.reverse_kn.high, spec.rated_kn * spec.reverse_percent / 100.0),
        work_kj: band(bands.work_kj.high, usable),
        ..LimitsCard::default()
    })
}

/// The draft's text; a hit is a die of its own. `caution` stands at its head.
#[must_use]
pub fn text(job: &Job, plan: &PressPlan, hit: u32, caution: &str) -> Option<String> {
    let spec = &plan.press.spec;
    let name = if job.hits > 1 { format!("{} hit {hit}", job.name) } else { job.name.clone() };
    let draft = DieCard {
        die: Head {
            name,
            state: State::Draft,
            press: PressPrint {
                name: plan.press.name.clone(),
                columns: spec.columns.count(),
                rated_kn: spec.rated_kn,
                stroke_mm: spec.stroke_mm,
                rod_mm: spec.rod_mm,
                bolster_mm: spec.bolster_mm,
            },
        },
        acceptance: None,
        reviews: Vec::new(),
        provenance: None,
        limits: limits(plan, hit)?,
        shape: None,
    };
    let head: String = caution.lines().map(|line| format!("# {line}\n")).collect();
    Some(format!(
        "{head}# First limits from a plan, not from strokes: upper ends of the predicted bands and a tenth more, never over\n\
         # the press's own. Learn the die before you trust them.\n{}",
        toml::to_string(&draft).ok()?
    ))
}
