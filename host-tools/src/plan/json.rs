//! The plan as JSON: loads in kN, lengths in mm, work in kJ; rows of the course by crank angle.

use serde_json::{Value, json};

use super::course::{Course, Sample};
use super::job::{Job, Station};
use super::{HitPlan, Plan, PressPlan};

/// The whole plan; `caution` is printed with it.
#[must_use]
pub fn value(plan: &Plan, caution: &str) -> Value {
    let job = &plan.job;
    json!({
        "job": job.name,
        "caution": caution.split_whitespace().collect::<Vec<_>>().join(" "),
        "estimates": true,
        "hits": job.hits,
        "parts_per_stroke": job.parts_per_stroke,
        "stations": job.stations.iter().map(station).collect::<Vec<_>>(),
        "defaults": job.defaults,
        "remarks": job.remarks,
        "presses": plan.presses.iter().enumerate().map(|(i, p)| press(job, p, i + 1)).collect::<Vec<_>>(),
        "column_form": "linear: F = P/n (1 ± 2ex/a ± 2ey/b)",
    })
}

fn station(station: &Station) -> Value {
    json!({
        "name": station.name,
        "hit": station.hit,
        "x_mm": station.x_mm,
        "y_mm": station.y_mm,
        "stock": station.stock,
        "formulas": super::formulas(station),
    })
}

fn press(job: &Job, plan: &PressPlan, rank: usize) -> Value {
    json!({
        "rank": rank,
        "press": plan.press.name,
        "speed_spm": plan.speed_spm,
        "standing": plan.standing,
        "parts_per_hour": plan.parts_per_hour,
        "strip_m_per_min": plan.strip_m_per_min,
        "usable_energy_kj": plan.press.usable_kj_at(plan.speed_spm),
        "frame": {
            "stretch_at_rated_mm": plan.press.frame.stretch_at_rated_mm,
            "slide_mass_kg": plan.press.frame.slide_mass_kg,
            "damping": plan.press.frame.damping,
            "period_ms": 1000.0 * plan.press.period_s(),
        },
        "checks": plan.checks,
        "advice": plan.advice,
        "defaults": plan.press.defaults,
        "hits": plan.hits.iter().map(|hit| one_hit(job, hit)).collect::<Vec<_>>(),
        "columns": plan.press.spec.columns.names(),
    })
}

fn one_hit(job: &Job, hit: &HitPlan) -> Value {
    let course = &hit.course;
    let stations: Vec<Value> = job
        .stations
        .iter()
        .zip(&course.stations)
        .filter(|(station, _)| station.hit == hit.hit)
        .map(|(station, did)| {
            json!({
                "name": station.name,
                "peak": did.peak,
                "stripping_kn": -did.least_kn,
                "work_kj": did.work_kj,
            })
        })
        .collect();
    json!({
        "hit": hit.hit,
        "peak": course.peak,
        "die_peak_kn": course.die_peak_kn,
        "work_kj": course.work_kj,
        "reverse_kn": (-course.least.kn).max(0.0),
        "load_centre_mm": course.centre_mm,
        "load_centre_span_mm": course.centre_span_mm,
        "columns_at_peak_kn": course.columns_at_peak_kn,
        "column_peaks_kn": course.column_peaks_kn,
        "bands": hit.bands,
        "release": hit.release,
        "off_centre": hit.off_centre,
        "stations": stations,
        "course": rows(job, hit.hit, course),
    })
}

fn rows(job: &Job, hit: u32, course: &Course) -> Value {
    let column = |pick: &dyn Fn(&Sample) -> Value| course.samples.iter().map(pick).collect::<Vec<_>>();
    let round = |number: f64| json!((number * 1000.0).round() / 1000.0);
    let own = job.stations.iter().enumerate().filter(|(_, s)| s.hit == hit);
    let loads: Vec<Value> = own
        .map(|(index, station)| {
            let kn = column(&|s: &Sample| round(s.stations_kn.get(index).copied().unwrap_or(0.0)));
            json!({ "name": station.name, "kn": kn })
        })
        .collect();
    json!({
        "angle_deg": column(&|s| round(s.angle_deg)),
        "height_mm": column(&|s| round(s.height_mm)),
        "total_kn": column(&|s| round(s.total_kn)),
        "die_kn": column(&|s| round(s.die_kn)),
        "allowed_kn": column(&|s| round(s.allowed_kn)),
        "margin_kn": column(&|s| round(s.allowed_kn - s.total_kn)),
        "columns_kn": column(&|s| s.columns_kn.iter().map(|kn| round(*kn)).collect()),
        "load_centre_mm": column(&|s| s.centre_mm.map_or(Value::Null, |c| json!([round(c[0]), round(c[1])]))),
        "stations": loads,
    })
}
