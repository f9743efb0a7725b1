//! What to change: each suggestion is planned again and kept only if it helps.

use serde::Serialize;

use super::contact::Variation;
use super::course::{Course, march};
use super::job::{Job, Operation};
use super::limits::Standing;
use super::{PressPlan, press::Candidate};

/// A change and what it would do.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Advice {
    /// Stable name: `stagger-punches`, `stagger-stations`, `move-die`, `wider-opening`,
    /// `slower`, `faster`.
    pub code: &'static str,
    /// What to do.
    pub what: String,
    /// Name of the number that changes.
    pub figure: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Before.
    pub before: f64,
    /// After.
    pub after: f64,
}

/// Changes that help, most helpful first.
#[must_use]
pub fn advice(job: &Job, plan: &PressPlan) -> Vec<Advice> {
    let mut all = Vec::new();
    for hit in &plan.hits {
        all.extend(stagger_punches(job, plan, hit.hit, &hit.course));
        all.extend(stagger_stations(job, plan, hit.hit, &hit.course));
        all.extend(move_die(job, plan, hit.hit, &hit.course));
        all.extend(widen_bends(job, plan, hit.hit, &hit.course));
        all.extend(change_speed(job, plan, hit.hit, &hit.course));
    }
    all.sort_by(|a, b| (a.after / a.before.max(1e-9)).total_cmp(&(b.after / b.before.max(1e-9))));
    all
}

fn stands(plan: &PressPlan, hit: u32, codes: &[&str]) -> Standing {
    let of = plan.checks.iter().filter(|c| c.hit == hit && codes.contains(&c.code));
    of.map(|c| c.standing).max().unwrap_or(Standing::Within)
}

fn run(job: &Job, hit: u32, press: &Candidate, speed_spm: f64) -> Course {
    march(job, hit, press, speed_spm, &Variation::default())
}

/// Reverse load or peak, whichever fell more.
fn better(code: &'static str, what: String, before: &Course, after: &Course) -> Option<Advice> {
    let peak = (before.peak.kn, after.peak.kn);
    let reverse = ((-before.least.kn).max(0.0), (-after.least.kn).max(0.0));
    let fell = |(was, is): (f64, f64)| if was > 0.02 * before.peak.kn { is / was } else { 1.0 };
    let (figure, (was, is)) =
        if fell(peak) <= fell(reverse) { ("peak", peak) } else { ("reverse load", reverse) };
    // A change of a few per cent is lost in what the plan does not know.
    (fell((was, is)) < 0.95).then_some(Advice { code, what, figure, unit: "kN", before: was, after: is })
}

/// Punches of one station at different lengths: a step of the depth of fracture lets one group break before the
/// next bites.
fn stagger_punches(job: &Job, plan: &PressPlan, hit: u32, before: &Course) -> Option<Advice> {
    let mut changed = job.clone();
    let mut said = Vec::new();
    for station in changed.stations.iter_mut().filter(|s| s.hit == hit) {
        let depth = 1.1 * station.stock.penetration * station.stock.thickness_mm;
        for operation in &mut station.operations {
            if let Operation::Cut(cut) = operation
                && cut.punches > 1
                && cut.stagger_mm < 0.9 * depth
            {
                // The longest punches grow: the shortest must still cut through.
                cut.contact_mm += depth - cut.stagger_mm;
                cut.stagger_mm = depth;
                said.push(format!("{} by {depth:.2} mm", station.name));
            }
        }
    }
    if said.is_empty() {
        return None;
    }
    let after = run(&changed, hit, &plan.press, plan.speed_spm);
    let named = said.iter().take(4).cloned().collect::<Vec<_>>().join(", ");
    let rest = said.len().saturating_sub(4);
    let rest = if rest > 0 { format!(" and {rest} more") } else { String::new() };
    let what = format!("stagger the punches of {named}{rest} (longest to shortest)");
    better("stagger-punches", what, before, &after)
}

/// Stations one after the other: each bites when the one before it has broken.
fn stagger_stations(job: &Job, plan: &PressPlan, hit: u32, before: &Course) -> Option<Advice> {
    let mut order: Vec<(usize, f64)> = Vec::new();
    for (index, station) in job.stations.iter().enumerate().filter(|(_, s)| s.hit == hit) {
        if let Some(Operation::Cut(cut)) = station.operations.iter().find(|o| matches!(o, Operation::Cut(_)))
        {
            order.push((index, cut.contact_mm));
        }
    }
    // Beyond a handful the punches would become impractically unequal.
    if order.len() < 2 || order.len() > 6 {
        return None;
    }
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut changed = job.clone();
    let mut floor = f64::NEG_INFINITY;
    let mut said = Vec::new();
    for (index, contact) in order {
        let Some(station) = changed.stations.get_mut(index) else { continue };
        let step = 1.15 * station.stock.penetration * station.stock.thickness_mm;
        let wanted = contact.max(floor);
        for operation in &mut station.operations {
            if let Operation::Cut(cut) = operation {
                if wanted > cut.contact_mm + 0.01 {
                    said.push(format!("{} {:.2} mm longer", station.name, wanted - cut.contact_mm));
                }
                cut.contact_mm = wanted;
                floor = wanted + step + cut.stagger_mm;
            }
        }
    }
    if said.is_empty() {
        return None;
    }
    let after = run(&changed, hit, &plan.press, plan.speed_spm);
    better(
        "stagger-stations",
        format!("let the stations bite one after the other: {}", said.join(", ")),
        before,
        &after,
    )
}

fn move_die(job: &Job, plan: &PressPlan, hit: u32, before: &Course) -> Option<Advice> {
    let plate = plan.press.spec.bolster_mm;
    let columns = plan.press.spec.columns.count();
    let codes = [
        "column-over-share",
        "imbalance-left-right",
        "imbalance-front-rear",
        "load-over-off-centre-allowance",
    ];
    let [x, y] = before.centre_mm;
    let off = (x.abs() / plate[0]).max(if columns == 4 { y.abs() / plate[1] } else { 0.0 });
    if columns < 2 || (stands(plan, hit, &codes) <= Standing::Unknown && off < 0.05) {
        return None;
    }
    // No station may leave the space between the columns.
    let room = |wanted: f64, axis: usize| {
        let half = plate[axis.min(1)] / 2.0;
        let places = || {
            job.stations.iter().filter(|s| s.hit == hit).map(move |s| if axis == 0 { s.x_mm } else { s.y_mm })
        };
        let most_left = (places().fold(f64::INFINITY, f64::min) + half).max(0.0);
        let most_right = (half - places().fold(f64::NEG_INFINITY, f64::max)).max(0.0);
        wanted.clamp(-most_right, most_left)
    };
    let x = room(x, 0);
    let y = if columns == 4 { room(y, 1) } else { 0.0 };
    let mut changed = job.clone();
    for station in changed.stations.iter_mut().filter(|s| s.hit == hit) {
        station.x_mm -= x;
        station.y_mm -= y;
    }
    let after = run(&changed, hit, &plan.press, plan.speed_spm);
    let most = |course: &Course| course.column_peaks_kn.iter().copied().fold(0.0, f64::max);
    let worst = |course: &Course| course.imbalance[0].kn.max(course.imbalance[1].kn);
    let way = |mm: f64, plus: &str, minus: &str| {
        (mm.abs() >= 1.0).then(|| format!("{:.0} mm {}", mm.abs(), if mm > 0.0 { plus } else { minus }))
    };
    let ways: Vec<String> = [way(-x, "to the right", "to the left"), way(-y, "to the front", "to the rear")]
        .into_iter()
        .flatten()
        .collect();
    if ways.is_empty() {
        return None;
    }
    let each = if job.dies.len() > 1 { "all dies" } else { "the die" };
    let what = format!("move {each} {}", ways.join(" and "));
    let (figure, was, is) = if most(&after) / most(before).max(1e-9) < worst(&after) / worst(before).max(1e-9)
    {
        ("highest column load", most(before), most(&after))
    } else {
        ("difference between sides", worst(before), worst(&after))
    };
    (is < 0.95 * was).then_some(Advice { code: "move-die", what, figure, unit: "kN", before: was, after: is })
}

/// Bends over a wider opening: the load falls with it, the inside radius grows.
fn widen_bends(job: &Job, plan: &PressPlan, hit: u32, before: &Course) -> Option<Advice> {
    let codes = ["peak-over-rating", "load-over-capacity-curve", "column-over-share"];
    let worst = plan
        .checks
        .iter()
        .filter(|c| c.hit == hit && codes.contains(&c.code))
        .filter_map(|c| c.used_percent)
        .fold(0.0, f64::max);
    if worst <= 100.0 || worst > 200.0 {
        return None;
    }
    let wider = 1.05 * worst / 100.0;
    let mut changed = job.clone();
    let mut said = Vec::new();
    for station in changed.stations.iter_mut().filter(|s| s.hit == hit) {
        for operation in &mut station.operations {
            if let Operation::Bend(bend) = operation {
                bend.opening_mm *= wider;
                bend.contact_mm *= wider;
                said.push(format!("{} over {:.0} mm", station.name, bend.opening_mm));
            }
        }
    }
    if said.is_empty() {
        return None;
    }
    let after = run(&changed, hit, &plan.press, plan.speed_spm);
    better(
        "wider-opening",
        format!("bend {} (the inside radius grows with the opening)", said.join(", ")),
        before,
        &after,
    )
}

fn change_speed(job: &Job, plan: &PressPlan, hit: u32, before: &Course) -> Option<Advice> {
    let [slowest, fastest] = plan.press.spec.speed_spm;
    if stands(plan, hit, &["speed-out-of-range"]) == Standing::Over {
        let to = plan.speed_spm.clamp(slowest, fastest);
        let which = if to < plan.speed_spm { "slower" } else { "faster" };
        let what = format!("run at {to} strokes a minute: this press or gear runs {slowest} to {fastest}");
        let (figure, unit) = ("strokes a minute", "spm");
        return Some(Advice { code: which, what, figure, unit, before: plan.speed_spm, after: to });
    }
    if stands(plan, hit, &["work-over-usable-energy"]) > Standing::Unknown && plan.speed_spm < fastest {
        let (now, then) = (plan.press.usable_kj_at(plan.speed_spm)?, plan.press.usable_kj_at(fastest)?);
        // More speed that is still not enough helps nobody.
        if before.work_kj > then {
            return None;
        }
        return Some(Advice {
            code: "faster",
            what: format!(
                "run at {fastest:.0} strokes a minute, where the flywheel gives {then:.1} kJ instead of {now:.1}"
            ),
            figure: "share of usable energy",
            unit: "%",
            before: 100.0 * before.work_kj / now,
            after: 100.0 * before.work_kj / then,
        });
    }
    let codes = ["reverse-over-limit", "peak-over-rating", "load-over-capacity-curve"];
    if stands(plan, hit, &codes) <= Standing::Unknown || plan.speed_spm <= slowest {
        return None;
    }
    let after = run(job, hit, &plan.press, slowest);
    better("slower", format!("run at {slowest:.0} strokes a minute or in a slower gear"), before, &after)
}
