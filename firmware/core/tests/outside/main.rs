//! Claim: published values come out of the core's own statistics, fatigue counts and filters.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "../kit/mod.rs"]
mod kit;
mod nist;

use bolster_core::filter::{FilterConfig, FilterKind};
use bolster_core::frame::CrankReading;
use bolster_core::ledger::Ledger;
use bolster_core::monitor::{Monitor, StrokeReport};
use bolster_core::shape::ShapeModel;
use bolster_core::shape::model::{STATISTICS, Statistic};
use bolster_core::signature::Layout;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::Tick;
use bolster_core::windows::{Seen, WindowValue};
use kit::{ROUNDING, chance, frame, share_of_turn, sharp};
use rand::RngExt as _;

/// The running mean of a watch window.
fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let mut seen = Seen::default();
    values.for_each(|value| seen.load(WindowValue::Mean, value));
    seen.value().unwrap()
}

#[test]
fn the_running_mean_of_nist_s_sets_is_certified_to_what_f32_holds() {
    for set in nist::sets() {
        let count = set.observations.len() as f64;
        let exact = set.observations.iter().sum::<f64>() / count;
        let squares: f64 = set.observations.iter().map(|x| (x - exact).powi(2)).sum();
        // That the observations are NIST's: f64 gives some eleven digits of a mean, and of a deviation as many less those
        // that a large mean takes.
        assert!((exact - set.mean).abs() < 1e-11 * set.mean.abs(), "{}: {exact}", set.name);
        let deviation = (squares / (count - 1.0)).sqrt();
        let lost = 4.0 * f64::EPSILON * set.mean.abs();
        assert!(
            (deviation - set.deviation).abs() < 1e-12 * set.deviation + lost,
            "{}: {deviation}",
            set.name
        );

        let found = f64::from(mean(set.observations.iter().map(|x| *x as f32)));
        // An observation is off by half an ulp, and so is the mean after each update; an update smaller than half an ulp
        // is lost, but then the mean is within (x − mean)/n of where it should be. In all an ulp and a half of the mean,
        // and for the spread of the set a rounding of it with each of the first updates, which are no more than ln n.
        let ulp = 2.0 * ROUNDING * 2.0_f64.powf(set.mean.abs().log2().floor() + 1.0) / 2.0;
        let spread = set.observations.iter().fold(0.0, |most: f64, x| most.max((x - exact).abs()));
        let tolerance = 1.5 * ulp + 2.0 * ROUNDING * spread * (1.0 + count.ln());
        assert!((found - set.mean).abs() <= tolerance, "{}: {found}, more than {tolerance} off", set.name);
        println!(
            "{}: {found} of {}, {:.1e} of {tolerance:.1e}",
            set.name,
            set.mean,
            (found - set.mean).abs()
        );
    }
}

#[test]
fn a_plain_f32_sum_would_not_do() {
    let set = nist::sets().into_iter().find(|set| set.name == "NumAcc4").unwrap();
    let plain = set.observations.iter().map(|x| *x as f32).sum::<f32>() / set.observations.len() as f32;
    let running = mean(set.observations.iter().map(|x| *x as f32));
    assert!((f64::from(plain) - set.mean).abs() > 10.0 * (f64::from(running) - set.mean).abs(), "{plain}");
}

/// Palmgren–Miner: 10⁴ of 10⁵ cycles, 5·10⁴ of 4·10⁵ and 10³ of 2·10⁴ use 0.275 of a life. source: computed.
#[test]
fn blocks_of_cycles_use_up_the_share_of_a_life_that_miner_s_rule_says() {
    let blocks = [(50_000_u32, 4e5_f64), (10_000, 1e5), (1_000, 2e4)];
    let mut ledger = Ledger::<1>::new(1.0);
    let mut expected = 0.0;
    for (cycles, life) in blocks {
        // One cycle weighs (range / share)⁵: this range uses one cycle of its life.
        let range = life.powf(-0.2) as f32;
        for _ in 0..cycles {
            ledger.step(&[0.0]);
            ledger.step(&[range]);
        }
        expected += f64::from(cycles) / life;
    }
    ledger.step(&[0.0]);
    assert!((expected - 0.275).abs() < 1e-12);
    // The last of its block's ranges is still open, and a block's first is closed by the next one's: half a cycle each,
    // of 5e-5 at most. Ranges are rounded once and five times multiplied in f32: 10 roundings.
    let tolerance = 3.0 * 0.5 * 5e-5 + 10.0 * ROUNDING * expected;
    assert!((ledger.weighted()[0] - expected).abs() < tolerance, "{} of {expected}", ledger.weighted()[0]);
}

/// SAE J211 / ISO 6487: (class, sample rate, a0, b1, b2) of a channel frequency class. source: formula read in public
/// implementations, coefficients computed; the corner of one pass is 2.0775 times the class.
const CLASSES: [(f64, f64, f64, f64, f64); 4] = [
    (60.0, 10_000.0, 0.00145236747355341, 1.88934322322157, -0.895152694115787),
    (180.0, 10_000.0, 0.0117962710997785, 1.67011746326783, -0.717302547666941),
    (600.0, 20_000.0, 0.029806072039817, 1.45572821390675, -0.574952502066019),
    (1000.0, 20_000.0, 0.0718930970683849, 1.11158617615645, -0.399158564429987),
];

#[test]
fn a_second_order_butterworth_is_one_pass_of_a_channel_frequency_class() {
    for (class, sample_hz, a0, b1, b2) in CLASSES {
        let config = FilterConfig { kind: FilterKind::Butterworth2, corner_hz: 2.0775 * class, sample_hz };
        let filter = config.build().unwrap();
        let [section] = filter.sections() else { panic!("one section") };
        let found = [section.b[0], section.b[1], section.b[2], -section.a[0], -section.a[1]].map(f64::from);
        for (found, wanted) in found.iter().zip([a0, 2.0 * a0, a0, b1, b2]) {
            // The standard writes 2.0775 where the bilinear transform has it too: rounded to f32 once or twice.
            assert!(
                (found - wanted).abs() <= 4.0 * ROUNDING * wanted.abs(),
                "class {class}: {found} {wanted}"
            );
        }
    }
}

const TURN: u32 = 120;

/// One stroke of a press under these loads of its corners, in kN, in every frame.
fn stroke<const BINS: usize>(monitor: &mut Monitor<4, BINS, 4>, loads: [f64; 4]) -> StrokeReport<4> {
    for n in TURN - 2..=2 * TURN {
        let crank = CrankReading::Angle(share_of_turn(f64::from(n % TURN) / f64::from(TURN)));
        monitor.step(&frame(n, loads, crank));
    }
    monitor.finish_judging(Tick(2 * TURN));
    monitor.report().unwrap().clone()
}

fn monitor<const BINS: usize>() -> Monitor<4, BINS, 4> {
    let mut settings = sharp::<4>(StrokeSource::Encoder, 4000.0);
    settings.press.rated_kn = 4000.0;
    settings.press.usable_energy_kj = None;
    Monitor::new(settings.build().unwrap())
}

/// 1,000 kN at 100 mm right and 50 mm front of the middle, gauges 1.2 m and 0.8 m apart: the linear and the product form
/// of the corners' shares. source: computed.
#[test]
fn both_forms_of_corner_shares_give_the_load_its_centre_back() {
    for [lr, lf, rr, rf] in [[177.0833, 239.5833, 260.4167, 322.9167], [182.2917, 234.375, 255.2083, 328.125]]
    {
        let report = stroke(&mut monitor::<4>(), [lf, rf, lr, rr]);
        assert!((f64::from(report.features.total.peak.value) - 1000.0).abs() < 4.0 * 0.5 / 1024.0 + 1e-3);
        for centre in [report.load_centre_mm.unwrap(), report.mean_centre_mm.unwrap()] {
            // Counts of 1/1024 kN on four corners, each 600 mm or 400 mm out, of 1,000 kN.
            assert!((centre[0] - 100.0).abs() < 2e-3 && (centre[1] - 50.0).abs() < 2e-3, "{centre:?}");
        }
    }
}

type Matrix = [[f64; 4]; 4];

/// Eigenvalues and eigenvectors (in rows) of a symmetric matrix, by Jacobi's rotations.
fn eigen(mut a: Matrix) -> ([f64; 4], Matrix) {
    let mut vectors: Matrix = std::array::from_fn(|i| std::array::from_fn(|j| f64::from(u8::from(i == j))));
    for _ in 0..60 {
        for p in 0..4 {
            for q in p + 1..4 {
                if a[p][q].abs() < 1e-18 {
                    continue;
                }
                let angle = 0.5 * (2.0 * a[p][q]).atan2(a[q][q] - a[p][p]);
                let (s, c) = angle.sin_cos();
                for row in &mut a {
                    let (x, y) = (row[p], row[q]);
                    (row[p], row[q]) = (c * x - s * y, s * x + c * y);
                }
                for k in 0..4 {
                    let (x, y) = (a[p][k], a[q][k]);
                    (a[p][k], a[q][k]) = (c * x - s * y, s * x + c * y);
                    let (x, y) = (vectors[p][k], vectors[q][k]);
                    (vectors[p][k], vectors[q][k]) = (c * x - s * y, s * x + c * y);
                }
            }
        }
    }
    (std::array::from_fn(|i| a[i][i]), vectors)
}

fn moments(sample: &[[f64; 4]]) -> ([f64; 4], Matrix) {
    let count = sample.len() as f64;
    let mean: [f64; 4] = std::array::from_fn(|i| sample.iter().map(|x| x[i]).sum::<f64>() / count);
    let covariance = std::array::from_fn(|i| {
        std::array::from_fn(|j| {
            sample.iter().map(|x| (x[i] - mean[i]) * (x[j] - mean[j])).sum::<f64>() / (count - 1.0)
        })
    });
    (mean, covariance)
}

/// A monitor whose only factors are the principal directions of four corners' loads in one bin: its T² is Hotelling's.
fn hotelling(sample: &[[f64; 4]]) -> Monitor<4, 1, 4> {
    let (mean, covariance) = moments(sample);
    let (values, vectors) = eigen(covariance);
    let mut model = ShapeModel::<4, 1>::empty();
    model.layout = Layout::new(true, &[100.0, 250.0]).unwrap();
    model.reference = [mean.map(|x| x as f32)];
    model.per_sigma = [[1.0; 4]];
    for (n, (value, vector)) in values.iter().zip(vectors).enumerate() {
        model.factors[n] = [vector.map(|x| x as f32)];
        model.per_spread[n] = (1.0 / value.sqrt()) as f32;
    }
    // Measures are told over their limits, of which this is the unit; nothing is judged by it.
    model.limits = [[1.0; STATISTICS]; 2];
    model.medians = [1.0; STATISTICS];
    model.repeat_limit = u32::MAX;
    let mut monitor = monitor::<1>();
    monitor.set_die(Tick(0), Default::default(), Some(model), false).unwrap();
    monitor
}

/// T² of a stroke under these loads, against the model of a monitor that has judged none.
fn t_squared(learnt: &Monitor<4, 1, 4>, loads: [f64; 4]) -> f64 {
    let mut monitor = learnt.clone();
    let _ = stroke(&mut monitor, loads);
    // A model's reference counts as one stroke: the variance of the difference is twice a stroke's.
    2.0 * f64::from(monitor.shape().measures().over_limit[Statistic::AllScores as usize])
}

/// Ten strokes of four corners, kN, with what they give. source: computed with numpy 2.4.6.
const CORNERS: [[f64; 4]; 10] = [
    [50.1, 49.8, 50.3, 50.0],
    [49.7, 50.2, 49.9, 50.1],
    [50.4, 50.0, 50.2, 49.8],
    [49.9, 49.6, 50.1, 50.2],
    [50.2, 50.3, 49.8, 49.9],
    [49.8, 50.1, 50.0, 50.4],
    [50.0, 49.9, 49.7, 50.0],
    [50.3, 50.2, 50.4, 50.1],
    [49.6, 49.7, 49.9, 49.7],
    [50.0, 50.2, 49.7, 49.8],
];
const OF_CORNERS: [f64; 10] =
    [1.947100, 3.434624, 3.176171, 4.216596, 2.621717, 4.099310, 3.755174, 4.023705, 6.331235, 2.394369];
const EIGENVALUES: [f64; 4] = [0.01470073, 0.04953396, 0.07122805, 0.09342615];

#[test]
fn t_squared_of_four_corners_is_the_worked_example_s() {
    let (mean, covariance) = moments(&CORNERS);
    assert!(mean.iter().all(|x| (x - 50.0).abs() < 1e-12));
    let (mut values, _) = eigen(covariance);
    values.sort_by(f64::total_cmp);
    assert!(
        values.iter().zip(EIGENVALUES).all(|(found, wanted)| (found - wanted).abs() < 1e-8),
        "{values:?}"
    );

    let learnt = hotelling(&CORNERS);
    let further = [([51.0, 50.0, 50.0, 50.0], 28.346617), ([50.5, 49.5, 50.5, 49.5], 16.507596)];
    for (loads, wanted) in CORNERS.into_iter().zip(OF_CORNERS).chain(further) {
        let found = t_squared(&learnt, loads);
        // A load is a whole number of counts of 1/1024 kN: off by half a count, 8.2 times that in units of the least
        // deviation, twice the root of T² and a little for the other corners. The mean of a bin rounds 50 kN in f32 some
        // hundred times: less than a count.
        let tolerance = 2.0 * wanted.sqrt() * 2.0 * (1.0 / 1024.0) / EIGENVALUES[0].sqrt();
        assert!((found - wanted).abs() < tolerance, "{loads:?}: {found}, not {wanted} to {tolerance}");
    }
}

/// p (m + 1)(m − 1) / (m (m − p)) · F(0.99; p, m − p) for four corners learnt from a hundred strokes. source: computed with
/// SciPy 1.17.1.
const LIMIT_OF_A_HUNDRED: f64 = 14.669491;

#[test]
fn good_strokes_exceed_hotelling_s_limit_as_often_as_it_says() {
    const LEARNT: usize = 40;
    const TRIED: usize = 250;
    let mut random = chance(20_261_125);
    // Twelve uniforms: of variance 1, and normal as far out as one in a hundred goes.
    let mut normal = || (0..12).map(|_| random.random_range(0.0..1.0)).sum::<f64>() - 6.0;
    let mut draw = || {
        let common = 4.0 * normal();
        std::array::from_fn(|_| 200.0 + common + 3.0 * normal())
    };
    let mut over = 0;
    for _ in 0..LEARNT {
        let sample: Vec<[f64; 4]> = (0..100).map(|_| draw()).collect();
        let learnt = hotelling(&sample);
        over += (0..TRIED).filter(|_| t_squared(&learnt, draw()) > LIMIT_OF_A_HUNDRED).count();
    }
    // One in a hundred of 10,000: 100, of deviation 10, and as the 40 learnt models differ by some 40 % in their own rates,
    // √(100 + 40 · (0.4 · 2.5)²) = 12 in all; four of those.
    assert!((52..=148).contains(&over), "{over} of {} over the limit", LEARNT * TRIED);
    println!("{over} of {} over Hotelling's limit of one in a hundred", LEARNT * TRIED);
}
