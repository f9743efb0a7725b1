//! Claim: physics from outside comes out of the whole path, recording in and outcome out: kinematics and capacity,
//! corner shares and load centre, free vibration after a release, energy in time and in frequency, and the same
//! stroke whatever the sample clock and the unit of time.
//!
//! `source: computed` means plain double precision, checked with SciPy 1.17.1 where it says so.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use bolster_claims::figures::{number, words};
use bolster_claims::press::Card;
use bolster_claims::program::{bolster, jsonl, word};
use bolster_claims::strokes::{Reading, smooth, text};
use bolster_core::filter::{FilterConfig, FilterKind, SectionState};
use bolster_core::press::{Columns, PressSpec};
use bolster_sim::frame::{Frame, FrameChange};
use bolster_sim::scenario::FrameData;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use serde_json::Value;

/// Outcomes of these strokes on this press.
fn outcomes(card: Card, strokes: &[Vec<Reading>]) -> Vec<Value> {
    let folder = tempfile::tempdir().unwrap();
    let (recording, out) = (folder.path().join("made.csv"), folder.path().join("out.jsonl"));
    std::fs::write(&recording, text(card.columns, "kn", 1.0, strokes)).unwrap();
    let press = card.write(folder.path());
    let _ = bolster(["replay", word(&recording), "--press", word(&press), "--jsonl", word(&out)]).well();
    jsonl(&out)
}

/// Readings a second below which the monitor filters nothing: a peak of one reading is then exact.
const UNFILTERED_HZ: f64 = 3600.0;

/// A stroke of one column whose load is a steep triangle about one angle, `kn` high and a degree to either side.
fn triangle(top_deg: f64, kn: f64) -> Vec<Reading> {
    (-40..=40)
        .map(|tenth| Reading {
            angle_deg: Some(top_deg + 0.1 * f64::from(tenth)),
            time_s: Some(f64::from(tenth + 40) / UNFILTERED_HZ),
            loads: [kn * (1.0 - 0.1 * f64::from(tenth).abs()).max(0.0), 0.0, 0.0, 0.0],
        })
        .collect()
}

#[test]
fn slide_heights_of_outcomes_follow_the_crank_slider_table() {
    // Stroke 200 mm, rod 500 mm: degrees before the bottom, height in mm. source: computed.
    let table = [
        (5.0, 0.456497),
        (10.0, 1.820853),
        (15.0, 4.077740),
        (20.0, 7.201887),
        (30.0, 15.903741),
        (45.0, 34.314575),
        (60.0, 57.557110),
        (90.0, 110.102051),
        (120.0, 157.557110),
        (150.0, 189.108822),
    ];
    let strokes: Vec<_> = table.iter().map(|(before, _)| triangle(180.0 - before, 100.0)).collect();
    for ((before, height), outcome) in table.iter().zip(outcomes(Card::of(1), &strokes)) {
        let (angle, found) = (number(&outcome, "/peak_angle_deg"), number(&outcome, "/peak_height_mm"));
        assert!((angle - (180.0 - before)).abs() < 1e-4, "{angle} at {before}");
        // Interpolation over a degree: (π/180)²/8 of the second derivative, at most r(1 + r/l) = 120 mm.
        assert!((found - height).abs() < 4.6e-3, "{found} mm at {before} degrees, not {height}");
    }
}

#[test]
fn the_capacity_curve_holds_at_the_table_s_allowable_loads() {
    // 1000 kN rated at 6 mm, stroke 200 mm, rod 500 mm: height in mm, allowed kN. source: computed.
    let table = [
        (12.0, 720.938),
        (12.7, 702.402),
        (25.0, 522.031),
        (50.0, 405.807),
        (75.0, 370.310),
        (100.0, 366.802),
    ];
    let card = Card::of(1);
    let angle_at = |height: f64| {
        let (mut above, mut below) = (0.0, 180.0);
        for _ in 0..60 {
            let middle = 0.5 * (above + below);
            if card.height_mm(middle) > height { above = middle } else { below = middle }
        }
        above
    };
    // Half a percent to either side: the slide table's error is a tenth of that at 12 mm and less above.
    let strokes: Vec<_> = table
        .iter()
        .flat_map(|(height, allowed)| [0.995, 1.005].map(|part| triangle(angle_at(*height), part * allowed)))
        .collect();
    let found = outcomes(card, &strokes);
    for (pair, (height, allowed)) in found.chunks(2).zip(table) {
        let over = |outcome| words(outcome, "/reasons").contains(&"load-over-capacity-curve".to_owned());
        assert!(!over(&pair[0]), "{allowed} kN − 0.5 % at {height} mm: {}", pair[0]);
        assert!(over(&pair[1]), "{allowed} kN + 0.5 % at {height} mm: {}", pair[1]);
    }
    // Below the rated height the rating itself holds, though the crank would give 1400.894 kN at 3 mm.
    let low = outcomes(card, &[triangle(angle_at(3.0), 995.0), triangle(angle_at(3.0), 1005.0)]);
    assert_eq!(words(&low[0], "/reasons").len(), 0, "{}", low[0]);
    assert!(words(&low[1], "/reasons").contains(&"peak-over-rating".to_owned()), "{}", low[1]);
}

/// A stroke whose load rises and falls with these peaks, kN, in channel order.
fn peaks(loads: [f64; 4]) -> Vec<Reading> {
    smooth(2000.0, 1.0, [1.0; 4])
        .into_iter()
        .map(|reading| Reading { loads: [0, 1, 2, 3].map(|n| reading.loads[n] * loads[n]), ..reading })
        .collect()
}

#[test]
fn corner_shares_give_back_the_load_centre_in_both_forms() {
    // 1000 kN at 100 mm right and 50 mm front of the middle, gauges 1200 by 800 mm apart. source: computed;
    // the linear form P/4 (1 ± 2ex/a ± 2ey/b) and the product form. Order lf, rf, lr, rr.
    let linear = [239.5833, 322.9167, 177.0833, 260.4167];
    let product = [234.3750, 328.1250, 182.2917, 255.2083];
    let card = Card { rated_kn: 2000.0, ..Card::of(4) };
    for outcome in outcomes(card, &[peaks(linear), peaks(product)]) {
        let centre = [0, 1].map(|axis| number(&outcome, &format!("/load_centre_mm/{axis}")));
        // Shares are printed to 5e-5 kN of 250 kN on arms of 600 mm: 2.4e-4 mm; counts and f32 are less.
        assert!((centre[0] - 100.0).abs() < 2e-3 && (centre[1] - 50.0).abs() < 2e-3, "{outcome}");
    }
    // 100 left and 50 right at equal distance: a third of it to the left. source: trade-magazine article on
    // off-centre loads (read); the resultant is computed.
    let outcome = &outcomes(Card::of(2), &[peaks([100.0, 50.0, 0.0, 0.0])])[0];
    assert!((number(outcome, "/load_centre_mm/0") + 200.0).abs() < 2e-3, "{outcome}");
}

fn spec() -> PressSpec {
    PressSpec {
        columns: Columns::Corners,
        rated_kn: 1000.0,
        rated_height_mm: 6.0,
        stroke_mm: 200.0,
        rod_mm: 500.0,
        speed_spm: [30.0, 60.0],
        bolster_mm: [1200.0, 800.0],
        usable_energy_kj: None,
        reverse_percent: 10.0,
        column_percent: 110.0,
        imbalance_percent: 30.0,
        off_centre_percent: None,
    }
}

/// Step of the simulated frame, s.
const STEP_S: f64 = 1e-5;
/// Steps between readings: 10,000 readings a second.
const EVERY: usize = 10;
/// Load before the release, kN.
const BEFORE_KN: f64 = 400.0;
/// Frame data: 89 Hz.
fn frame(damping: f64) -> Frame {
    let data = FrameData {
        slide_mass_kg: 4000.0,
        stretch_at_rated_mm: 0.8,
        damping,
        gib_share: 0.0,
        column_stiffness: Vec::new(),
        slide_mm: None,
        inertia: true,
    };
    Frame::new(&spec(), &data, &FrameChange::default(), STEP_S)
}

/// The simulated frame let go of a steady load over `steps` steps, and left to itself: column loads at each step.
fn released(frame: &Frame, steps: usize, after: usize) -> Vec<[f64; 4]> {
    let mut state = frame.at_rest(BEFORE_KN);
    let mut force = if steps == 0 { [0.0; 3] } else { [BEFORE_KN, 0.0, 0.0] };
    (1..=steps + after)
        .map(|n| {
            let left = if n < steps { 1.0 - n as f64 / steps as f64 } else { 0.0 };
            let next = [BEFORE_KN * left, 0.0, 0.0];
            state = frame.complete(&frame.known(&state, &force), &next);
            force = next;
            frame.column_loads(&state)
        })
        .collect()
}

/// As a stroke of a recording: held for a while, then as released, from 170° on at 60 strokes a minute.
fn recorded(loads: &[[f64; 4]]) -> Vec<Reading> {
    let held = std::iter::repeat_n([BEFORE_KN / 4.0; 4], 40);
    let loads = held.chain(loads.iter().skip(EVERY - 1).step_by(EVERY).copied());
    let reading = |(n, loads): (usize, [f64; 4])| {
        let time = n as f64 * STEP_S * EVERY as f64;
        Reading { angle_deg: Some(170.0 + 360.0 * time), time_s: Some(time), loads }
    };
    loads.enumerate().map(reading).collect()
}

/// What filter and sampling may take off a swing of the frame: two equal poles, together 3 dB down at 2 kHz, pass
/// 1/(1 + (89/3107)²) of 89 Hz, and the extreme lies within half a reading of one: (2π·89·50 µs)²/2.
const SWING_LOST: f64 = 8.2e-4 + 3.9e-4;

#[test]
fn the_reverse_load_after_a_sudden_release_follows_the_damping_through_the_core() {
    // −F₀ exp(−πζ/√(1−ζ²)). source: computed, confirmed by SciPy 1.17.1 solve_ivp to 1e-5.
    let table = [
        (0.02, 0.939090),
        (0.05, 0.854468),
        (0.10, 0.729248),
        (0.20, 0.526621),
        (0.30, 0.372326),
        (0.50, 0.163034),
    ];
    let strokes: Vec<_> =
        table.iter().map(|(damping, _)| recorded(&released(&frame(*damping), 0, 2500))).collect();
    for ((damping, ratio), outcome) in table.iter().zip(outcomes(Card::of(4), &strokes)) {
        let (found, exact) = (number(&outcome, "/reverse_kn"), BEFORE_KN * ratio);
        // The most damped swing is the least like a sine: its extreme is as blunt, so the same loss covers it,
        // taken of the load released and not of the swing.
        let lost = exact - found;
        assert!(
            (-1e-5 * BEFORE_KN..SWING_LOST * BEFORE_KN).contains(&lost),
            "ζ {damping}: {found} of {exact} kN"
        );
        assert_eq!(
            words(&outcome, "/reasons").contains(&"reverse-over-limit".to_owned()),
            exact > 100.0,
            "{outcome}"
        );
    }
}

#[test]
fn the_reverse_load_after_a_ramp_release_follows_the_ramp_factor_through_the_core() {
    // Undamped, ramp of t, period T: F₀ |sin(π t/T)/(π t/T)|. source: computed.
    let table = [
        (0.1, 0.983632),
        (0.25, 0.900316),
        (0.5, core::f64::consts::FRAC_2_PI),
        (0.75, 0.300105),
        (1.0, 0.0),
        (1.5, 0.212207),
    ];
    let frame = frame(0.0);
    let period_steps = 1.0 / frame.frequency_hz() / STEP_S;
    let strokes: Vec<_> = table
        .iter()
        .map(|(ratio, _)| recorded(&released(&frame, (ratio * period_steps).round() as usize, 2500)))
        .collect();
    for ((ratio, factor), outcome) in table.iter().zip(outcomes(Card::of(4), &strokes)) {
        let found = number(&outcome, "/reverse_kn") / BEFORE_KN;
        // A ramp rounded to a step moves the factor by up to π/2 · STEP/T = 1.4e-3.
        assert!((found - factor).abs() < SWING_LOST + 1.4e-3, "t/T {ratio}: {found}, not {factor}");
    }
}

fn spectrum(signal: &[f64]) -> Vec<Complex<f64>> {
    let mut values: Vec<Complex<f64>> = signal.iter().map(|value| Complex::new(*value, 0.0)).collect();
    FftPlanner::new().plan_fft_forward(values.len()).process(&mut values);
    values
}

fn energy(signal: &[f64]) -> f64 {
    signal.iter().map(|value| value * value).sum()
}

fn energy_of(spectrum: &[Complex<f64>]) -> f64 {
    spectrum.iter().map(Complex::norm_sqr).sum::<f64>() / spectrum.len() as f64
}

#[test]
fn ringing_has_the_same_energy_in_time_and_in_frequency_and_peaks_where_the_frame_rings() {
    // FFT [1,2,3,4] = [10, −2+2i, −2, −2−2i], energy 30 = 120/4. source: computed with NumPy.
    let known = spectrum(&[1.0, 2.0, 3.0, 4.0]);
    let expected = [(10.0, 0.0), (-2.0, 2.0), (-2.0, 0.0), (-2.0, -2.0)];
    for (found, (re, im)) in known.iter().zip(expected) {
        assert!((found.re - re).abs() < 1e-12 && (found.im - im).abs() < 1e-12, "{known:?}");
    }
    assert!((energy_of(&known) - 30.0).abs() < 1e-12);
    for damping in [0.02, 0.05] {
        let frame = frame(damping);
        let count = 1 << 16;
        let ringing: Vec<f64> = released(&frame, 0, count).iter().map(|loads| loads.iter().sum()).collect();
        let spectrum = spectrum(&ringing);
        let (time, frequency) = (energy(&ringing), energy_of(&spectrum));
        // Rounding of two plain sums of so many terms, each by half an ulp at worst; the transform's 16 stages are less.
        assert!((time / frequency - 1.0).abs() < count as f64 * f64::EPSILON, "{time} {frequency}");
        let bin_hz = 1.0 / (STEP_S * count as f64);
        let most = (1..count / 2).max_by(|a, b| spectrum[*a].norm().total_cmp(&spectrum[*b].norm())).unwrap();
        // The spectrum of a released load, cosine-like, peaks near f_n; f_d = f_n √(1 − ζ²) is closer than a bin.
        let found = most as f64 * bin_hz;
        assert!((found - frame.frequency_hz()).abs() < bin_hz, "{found} Hz, not {}", frame.frequency_hz());
    }
}

#[test]
fn the_core_s_filter_passes_the_energy_its_frequency_response_says() {
    // Σ h² of butter(N, 1000, fs 10 000) and butter(N, fc). source: computed with SciPy 1.17.1.
    for (kind, corner_hz, sample_hz, expected) in [
        (FilterKind::Butterworth2, 1000.0, 10_000.0, 0.21425487),
        (FilterKind::Butterworth4, 1000.0, 10_000.0, 0.20381087),
        (FilterKind::Butterworth2, 500.0, 10_000.0, 0.10974548),
        (FilterKind::Butterworth4, 1000.0, 20_000.0, 0.10242018),
    ] {
        let filter = FilterConfig { kind, corner_hz, sample_hz }.build().unwrap();
        let mut states = vec![SectionState::default(); filter.sections().len()];
        let impulse: Vec<f64> = (0..4096)
            .map(|n| {
                let input = if n == 0 { 1.0 } else { 0.0 };
                let sections = filter.sections().iter().zip(&mut states);
                f64::from(sections.fold(input, |x, (section, state)| section.step(state, x)))
            })
            .collect();
        let response = spectrum(&impulse);
        let (time, frequency) = (energy(&impulse), energy_of(&response));
        // f32 coefficients and states: 2⁻²⁴ each, amplified by the poles' nearness to the circle, some tens.
        assert!((time - expected).abs() < 1e-5, "{kind:?} {corner_hz}: {time}, not {expected}");
        assert!((time / frequency - 1.0).abs() < 1e-12, "{time} {frequency}");
        let at = |hz: f64| 20.0 * response[(hz / sample_hz * 4096.0).round() as usize].norm().log10();
        // Bins of 2.4 or 4.9 Hz miss the corner by half of that: 8.7 dB · N/2 · 1.2/500 at most.
        assert!((at(corner_hz) + 3.0103).abs() < 0.03, "{kind:?}: {} dB at the corner", at(corner_hz));
        assert!(at(0.0).abs() < 1e-4);
    }
}

#[test]
fn the_same_stroke_at_other_sample_rates_has_the_same_features() {
    let rates = [1000.0, 2000.0, 4000.0, 8000.0, 16_000.0, 32_000.0];
    let peak_kn = 600.0;
    let card = Card::of(4);
    let found: Vec<Value> = rates
        .iter()
        .map(|hz| outcomes(card, &[smooth(*hz, peak_kn, [0.3, 0.3, 0.2, 0.2])]).remove(0))
        .collect();
    // The finest by plain computation: ∫ F dh over the same formula.
    let work = {
        let fine = smooth(1e6, peak_kn, [0.25; 4]);
        let pairs = fine.windows(2).map(|pair| {
            let load = |reading: &Reading| reading.loads.iter().sum::<f64>();
            let height = |reading: &Reading| card.height_mm(reading.angle_deg.unwrap());
            0.5 * (load(&pair[0]) + load(&pair[1])) * (height(&pair[0]) - height(&pair[1]))
        });
        pairs.sum::<f64>() * 1e-3
    };
    for (hz, outcome) in rates.iter().zip(&found) {
        let step_deg = 360.0 / hz;
        // sin² over 40°: half a step off its top costs (π/40 · step/2)²; over 18° for the reverse load. The filter
        // passes all but (9/3107)² of a 9 Hz hump, (20/3107)² of a 20 Hz one; counts are 1.2e-4 kN a column.
        let top = |width: f64| (core::f64::consts::PI / width * step_deg / 2.0).powi(2) + 1e-4;
        assert!((number(outcome, "/peak_kn") / peak_kn - 1.0).abs() < top(40.0), "{hz} Hz: {outcome}");
        assert!(
            (number(outcome, "/reverse_kn") / peak_kn - 0.1).abs() < 0.1 * top(18.0) + 1e-6,
            "{hz} Hz: {outcome}"
        );
        // A filter of 2 kHz with two equal poles is 2/(2π·3107) s late: 0.037°; then half a step.
        assert!(
            (number(outcome, "/peak_angle_deg") - 160.0).abs() < 0.04 + step_deg / 2.0,
            "{hz} Hz: {outcome}"
        );
        // Trapezoids over a smooth hump are exact to the slide table's interpolation: 3.7e-3 mm of 28 mm.
        assert!(
            (number(outcome, "/work_kj") / work - 1.0).abs() < 5e-4,
            "{hz} Hz: {} of {work}",
            outcome["work_kj"]
        );
        // 2 % of the rating is a thirtieth of the peak: sin² reaches it 2.34° after 140°, told at the next reading.
        let contact = 140.0 + 40.0 / core::f64::consts::PI * (20.0 / peak_kn).sqrt().asin();
        let late = number(outcome, "/contact_angle_deg") - contact;
        assert!((-1e-3..step_deg + 1e-3).contains(&late), "{hz} Hz: {late} degrees late");
        assert!((number(outcome, "/speed_spm") - 60.0).abs() < 1e-3, "{hz} Hz: {outcome}");
        let centre = number(outcome, "/load_centre_mm/1");
        assert!((centre - 80.0).abs() < 1e-2, "{hz} Hz: {outcome}");
    }
}

#[test]
fn the_same_stroke_in_twice_the_time_differs_in_its_speed_only() {
    let fast = smooth(2000.0, 600.0, [0.25; 4]);
    let slow: Vec<Reading> = fast
        .iter()
        .map(|reading| Reading { time_s: reading.time_s.map(|time| time * 2.0), ..*reading })
        .collect();
    let later: Vec<Reading> = fast
        .iter()
        .map(|reading| Reading { time_s: reading.time_s.map(|time| time + 86_400.0), ..*reading })
        .collect();
    // Both rates are below the filter's least: nothing may change with them.
    let card = Card::of(4);
    let [slow, fast, later] = [slow, fast, later].map(|stroke| outcomes(card, &[stroke]).remove(0));
    let without_speed = |outcome: &Value| {
        let mut fields = outcome.as_object().unwrap().clone();
        fields.remove("speed_spm");
        fields
    };
    assert_eq!(without_speed(&slow), without_speed(&fast));
    assert_eq!(without_speed(&slow), without_speed(&later));
    let ratio = number(&fast, "/speed_spm") / number(&slow, "/speed_spm");
    assert!((ratio - 2.0).abs() < 1e-5, "{ratio}");
}
