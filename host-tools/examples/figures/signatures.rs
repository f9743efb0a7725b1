//! Signatures and capacity curves of an invented press.

use bolster::figure::{
    AxisKind, Capacity, Envelope, Figure, LoadUnit, OffendingSpan, Signature, Size, Trace, Verdict,
};

use super::{Scatter, entry};

const COLUMNS: [&str; 4] = ["LF", "RF", "LR", "RR"];
const LONG: &str = "Mounting bracket for solar panels, left hand, eleven stations with a draw and two pierce-and-restrike stations, second revision after the regrind of the trim punches, tooled for both strip widths <A & B>";

fn bump(x: f64, at: f64, wide: f64) -> f64 {
    (-((x - at) / wide).powi(2)).exp()
}

/// Blanking: rise, drop at fracture with ringing, then stripping.
fn load(angle: f64, scale: f64, extra: f64) -> f64 {
    let rise = bump(angle, 168.0, 5.0) * if angle > 170.0 { (-(angle - 170.0) / 0.7).exp() } else { 1.0 };
    let since = angle - 171.0;
    let ring = if since > 0.0 { -0.24 * (-since / 3.5).exp() * (since * 2.6).sin() } else { 0.0 };
    let strip = -0.05 * bump(angle, 192.0, 4.0);
    scale * (rise + ring + strip + extra * bump(angle, 163.0, 2.2))
}

fn trace(name: &str, angles: &[f64], scale: f64, extra: f64, seed: u64) -> Trace {
    let mut noise = Scatter::new(seed);
    let mean: Vec<f64> = angles.iter().map(|&a| load(a, scale, 0.0)).collect();
    let half = |v: &f64| 0.03 * scale + 0.05 * v.abs();
    Trace {
        name: name.to_owned(),
        load_kn: angles.iter().map(|&a| load(a, scale, extra) + 0.006 * scale * noise.normal()).collect(),
        envelope: Some(Envelope {
            low_kn: mean.iter().map(|v| v - half(v)).collect(),
            high_kn: mean.iter().map(|v| v + half(v)).collect(),
            mean_kn: mean,
        }),
    }
}

fn four(scale: f64, points: usize) -> Signature {
    let angles: Vec<f64> = (0..points).map(|i| 150.0 + 60.0 * i as f64 / points as f64).collect();
    let shares = [0.29, 0.26, 0.24, 0.21];
    let columns: Vec<Trace> = COLUMNS
        .iter()
        .zip(shares)
        .zip([0.32, 0.0, 0.04, 0.0])
        .enumerate()
        .map(|(i, ((name, share), extra))| trace(name, &angles, scale * share, extra, i as u64))
        .collect();
    Signature {
        title: "Stroke 18,204".into(),
        subtitle: "Press P3, die lamp-post door plate, 14 May, Aldermoor Pressings (invented data)".into(),
        verdict: Some(Verdict::Hold),
        reasons: vec!["shape off envelope in LF".into(), "slug on the die at station 3 is usual".into()],
        total: trace("total", &angles, scale, 0.1, 9),
        position: angles,
        columns,
        spans: vec![OffendingSpan {
            from: 160.5,
            to: 165.0,
            reason: "shape off envelope".into(),
            column: Some("LF".into()),
        }],
        ..Signature::default()
    }
}

fn capacity(scale: f64) -> Capacity {
    let height_mm: Vec<f64> = (0..600).map(|i| 30.0 * (1.0 - f64::from(i) / 600.0)).collect();
    let load_kn = height_mm
        .iter()
        .map(|h| {
            scale
                * (1450.0 * bump(*h, 6.2, 2.6) * if *h > 4.5 { 1.0 } else { 0.2 }
                    - 120.0 * bump(*h, 3.9, 0.3))
        })
        .collect();
    let allowed =
        (0..80).map(|i| 0.5 * f64::from(i)).map(|h| (h, 2000.0 * (6.0_f64 / h.max(6.0)).sqrt())).collect();
    Capacity {
        title: "Load against slide height, stroke 18,204".into(),
        subtitle: "Press P3, 2,000 kN at 6 mm, die lamp-post door plate (invented data)".into(),
        unit: LoadUnit::Kn,
        height_mm,
        curve: "this stroke".into(),
        load_kn,
        allowed,
    }
}

fn one_column() -> Signature {
    let base = four(80.0, 400);
    Signature {
        title: "Stroke 7".into(),
        verdict: Some(Verdict::Pass),
        reasons: vec![],
        columns: vec![],
        spans: vec![],
        axis: AxisKind::Milliseconds,
        position: (0..400).map(|i| f64::from(i) * 0.25).collect(),
        unit: LoadUnit::UsTonf,
        ..base
    }
}

fn crowded() -> Signature {
    let mut figure = four(1600.0, 7200);
    figure.subtitle = format!("Press P3, die {LONG}");
    figure.title = LONG.into();
    figure.verdict = Some(Verdict::Trip);
    figure.reasons =
        (0..6).map(|i| format!("reason {i}: load over the capacity curve by {i} per cent")).collect();
    figure.spans = ["LF", "RR", "total", "LR"]
        .iter()
        .enumerate()
        .map(|(i, name)| OffendingSpan {
            from: 151.0 + 2.5 * i as f64,
            to: 153.0 + 3.0 * i as f64,
            reason: LONG[..30 + 40 * i].into(),
            column: Some((*name).into()),
        })
        .collect();
    figure
}

/// All pictures of this file.
pub(crate) fn all() -> Vec<(String, Box<dyn Figure>, Size)> {
    let mut two = four(300.0, 900);
    two.columns.truncate(2);
    two.columns[0].name = "L".into();
    two.columns[1].name = "R".into();
    two.verdict = Some(Verdict::Note);
    two.spans[0].column = None;
    let mut tiny = four(4e-7, 50);
    tiny.verdict = Some(Verdict::Pass);
    let mut flat = four(1.0, 40);
    for t in std::iter::once(&mut flat.total).chain(&mut flat.columns) {
        t.load_kn = vec![5.0; 40];
        t.envelope = None;
    }
    let mut negative = four(-900.0, 300);
    negative.spans.clear();
    tiny.spans.clear();
    tiny.reasons.clear();
    let mut over = capacity(1.6);
    over.unit = LoadUnit::TonneForce;
    let mut out = vec![
        entry("signature", four(1600.0, 3600)),
        entry("signature-one-column", one_column()),
        entry("signature-two-columns", two),
        entry("signature-crowded", crowded()),
        entry("signature-tiny", tiny),
        entry("signature-flat", flat),
        entry("signature-negative", negative),
        entry("capacity", capacity(1.0)),
        entry("capacity-over", over),
        entry("capacity-tiny", capacity(1e-6)),
        entry("capacity-negative", capacity(-1.0)),
    ];
    out.push(("signature-small".into(), Box::new(four(1600.0, 3600)), Size::LEAST));
    out.push(("capacity-small".into(), Box::new(capacity(1.0)), Size::LEAST));
    out
}
