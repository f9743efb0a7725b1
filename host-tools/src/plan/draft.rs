//! First limits for a die that has not run yet, as a draft: an engineer accepts or changes them.

use std::fmt::Write as _;

use super::PressPlan;
use super::job::Job;

/// How far beyond the band a first limit stands: the plan's band is for nineteen strokes in twenty.
const ROOM: f64 = 1.1;

/// The draft's text: one `[[limits]]` a hit would need a die of its own, so each hit gets a file of its own.
#[must_use]
pub fn text(job: &Job, plan: &PressPlan, hit: u32, caution: &str) -> Option<String> {
    let of = plan.hits.iter().find(|h| h.hit == hit)?;
    let name = if job.hits > 1 { format!("{} hit {hit}", job.name) } else { job.name.clone() };
    let mut out = String::new();
    // Writing to a string cannot fail.
    for line in caution.lines() {
        let _ = writeln!(out, "# {line}");
    }
    let _ = writeln!(
        out,
        "# First limits from a plan, not from strokes: upper ends of the predicted bands and a tenth more,"
    );
    let _ = writeln!(out, "# never over the press's own. Learn the die before you trust them.");
    let _ = writeln!(out, "[die]\nname = {}\nstate = \"draft\"", toml::Value::String(name));
    let _ = writeln!(out, "press = {}\norigin = \"plan\"", toml::Value::String(plan.press.name.clone()));
    let _ = writeln!(out, "\n[limits]");
    let spec = &plan.press.spec;
    let under = |high: f64, most: f64| (ROOM * high).min(most).max(0.0);
    let bands = &of.bands;
    let mut limit = |key: &str, high: f64| {
        let _ = writeln!(out, "{key} = {{ low = 0.0, high = {:.3}, verdict = \"hold\" }}", high);
    };
    limit("peak_kn", under(bands.peak_kn.high, spec.rated_kn));
    limit("reverse_kn", under(bands.reverse_kn.high, spec.rated_kn * spec.reverse_percent / 100.0));
    let usable = plan.press.usable_kj_at(plan.speed_spm).unwrap_or(f64::INFINITY);
    limit("work_kj", under(bands.work_kj.high, usable));
    Some(out)
}
