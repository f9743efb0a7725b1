use super::*;

fn build(kind: FilterKind, corner_hz: f64, sample_hz: f64) -> LowPass {
    FilterConfig { kind, corner_hz, sample_hz }.build().unwrap()
}

/// Runs the sections alone, from rest, without the guard against overshoot.
fn raw_response(filter: &LowPass, input: impl Iterator<Item = f32>) -> Vec<f32> {
    let mut states = [SectionState::default(); 2];
    let run = |x: f32| filter.sections().iter().zip(&mut states).fold(x, |x, (s, state)| s.step(state, x));
    input.map(run).collect()
}

extern crate std;
use std::{vec, vec::Vec};

/// f32 keeps 24 bits; coefficients are rounded once from f64, responses accumulate a few roundings.
const COEFFICIENT_TOLERANCE: f64 = 1.2e-7;
const RESPONSE_TOLERANCE: f64 = 1e-6;

#[test]
fn butterworth_sections_agree_with_scipy() {
    // Source: SciPy 1.17.1 signal.butter(order, fc, fs, output='sos'), computed. [b0, a1, a2]
    let cases = [
        (
            FilterKind::Butterworth2,
            1000.0,
            10_000.0,
            vec![[0.0674552738890719, -1.1429805025399011, 0.41280159809618877]],
        ),
        (
            FilterKind::Butterworth2,
            500.0,
            10_000.0,
            vec![[0.020083365564211232, -1.5610180758007182, 0.6413515380575631]],
        ),
    ];
    for (kind, corner, rate, sections) in cases {
        let filter = build(kind, corner, rate);
        assert_eq!(filter.sections().len(), sections.len());
        for (section, [b0, a1, a2]) in filter.sections().iter().zip(sections) {
            let found =
                [section.b[0], section.b[1] / 2.0, section.b[2], section.a[0], section.a[1]].map(f64::from);
            for (found, wanted) in found.iter().zip([b0, b0, b0, a1, a2]) {
                assert!(
                    (found - wanted).abs() < COEFFICIENT_TOLERANCE * 2.0,
                    "{kind:?} {corner}: {found} {wanted}"
                );
            }
        }
    }
    // Fourth order: SciPy puts the whole gain in the first section; poles and the product of gains agree.
    let poles = [[-1.0485995763626117, 0.2961403575616696], [-1.3209134308194264, 0.6327387928852766]];
    let filter = build(FilterKind::Butterworth4, 1000.0, 10_000.0);
    for (section, [a1, a2]) in filter.sections().iter().zip(poles) {
        assert!((f64::from(section.a[0]) - a1).abs() < COEFFICIENT_TOLERANCE * 2.0, "{} {a1}", section.a[0]);
        assert!((f64::from(section.a[1]) - a2).abs() < COEFFICIENT_TOLERANCE * 2.0, "{} {a2}", section.a[1]);
    }
    let gain: f64 = filter.sections().iter().map(|s| f64::from(s.b[0])).product();
    assert!((gain - 0.004824343357716228).abs() < 1e-8, "{gain}");
}

#[test]
fn butterworth_impulse_responses_agree_with_scipy() {
    // Source: SciPy 1.17.1 signal.sosfilt on a unit impulse, computed.
    let second = [
        0.0674552738890719,
        0.21201061062684184,
        0.2819336233057059,
        0.2347263155687418,
        0.15190495187045563,
        0.07672900004518596,
        0.024993144140182014,
        -0.003107177389577876,
        -0.01386865301673587,
    ];
    let fourth = [
        0.004824343357716228,
        0.03072871776808578,
        0.09059468195488288,
        0.1679448218447372,
        0.22464127134402812,
        0.23345718786760047,
        0.19351255216280516,
        0.1237652435710151,
        0.049603603138057735,
    ];
    let impulse = || core::iter::once(1.0).chain(core::iter::repeat_n(0.0, 8));
    for (kind, wanted) in [(FilterKind::Butterworth2, second), (FilterKind::Butterworth4, fourth)] {
        let found = raw_response(&build(kind, 1000.0, 10_000.0), impulse());
        for (found, wanted) in found.iter().zip(wanted) {
            assert!((f64::from(*found) - wanted).abs() < RESPONSE_TOLERANCE, "{kind:?}: {found} {wanted}");
        }
    }
}

#[test]
fn butterworth_step_overshoot_is_what_scipy_says_and_the_guard_removes_it() {
    // Source: SciPy 1.17.1, computed: 4.975 % at sample 6 (order 2), 11.907 % at sample 8 (order 4).
    for (kind, overshoot, at) in
        [(FilterKind::Butterworth2, 0.04975, 6), (FilterKind::Butterworth4, 0.11907, 8)]
    {
        let filter = build(kind, 1000.0, 10_000.0);
        let raw = raw_response(&filter, core::iter::repeat_n(1.0, 60));
        let greatest = raw.iter().copied().fold(0.0, f32::max);
        assert!((f64::from(greatest) - 1.0 - overshoot).abs() < 1e-5, "{kind:?}: {greatest}");
        assert_eq!(raw.iter().position(|y| *y == greatest), Some(at));
        // A press carrying 1000 kN lets go: the guarded output never shows reverse load.
        let mut state = LowPassState::default();
        for n in 0..400 {
            let y = filter.step(&mut state, if n < 200 { 1000.0 } else { 0.0 });
            assert!((0.0..=1000.0).contains(&y), "{kind:?}: {y} at {n}");
        }
    }
}

/// The filter's output shows a reverse load that is real in full, and after it has been gone for four periods of the
/// corner no later release, however sudden, shows as one.
#[test]
fn a_reverse_load_once_real_does_not_come_back_as_the_undershoot_of_a_later_release() {
    for kind in [FilterKind::Butterworth2, FilterKind::Butterworth4] {
        for corner in [300.0, 1000.0, 2500.0] {
            let filter = build(kind, corner, 10_000.0);
            let mut state = LowPassState::default();
            let mut run = |level: f32, frames: u32| {
                let outputs = (0..frames).map(|_| filter.step(&mut state, level));
                outputs.fold([f32::INFINITY, f32::NEG_INFINITY], |[least, greatest], y| {
                    [least.min(y), greatest.max(y)]
                })
            };
            let period = (10_000.0 / corner) as u32 + 1;
            run(1000.0, 10 * period);
            // Fracture throws the frame into tension for long enough to be seen.
            let [reverse, _] = run(-200.0, 10 * period);
            assert!((-200.0..=-199.0).contains(&reverse), "{kind:?} {corner}: {reverse}");
            run(0.0, 4 * period);
            for _ in 0..3 {
                let [_, peak] = run(1000.0, 10 * period);
                assert!((999.0..=1000.0).contains(&peak), "{kind:?} {corner}: {peak}");
                let [least, _] = run(0.0, 10 * period);
                assert!(least >= 0.0, "{kind:?} {corner}: {least} kN of reverse load that never was");
            }
        }
    }
}

#[test]
fn no_overshoot_form_is_three_decibels_down_at_its_corner() {
    for corner in [200.0, 1000.0, 2500.0, 4900.0] {
        let filter = build(FilterKind::NoOvershoot, corner, 10_000.0);
        // Steady-state power ratio of a sine over whole periods after settling.
        let (mut input, mut output) = (0.0, 0.0);
        let mut state = LowPassState::default();
        for n in 0..40_000 {
            let x = (core::f64::consts::TAU * corner / 10_000.0 * f64::from(n)).sin();
            let y = f64::from(filter.step(&mut state, x as f32));
            if n >= 20_000 {
                input += x * x;
                output += y * y;
            }
        }
        let decibels = 10.0 * (output / input).log10();
        assert!((decibels + 3.0103).abs() < 0.01, "{corner}: {decibels}");
    }
}

#[test]
fn no_overshoot_form_never_leaves_the_range_of_its_input() {
    let filter = build(FilterKind::NoOvershoot, 1000.0, 8000.0);
    let mut state = LowPassState::default();
    for n in 0..1000 {
        let y = filter.step(&mut state, if n < 500 { 1000.0 } else { 0.0 });
        assert!((0.0..=1000.0).contains(&y), "{y} at {n}");
    }
}

#[test]
fn a_started_filter_is_settled_at_its_first_sample() {
    for kind in [FilterKind::NoOvershoot, FilterKind::Butterworth2, FilterKind::Butterworth4] {
        let filter = build(kind, 700.0, 10_000.0);
        let mut state = LowPassState::default();
        for n in 0..50 {
            let y = filter.step(&mut state, 123.0);
            assert!((y - 123.0).abs() < 123.0 * 1e-5, "{kind:?}: {y} at {n}");
        }
    }
}

#[test]
fn a_filter_goes_on_from_its_first_sample_as_if_that_had_come_in_for_ever() {
    for kind in [FilterKind::NoOvershoot, FilterKind::Butterworth2, FilterKind::Butterworth4] {
        let filter = build(kind, 700.0, 10_000.0);
        let (mut fresh, mut old) = (LowPassState::default(), LowPassState::default());
        for _ in 0..2000 {
            let _ = filter.step(&mut old, 123.0);
        }
        let _ = filter.step(&mut fresh, 123.0);
        for n in 0..200 {
            // Rising, so that the hold within what came in hides nothing.
            let x = 123.0 + 5.0 * n as f32;
            let (new, long) = (filter.step(&mut fresh, x), filter.step(&mut old, x));
            // Some roundings of numbers up to 1,123, kept for some ten samples.
            assert!((new - long).abs() < 1e-3, "{kind:?}: {new}, not {long}, at {n}");
        }
    }
}

#[test]
fn a_corner_outside_the_band_is_refused() {
    for (corner_hz, sample_hz) in
        [(0.0, 8000.0), (4000.0, 8000.0), (-1.0, 8000.0), (f64::NAN, 8000.0), (10.0, f64::INFINITY)]
    {
        let config = FilterConfig { kind: FilterKind::NoOvershoot, corner_hz, sample_hz };
        assert!(config.build().is_err(), "{corner_hz} {sample_hz}");
    }
}

#[test]
fn the_spike_guard_hides_one_frame_and_no_more() {
    for length in 1..5_usize {
        let mut guard = SpikeGuards::<1>::default();
        let signal = core::iter::repeat_n(1.0, 5)
            .chain(core::iter::repeat_n(900.0, length))
            .chain(core::iter::repeat_n(1.0, 5));
        let passed: Vec<f32> = signal.map(|x| guard.step(100.0, &[x])[0]).collect();
        let shown = passed.iter().filter(|y| **y == 900.0).count();
        // Shown in full length less the hidden frame; leaving the overload is delayed by that frame too.
        let expected = if length == 1 { 0 } else { length };
        assert_eq!(shown, expected, "{length}: {passed:?}");
    }
}

#[test]
fn a_slope_below_the_jump_passes_unchanged() {
    let mut guard = SpikeGuards::<1>::default();
    for n in 0..100 {
        let x = 99.0 * (n % 10) as f32 / 9.0;
        assert!(guard.step(100.0, &[x]) == [x] && guard.withheld() == 0);
    }
}

#[test]
fn one_columns_spike_leaves_the_others_alone_and_all_columns_filter_as_each_alone() {
    let config = FilterConfig { kind: FilterKind::NoOvershoot, corner_hz: 500.0, sample_hz: 10_000.0 };
    let filter = config.build().unwrap();
    let mut guards = SpikeGuards::<3>::default();
    let (mut together, mut alone) = ([LowPassState::default(); 3], [LowPassState::default(); 3]);
    for n in 0..200 {
        let raw = [n as f32, -(n as f32), if n == 50 { 900.0 } else { 7.0 }];
        let expected = [n as f32, -(n as f32), 7.0];
        let accepted = guards.step(100.0, &raw);
        assert_eq!((accepted, guards.withheld()), (expected, u32::from(n == 50) << 2), "frame {n}");
        assert_eq!(guards.accepted(), &accepted);
        let mut each = accepted;
        let loads = filter.step_all(&mut together, &accepted);
        each.iter_mut().zip(&mut alone).for_each(|(load, state)| *load = filter.step(state, *load));
        assert_eq!(loads.map(f32::to_bits), each.map(f32::to_bits), "frame {n}");
    }
}

#[test]
fn of_two_frames_in_a_row_one_is_passed_as_it_came_whatever_the_columns_read() {
    // An overload that jumps from column to column and back, and by chance.
    let turns = |n: u32| core::array::from_fn(|column| if n % 3 == column as u32 { 900.0 } else { 1.0 });
    let mut noise = 12_345_u32;
    let mut chance = |_: u32| {
        core::array::from_fn(|_| {
            // A linear congruence (Knuth), its upper bits.
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (noise >> 22) as f32
        })
    };
    let ways: [&mut dyn FnMut(u32) -> [f32; 3]; 2] = [&mut { turns }, &mut chance];
    for signal in ways {
        let mut guard = SpikeGuards::<3>::default();
        let mut hidden = false;
        for n in 0..2000 {
            let loads = signal(n);
            let passed = guard.step(100.0, &loads);
            assert!(!(hidden && passed != loads), "frames {} and {n} are both withheld", n - 1);
            hidden = passed != loads;
        }
    }
}
