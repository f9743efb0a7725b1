//! Claims that hold for any strokes: how the stream is cut, how columns are ordered, when the clock started, how fast it
//! runs and in what unit loads and lengths are told makes no difference but the obvious one.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod kit;

use bolster_core::features::{At, Features};
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::monitor::{Monitor, StrokeReport};
use bolster_core::press::Columns;
use bolster_core::settings::PressSettings;
use bolster_core::shape::ShapeModel;
use bolster_core::shape::model::{ALLOWED, Direction, FACTORS, STATISTICS, TANGENTS, WINDOWS};
use bolster_core::signature::Layout;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{KN_PER_US_TONF, Tick};
use bolster_core::verdict::Reason;
use kit::{ROUNDING, frame, share_of_turn, sharp};
use proptest::prelude::*;

const BINS: usize = 16;
/// Frames a turn: more than the judging of a stroke takes, and a power of two, so that angles are exact.
const TURN: u32 = 1024;
const TURNS: u32 = 4;
const SAMPLE_HZ: f64 = 30_000.0;

type Watch<const N: usize> = Monitor<N, BINS, 8>;

/// Humps around the bottom: of each column its height in kN, its middle and half width in degrees, and what it pulls
/// back afterwards; a scale for each turn; and the seed of the noise.
#[derive(Debug, Clone)]
struct Plan<const N: usize> {
    columns: [[f64; 4]; N],
    scales: Vec<f64>,
    seed: u64,
}

fn plan<const N: usize>() -> impl Strategy<Value = Plan<N>> {
    // Up to 1,280 kN of 1,000 kN: some limits are broken, most are not.
    let column = [40.0..320.0_f64, 150.0..190.0, 15.0..50.0, 0.0..40.0];
    let columns = prop::collection::vec(column, N..=N);
    let scales = prop::collection::vec(0.9..1.1_f64, TURNS as usize..=TURNS as usize);
    (columns, scales, any::<u64>()).prop_map(|(columns, scales, seed)| Plan {
        columns: columns.try_into().unwrap(),
        scales,
        seed,
    })
}

/// Frames of whole turns, and one more, at this source's crank.
fn frames<const N: usize>(plan: &Plan<N>, source: StrokeSource) -> Vec<Frame<N>> {
    let mut random = kit::chance(plan.seed);
    let hump = |x: f64| if x.abs() < 1.0 { (0.5 * std::f64::consts::PI * x).cos().powi(2) } else { 0.0 };
    (0..TURN * TURNS + 1)
        .map(|n| {
            let degrees = f64::from(n % TURN) * 360.0 / f64::from(TURN);
            let scale = plan.scales[((n / TURN) % TURNS) as usize];
            let loads = plan.columns.map(|[height, middle, width, back]| {
                let push = height * hump((degrees - middle) / width);
                let pull = back * hump((degrees - middle - width - 10.0) / 10.0);
                scale * (push - pull) + random.random_range(-0.2..0.2)
            });
            let crank = match source {
                StrokeSource::Index => CrankReading::Index(n % TURN < 8),
                StrokeSource::Load => CrankReading::Absent,
                StrokeSource::Encoder | StrokeSource::Marked => {
                    CrankReading::Angle(share_of_turn(f64::from(n % TURN) / f64::from(TURN)))
                }
            };
            frame(n, loads, crank)
        })
        .collect()
}

/// A turn is far faster here than any press, and so is the rest that ends a stroke told by load alone.
fn settings<const N: usize>(source: StrokeSource) -> PressSettings<N> {
    let mut settings = sharp::<N>(source, SAMPLE_HZ);
    settings.stroke.rest_s = 0.005;
    settings
}

fn monitor<const N: usize>(settings: &PressSettings<N>) -> Watch<N> {
    let mut monitor = Watch::new(settings.build().unwrap());
    monitor.self_test(Tick(0), true);
    monitor.gather_signatures(Layout::equal(true, 90.0, 270.0).unwrap());
    monitor
}

/// What a run says: of each stroke its report and its signature.
type Said<const N: usize> = Vec<(StrokeReport<N>, Vec<[f32; N]>)>;

fn hear<const N: usize>(monitor: &Watch<N>, all: &mut Said<N>) {
    all.push((monitor.report().unwrap().clone(), monitor.shape().ended().bins().to_vec()));
}

fn run<const N: usize>(settings: &PressSettings<N>, frames: &[Frame<N>]) -> Said<N> {
    let mut monitor = monitor(settings);
    let mut all = Vec::new();
    for (n, frame) in frames.iter().enumerate() {
        if settings.stroke.source == StrokeSource::Marked && (n as u32).is_multiple_of(TURN) {
            monitor.mark();
        }
        if monitor.step(frame).reported {
            hear(&monitor, &mut all);
        }
    }
    // A stroke that ended with the last frame has its report some frames later.
    if let Some(last) = frames.last()
        && monitor.finish_judging(last.tick)
    {
        hear(&monitor, &mut all);
    }
    all
}

/// A shape that uses factors, windows and limits; what it says means nothing.
fn shape<const N: usize>() -> ShapeModel<N, BINS> {
    let mut factors = [[[0.0; N]; BINS]; FACTORS];
    factors[0] = [[1.0 / ((BINS * N) as f32).sqrt(); N]; BINS];
    let none = Direction { scores: [0.0; FACTORS], field: [[0.0; N]; BINS] };
    let mut whitener = [[[[0.0; WINDOWS]; N]; WINDOWS]; N];
    for (column, rows) in whitener.iter_mut().enumerate() {
        for (window, row) in rows.iter_mut().enumerate() {
            row[column][window] = 1.0;
        }
    }
    ShapeModel {
        layout: Layout::equal(true, 90.0, 270.0).unwrap(),
        reference: [[80.0; N]; BINS],
        per_sigma: [[0.05; N]; BINS],
        factors,
        per_spread: [0.1; FACTORS],
        allowed: [const { 0 }; ALLOWED].map(|_| none.clone()),
        tangents: [[[0.0; N]; BINS]; TANGENTS],
        per_window: [[0.2; WINDOWS]; N],
        per_gain: [0.1; N],
        per_station: [0.1; WINDOWS],
        whitener,
        limits: [[40.0; STATISTICS]; 2],
        medians: [1.0; STATISTICS],
        allowed_limit: 12.0,
        stock_range: 2.0,
        stock_widening: 1.5,
        reference_size: 100.0,
        repeat_limit: 4_000,
    }
}

/// The features but for their ticks.
fn timeless<const N: usize>(report: &StrokeReport<N>) -> StrokeReport<N> {
    let features = Features { ticks: [Tick(0); 2], ..report.features };
    StrokeReport { features, ..report.clone() }
}

/// Every load of a report times `loads`, every length times `lengths`.
fn scaled<const N: usize>(report: &StrokeReport<N>, loads: f32, lengths: f32) -> StrokeReport<N> {
    let at =
        |at: At| At { value: at.value * loads, height_mm: at.height_mm.map(|height| height * lengths), ..at };
    let mut scaled = report.clone();
    let f = &mut scaled.features;
    for column in f.columns.iter_mut().chain([&mut f.total]) {
        (column.peak, column.reverse) = (at(column.peak), at(column.reverse));
    }
    (f.left_right, f.front_rear) = (at(f.left_right), at(f.front_rear));
    (f.at_peak_kn, f.loaded_sum) = (f.at_peak_kn.map(|x| x * loads), f.loaded_sum.map(|x| x * loads));
    f.work_kj = f.work_kj.map(|work| work * loads * lengths);
    f.impulse_kn_ticks *= loads;
    f.rise_kn_per_tick *= loads;
    for centre in [&mut scaled.load_centre_mm, &mut scaled.mean_centre_mm] {
        *centre = centre.map(|place| place.map(|x| x * lengths));
    }
    scaled
}

/// Settings with every load times `loads` and every length times `lengths`.
fn rescaled<const N: usize>(settings: &PressSettings<N>, loads: f64, lengths: f64) -> PressSettings<N> {
    let mut all = *settings;
    let factor = loads as f32;
    all.press.rated_kn *= loads;
    all.press.usable_energy_kj = all.press.usable_energy_kj.map(|energy| energy * loads * lengths);
    for length in [&mut all.press.rated_height_mm, &mut all.press.stroke_mm, &mut all.press.rod_mm] {
        *length *= lengths;
    }
    all.press.bolster_mm = all.press.bolster_mm.map(|distance| distance * lengths);
    all.calibration.kn_per_count = all.calibration.kn_per_count.map(|row| row.map(|gain| gain * factor));
    for load in [
        &mut all.spike_jump_kn,
        &mut all.centre_least_kn,
        &mut all.stroke.onset_kn,
        &mut all.health.stuck_others_kn,
        &mut all.health.noise_kn,
    ] {
        *load *= factor;
    }
    all
}

const SOURCES: [StrokeSource; 4] =
    [StrokeSource::Encoder, StrokeSource::Index, StrokeSource::Load, StrokeSource::Marked];

#[test]
fn a_die_leaves_the_press_as_it_was() {
    let settings = settings::<2>(StrokeSource::Encoder);
    let mut monitor = monitor(&settings);
    monitor.set_die(Tick(0), Default::default(), Some(shape()), false).unwrap();
    assert_eq!(
        monitor.press().settings,
        settings,
        "by this a controller knows that the next die is for the same press"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// However the stream is cut into chunks, and whether a stroke that ended is judged at once or frame by frame.
    #[test]
    fn where_the_stream_is_cut_changes_nothing(
        plan in plan::<2>(),
        cuts in prop::collection::vec(0..(TURN * TURNS) as usize, 0..12),
    ) {
        let settings = settings::<2>(StrokeSource::Encoder);
        let frames = frames(&plan, StrokeSource::Encoder);
        let fresh = || {
            let mut monitor = monitor(&settings);
            monitor.set_die(Tick(0), Default::default(), Some(shape()), false).unwrap();
            monitor
        };
        let mut whole = fresh();
        let mut expected = Vec::new();
        for frame in &frames {
            if whole.step(frame).reported {
                hear(&whole, &mut expected);
            }
        }
        let mut ends = cuts;
        ends.sort_unstable();
        ends.push(frames.len());
        let (mut cut, mut from, mut found) = (fresh(), 0, Vec::new());
        for end in ends {
            for frame in &frames[from..end] {
                if cut.step(frame).reported {
                    hear(&cut, &mut found);
                }
            }
            // The next chunk finds another copy of the monitor, in which nothing waits to be judged.
            cut = cut.clone();
            if cut.finish_judging(frames[end.saturating_sub(1)].tick) {
                hear(&cut, &mut found);
            }
            from = end;
        }
        // The last stroke may still wait in the run that nobody hurried.
        if whole.finish_judging(Tick(TURN * TURNS)) {
            hear(&whole, &mut expected);
        }
        prop_assert_eq!(found.len(), TURNS as usize - 1);
        prop_assert_eq!(found, expected);
        prop_assert_eq!(cut.shape().measures(), whole.shape().measures());
        prop_assert_eq!(cut.shape().baseline(), whole.shape().baseline());
        prop_assert_eq!(cut.permit().state(), whole.permit().state());
        prop_assert_eq!(cut.ledger().weighted(), whole.ledger().weighted());
    }

    /// At whatever tick the clock stands at power-up, also where it wraps in mid-stroke.
    #[test]
    fn when_the_clock_started_changes_nothing(
        plan in plan::<2>(),
        start in prop_oneof![any::<u32>(), (u32::MAX - TURN * TURNS)..=u32::MAX],
    ) {
        for source in SOURCES {
            let settings = settings::<2>(source);
            let frames = frames(&plan, source);
            let later: Vec<Frame<2>> = frames
                .iter()
                .map(|frame| Frame { tick: Tick(frame.tick.0.wrapping_add(start)), ..*frame })
                .collect();
            let (a, b) = (run(&settings, &frames), run(&settings, &later));
            prop_assert!(a.len() > 1, "{source:?} told {} strokes", a.len());
            prop_assert_eq!(a.len(), b.len(), "{:?}", source);
            for ((a, bins), (b, late_bins)) in a.iter().zip(&b) {
                prop_assert_eq!(timeless(a), timeless(b), "{:?}", source);
                prop_assert_eq!(bins, late_bins);
                prop_assert_eq!(b.features.ticks[0].since(a.features.ticks[0]), start);
            }
        }
    }

    /// The same loads over the same angles, sampled some times as often.
    #[test]
    fn how_fast_the_clock_runs_changes_what_depends_on_time_alone(plan in plan::<2>(), fold in 1_u32..4) {
        let times = 1 << fold;
        let slow = settings::<2>(StrokeSource::Encoder);
        let fast = sharp::<2>(StrokeSource::Encoder, SAMPLE_HZ * f64::from(times));
        // Counts that can be divided evenly between frames: the load then runs straight between them.
        let coarse: Vec<Frame<2>> = frames(&plan, StrokeSource::Encoder)
            .into_iter()
            .map(|frame| Frame { counts: frame.counts.map(|count| count / 8 * 8), ..frame })
            .collect();
        let mut dense = Vec::new();
        for (n, pair) in coarse.windows(2).enumerate() {
            for k in 0..times {
                let counts = std::array::from_fn(|column| {
                    let [a, b] = [pair[0].counts[column], pair[1].counts[column]];
                    a + (b - a) / times as i32 * k as i32
                });
                let place = n as u32 * times + k;
                let share = f64::from(place % (TURN * times)) / f64::from(TURN * times);
                let crank = CrankReading::Angle(share_of_turn(share));
                dense.push(Frame { tick: Tick(place), counts, crank, sensors: 0 });
            }
        }
        let last = coarse.last().unwrap();
        dense.push(Frame { tick: Tick(dense.len() as u32), ..*last });
        let (a, b) = (run(&slow, &coarse), run(&fast, &dense));
        prop_assert_eq!(a.len(), TURNS as usize - 1);
        prop_assert_eq!(a.len(), b.len());
        let crank = slow.press;
        // Between two frames the load is straight over the angle for one and over the height for the other: they differ
        // by at most the load's change times the height's bend, Δ²/8 · |h″|, |h″| ≤ 1.25 r here; and so does the table's
        // interpolation over a degree, of heights that are the same for both in every coarse frame.
        let bend = 1.25 * 0.5 * crank.stroke_mm / 8.0;
        let apart = bend * ((std::f64::consts::TAU / f64::from(TURN)).powi(2) + 1.0_f64.to_radians().powi(2));
        for (turn, ((a, bins), (b, fine_bins))) in a.iter().zip(&b).enumerate() {
            let (x, y) = (&a.features, &b.features);
            prop_assert_eq!(x.total, y.total, "greatest loads are those of frames both have");
            prop_assert_eq!(x.columns, y.columns);
            prop_assert_eq!((x.left_right.value, x.front_rear.value), (y.left_right.value, y.front_rear.value));
            prop_assert_eq!(a.load_centre_mm, b.load_centre_mm);
            let whole = (turn as u32 + 1) * TURN;
            let stroke = coarse.iter().skip(whole as usize).take(TURN as usize);
            let totals: Vec<f64> = stroke.map(|frame| frame.counts.iter().sum::<i32>().into()).collect();
            let kn = f64::from(kit::KN_PER_COUNT);
            let change: f64 = totals.windows(2).map(|pair| (pair[1] - pair[0]).abs() * kn).sum();
            let most = totals.iter().fold(0.0, |most: f64, x| most.max(x.abs() * kn));
            // Heights round once in each frame of f32.
            let rounding = ROUNDING * crank.stroke_mm * (change + 2.0 * most) * 8.0;
            let (work, fine) = (f64::from(x.work_kj.unwrap()), f64::from(y.work_kj.unwrap()));
            prop_assert!((work - fine).abs() <= 1e-3 * (apart * change + rounding), "{work} kJ, {fine} kJ");
            // k samples of a straight piece sum to k times its mean, but for half of its ends.
            let folds = f64::from(times);
            let (sum, fine) = (f64::from(x.impulse_kn_ticks), f64::from(y.impulse_kn_ticks) / folds);
            let ends = totals[0].abs() * kn + totals[totals.len() - 1].abs() * kn + 1.0;
            prop_assert!((sum - fine).abs() <= ends + 8.0 * ROUNDING * most * f64::from(TURN), "{sum} {fine}");
            // The straight pieces are the same: bins differ by roundings, one a frame and some of places in f32.
            for (bin, fine) in bins.iter().flatten().zip(fine_bins.iter().flatten()) {
                let frames = f64::from(TURN * times) / (2.0 * BINS as f64);
                let off = (frames + 8.0) * ROUNDING * most + 8e-5 * change / (180.0 / BINS as f64);
                prop_assert!(f64::from((bin - fine).abs()) <= off, "{bin} {fine}, {off}");
            }
            let steeper = f64::from(y.rise_kn_per_tick) * folds;
            prop_assert!((f64::from(x.rise_kn_per_tick) - steeper).abs() <= 1e-6 * most.max(1.0) * folds);
            // One coarse frame of the turn is missing at most: a stroke's last frame to the next one's first.
            let (speed, fine) = (a.speed_spm.unwrap(), b.speed_spm.unwrap());
            prop_assert!((speed - fine).abs() <= speed * 1e-5, "{speed} {fine}");
            prop_assert_eq!(a.findings.verdict(), b.findings.verdict());
        }
    }

    /// All 24 orders of four columns: what belongs to a column goes with it, what belongs to all stays. Where the order
    /// mirrors the press, so do centre and differences.
    #[test]
    fn the_order_of_columns_changes_their_order_alone(plan in plan::<4>(), filtered: bool) {
        let mut settings = settings::<4>(StrokeSource::Encoder);
        // What is not symmetric, the press's own limits, must not be broken.
        settings.press.rated_kn = 1e5;
        settings.press.usable_energy_kj = None;
        if filtered {
            settings.filter = PressSettings::<4>::usual(settings.press, SAMPLE_HZ, 1.0, StrokeSource::Encoder).filter;
        }
        let frames = frames(&plan, StrokeSource::Encoder);
        let straight = run(&settings, &frames);
        prop_assert_eq!(straight.len(), TURNS as usize - 1);
        for order in orders() {
            let other: Vec<Frame<4>> =
                frames.iter().map(|frame| Frame { counts: order.map(|n| frame.counts[n]), ..*frame }).collect();
            for ((a, bins), (b, other_bins)) in straight.iter().zip(&run(&settings, &other)) {
                let (x, y) = (&a.features, &b.features);
                prop_assert_eq!(order.map(|n| x.columns[n]), y.columns);
                for (bin, other) in bins.iter().zip(other_bins) {
                    prop_assert_eq!(order.map(|n| bin[n]), *other);
                }
                // Sums of whole counts are exact; of filtered loads they round in another order: four roundings.
                let most = f64::from(x.total.peak.value).max(f64::from(x.total.reverse.value)) * 4.0;
                let tolerance = if filtered { 8.0 * ROUNDING * most } else { 0.0 };
                for (p, q) in [(x.total.peak, y.total.peak), (x.total.reverse, y.total.reverse)] {
                    prop_assert!(f64::from((p.value - q.value).abs()) <= tolerance, "{p:?} {q:?}");
                    prop_assert!(filtered || p == q);
                }
                prop_assert_eq!(x.work_kj, y.work_kj);
                prop_assert_eq!(x.impulse_kn_ticks, y.impulse_kn_ticks);
                prop_assert_eq!(order.map(|n| x.loaded_sum[n]), y.loaded_sum);
                prop_assert_eq!(a.findings.verdict(), b.findings.verdict());
                let Some([mirror_x, mirror_y]) = mirrored(order) else { continue };
                for (p, q, sign) in
                    [(x.left_right, y.left_right, mirror_x), (x.front_rear, y.front_rear, mirror_y)]
                {
                    prop_assert!(f64::from((p.value - sign * q.value).abs()) <= tolerance, "{p:?} {q:?}");
                }
                if let (Some(p), Some(q)) = (a.mean_centre_mm, b.mean_centre_mm) {
                    // Moments add up in another order, of 600 mm at most.
                    prop_assert!((p[0] - mirror_x * q[0]).abs() < 1e-3, "{p:?} {q:?}");
                    prop_assert!((p[1] - mirror_y * q[1]).abs() < 1e-3, "{p:?} {q:?}");
                }
            }
        }
    }

    /// Loads in a unit two to some power as large, and lengths likewise: every number follows exactly, no verdict changes.
    #[test]
    fn the_unit_of_loads_and_lengths_changes_numbers_alone(
        plan in plan::<4>(),
        loads in -6..7_i32,
        lengths in -3..4_i32,
    ) {
        for source in SOURCES {
            let settings = settings::<4>(source);
            let (by_load, by_length) = (f64::from(loads).exp2(), f64::from(lengths).exp2());
            let other = rescaled(&settings, by_load, by_length);
            let frames = frames(&plan, source);
            for ((a, bins), (b, other_bins)) in run(&settings, &frames).iter().zip(&run(&other, &frames)) {
                let wanted = scaled(a, by_load as f32, by_length as f32);
                prop_assert_eq!(wanted.features, b.features);
                prop_assert_eq!(wanted.load_centre_mm, b.load_centre_mm);
                prop_assert_eq!(wanted.mean_centre_mm, b.mean_centre_mm);
                prop_assert_eq!(a.speed_spm, b.speed_spm);
                prop_assert_eq!(a.findings.reasons(), b.findings.reasons());
                prop_assert_eq!(a.findings.verdict(), b.findings.verdict());
                for (x, y) in a.findings.list().iter().zip(b.findings.list()) {
                    let factor = match x.reason {
                        Reason::SpeedOutOfRange => 1.0,
                        Reason::WorkOverEnergy => by_load * by_length,
                        _ => by_load,
                    };
                    prop_assert_eq!([x.value, x.limit].map(|v| v * factor as f32), [y.value, y.limit]);
                    prop_assert_eq!((x.column, x.from, x.to), (y.column, y.from, y.to));
                }
                for (x, y) in bins.iter().flatten().zip(other_bins.iter().flatten()) {
                    prop_assert_eq!(x * by_load as f32, *y);
                }
            }
        }
    }

    /// In US tons-force, which are no power of two: to roundings.
    #[test]
    fn tons_force_give_the_same_to_roundings(plan in plan::<4>()) {
        let mut settings = settings::<4>(StrokeSource::Encoder);
        // A load within a rounding of a limit may fall on either side: no limits here.
        settings.press.rated_kn = 1e5;
        settings.press.usable_energy_kj = None;
        let other = rescaled(&settings, 1.0 / KN_PER_US_TONF, 1.0);
        let frames = frames(&plan, StrokeSource::Encoder);
        for ((a, _), (b, _)) in run(&settings, &frames).iter().zip(&run(&other, &frames)) {
            for (x, y) in a.features.columns.iter().zip(&b.features.columns) {
                // The rounded gain, the product; the factor here.
                for (x, y) in [(x.peak, y.peak), (x.reverse, y.reverse)] {
                    let (kn, tons) = (f64::from(x.value), f64::from(y.value) * KN_PER_US_TONF);
                    prop_assert!((kn - tons).abs() <= 4.0 * ROUNDING * kn, "{kn} kN, {tons} kN");
                }
            }
            let (kj, tons) = (f64::from(a.features.work_kj.unwrap()), f64::from(b.features.work_kj.unwrap()));
            // Four loads and their sums, over a travel of 100 mm there and back, of 1.6 MN at most.
            prop_assert!((kj - tons * KN_PER_US_TONF).abs() <= 16.0 * ROUNDING * 1600.0 * 0.2, "{kj} {tons}");
            prop_assert_eq!(a.findings.verdict(), b.findings.verdict());
        }
    }
}

fn orders() -> Vec<[usize; 4]> {
    let mut all = Vec::new();
    for n in 0..256_usize {
        let order = [n & 3, (n >> 2) & 3, (n >> 4) & 3, (n >> 6) & 3];
        let mut seen = order;
        seen.sort_unstable();
        if seen == [0, 1, 2, 3] {
            all.push(order);
        }
    }
    assert_eq!(all.len(), 24);
    all
}

/// Which axes an order mirrors (−1) or keeps (+1), where it is a symmetry of the press.
fn mirrored(order: [usize; 4]) -> Option<[f32; 2]> {
    let columns = Columns::Corners;
    let sign = |sides: &[f32]| {
        let signs = order.map(|n| sides[n]);
        if signs == sides {
            Some(1.0)
        } else if signs.map(|side| -side) == sides {
            Some(-1.0)
        } else {
            None
        }
    };
    Some([sign(columns.side_x())?, sign(columns.side_y())?])
}

#[test]
fn four_orders_of_columns_mirror_the_press_and_the_rest_do_not() {
    assert_eq!(orders().into_iter().filter_map(mirrored).count(), 4);
}

#[test]
fn the_plans_reach_good_strokes_and_broken_limits() {
    // Otherwise "no verdict changes" would say nothing.
    use proptest::strategy::ValueTree as _;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let settings = settings::<4>(StrokeSource::Encoder);
    let mut counts = std::collections::BTreeMap::new();
    for _ in 0..40 {
        let plan = plan::<4>().new_tree(&mut runner).unwrap().current();
        for (report, _) in run(&settings, &frames(&plan, StrokeSource::Encoder)) {
            *counts.entry(report.findings.verdict()).or_insert(0) += 1;
        }
    }
    assert!(counts.len() > 1, "{counts:?}");
}
