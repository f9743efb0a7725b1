//! A plan, a calibration and spectra of an invented press.

use bolster::figure::{
    Calibration, CalibrationPoint, Decay, Figure, LoadUnit, Moved, Plan, PlanStation, Size, Spectrum,
    SpectrumColumn, SpectrumPeak,
};

use super::{Scatter, entry};

const LONG: &str =
    "Pierce twelve holes for the cable gland and the earthing stud, both hands, <second> revision & a half";

fn plan(count: usize) -> Plan {
    let height_mm: Vec<f64> = (0..400).map(|i| 16.0 * (1.0 - f64::from(i) / 400.0)).collect();
    let words = [
        "pierce 12 × Ø 6.2",
        "notch sides",
        "draw cup",
        "restrike",
        "trim",
        "pierce slots",
        "bend tab",
        "part off",
    ];
    let stations: Vec<PlanStation> = (0..count)
        .map(|k| {
            let (contact, wide) = (5.4 - 0.25 * (k % 5) as f64, if k % 4 == 2 { 9.0 } else { 1.9 });
            let peak = 900.0 / count as f64 * (1.0 + ((k * 5) % 7) as f64 / 3.0);
            let load = |h: &f64| {
                let into = (contact + wide - 1.9 - h) / wide;
                if !(0.0..1.0).contains(&into) {
                    return 0.0;
                }
                peak * (1.0 - (1.0 - into).powi(4)) * if into > 0.45 { 0.25 } else { 1.0 }
            };
            PlanStation {
                name: words[k % words.len()].into(),
                x_mm: -700.0 + 1400.0 * (k as f64 + 0.5) / count as f64,
                y_mm: if k % 3 == 0 { 60.0 } else { -40.0 },
                load_kn: height_mm.iter().map(load).collect(),
            }
        })
        .collect();
    let mut figure = Plan {
        title: "Planned load, lamp-post door plate".into(),
        subtitle: "Press P3, 2,000 kN at 6 mm, mild steel 3.0 mm (invented data)".into(),
        unit: LoadUnit::Kn,
        height_mm,
        stations,
        allowed: (0..60)
            .map(|i| 0.5 * f64::from(i))
            .map(|h| (h, 2000.0 * (6.0_f64 / h.max(6.0)).sqrt()))
            .collect(),
        columns: 4,
        bolster_mm: [1800.0, 900.0],
        load_centre_mm: Some((-84.0, 12.0)),
        ..Plan::default()
    };
    let total = figure.total_kn();
    figure.low_kn = total.iter().map(|v| 0.88 * v).collect();
    figure.high_kn = total.iter().map(|v| 1.15 * v).collect();
    figure
}

fn calibration(scale: f64) -> Calibration {
    let mut noise = Scatter::new(41);
    let (zero_counts, counts_per_kn) = (1_204.0, 812.6);
    let points = (0..3)
        .flat_map(|_| (0..=20).map(|i| (if i <= 10 { i } else { 20 - i }, i > 10)))
        .map(|(step, falling)| {
            let reference_kn = scale * 50.0 * f64::from(step);
            let bow = 0.9 * (f64::from(step) / 10.0 - 0.5).powi(2) - 0.1;
            let residual_kn = scale * (bow + if falling { 0.35 } else { 0.0 } + 0.08 * noise.normal());
            CalibrationPoint {
                reference_kn,
                counts: zero_counts + counts_per_kn * (reference_kn + residual_kn),
                residual_kn,
                falling,
            }
        })
        .collect();
    Calibration {
        title: "Calibration of gauge LF".into(),
        subtitle: "Press P3, three runs up and down, 14 May (invented data)".into(),
        unit: LoadUnit::Kn,
        points,
        zero_counts,
        counts_per_kn,
        uncertainty: (0..=10)
            .map(|i| scale * 50.0 * f64::from(i))
            .map(|v| (v, scale * 0.6 + 0.001 * v))
            .collect(),
        limit_percent: Some(1.0),
    }
}

fn spectrum(columns: usize) -> Spectrum {
    let hz: Vec<f64> = (0..2000).map(|i| f64::from(i) * 0.5).collect();
    let rings = [(212.0, 0.021), (214.5, 0.019), (208.0, 0.034), (221.0, 0.022)];
    let mut noise = Scatter::new(3);
    let columns = ["LF", "RF", "LR", "RR"]
        .iter()
        .zip(rings)
        .take(columns)
        .map(|(name, (f0, damping))| SpectrumColumn {
            name: (*name).into(),
            amplitude_kn: hz
                .iter()
                .map(|f| {
                    let r = f / f0;
                    0.9 / ((1.0 - r * r).powi(2) + (2.0 * damping * r).powi(2)).sqrt() * 0.2
                        + 0.15 * (noise.normal()).abs()
                })
                .collect(),
            peaks: vec![
                SpectrumPeak { hz: f0, damping: Some(damping) },
                SpectrumPeak { hz: 50.0, damping: None },
            ],
            ..SpectrumColumn::default()
        })
        .collect();
    Spectrum {
        title: "Ringing after fracture".into(),
        subtitle: "Press P3, mean of 200 strokes (invented data)".into(),
        unit: LoadUnit::Kn,
        hz,
        columns,
        moved: Vec::new(),
    }
}

/// The whole picture of a frame's health: decays beside the spectra, and what moved.
fn frame() -> Spectrum {
    let mut frame = spectrum(4);
    let time_ms: Vec<f64> = (0..1200).map(|n| f64::from(n) / 8.0).collect();
    for column in &mut frame.columns {
        let envelope_kn: Vec<f64> = time_ms.iter().map(|t| 40.0 * (-t / 30.0).exp()).collect();
        let ring = time_ms.iter().zip(&envelope_kn).map(|(t, size)| size * (t * 0.66).cos());
        column.decay = Some(Decay { load_kn: ring.collect(), time_ms: time_ms.clone(), envelope_kn });
    }
    frame.columns[2].peaks.clear();
    frame.columns[2].note = "not enough ringing".into();
    let moved = |title: &str, scale: f64| Moved {
        title: title.into(),
        points: (0..4)
            .map(|column| {
                (0..6)
                    .map(|n| [250.0 * f64::from(n), scale * f64::from(n * column), 0.4 * scale.abs()])
                    .collect()
            })
            .collect(),
    };
    frame.moved = vec![
        moved("Frequency, % off the first", -0.05),
        moved("Zero, kN off the first", 0.2),
        moved("Share of the load, % off the first", 0.01),
    ];
    frame
}

/// All pictures of this file.
pub(crate) fn all() -> Vec<(String, Box<dyn Figure>, Size)> {
    let mut many = plan(36);
    for s in &mut many.stations {
        s.name = LONG.into();
    }
    many.title = LONG.repeat(3);
    many.unit = LoadUnit::UsTonf;
    let mut one = plan(1);
    one.columns = 2;
    one.bolster_mm = [3000.0, 250.0];
    one.low_kn.clear();
    one.high_kn.clear();
    one.load_centre_mm = None;
    let mut deep = plan(4);
    deep.bolster_mm = [300.0, 1200.0];
    for s in &mut deep.stations {
        s.load_kn = vec![0.0; s.load_kn.len()];
        (s.x_mm, s.y_mm) = (0.0, 0.0);
    }
    deep.low_kn = vec![0.0; deep.height_mm.len()];
    deep.high_kn = deep.low_kn.clone();
    let mut bare = calibration(1.0);
    bare.points.truncate(1);
    bare.points[0].residual_kn = 0.0;
    bare.uncertainty.clear();
    bare.limit_percent = None;
    vec![
        entry("plan", plan(7)),
        entry("plan-many", many),
        entry("plan-one", one),
        entry("plan-idle", deep),
        entry("calibration", calibration(1.0)),
        entry("calibration-tiny", calibration(1e-6)),
        entry("calibration-bare", bare),
        entry("spectrum", spectrum(4)),
        entry("spectrum-one-column", spectrum(1)),
        ("spectrum-frame".into(), Box::new(frame()), frame().size()),
        ("plan-small".into(), Box::new(plan(7)), Size::LEAST),
        ("calibration-small".into(), Box::new(calibration(1.0)), Size::LEAST),
        ("spectrum-small".into(), Box::new(spectrum(4)), Size::LEAST),
    ]
}
