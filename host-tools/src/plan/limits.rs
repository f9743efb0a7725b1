//! Each limit of a press against what a plan says: number, margin and where it leaves us.

use bolster_core::press::PressSpec;
use serde::Serialize;

use super::HitPlan;
use super::job::{Job, Operation};
use super::press::Candidate;

/// Where a planned number stands against its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Under the limit with its whole band.
    Within,
    /// Cannot be told: the card lacks the figure.
    Unknown,
    /// Under it, but the upper end of the band is not.
    Close,
    /// Over it.
    Over,
}

impl Standing {
    /// The word people read.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Unknown => "unknown",
            Self::Close => "close",
            Self::Over => "over",
        }
    }
}

/// One limit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// Stable name, that of the verdict's reason where the monitor has one.
    pub code: &'static str,
    /// In words.
    pub what: &'static str,
    /// Unit of the numbers: `kN`, `kJ`, `mm`, `spm`.
    pub unit: &'static str,
    /// In which hit.
    pub hit: u32,
    /// What is planned.
    pub value: f64,
    /// Upper end of its band.
    pub high: f64,
    /// What is allowed; none where the card does not say.
    pub allowed: Option<f64>,
    /// Allowed less planned.
    pub margin: Option<f64>,
    /// Planned over allowed, percent.
    pub used_percent: Option<f64>,
    /// Slide height where it counts, mm.
    pub at_height_mm: Option<f64>,
    /// Where that leaves us.
    pub standing: Standing,
    /// Whether breaking it rules the press out; guidelines do not.
    pub binding: bool,
}

fn check(
    code: &'static str,
    what: &'static str,
    unit: &'static str,
    hit: u32,
    value: f64,
    high: f64,
) -> Check {
    Check {
        code,
        what,
        unit,
        hit,
        value,
        high,
        allowed: None,
        margin: None,
        used_percent: None,
        at_height_mm: None,
        standing: Standing::Unknown,
        binding: true,
    }
}

impl Check {
    fn against(mut self, allowed: f64) -> Self {
        self.allowed = Some(allowed);
        self.margin = Some(allowed - self.value);
        self.used_percent = (allowed > 0.0).then(|| 100.0 * self.value / allowed);
        self.standing = if self.value > allowed {
            Standing::Over
        } else if self.high > allowed {
            Standing::Close
        } else {
            Standing::Within
        };
        self
    }

    fn at(mut self, height_mm: f64) -> Self {
        self.at_height_mm = Some(height_mm);
        self
    }
}

/// Every limit of the press against one hit of the job.
#[must_use]
pub fn checks(job: &Job, press: &Candidate, speed_spm: f64, plan: &HitPlan) -> Vec<Check> {
    let (spec, hit, bands, course) = (&press.spec, plan.hit, &plan.bands, &plan.course);
    let mut all = Vec::new();
    let highest = job
        .stations
        .iter()
        .filter(|s| s.hit == hit)
        .flat_map(|s| &s.operations)
        .map(|operation| match operation {
            Operation::Cut(cut) => cut.contact_mm,
            Operation::Bend(bend) => bend.contact_mm,
            Operation::Draw(draw) => draw.depth_mm,
            Operation::Coin(coin) => coin.contact_mm,
            Operation::Pad(pad) => pad.contact_mm,
        })
        .fold(0.0, f64::max);
    all.push(
        check("contact-above-stroke", "first touch under the top of the stroke", "mm", hit, highest, highest)
            .against(0.95 * spec.stroke_mm),
    );
    let [slowest, fastest] = spec.speed_spm;
    let speed = check("speed-out-of-range", "strokes a minute", "spm", hit, speed_spm, speed_spm);
    let mut speed = speed.against(fastest);
    if speed_spm < slowest * (1.0 - 1e-9) {
        speed.standing = Standing::Over;
        speed.allowed = Some(slowest);
        speed.margin = Some(speed_spm - slowest);
        speed.what = "strokes a minute (too slow)";
    }
    all.push(speed);
    let peak = bands.peak_kn;
    all.push(
        check("peak-over-rating", "peak load against the rating", "kN", hit, peak.nominal, peak.high)
            .against(spec.rated_kn)
            .at(course.peak.height_mm),
    );
    let (closest, allowed) = course.closest;
    let worst = bands.use_of_curve.high * allowed;
    all.push(
        check("load-over-capacity-curve", "load against the capacity curve", "kN", hit, closest.kn, worst)
            .against(allowed)
            .at(closest.height_mm),
    );
    let columns = spec.columns.count();
    if columns > 1 {
        let share = spec.rated_kn / columns as f64 * spec.column_percent / 100.0;
        let column = bands.column_kn;
        all.push(
            check("column-over-share", "highest column load", "kN", hit, column.nominal, column.high)
                .against(share),
        );
        let names = [
            ("imbalance-left-right", "left-right difference"),
            ("imbalance-front-rear", "front-rear difference"),
        ];
        let axes = if columns == 4 { 2 } else { 1 };
        for ((code, what), (band, spot)) in
            names.into_iter().zip(bands.imbalance_kn.iter().zip(&course.imbalance)).take(axes)
        {
            all.push(
                check(code, what, "kN", hit, band.nominal, band.high)
                    .against(spec.rated_kn * spec.imbalance_percent / 100.0)
                    .at(spot.height_mm),
            );
        }
    }
    if columns > 1 && spec.off_centre_percent.is_some() {
        // At the peak, whose load centre is known.
        let allowed = spec.rated_kn / (1.0 + out_of_middle(spec, course.centre_mm) * off_centre_factor(spec));
        let code = "load-over-off-centre-allowance";
        let off =
            check(code, "peak load against the off-centre allowance", "kN", hit, peak.nominal, peak.high);
        all.push(off.against(allowed).at(course.peak.height_mm));
    }
    let reverse = bands.reverse_kn;
    all.push(
        check("reverse-over-limit", "reverse load after fracture", "kN", hit, reverse.nominal, reverse.high)
            .against(spec.rated_kn * spec.reverse_percent / 100.0)
            .at(course.least.height_mm),
    );
    let work = bands.work_kj;
    let energy =
        check("work-over-usable-energy", "work against usable energy", "kJ", hit, work.nominal, work.high);
    all.push(match press.usable_kj_at(speed_spm) {
        Some(usable) => energy.against(usable),
        None => energy,
    });
    let cuts = job
        .stations
        .iter()
        .filter(|s| s.hit == hit)
        .any(|s| s.operations.iter().any(|o| matches!(o, Operation::Cut(_))));
    if cuts {
        // A trade magazine's advice (thefabricator.com, read) for straight sides; 60 to 70 % for open frames.
        let mut guide = check(
            "blanking-guideline",
            "peak against 80 % of rating when cutting",
            "kN",
            hit,
            peak.nominal,
            peak.nominal,
        )
        .against(0.8 * spec.rated_kn)
        .at(course.peak.height_mm);
        guide.binding = false;
        all.push(guide);
    }
    if columns > 1 {
        let out = job.stations.iter().filter(|s| s.hit == hit).map(|s| {
            let y = if columns == 4 { s.y_mm.abs() / spec.bolster_mm[1] } else { 0.0 };
            (s.x_mm.abs() / spec.bolster_mm[0]).max(y)
        });
        // Stations further out than the columns lift the other side; the plate ends about there.
        let furthest = 200.0 * out.fold(0.0, f64::max);
        all.push(
            check(
                "station-beyond-columns",
                "furthest station, percent of the way to the columns",
                "%",
                hit,
                furthest,
                furthest,
            )
            .against(100.0),
        );
    }
    all
}

/// The load centre's way out as a share of the way to the gauges, both directions together.
fn out_of_middle(spec: &PressSpec, centre_mm: [f64; 2]) -> f64 {
    let [x, y] = centre_mm;
    let y = if spec.columns.count() == 4 { y } else { 0.0 };
    2.0 * x.abs() / spec.bolster_mm[0] + 2.0 * y.abs() / spec.bolster_mm[1]
}

/// k of the press's off-centre allowance, see the core's machine limits; 0 where none is given.
fn off_centre_factor(spec: &PressSpec) -> f64 {
    spec.off_centre_percent.map_or(0.0, |percent| 100.0 / percent - 1.0)
}

/// How far off the middle a load of this size may stand, and how much load may stand where it does.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OffCentre {
    /// Load centre at the peak, mm.
    pub centre_mm: [f64; 2],
    /// Greatest offset left or right, and front or rear, that this peak may have by column share,
    /// imbalance and the press's off-centre allowance, mm, each with the other at zero.
    pub allowed_offset_mm: [f64; 2],
    /// Load that may stand at the load centre by column share, imbalance and off-centre allowance, kN, never
    /// over the rating.
    pub allowed_here_kn: f64,
    /// Extent of the stations' places (and bend lines), percent of the gauge distance left-right.
    pub spread_percent: f64,
    /// Stations in this hit.
    pub stations: usize,
}

/// The off-centre allowance of a hit; none for a one-column press.
#[must_use]
pub fn off_centre(job: &Job, press: &Candidate, plan: &HitPlan) -> Option<OffCentre> {
    let spec = &press.spec;
    let columns = spec.columns.count();
    if columns < 2 || plan.course.peak.kn <= 0.0 {
        return None;
    }
    let peak = plan.course.peak.kn;
    let share = spec.column_percent / 100.0;
    let imbalance = spec.imbalance_percent / 100.0;
    let offset = |plate: f64| {
        // Linear form: a column carries P/n (1 + 2e/a), the sides differ by 2Pe/a.
        let by_column = plate / 2.0 * (share * spec.rated_kn / peak - 1.0);
        let by_imbalance = imbalance * spec.rated_kn * plate / (2.0 * peak);
        let factor = off_centre_factor(spec);
        let by_allowance = if factor > 0.0 {
            plate / 2.0 * (spec.rated_kn / peak - 1.0).max(0.0) / factor
        } else {
            f64::INFINITY
        };
        by_column.min(by_imbalance).min(by_allowance).clamp(0.0, plate / 2.0)
    };
    let [x, y] = plan.course.centre_mm;
    let [ux, uy] = [2.0 * x.abs() / spec.bolster_mm[0], 2.0 * y.abs() / spec.bolster_mm[1]];
    let uy = if columns == 4 { uy } else { 0.0 };
    let by_column = share * spec.rated_kn / (1.0 + ux + uy);
    let by_imbalance = imbalance * spec.rated_kn / ux.max(uy).max(1e-9);
    // A bend line is taken as lying left to right about its place.
    let ends = |station: &super::job::Station| {
        let line = station
            .operations
            .iter()
            .map(|o| if let Operation::Bend(bend) = o { bend.length_mm } else { 0.0 });
        let half = 0.5 * line.fold(0.0, f64::max);
        [station.x_mm - half, station.x_mm + half]
    };
    let own = || job.stations.iter().filter(|s| s.hit == plan.hit);
    let extent = own().map(|s| ends(s)[1]).fold(f64::NEG_INFINITY, f64::max)
        - own().map(|s| ends(s)[0]).fold(f64::INFINITY, f64::min);
    Some(OffCentre {
        centre_mm: plan.course.centre_mm,
        allowed_offset_mm: [
            offset(spec.bolster_mm[0]),
            if columns == 4 { offset(spec.bolster_mm[1]) } else { 0.0 },
        ],
        allowed_here_kn: by_column.min(by_imbalance).min(
            spec.rated_kn / (1.0 + off_centre_factor(spec) * out_of_middle(spec, plan.course.centre_mm)),
        ),
        spread_percent: 100.0 * extent / spec.bolster_mm[0],
        stations: own().count(),
    })
}
