//! What fracture does to the frame, by the closed form of a single mass on a spring.
//!
//! The load ΔF that a cut held goes over the travel of its crack. Divided by the slide's speed there, less what
//! the frame's own spring-back adds, that is the time of the release; |sin(πd/T)/(πd/T)| of the sudden amplitude
//! is left, and e^(−πζ/√(1−ζ²)) of it half a period later. It is an estimate beside the course's own reverse
//! load: it knows one release at a time and nothing of what else is loaded.

use bolster_core::crank::CrankSlider;
use serde::Serialize;

use super::contact::{Variation, contacts};
use super::formula::{ramp_release_factor, sudden_release_factor};
use super::job::Job;
use super::press::Candidate;

/// The greatest release of a stroke.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Release {
    /// Load that goes at once or nearly so, kN.
    pub released_kn: f64,
    /// Slide height, mm.
    pub height_mm: f64,
    /// Slide speed there, mm/s.
    pub speed_mm_s: f64,
    /// How long it takes, ms; 0 where the frame springs back faster than the crack needs.
    pub release_ms: f64,
    /// Period of the frame, ms.
    pub period_ms: f64,
    /// Share of the sudden amplitude that such a ramp leaves.
    pub ramp_factor: f64,
    /// Share of it that damping leaves at the first reverse peak.
    pub damping_factor: f64,
    /// Reverse load if nothing else is loaded then, kN.
    pub reverse_kn: f64,
}

/// The greatest release of a hit: cuts that break within each other's crack count as one.
#[must_use]
pub fn greatest(job: &Job, hit: u32, press: &Candidate, speed_spm: f64) -> Option<Release> {
    let all = contacts(job, hit, &Variation::default());
    let mut releases: Vec<_> = all.iter().filter_map(super::contact::Contact::release).collect();
    releases.sort_by(|a, b| b.height_mm.total_cmp(&a.height_mm));
    let mut best: Option<(f64, f64, f64)> = None;
    for (number, first) in releases.iter().enumerate() {
        let together =
            releases.iter().skip(number).take_while(|r| first.height_mm - r.height_mm < first.over_mm);
        let kn: f64 = together.map(|r| r.kn).sum();
        if best.is_none_or(|(most, ..)| kn > most) {
            best = Some((kn, first.height_mm, first.over_mm));
        }
    }
    let (released_kn, height_mm, over_mm) = best?;
    let crank = CrankSlider::new(press.spec.stroke_mm, press.spec.rod_mm).ok()?;
    let omega = core::f64::consts::TAU * speed_spm / 60.0;
    let speed_mm_s = omega * crank.rate_mm(crank.closing_radians_at(height_mm.max(0.0)));
    let left_mm = (over_mm - released_kn / press.stiffness()).max(0.0);
    let release_s = if speed_mm_s > 0.0 { left_mm / speed_mm_s } else { 0.0 };
    let ramp_factor = ramp_release_factor(release_s / press.period_s());
    let damping_factor = sudden_release_factor(press.frame.damping);
    Some(Release {
        released_kn,
        height_mm,
        speed_mm_s,
        release_ms: 1000.0 * release_s,
        period_ms: 1000.0 * press.period_s(),
        ramp_factor,
        damping_factor,
        reverse_kn: released_kn * ramp_factor * damping_factor,
    })
}
