//! Runs of many strokes of an invented press: peaks, shares, load centres, a trend.

use bolster::figure::{
    CentrePoint, Column, Figure, LoadCentre, LoadUnit, Shares, Size, Strokes, StrokesLeft, Trend, TrendPoint,
    Verdict,
};

use super::{Scatter, entry};

const LONG: &str = "Garden-tool socket, eleven stations, both hands, with a name that nobody will ever be able to read to its end because it does not end where it should & goes on <here>";
const NAMES: [&str; 4] = ["LF", "RF", "LR", "RR"];
const SHARES: [f64; 4] = [0.29, 0.26, 0.24, 0.21];

fn names(columns: usize) -> Vec<&'static str> {
    if columns == 2 { vec!["L", "R"] } else { NAMES.into_iter().take(columns).collect() }
}

fn strokes(count: u64, columns: usize) -> Strokes {
    let mut noise = Scatter::new(count);
    let stroke: Vec<u64> = (1..=count).collect();
    let coil = (count / 6).max(1);
    let mut total_kn = Vec::new();
    let mut reverse_kn = Vec::new();
    let mut verdicts = Vec::new();
    let mut values = vec![Vec::new(); columns];
    for &s in &stroke {
        let odd = s % 4001 == 1717 % count.min(4001);
        let level = 1500.0 + 25.0 * ((s / coil) as f64 * 2.1).sin() + 60.0 * s as f64 / count as f64;
        let total = level + 7.0 * noise.normal() + if odd { 260.0 } else { 0.0 };
        for (i, column) in values.iter_mut().enumerate() {
            let extra = if odd && i == 0 { 180.0 } else { 0.0 };
            column.push(total * SHARES[i] + 4.0 * noise.normal() + extra);
        }
        total_kn.push(total);
        reverse_kn.push((90.0 + 14.0 * noise.normal()).max(0.0));
        verdicts.push(match s % 977 {
            _ if odd => Verdict::Hold,
            13 => Verdict::Note,
            400 if s > 20_000 => Verdict::Trip,
            _ => Verdict::Pass,
        });
    }
    let columns = names(columns)
        .into_iter()
        .zip(values)
        .map(|(name, values)| Column { name: name.into(), values })
        .collect();
    Strokes {
        title: "Peaks and verdicts".into(),
        subtitle: "Press P3, die lamp-post door plate, May (invented data)".into(),
        unit: LoadUnit::Kn,
        coil_changes: stroke.iter().copied().filter(|s| s % coil == 0).collect(),
        cause_of: stroke.iter().copied().filter(|s| s % 401 == 3).map(|s| (s, (s % 9) as usize)).collect(),
        causes: if count > 100 { (0..9).map(|n| format!("{n} x {LONG}")).collect() } else { Vec::new() },
        stroke,
        total_kn,
        columns,
        reverse_kn,
        verdicts,
        total_limit_kn: Some(1900.0),
        column_limit_kn: Some(650.0),
        reverse_limit_kn: Some(200.0),
    }
}

fn shares(count: u64, columns: usize) -> Shares {
    let run = strokes(count, columns);
    let percent = |c: &Column| Column {
        name: c.name.clone(),
        values: c.values.iter().zip(&run.total_kn).map(|(v, t)| 100.0 * v / t).collect(),
    };
    Shares {
        title: "Corner shares of the peak".into(),
        subtitle: run.subtitle.clone(),
        columns: run.columns.iter().map(percent).collect(),
        expected_percent: SHARES.iter().take(columns).map(|s| 100.0 * s).collect(),
        stroke: run.stroke,
        coil_changes: run.coil_changes,
    }
}

fn centre(count: usize, spread: f64) -> LoadCentre {
    let mut noise = Scatter::new(count as u64 + 5);
    let point = |i: usize| {
        let odd = i % 701 == 1;
        CentrePoint {
            x_mm: -62.0 + spread * noise.normal() - if odd { 9.0 * spread } else { 0.0 },
            y_mm: 31.0 + 0.6 * spread * noise.normal() + if odd { 5.0 * spread } else { 0.0 },
            verdict: match i {
                _ if odd => Verdict::Hold,
                _ if i % 997 == 5 => Verdict::Trip,
                _ if i % 499 == 2 => Verdict::Note,
                _ => Verdict::Pass,
            },
        }
    };
    LoadCentre {
        title: "Load centre at the peak".into(),
        subtitle: "Press P3, die lamp-post door plate, May (invented data)".into(),
        columns: 4,
        bolster_mm: [1800.0, 900.0],
        points: (0..count).map(point).collect(),
        allowance_mm: vec![(-200.0, -70.0), (70.0, -70.0), (110.0, 60.0), (0.0, 120.0), (-200.0, 120.0)],
    }
}

fn trend(count: u64, regrind: u64) -> Trend {
    let mut noise = Scatter::new(count + 77);
    let level = |s: u64| {
        if s < regrind {
            405.0 + 30.0 * s as f64 / regrind as f64
        } else {
            398.0 + 42.0 * (s - regrind) as f64 / (count - regrind).max(1) as f64
        }
    };
    let stroke: Vec<u64> = (1..=count).collect();
    let value = stroke.iter().map(|&s| level(s) + 3.0 * noise.normal()).collect();
    let line = |from: u64, to: u64, ahead: u64| -> Vec<TrendPoint> {
        (0..=20 + ahead)
            .map(|i| from + (to - from) * i / 20)
            .map(|s| {
                let past = s.saturating_sub(to) as f64 / (to - from).max(1) as f64;
                let (value, half) = (level(s), 1.5 + 14.0 * past);
                TrendPoint { stroke: s as f64, value, low: value - half, high: value + half }
            })
            .collect()
    };
    Trend {
        title: "Wear of the trim punch: peak load of LF".into(),
        subtitle: "Press P3, die lamp-post door plate (invented data)".into(),
        quantity: "Peak load of LF".into(),
        unit: "kN".into(),
        lines: vec![line(1, regrind.saturating_sub(1).max(2), 0), line(regrind, count, 9)],
        stroke,
        value,
        confidence_percent: Some(90.0),
        limit: Some(455.0),
        changes: vec![(regrind, "regrind".into()), (count * 7 / 10, "new coil".into())],
        left: Some(StrokesLeft {
            likely: 4_240.0,
            least: 2_900.0,
            most: Some(6_800.0),
            confidence_percent: 90.0,
        }),
    }
}

fn flat_strokes() -> Strokes {
    let mut run = strokes(40, 4);
    run.total_kn = vec![1500.0; 40];
    for c in &mut run.columns {
        c.values = vec![375.0; 40];
    }
    run.reverse_kn = vec![0.0; 40];
    run.unit = LoadUnit::UsTonf;
    run
}

fn negative_strokes() -> Strokes {
    let mut run = strokes(300, 2);
    run.title = LONG.repeat(2);
    run.subtitle = LONG.repeat(2);
    for v in run.columns.iter_mut().flat_map(|c| &mut c.values).chain(&mut run.total_kn) {
        *v *= -1e-4;
    }
    for (c, name) in run.columns.iter_mut().zip([LONG, LONG]) {
        c.name = name.into();
    }
    run
}

fn crowded_trend() -> Trend {
    let mut figure = trend(30_000, 12_000);
    figure.title = LONG.into();
    figure.quantity = LONG.into();
    figure.changes = (0..40).map(|i| (700 * i, format!("coil {i}, {LONG}"))).collect();
    figure.left = Some(StrokesLeft { likely: 9e9, least: 0.0, most: None, confidence_percent: 99.5 });
    figure
}

/// All pictures of this file.
pub(crate) fn all() -> Vec<(String, Box<dyn Figure>, Size)> {
    let mut odd_centre = centre(3, 1e-9);
    odd_centre.allowance_mm.clear();
    odd_centre.columns = 2;
    odd_centre.title = LONG.into();
    let mut wide_centre = centre(40, 400.0);
    wide_centre.subtitle.clear();
    let mut flat_trend = trend(3, 2);
    flat_trend.value = vec![400.0; 3];
    flat_trend.lines.clear();
    flat_trend.limit = None;
    flat_trend.left = None;
    vec![
        entry("strokes", strokes(30_000, 4)),
        entry("strokes-20", strokes(20, 4)),
        entry("strokes-3-one-column", strokes(3, 0)),
        entry("strokes-1", strokes(1, 4)),
        entry("strokes-flat", flat_strokes()),
        entry("strokes-negative-long", negative_strokes()),
        entry("shares", shares(30_000, 4)),
        entry("shares-20", shares(20, 4)),
        entry("shares-two-columns", shares(300, 2)),
        entry("centre", centre(30_000, 22.0)),
        entry("centre-few", centre(60, 22.0)),
        entry("centre-same", odd_centre),
        entry("centre-wide", wide_centre),
        entry("trend", trend(12_000, 5_000)),
        entry("trend-few", trend(60, 25)),
        entry("trend-crowded", crowded_trend()),
        entry("trend-flat", flat_trend),
        ("strokes-small".into(), Box::new(strokes(5_000, 4)), Size::LEAST),
        ("centre-small".into(), Box::new(centre(5_000, 22.0)), Size::LEAST),
        ("trend-small".into(), Box::new(trend(5_000, 2_000)), Size::LEAST),
    ]
}
