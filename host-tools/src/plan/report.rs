//! The plan in words.

use std::fmt::Write as _;

use super::advice::Advice;
use super::course::Spot;
use super::job::{DefaultUsed, Job};
use super::limits::{Check, Standing};
use super::{HitPlan, Plan, PressPlan};
use crate::figure::LoadUnit;

/// The report; loads in `unit`. Ends with `caution`.
#[must_use]
pub fn text(plan: &Plan, unit: LoadUnit, caution: &str) -> String {
    let job = &plan.job;
    let mut out = format!("Plan: {}\n", job.name);
    let stock = &job.stock;
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "Strip: {}, {} mm; shear {:.0} MPa, tensile {:.0} MPa, yield {:.0} MPa, ±{:.0} % ({})",
        stock.material,
        super::field::short(stock.thickness_mm),
        stock.shear_mpa,
        stock.tensile_mpa,
        stock.yield_mpa,
        stock.strength_spread_percent,
        stock.source
    );
    stations(&mut out, job, unit);
    if plan.presses.len() > 1 {
        ranking(&mut out, plan);
    }
    for (rank, press) in plan.presses.iter().enumerate() {
        one_press(&mut out, job, press, unit, rank == 0);
    }
    assumptions(&mut out, job, plan);
    let _ = writeln!(out, "\nPredicted loads are estimates.\n{caution}");
    out
}

fn stations(out: &mut String, job: &Job, unit: LoadUnit) {
    out.push_str("\nStations and formulas (the load planned is marked *):\n");
    let mut shown: Vec<(String, usize)> = Vec::new();
    for station in &job.stations {
        let mut block = String::new();
        for line in super::formulas(station) {
            let mark = if line.used { '*' } else { ' ' };
            let _ = writeln!(
                block,
                "   {mark} {}: {} = {}  [{}]",
                line.what,
                line.expression,
                quantity(line.value, line.unit, unit),
                line.source
            );
        }
        // Repeats differ only in place: say the formulas once.
        let same =
            shown.iter().find(|(text, _)| *text == block && !block.is_empty()).map(|(_, number)| *number);
        let _ = writeln!(
            out,
            "  {} at ({:.0}, {:.0}) mm{}{}",
            station.name,
            station.x_mm,
            station.y_mm,
            if job.hits > 1 { format!(", hit {}", station.hit) } else { String::new() },
            same.and_then(|n| job.stations.get(n)).map_or_else(String::new, |s| format!(": as {}", s.name))
        );
        if same.is_none() {
            out.push_str(&block);
            let number = job.stations.iter().position(|s| std::ptr::eq(s, station)).unwrap_or(0);
            shown.push((block, number));
        }
    }
}

fn ranking(out: &mut String, plan: &Plan) {
    out.push_str("\nPresses, best first:\n");
    for (number, press) in plan.presses.iter().enumerate() {
        let tight = press.tightest().map_or_else(String::new, |c| {
            format!("; {} at {:.0} % of its limit", c.what, c.used_percent.unwrap_or(0.0))
        });
        let _ = writeln!(
            out,
            "  {}. {}: {}{tight}; {:.0} parts an hour",
            number + 1,
            press.press.name,
            press.standing.word(),
            press.parts_per_hour
        );
    }
}

/// All of the best press; of the others the loads and what is not within its limit.
fn one_press(out: &mut String, job: &Job, plan: &PressPlan, unit: LoadUnit, whole: bool) {
    let _ = writeln!(
        out,
        "\n{}: {} at {} strokes a minute, {:.0} parts an hour{}",
        plan.press.name,
        plan.standing.word(),
        super::field::short(plan.speed_spm),
        plan.parts_per_hour,
        plan.strip_m_per_min.map_or_else(String::new, |v| format!(", strip {v:.2} m/min"))
    );
    for hit in &plan.hits {
        if job.hits > 1 {
            let _ = writeln!(out, "  Hit {} of {}:", hit.hit, job.hits);
        }
        one_hit(out, plan, hit, unit);
        let told = |c: &&Check| c.hit == hit.hit && (whole || c.standing != Standing::Within);
        for check in plan.checks.iter().filter(told) {
            one_check(out, check, unit);
        }
    }
    if !plan.advice.is_empty() {
        out.push_str("  What would help (each planned again):\n");
        for advice in &plan.advice {
            one_advice(out, advice, unit);
        }
    }
}

/// A number with its unit, with the minus sign that loads are printed with.
fn quantity(value: f64, own: &str, unit: LoadUnit) -> String {
    match own {
        "kN" => unit.print(value),
        "kJ" => format!("{value:.3} kJ").replace('-', "−"),
        other => format!("{} {other}", super::field::short((value * 10.0).round() / 10.0)).replace('-', "−"),
    }
}

fn place(spot: &Spot) -> String {
    format!("at {:.1}°, {:.2} mm above the bottom", spot.angle_deg, spot.height_mm)
}

fn one_hit(out: &mut String, plan: &PressPlan, hit: &HitPlan, unit: LoadUnit) {
    let (course, bands) = (&hit.course, &hit.bands);
    let band = |b: &super::band::Banded| format!("{} to {}", unit.print(b.low), unit.print(b.high));
    let _ = writeln!(
        out,
        "  peak {} ({}) {}; {} without the frame's ringing",
        unit.print(course.peak.kn),
        band(&bands.peak_kn),
        place(&course.peak),
        unit.print(course.die_peak_kn)
    );
    let _ = writeln!(
        out,
        "  work {:.3} kJ ({:.3} to {:.3}); reverse load {} (up to {})",
        course.work_kj,
        bands.work_kj.low,
        bands.work_kj.high,
        unit.print(bands.reverse_kn.nominal),
        unit.print(bands.reverse_kn.high)
    );
    if let Some(off) = &hit.off_centre {
        let names = plan.press.spec.columns.names();
        let columns: Vec<String> = names
            .iter()
            .zip(&course.columns_at_peak_kn)
            .map(|(n, kn)| format!("{n} {}", unit.print(*kn)))
            .collect();
        let [x, y] = course.centre_mm;
        let _ = writeln!(
            out,
            "  load centre at the peak ({x:.0}, {y:.0}) mm, band x {:.0} to {:.0}, y {:.0} to {:.0}; {} (linear form)",
            bands.centre_mm[0].low,
            bands.centre_mm[0].high,
            bands.centre_mm[1].low,
            bands.centre_mm[1].high,
            columns.join(", ")
        );
        let _ = writeln!(
            out,
            "  off centre: this peak may stand up to {:.0} mm left or right{}; {} may stand where it does",
            off.allowed_offset_mm[0],
            if names.len() == 4 {
                format!(", {:.0} mm front or rear", off.allowed_offset_mm[1])
            } else {
                String::new()
            },
            unit.print(off.allowed_here_kn)
        );
        if off.stations > 1 && off.spread_percent < 60.0 {
            let _ = writeln!(
                out,
                "  stations spread over {:.0} % of the distance between gauges; ratings usually assume 60 % or two thirds (common practice, no source)",
                off.spread_percent
            );
        }
    }
    if let Some(release) = &hit.release {
        let _ = writeln!(
            out,
            "  greatest release {} at {:.2} mm in {:.1} ms (frame period {:.1} ms): ramp factor {:.3}, damping {:.3}, closed form {} if nothing else is loaded",
            unit.print(release.released_kn),
            release.height_mm,
            release.release_ms,
            release.period_ms,
            release.ramp_factor,
            release.damping_factor,
            unit.print(release.reverse_kn)
        );
    }
}

fn one_check(out: &mut String, check: &Check, unit: LoadUnit) {
    let number = |value: f64| quantity(value, check.unit, unit);
    let height = check.at_height_mm.map_or_else(String::new, |h| format!(" at {h:.2} mm"));
    let guide = if check.binding { "" } else { " (guideline)" };
    let _ = match (check.allowed, check.margin, check.used_percent) {
        (Some(allowed), Some(margin), Some(used)) => writeln!(
            out,
            "    {:<7} {}: {} of {}{height}, margin {}, {used:.0} %{guide}",
            check.standing.word(),
            check.what,
            number(check.value),
            number(allowed),
            number(margin)
        ),
        _ => writeln!(
            out,
            "    {:<7} {}: {}; the press card gives no limit{guide}",
            check.standing.word(),
            check.what,
            number(check.value)
        ),
    };
}

fn one_advice(out: &mut String, advice: &Advice, unit: LoadUnit) {
    let number = |value: f64| quantity(value, advice.unit, unit);
    let _ = writeln!(
        out,
        "    {}: {} {} -> {}",
        advice.what,
        advice.figure,
        number(advice.before),
        number(advice.after)
    );
}

fn assumptions(out: &mut String, job: &Job, plan: &Plan) {
    out.push_str("\nAssumed, because it was not given:\n");
    let mut groups: Vec<(&DefaultUsed, Vec<&str>)> = Vec::new();
    let all = job.defaults.iter().chain(plan.presses.iter().flat_map(|p| &p.press.defaults));
    for used in all {
        let same = |d: &DefaultUsed| d.field == used.field && d.value == used.value && d.why == used.why;
        match groups.iter_mut().find(|(first, _)| same(first)) {
            Some((_, places)) if places.contains(&used.place.as_str()) => {}
            Some((_, places)) => places.push(&used.place),
            None => groups.push((used, vec![&used.place])),
        }
    }
    if groups.is_empty() {
        out.push_str("  nothing\n");
    }
    for (used, places) in groups {
        let _ = writeln!(out, "  {} = {} ({}): {}", used.field, used.value, used.why, places.join(", "));
    }
    for remark in &job.remarks {
        let _ = writeln!(out, "Note: {remark}");
    }
    out.push_str(
        "\nHow it was computed:\n\
         \x20 slide height and capacity curve: exact crank-slider, constant crank torque up to the rating (ASM forging handbook page, read)\n\
         \x20 columns: linear form F = P/n (1 ± 2ex/a ± 2ey/b), rigid slide\n\
         \x20 ringing: a mass on a damped spring for opening, roll and pitch; course of each operation between first touch and peak is an assumption\n\
         \x20 usable energy: the card's figure at its fastest speed, falling with the square of the speed (½Iω²)\n\
         \x20 bands: strength, thickness and what the formulas do not know, each varied by the half band of nineteen in twenty, added as squares (JCGM 100)\n",
    );
}
