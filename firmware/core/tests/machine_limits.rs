//! Claim: the frame that first exceeds a machine limit withdraws the permit, and no frame before it does. Over every
//! limit, every frame of a turn, every way of telling strokes, and one, two and four columns; also in mid-judging, under
//! a bypass and with a die that would allow it.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod kit;

use bolster_core::die::{Band, DieLimits};
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::machine::MachineLimits;
use bolster_core::monitor::Monitor;
use bolster_core::often::MofN;
use bolster_core::permit::PermitState;
use bolster_core::settings::PressSettings;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::Tick;
use bolster_core::verdict::{Reason, Verdict};
use kit::{frame, press, share_of_turn, sharp};
use rand::RngExt as _;

/// Frames a turn: every one of them is tried.
const TURN: u32 = 240;
/// At this rate a turn takes 24 ms, which is far from a press and legal for the tracker.
const SAMPLE_HZ: f64 = 10_000.0;

type Watch<const N: usize> = Monitor<N, 16, 4>;

const SOURCES: [StrokeSource; 4] =
    [StrokeSource::Encoder, StrokeSource::Index, StrokeSource::Load, StrokeSource::Marked];

/// Settings for one case; strokes told by load alone rest within a turn.
fn settings<const N: usize>(source: StrokeSource) -> PressSettings<N> {
    let mut settings = sharp::<N>(source, SAMPLE_HZ);
    settings.press.speed_spm = [2000.0, 3000.0];
    settings.press.off_centre_percent = Some(40.0);
    settings.stroke.top_speed_spm = 3000.0;
    settings.stroke.rest_s = 0.004;
    settings
}

fn crank(source: StrokeSource, n: u32) -> CrankReading {
    match source {
        StrokeSource::Index => CrankReading::Index(n % TURN < 4),
        StrokeSource::Load => CrankReading::Absent,
        StrokeSource::Encoder | StrokeSource::Marked => {
            CrankReading::Angle(share_of_turn(f64::from(n % TURN) / f64::from(TURN)))
        }
    }
}

/// Loads of a quiet frame, kN: below the onset, never the same twice in a row.
fn quiet<const N: usize>(n: u32) -> [f64; N] {
    [0.25 + f64::from(n % 3) / 1024.0; N]
}

/// A stroke as a good one is, in two thirds of the turn: 20 % of the rating at most.
fn good<const N: usize>(n: u32) -> [f64; N] {
    let along = (f64::from(n % TURN) / f64::from(TURN) - 0.4) / 0.2;
    let load = if (0.0..1.0).contains(&along) { 200.0 * (std::f64::consts::PI * along).sin() } else { 0.0 };
    quiet::<N>(n).map(|rest| rest + (load / N as f64 * 1024.0).round() / 1024.0)
}

/// A monitor that has seen these turns of good strokes and stands before the first frame of the next.
fn after<const N: usize>(settings: &PressSettings<N>, turns: u32) -> Watch<N> {
    let source = settings.stroke.source;
    let mut monitor = Watch::new(settings.build().unwrap());
    monitor.self_test(Tick(0), true);
    for n in 0..turns * TURN {
        if source == StrokeSource::Marked && n.is_multiple_of(TURN) {
            monitor.mark();
        }
        assert!(
            monitor.step(&frame(n, good(n), crank(source, n))).permit,
            "{source:?}: withdrawn at {n} by nothing"
        );
    }
    monitor
}

const BEFORE: u32 = 3;

/// What breaks one limit, as loads of a frame in which it is just broken and just kept; it may break others too.
struct Break<const N: usize> {
    reason: Reason,
    column: Option<u8>,
    over: [f64; N],
    at: [f64; N],
}

/// The least a load can grow by here.
const COUNT: f64 = 1.0 / 1024.0;

/// Every limit that loads of one frame can break, whatever the angle.
fn breaks<const N: usize>() -> Vec<Break<N>> {
    let spec = press(N);
    let share = spec.rated_kn / N as f64;
    let mut all = Vec::new();
    let mut case = |reason, column, at: [f64; N], which: usize, way: f64| {
        let mut over = at;
        over[which] += way * COUNT;
        all.push(Break { reason, column, over, at });
    };
    case(Reason::PeakOverRating, None, [share; N], 0, 1.0);
    case(Reason::ReverseOverLimit, None, [-0.1 * share; N], N - 1, -1.0);
    if N > 1 {
        for column in 0..N {
            // The others carry as much as keeps the total and the differences within their own limits.
            let mut at = [0.55 * share; N];
            at[column] = 1.1 * share;
            if N == 2 {
                at[1 - column] = 0.6 * share;
            }
            case(Reason::ColumnOverShare, Some(column as u8), at, column, 1.0);
        }
        // Half of the difference on each of two columns, or all of it on the one.
        for sides in [[-1.0, 1.0], [1.0, -1.0]] {
            let mut at = [0.0; N];
            let heavy = usize::from(sides[1] > 0.0);
            for row in 0..N / 2 {
                at[2 * row + heavy] = 300.0 / (N as f64 / 2.0);
            }
            case(Reason::ImbalanceLeftRight, None, at, heavy, 1.0);
        }
    }
    if N == 2 {
        for heavy in 0..2 {
            let mut at = [200.0; N];
            at[heavy] = 440.0;
            case(Reason::OffCentre, None, at, heavy, 1.0);
        }
    }
    if N == 4 {
        // 40 % as far out as the gauges is k = 1.5: load + 1.5 · differences is the rating at 640 kN, 240 kN apart.
        for heavy in [[0, 1], [2, 3], [0, 2], [1, 3]] {
            let mut at = [100.0; N];
            heavy.iter().for_each(|column| at[*column] = 220.0);
            case(Reason::OffCentre, None, at, heavy[0], 1.0);
        }
        for heavy in [0, 2] {
            let mut at = [0.0; N];
            at[heavy] = 150.0;
            at[heavy + 1] = 150.0;
            case(Reason::ImbalanceFrontRear, None, at, heavy, 1.0);
        }
    }
    all
}

/// |dh/dθ| in mm per radian by the textbook's equation, in f64.
fn rate_mm(turns: f64) -> f64 {
    let spec = press(4);
    let (r, l, angle) = (0.5 * spec.stroke_mm, spec.rod_mm, turns * std::f64::consts::TAU);
    let root = (l * l - (r * angle.sin()).powi(2)).sqrt();
    (r * angle.sin() * (1.0 - r * angle.cos() / root)).abs()
}

fn height_mm(turns: f64) -> f64 {
    let spec = press(4);
    let (r, l, angle) = (0.5 * spec.stroke_mm, spec.rod_mm, turns * std::f64::consts::TAU);
    r * (1.0 + angle.cos()) + l - (l * l - (r * angle.sin()).powi(2)).sqrt()
}

/// Load that the capacity curve allows at this share of the closing half turn, kN; above the rating it does not bind.
fn capacity_kn(turns: f64) -> f64 {
    let spec = press(4);
    // The angle at which the closing slide is at the rated height, by halving.
    let (mut above, mut below) = (0.0, 0.5);
    for _ in 0..100 {
        let middle = 0.5 * (above + below);
        if height_mm(middle) > spec.rated_height_mm { above = middle } else { below = middle }
    }
    spec.rated_kn * rate_mm(above) / rate_mm(turns)
}

/// Steps a copy of the monitor up to a frame with quiet loads, which must keep the permit, and then that frame.
fn at<const N: usize>(
    before: &Watch<N>,
    source: StrokeSource,
    position: u32,
    loads: [f64; N],
) -> (Watch<N>, bool) {
    let mut monitor = before.clone();
    let start = BEFORE * TURN;
    for n in start..start + position {
        if source == StrokeSource::Marked && n.is_multiple_of(TURN) {
            monitor.mark();
        }
        assert!(monitor.step(&frame(n, quiet(n), crank(source, n))).permit, "{source:?}: early, at {n}");
    }
    let n = start + position;
    if source == StrokeSource::Marked && n.is_multiple_of(TURN) {
        monitor.mark();
    }
    let permit = monitor.step(&frame(n, loads, crank(source, n))).permit;
    (monitor, permit)
}

/// The stroke in which the frame lies ends and its report names the limit.
fn is_reported<const N: usize>(
    mut monitor: Watch<N>,
    broken: &Break<N>,
    source: StrokeSource,
    position: u32,
) -> bool {
    let first = BEFORE * TURN + position + 1;
    let named = |monitor: &Watch<N>| {
        let findings = &monitor.report().unwrap().findings;
        findings.verdict() == Verdict::Trip
            && findings.list().iter().any(|f| f.reason == broken.reason && f.column == broken.column)
    };
    for n in first..first + 2 * TURN {
        if source == StrokeSource::Marked && n.is_multiple_of(TURN) {
            monitor.mark();
        }
        if monitor.step(&frame(n, quiet(n), crank(source, n))).reported && named(&monitor) {
            return true;
        }
    }
    monitor.close(Tick(first + 2 * TURN)) && named(&monitor)
}

fn latched<const N: usize>(monitor: &Watch<N>) -> Vec<Reason> {
    match monitor.permit().state() {
        PermitState::Latched(reasons) => reasons.iter().collect(),
        _ => Vec::new(),
    }
}

fn loads_break_their_limits_in_the_very_frame<const N: usize>() {
    for source in SOURCES {
        let before = after(&settings::<N>(source), BEFORE);
        for broken in breaks::<N>() {
            for position in 0..TURN {
                // Where the slide closes the capacity curve may bind earlier, and names itself besides.
                let (monitor, permit) = at(&before, source, position, broken.over);
                let what = format!("{source:?}, {N} columns, {:?} in frame {position}", broken.reason);
                assert!(!permit, "{what}: not withdrawn");
                assert!(
                    latched(&monitor).contains(&broken.reason),
                    "{what}: latched by {:?}",
                    latched(&monitor)
                );
                // A stroke told by load alone may not be under way; whatever is found is then the next one's.
                if source != StrokeSource::Load {
                    assert!(is_reported(monitor, &broken, source, position), "{what}: not reported");
                }
                let (monitor, _) = at(&before, source, position, broken.at);
                assert!(!latched(&monitor).contains(&broken.reason), "{what}: not above, and yet told");
            }
        }
    }
}

#[test]
fn limits_of_one_column_s_load_withdraw_the_permit_in_their_frame() {
    loads_break_their_limits_in_the_very_frame::<1>();
}

#[test]
fn limits_of_two_columns_loads_withdraw_the_permit_in_their_frame() {
    loads_break_their_limits_in_the_very_frame::<2>();
}

#[test]
fn limits_of_four_columns_loads_withdraw_the_permit_in_their_frame() {
    loads_break_their_limits_in_the_very_frame::<4>();
}

fn the_capacity_curve_binds<const N: usize>() {
    let mut bound = 0;
    for source in [StrokeSource::Encoder, StrokeSource::Index, StrokeSource::Marked] {
        let before = after(&settings::<N>(source), BEFORE);
        for position in 1..TURN {
            let turns = f64::from(position) / f64::from(TURN);
            let allowed = capacity_kn(turns);
            // The table interpolates |dh/dθ| over a degree: Δ²/8 of its second derivative, at most 1.3 r, against the rate
            // itself; and a count a column.
            let error =
                1.3 * 0.5 * press(N).stroke_mm * 1.0_f64.to_radians().powi(2) / 8.0 / rate_mm(turns).max(0.1);
            let margin = allowed * (error + 1e-6) + N as f64 * COUNT;
            if allowed + margin > press(N).rated_kn {
                continue;
            }
            let closing = position < TURN / 2;
            for (load, broken) in [(allowed - margin, false), (allowed + margin, closing)] {
                let (monitor, permit) = at(&before, source, position, [load / N as f64; N]);
                let what = format!("{source:?}, {N} columns, {load} of {allowed} kN in frame {position}");
                assert_eq!(permit, !broken, "{what}");
                let told = latched(&monitor).contains(&Reason::LoadOverCapacityCurve);
                assert_eq!(told, broken, "{what}");
                bound += u32::from(broken);
            }
        }
    }
    assert!(bound > 100, "{bound} frames at which the curve bound");
}

#[test]
fn the_capacity_curve_withdraws_the_permit_in_every_closing_frame_and_in_no_opening_one() {
    the_capacity_curve_binds::<1>();
    the_capacity_curve_binds::<2>();
    the_capacity_curve_binds::<4>();
}

/// For every frame of the closing slide a usable energy that a steady load passes in just that frame.
fn work_is_judged_where_it_passes_the_energy<const N: usize>() {
    const LOAD_KN: f64 = 96.0;
    // Frames before the stroke: two turns, so that an index pulse tells the angle.
    const START: u32 = 2 * TURN;
    let loads = |n: u32| {
        let load = if n < START { 0.0 } else { LOAD_KN };
        [load / N as f64 + f64::from(n % 3) * COUNT; N]
    };
    let mut work = vec![0.0];
    for n in START + 1..START + TURN / 2 {
        let [from, to] = [n - 1, n].map(|n| height_mm(f64::from(n - START) / f64::from(TURN)));
        let sum: f64 = loads(n - 1).iter().chain(&loads(n)).sum();
        work.push(work[work.len() - 1] + 0.5 * sum * (from - to) * 1e-3);
    }
    let mut tried = 0;
    for source in [StrokeSource::Encoder, StrokeSource::Index, StrokeSource::Marked] {
        for position in 2..TURN / 2 {
            let [before, after] = [work[position as usize - 1], work[position as usize]];
            // A steady load over the table's heights, each off by Δ²/8 of their second derivative, at most 1.2 r: where a
            // frame does less work than twice that it may be the next one.
            let off =
                LOAD_KN * 1e-3 * 2.0 * 1.2 * 0.5 * press(N).stroke_mm * 1.0_f64.to_radians().powi(2) / 8.0;
            if after - before < 2.0 * off {
                continue;
            }
            tried += 1;
            let mut settings = settings::<N>(source);
            settings.press.usable_energy_kj = Some(0.5 * (before + after));
            let mut monitor = Watch::new(settings.build().unwrap());
            monitor.self_test(Tick(0), true);
            let mut withdrawn = None;
            for n in 0..START + TURN / 2 {
                if source == StrokeSource::Marked && n.is_multiple_of(TURN) {
                    monitor.mark();
                }
                if !monitor.step(&frame(n, loads(n), crank(source, n))).permit && withdrawn.is_none() {
                    withdrawn = Some(n - START);
                    assert_eq!(latched(&monitor), [Reason::WorkOverEnergy]);
                }
            }
            assert_eq!(withdrawn, Some(position), "{source:?}, {N} columns");
        }
    }
    assert!(tried > 300, "{tried} frames");
}

#[test]
fn work_over_the_usable_energy_withdraws_the_permit_in_the_frame_that_passes_it() {
    work_is_judged_where_it_passes_the_energy::<1>();
    work_is_judged_where_it_passes_the_energy::<2>();
    work_is_judged_where_it_passes_the_energy::<4>();
}

/// A die that would allow everything, a bypass under way: neither lifts a machine limit.
#[test]
fn neither_a_die_nor_a_bypass_lifts_a_machine_limit_in_any_frame() {
    let wide = |verdict| Some(Band { low: -1e6, high: 1e6, verdict, rule: MofN::FIRST });
    let die = DieLimits {
        peak_kn: wide(Verdict::Note),
        reverse_kn: wide(Verdict::Note),
        work_kj: wide(Verdict::Note),
        ..DieLimits::default()
    };
    for source in SOURCES {
        let mut before = after(&settings::<4>(source), BEFORE);
        before.set_limits(Tick(BEFORE * TURN), die.clone()).unwrap();
        before.bypass(Tick(BEFORE * TURN), 100_000).unwrap();
        for broken in breaks::<4>() {
            for position in 0..TURN {
                let (monitor, permit) = at(&before, source, position, broken.over);
                assert!(!permit, "{source:?}, {:?} in frame {position}", broken.reason);
                assert!(latched(&monitor).contains(&broken.reason));
            }
        }
    }
}

/// With the low-pass and the spike guard of a real press: in the very frame whose filtered load exceeds the limit.
#[test]
fn a_filtered_overload_withdraws_the_permit_in_the_frame_in_which_it_shows() {
    for rise in [3_u32, 10, 40, 100] {
        let mut settings =
            PressSettings::<4>::usual(press(4), SAMPLE_HZ, kit::KN_PER_COUNT, StrokeSource::Load);
        settings.stroke.rest_s = 0.01;
        let mut monitor = Watch::new(settings.build().unwrap());
        monitor.self_test(Tick(0), true);
        let rated = MachineLimits::new(&press(4), &press(4).check().unwrap()).rated;
        let (mut greatest, mut withdrawn) = (0.0_f64, None);
        // What the filter shows, by the recursion that its two equal poles mean: 3 dB down at 2 kHz, in f64.
        let cosine = (std::f64::consts::TAU * 0.2).cos();
        let k = std::f64::consts::FRAC_1_SQRT_2;
        let half = 1.0 - k * cosine;
        let share = 1.0 - (half - (half * half - (1.0 - k) * (1.0 - k)).sqrt()) / (1.0 - k);
        let (mut first, mut second, mut expected) = (0.0, 0.0, None);
        for n in 0..400_u32 {
            let along = (f64::from(n) - 100.0) / f64::from(rise);
            let total = 1200.0 * along.clamp(0.0, 1.0);
            let loads = [(total / 4.0 * 1024.0).round() / 1024.0 + f64::from(n % 3) * COUNT; 4];
            let sum: f64 = loads.iter().sum();
            if n == 0 {
                (first, second) = (sum, sum);
            }
            first += share * (sum - first);
            second += share * (first - second);
            if second > f64::from(rated) && expected.is_none() {
                assert!((second - f64::from(rated)).abs() > 1e-2, "too near to tell");
                expected = Some(n);
            }
            greatest = greatest.max(second);
            let all: Frame<4> = frame(n, loads, CrankReading::Absent);
            if !monitor.step(&all).permit && withdrawn.is_none() {
                withdrawn = Some(n);
            }
        }
        assert!(greatest > 1100.0);
        assert_eq!(withdrawn, expected, "rising for {rise} frames");
    }
}

/// What loads of one frame break, by the rules as they are written for people; loads and their sums are exact here.
fn broken_by(loads: [f64; 4], off_centre_percent: Option<f64>) -> Vec<Reason> {
    let spec = press(4);
    let [lf, rf, lr, rr] = loads;
    let total = lf + rf + lr + rr;
    let (side, face) = ((rf + rr - lf - lr).abs(), (lf + rf - lr - rr).abs());
    // 40 % as far out as the gauges: k = 100/40 - 1.
    let off_centre = off_centre_percent.is_some_and(|percent| {
        total + (100.0 / percent - 1.0) * (side + face) > spec.rated_kn && side + face > 0.0
    });
    let all = [
        (Reason::PeakOverRating, total > spec.rated_kn),
        (Reason::ColumnOverShare, loads.iter().any(|load| *load > 1.1 * 0.25 * spec.rated_kn)),
        (Reason::ReverseOverLimit, -total > 0.1 * spec.rated_kn),
        (Reason::ImbalanceLeftRight, side > 0.3 * spec.rated_kn),
        (Reason::ImbalanceFrontRear, face > 0.3 * spec.rated_kn),
        (Reason::OffCentre, off_centre),
    ];
    all.into_iter().filter(|(_, broken)| *broken).map(|(reason, _)| reason).collect()
}

/// A frame in which no load passes what the stroke had already may break a limit by how its loads come together: whatever
/// went before, each is judged as if it came alone.
#[test]
fn each_frame_is_judged_as_if_it_came_alone_whatever_the_stroke_had_before_it() {
    const SEED: u64 = 20_261_126;
    const FRAMES: u32 = 9_000;
    // Where the capacity curve does not bind: no angle, the opening slide in a stroke, and before the first top; hum is
    // looked for from three quarters of the turn on.
    let opening = |n: u32| CrankReading::Angle(share_of_turn(0.51 + 0.23 * f64::from(n) / f64::from(FRAMES)));
    let ways = [(StrokeSource::Load, true), (StrokeSource::Encoder, true), (StrokeSource::Encoder, false)];
    for (source, in_stroke, off_centre) in ways
        .into_iter()
        .flat_map(|(source, in_stroke)| [None, Some(40.0)].map(|off| (source, in_stroke, off)))
    {
        let mut settings = settings::<4>(source);
        settings.press.off_centre_percent = off_centre;
        settings.press.usable_energy_kj = None;
        settings.stroke.rest_s = 0.1;
        let mut monitor = Watch::new(settings.build().unwrap());
        monitor.self_test(Tick(0), true);
        let mut tick = 0;
        let mut step = |monitor: &mut Watch<4>, loads: [f64; 4], crank: CrankReading| {
            tick += 1;
            let dither = f64::from(tick % 3) * 4.0 * COUNT;
            (
                loads.map(|load| load + dither),
                monitor.step(&frame(tick, loads.map(|load| load + dither), crank)).permit,
                tick,
            )
        };
        if source == StrokeSource::Encoder && in_stroke {
            // Over the top and down, quietly.
            (0..270).for_each(|degree| {
                let along = (350.0 + 193.0 * f64::from(degree) / 270.0) / 360.0;
                assert!(step(&mut monitor, [0.25; 4], CrankReading::Angle(share_of_turn(along))).1);
            });
        }
        let crank = |n: u32| if source == StrokeSource::Load { CrankReading::Absent } else { opening(n) };
        let mut chance = kit::chance(SEED);
        let (mut kept, mut alone) = (0, Vec::new());
        for n in 0..FRAMES / 3 {
            // Anything from well within its limits to a tenth beyond them, each for itself.
            let mut part = |most: f64| {
                let share: f64 = chance.random_range(-1.1..1.1);
                (most * share * 64.0).round() / 64.0
            };
            let (side, face, total) = (part(300.0), part(300.0), part(550.0) + 450.0);
            let [lf, rf] = [total - side + face, total + side + face].map(|sum| 0.25 * sum);
            let [lr, rr] = [total - side - face, total + side - face].map(|sum| 0.25 * sum);
            let (loads, permit, at) = step(&mut monitor, [lf, rf, lr, rr], crank(3 * n));
            let wanted = broken_by(loads, off_centre);
            let what = format!("{source:?}, seed {SEED}, frame {n}: {loads:?}");
            assert_eq!(permit, wanted.is_empty(), "{what}, {wanted:?}");
            assert_eq!(latched(&monitor), wanted, "{what}");
            kept += u32::from(permit);
            if let [one] = wanted.as_slice() {
                alone.push(*one);
            }
            // Quiet, though not at rest, so that a person may acknowledge and the stroke goes on.
            step(&mut monitor, [10.0; 4], crank(3 * n + 1));
            assert!(permit || monitor.acknowledge(Tick(at + 1)).is_ok(), "{what}");
            assert!(step(&mut monitor, [10.0; 4], crank(3 * n + 2)).1, "{what}");
        }
        assert!(kept > 300, "{kept} frames kept every limit");
        // The allowance leaves no column a share of its own to pass.
        let hidden = if off_centre.is_some() { Reason::OffCentre } else { Reason::ColumnOverShare };
        for reason in
            [hidden, Reason::ReverseOverLimit, Reason::ImbalanceLeftRight, Reason::ImbalanceFrontRear]
        {
            let times = alone.iter().filter(|one| **one == reason).count();
            assert!(times > 5, "{source:?}: {reason:?} alone {times} times");
        }
        assert_eq!(monitor.close(Tick(tick)), in_stroke, "{source:?}");
    }
}

/// A load that comes from nothing to beyond a limit in one frame may be a spike on a wire: the guard withholds it for the
/// one frame that it states. Whichever frame it comes in, one that stays is told in the next.
#[test]
fn a_jump_beyond_a_limit_is_told_one_frame_late_by_the_spike_guard_and_no_later() {
    for source in SOURCES {
        let mut guarded = settings::<4>(source);
        guarded.spike_jump_kn = 100.0;
        let before = after(&guarded, BEFORE);
        for position in 0..TURN - 2 {
            for (length, told) in [(1, None), (2, Some(1)), (5, Some(1))] {
                let mut monitor = before.clone();
                let mut withdrawn = None;
                for n in 0..position + 8 {
                    let at = BEFORE * TURN + n;
                    if source == StrokeSource::Marked && at.is_multiple_of(TURN) {
                        monitor.mark();
                    }
                    let over = (position..position + length).contains(&n);
                    let loads = if over { [251.0; 4] } else { quiet(at) };
                    if !monitor.step(&frame(at, loads, crank(source, at))).permit && withdrawn.is_none() {
                        withdrawn = Some(n - position);
                    }
                }
                // After a mark nothing is a jump: its first frame is taken as it is.
                let fresh = source == StrokeSource::Marked && position == 0;
                let wanted = if fresh { Some(0) } else { told };
                assert_eq!(withdrawn, wanted, "{source:?}: {length} frames from {position} on");
            }
        }
    }
}

#[test]
fn no_machine_limit_is_left_out_here() {
    let mut tried: Vec<Reason> = breaks::<4>().iter().map(|broken| broken.reason).collect();
    tried.extend([Reason::LoadOverCapacityCurve, Reason::WorkOverEnergy]);
    for reason in Reason::ALL.iter().filter(|reason| reason.is_machine_limit()) {
        assert!(tried.contains(reason), "{reason:?} is a machine limit and not tried in every frame");
    }
}
