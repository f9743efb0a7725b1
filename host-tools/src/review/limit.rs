//! How much of each of a die's limits one stroke used.

use bolster_core::verdict::Reason;

use crate::card::die::{Band, LimitsCard};
use crate::session::{Outcome, Session};

/// The shape's statistics in the core's order: a stable code, and what is limited, in words.
const STATISTICS: [(&str, &str); bolster_core::shape::model::STATISTICS] = [
    ("shape-allowed-ways", "movement along the ways stock may move the signature"),
    ("shape-residual", "signature as a whole, what stock and timing do taken out (Q)"),
    ("shape-worst-place", "worst single place of the signature"),
    ("shape-matched", "one station's or one column's load"),
    ("shape-windows", "columns against each other, window by window"),
    ("shape-scatter", "stroke scatter, what stock does taken out"),
    ("shape-all-scatter", "stroke scatter (T²)"),
];

/// How much of one limit a stroke used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitUse {
    /// Stable code of the limit.
    pub code: &'static str,
    /// What it limits, in words.
    pub says: &'static str,
    /// Share of the limit used, above 1 beyond it; none where only the judge knows.
    ///
    /// Of an upper limit the value over the limit, of a lower one the limit over the value, of a shape statistic
    /// (a squared size) the root of the statistic over its limit: the share of the limit's amplitude.
    pub used: Option<f64>,
    /// Whether the limit was left.
    pub over: bool,
    /// Whether that limit alone stops a press: it was left, and the judge held the stroke for it.
    pub stops: bool,
}

/// How much of each limit of a die the stroke used; `session` is the one that judged it.
#[must_use]
pub fn uses(outcome: &Outcome, session: &Session, limits: Option<&LimitsCard>) -> Vec<LimitUse> {
    let mut uses = Vec::new();
    let held = |of: &dyn Fn(Reason) -> bool| {
        outcome.findings.iter().any(|finding| {
            (finding.verdict == "hold" || finding.verdict == "trip")
                && Reason::ALL.iter().any(|reason| reason.code() == finding.reason && of(*reason))
        })
    };
    if let Some(over_limits) = session.over_limits() {
        let stops = held(&is_shape);
        for ((code, says), over) in STATISTICS.into_iter().zip(over_limits) {
            let over = f64::from(over);
            // Written so that a NaN is over its limit, as the core takes it.
            let is_over = !over.lt(&1.0);
            let used = Some(over.max(0.0).sqrt()).filter(|used| used.is_finite());
            uses.push(LimitUse { code, says, used, over: is_over, stops: is_over && stops });
        }
    }
    if let Some(limits) = limits {
        plain(outcome, limits, &mut uses);
    }
    // What the judge found beyond these: its reasons speak for themselves.
    for finding in &outcome.findings {
        let known = |reason: &Reason| is_shape(*reason) || of_plain(*reason) || !is_of_die(*reason);
        let reason = Reason::ALL.iter().find(|reason| reason.code() == finding.reason);
        if reason.is_none_or(known) || uses.iter().any(|other| other.code == finding.reason) {
            continue;
        }
        uses.push(LimitUse {
            code: finding.reason,
            says: finding.says,
            used: None,
            over: true,
            stops: finding.verdict == "hold" || finding.verdict == "trip",
        });
    }
    uses
}

/// The plain bands: each end is a limit of its own.
fn plain(outcome: &Outcome, limits: &LimitsCard, uses: &mut Vec<LimitUse>) {
    let bands = [
        (limits.peak_kn, Some(outcome.peak_kn), Reason::PeakOverDieLimit, Some(Reason::PeakUnderDieLimit)),
        (limits.reverse_kn, Some(outcome.reverse_kn), Reason::ReverseOverDieLimit, None),
        (limits.work_kj, outcome.work_kj, Reason::WorkOverDieLimit, Some(Reason::WorkUnderDieLimit)),
        // Of one end each: the other is none.
        (
            limits.double_load_kn.map(|load| [0.0, load.kn].into()),
            Some(outcome.peak_kn),
            Reason::DoubleLoad,
            None,
        ),
        (
            limits.no_load_kn.map(|load| [load.kn, 0.0].into()),
            Some(outcome.peak_kn),
            Reason::NoLoad,
            Some(Reason::NoLoad),
        ),
    ];
    for (band, value, above, below) in bands {
        let (Some(Band { ends: [low, high], .. }), Some(value)) = (band, value) else { continue };
        let mut add = |reason: Reason, used: f64| {
            let over = outcome.findings.iter().find(|finding| finding.reason == reason.code());
            let stops = over.is_some_and(|finding| finding.verdict == "hold" || finding.verdict == "trip");
            let used = used.is_finite().then_some(used);
            uses.push(LimitUse {
                code: reason.code(),
                says: reason.says(),
                used,
                over: over.is_some(),
                stops,
            });
        };
        if high > 0.0 {
            add(above, value.max(0.0) / high);
        }
        if let Some(below) = below.filter(|_| low > 0.0) {
            add(below, low / value.max(0.0));
        }
    }
}

fn is_shape(reason: Reason) -> bool {
    matches!(
        reason,
        Reason::ShapeOffEnvelope
            | Reason::ShareOffEnvelope
            | Reason::StockChanged
            | Reason::ChangeBeyondAllowed
            | Reason::DriftOffReference
    )
}

fn of_plain(reason: Reason) -> bool {
    matches!(
        reason,
        Reason::PeakOverDieLimit
            | Reason::PeakUnderDieLimit
            | Reason::ReverseOverDieLimit
            | Reason::WorkOverDieLimit
            | Reason::WorkUnderDieLimit
            | Reason::NoLoad
            | Reason::DoubleLoad
    )
}

/// Whether a reason comes from what a die may do, rather than from press, gauges, clock or crank.
fn is_of_die(reason: Reason) -> bool {
    let elsewhere = reason == Reason::SpeedOutOfRange || reason.is_of_health();
    !(elsewhere || reason.is_machine_limit())
}
