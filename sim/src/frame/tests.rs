//! The frame against closed forms of vibration and statics.

use super::*;
use bolster_core::press::Columns;

fn press(columns: Columns) -> PressSpec {
    PressSpec {
        columns,
        rated_kn: 1000.0,
        rated_height_mm: 6.0,
        stroke_mm: 200.0,
        rod_mm: 900.0,
        speed_spm: [30.0, 60.0],
        bolster_mm: [1200.0, 800.0],
        usable_energy_kj: None,
        reverse_percent: 10.0,
        column_percent: 110.0,
        imbalance_percent: 30.0,
        off_centre_percent: None,
    }
}

fn data(damping: f64) -> FrameData {
    FrameData {
        slide_mass_kg: 4000.0,
        stretch_at_rated_mm: 0.8,
        damping,
        gib_share: 0.0,
        column_stiffness: Vec::new(),
        slide_mm: None,
        inertia: true,
    }
}

const STEP: f64 = 1e-5;

/// Lets go of a steady 400 kN over `release_s` and gives the sum of column loads at each step.
fn release(damping: f64, release_s: f64, steps: usize) -> Vec<f64> {
    let frame = Frame::new(&press(Columns::Corners), &data(damping), &FrameChange::default(), STEP);
    let mut state = frame.at_rest(400.0);
    let mut force = [400.0, 0.0, 0.0];
    if release_s == 0.0 {
        force = [0.0; 3];
    }
    let mut loads = Vec::with_capacity(steps);
    for i in 0..steps {
        let left = if release_s > 0.0 { 1.0 - (i + 1) as f64 * STEP / release_s } else { 0.0 };
        let next = [400.0 * left.max(0.0), 0.0, 0.0];
        state = frame.complete(&frame.known(&state, &force), &next);
        force = next;
        loads.push(frame.column_loads(&state).iter().sum());
    }
    loads
}

#[test]
fn reverse_peak_after_a_sudden_release_follows_the_damping() {
    // −F₀ exp(−πζ/√(1−ζ²)); source: computed, confirmed by SciPy 1.17.1 solve_ivp to 1e-5.
    let rows = [
        (0.02, 0.939090),
        (0.05, 0.854468),
        (0.10, 0.729248),
        (0.20, 0.526621),
        (0.30, 0.372326),
        (0.50, 0.163034),
    ];
    for (damping, ratio) in rows {
        let lowest = release(damping, 0.0, 2500).iter().copied().fold(f64::INFINITY, f64::min);
        // The extreme lies within half a step of a sample: (ω·STEP/2)²/2 = 4e-6 of the swing.
        assert!((lowest / -400.0 - ratio).abs() < 1e-5, "ζ {damping}: {lowest}");
    }
}

#[test]
fn a_slow_release_rings_less_by_the_ramp_factor() {
    // |sin(π t/T)/(π t/T)|, undamped; source: computed.
    let rows = [
        (0.1, 0.983632),
        (0.25, 0.900316),
        (0.5, core::f64::consts::FRAC_2_PI),
        (0.75, 0.300105),
        (1.0, 0.0),
        (1.5, 0.212207),
    ];
    let frame = Frame::new(&press(Columns::Corners), &data(0.0), &FrameChange::default(), STEP);
    let period = 1.0 / frame.frequency_hz();
    for (ratio, factor) in rows {
        // Whole steps, so that the ramp ends on a sample as the frame sees it.
        let release_s = f64::round(ratio * period / STEP) * STEP;
        let skip = (release_s / STEP) as usize + 1;
        let loads = release(0.0, release_s, skip + 2500);
        let highest = loads[skip..].iter().map(|l| l.abs()).fold(0.0, f64::max);
        // Rounding the ramp to a step moves the factor by at most STEP/(2·T)·π ≈ 1.4e-3 here.
        assert!((highest / 400.0 - factor).abs() < 1.5e-3, "{ratio}: {}", highest / 400.0);
    }
}

#[test]
fn free_vibration_decays_by_the_logarithmic_decrement() {
    // δ = 2πζ/√(1−ζ²); ζ 0.05 → 0.3145527, 0.02 → 0.1256888; source: computed.
    for (damping, decrement) in [(0.02, 0.1256888), (0.05, 0.3145527), (0.10, 0.6314839)] {
        let loads = release(damping, 0.0, 8000);
        let peaks: Vec<f64> = loads
            .windows(3)
            .filter(|w| w[1] > w[0] && w[1] >= w[2] && w[1] > 0.0)
            .map(|w| {
                // Vertex of the parabola through three samples.
                let bend = w[0] - 2.0 * w[1] + w[2];
                w[1] - (w[0] - w[2]) * (w[0] - w[2]) / (8.0 * bend)
            })
            .collect();
        let found = libm::log(peaks[0] / peaks[1]);
        assert!((found - decrement).abs() < 1e-5, "ζ {damping}: {found}");
    }
}

#[test]
fn corners_share_an_off_centre_load_in_the_linear_form() {
    // P = 1000 kN, a = 1.2 m, b = 0.8 m, ex = 0.1, ey = 0.05. source: computed, P/4 (1 ± 2ex/a ± 2ey/b).
    let frame = Frame::new(&press(Columns::Corners), &data(0.3), &FrameChange::default(), 1e-3);
    let shape = frame.shape(100.0, 50.0);
    let force = [1000.0 * shape[0], 1000.0 * shape[1], 1000.0 * shape[2]];
    let mut state = frame.at_rest(0.0);
    for _ in 0..2000 {
        state = frame.complete(&frame.known(&state, &force), &force);
    }
    let loads = frame.column_loads(&state);
    // Order lf, rf, lr, rr; front is +y.
    for (load, expected) in loads.iter().zip([239.5833, 322.9167, 177.0833, 260.4167]) {
        assert!((load - expected).abs() < 1e-4, "{loads:?}");
    }
    let x = 600.0 * (loads[1] + loads[3] - loads[0] - loads[2]) / 1000.0;
    let y = 400.0 * (loads[0] + loads[1] - loads[2] - loads[3]) / 1000.0;
    assert!((x - 100.0).abs() < 1e-6 && (y - 50.0).abs() < 1e-6, "load centre {x} {y}");
}

#[test]
fn a_loose_rod_hands_its_load_to_the_others() {
    let change = FrameChange { column_factor: [0.5, 1.0, 1.0, 1.0], ..FrameChange::default() };
    let frame = Frame::new(&press(Columns::Corners), &data(0.3), &change, 1e-3);
    let force = [1000.0, 0.0, 0.0];
    let mut state = frame.at_rest(0.0);
    for _ in 0..3000 {
        state = frame.complete(&frame.known(&state, &force), &force);
    }
    let loads = frame.column_loads(&state);
    assert!((loads.iter().sum::<f64>() - 1000.0).abs() < 1e-6, "{loads:?}");
    // A central load needs moments in balance: opposite corners pair up, lf + rf = lr + rr and lf + lr = rf + rr,
    // so lf = rr whatever the springs, and the slide tilts instead.
    assert!((loads[0] - loads[3]).abs() < 1e-6 && loads[0] < 240.0, "{loads:?}");
}

#[test]
fn energy_of_a_free_ringing_frame_goes_into_its_dampers() {
    let frame = Frame::new(&press(Columns::Corners), &data(0.05), &FrameChange::default(), STEP);
    let mut state = frame.at_rest(400.0);
    let start = frame.elastic_energy(&state);
    // 400 kN on 1250 kN/mm: F²/2k = 64 J.
    assert!((start - 64.0).abs() < 1e-9, "{start}");
    let mut lost = 0.0;
    for _ in 0..20_000 {
        let before = frame.damping_power(&state);
        state = frame.complete(&frame.known(&state, &[0.0; 3]), &[0.0; 3]);
        lost += 0.5 * STEP * (before + frame.damping_power(&state));
    }
    let left = frame.elastic_energy(&state) + frame.kinetic_energy(&state, 0.0);
    // Trapezoid in time: (2ω·STEP)²/12 = 1e-5 of the loss.
    assert!((start - lost - left).abs() < 1e-4 * start, "start {start}, lost {lost}, left {left}");
}

/// A press load as the frame's tests need it: rising, cracking through off centre, squeezing, kN.
fn course(t: f64) -> FrameForce {
    let cut = if t < 0.02 { 600.0 * t / 0.02 } else { (600.0 - (t - 0.02) * 600.0 / 0.0012).max(20.0) };
    let squeeze = 900.0 * libm::exp(-(t - 0.05) * (t - 0.05) / 5e-5);
    let (a, b) = ([1.0, -0.35, 0.2], [1.0, 0.5, -0.1]);
    [0, 1, 2].map(|i| cut * a[i] + squeeze * b[i])
}

/// The same frame by the classical Runge-Kutta method, twenty small steps to a sample, written independently:
/// forces at the corners from springs and dampers there, then moments about the middle.
fn runge_kutta(samples: &[FrameForce], step_s: f64, column: &[f64; 4], damping: f64) -> Vec<[f64; 4]> {
    let (mass, half) = (4000.0e-6_f64, [600.0, 400.0]);
    let k = 1000.0 / 0.8 / 4.0;
    let c = k * 2.0 * damping / (1000.0 / 0.8 / mass).sqrt();
    let (jx, jy) = (mass * 1200.0 * 1200.0 / 12.0, mass * 800.0 * 800.0 / 12.0);
    let corners = [(-600.0, 400.0), (600.0, 400.0), (-600.0, -400.0), (600.0, -400.0)];
    // State: opening, roll angle, pitch angle, and their rates.
    let rate = |s: &[f64; 6], w: &FrameForce| {
        let (mut up, mut mx, mut my) = (w[0], w[1] * half[0], w[2] * half[1]);
        for ((x, y), share) in corners.iter().zip(column) {
            let gap = s[0] + s[1] * x + s[2] * y;
            let speed = s[3] + s[4] * x + s[5] * y;
            let f = k * share * gap + c * speed;
            up -= f;
            mx -= f * x;
            my -= f * y;
        }
        [s[3], s[4], s[5], up / mass, mx / jx, my / jy]
    };
    let fine = 20;
    let h = step_s / f64::from(fine);
    let mut s = [0.0; 6];
    let mut out = Vec::new();
    for pair in samples.windows(2) {
        let force = |part: f64| [0, 1, 2].map(|i| pair[0][i] + (pair[1][i] - pair[0][i]) * part);
        for j in 0..fine {
            let at = |d: f64| force((f64::from(j) + d) / f64::from(fine));
            let moved = |s: &[f64; 6], r: &[f64; 6], d: f64| {
                let mut m = *s;
                m.iter_mut().zip(r).for_each(|(m, r)| *m += d * r);
                m
            };
            let k1 = rate(&s, &at(0.0));
            let k2 = rate(&moved(&s, &k1, h / 2.0), &at(0.5));
            let k3 = rate(&moved(&s, &k2, h / 2.0), &at(0.5));
            let k4 = rate(&moved(&s, &k3, h), &at(1.0));
            for i in 0..6 {
                s[i] += h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]);
            }
        }
        let mut loads = [0.0; 4];
        for (load, ((x, y), share)) in loads.iter_mut().zip(corners.iter().zip(column)) {
            *load = k * share * (s[0] + s[1] * x + s[2] * y);
        }
        out.push(loads);
    }
    out
}

#[test]
fn the_frame_answers_as_a_fine_runge_kutta_does() {
    let step_s = 1e-4;
    let samples: Vec<FrameForce> = (0..1000).map(|i| course(f64::from(i) * step_s)).collect();
    for column_factor in [[1.0; 4], [0.6, 1.0, 1.0, 1.0]] {
        let change = FrameChange { column_factor, ..FrameChange::default() };
        let frame = Frame::new(&press(Columns::Corners), &data(0.05), &change, step_s);
        let reference = runge_kutta(&samples, step_s, &column_factor, 0.05);
        let mut state = [0.0; 6];
        let mut worst = 0.0_f64;
        for (pair, expected) in samples.windows(2).zip(&reference) {
            state = frame.complete(&frame.known(&state, &pair[0]), &pair[1]);
            for (load, right) in frame.column_loads(&state).iter().zip(expected) {
                worst = worst.max((load - right).abs());
            }
        }
        let peak = reference.iter().flatten().fold(0.0_f64, |m, l| m.max(l.abs()));
        // Runge-Kutta at ω·h = 560·5e-6 errs by (ω·h)⁴/120 of the swing a step: far below 1e-6 of the peak.
        assert!(peak > 100.0 && worst < 1e-6 * peak, "{worst} of {peak}");
    }
}

/// Loads of lf, rf, lr, rr (kN) after this many samples of [`course`], lf's column at 0.6 of its stiffness.
/// source: computed, SciPy 1.17.1 solve_ivp (DOP853, relative tolerance 1e-11), sample by sample.
const SCIPY: [(usize, [f64; 4]); 11] = [
    (50, [40.284671, 27.665115, 40.043329, 0.567325]),
    (150, [137.193687, 107.556755, 140.249474, 19.150084]),
    (200, [203.154264, 166.222596, 210.704148, 38.336304]),
    (250, [-86.137769, -72.049212, -86.655543, -15.141806]),
    (350, [78.084279, 70.640775, 75.310309, 15.810620]),
    (450, [112.636046, 274.020509, 170.784146, 257.077912]),
    (550, [93.532452, 258.446371, 146.415069, 248.974020]),
    (650, [1.914679, 2.261223, 2.494165, 1.564257]),
    (750, [-25.376764, -31.886717, -30.605204, -20.197314]),
    (850, [-11.397085, -17.250714, -15.622745, -13.878318]),
    (950, [11.921777, 11.036176, 12.468996, 3.635544]),
];

#[test]
fn the_frame_answers_as_scipy_does() {
    let step_s = 1e-4;
    let change = FrameChange { column_factor: [0.6, 1.0, 1.0, 1.0], ..FrameChange::default() };
    let frame = Frame::new(&press(Columns::Corners), &data(0.05), &change, step_s);
    let mut state = [0.0; 6];
    let mut rows = SCIPY.iter().peekable();
    for i in 0..999 {
        let (before, after) = (course(i as f64 * step_s), course((i + 1) as f64 * step_s));
        state = frame.complete(&frame.known(&state, &before), &after);
        if let Some((_, expected)) = rows.next_if(|(n, _)| *n == i + 1) {
            for (load, right) in frame.column_loads(&state).iter().zip(expected) {
                // Both are exact to rounding; the table has six decimals. 341 kN is the peak.
                assert!((load - right).abs() < 1e-6 * 341.0, "sample {i}: {load} against {right}");
            }
        }
    }
    assert!(rows.next().is_none(), "every row was compared");
}
