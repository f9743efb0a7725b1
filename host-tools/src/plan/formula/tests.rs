//! Worked examples of the formulas, with where they come from.

use super::*;
use bolster_core::press::Columns;
use bolster_core::units::KN_PER_US_TONF;

fn close(found: f64, want: f64, within: f64) {
    assert!((found - want).abs() <= within, "{found} against {want}");
}

#[test]
fn cutting_loads_follow_worked_examples() {
    // source: computed (Ø100 × 2 mm at 280 MPa; Ø25 × 3.2 mm at 450 MPa); Groover worked example
    // (from memory) prints 467 469 N for Ø150 × 3.2 mm at 310 MPa.
    close(cutting_kn(PI * 100.0, 2.0, 280.0), 175.929_189, 1e-6);
    close(cutting_kn(PI * 100.0, 2.0, 280.0) / KN_PER_US_TONF, 19.7752, 5e-5);
    close(cutting_kn(PI * 150.0, 3.2, 310.0), 467.468_987, 1e-6);
    close(cutting_kn(PI * 25.0, 3.2, 450.0), 113.097_336, 1e-6);
}

#[test]
fn the_published_hole_chart_is_met_within_a_per_cent() {
    // US tons, mild steel at 50 ksi; source: metalworking-machinery.com (read). Printed to one decimal.
    let shear_mpa = 50.0 * 6.894_757_293;
    for (diameter, t, tons) in [
        (1.0, 0.060, 4.7),
        (1.0, 0.105, 8.3),
        (1.0, 0.120, 9.4),
        (1.0, 0.187, 14.8),
        (1.0, 0.250, 19.8),
        (2.0, 0.060, 9.4),
        (2.0, 0.105, 16.4),
        (2.0, 0.120, 18.8),
        (2.0, 0.187, 29.5),
        (2.0, 0.250, 39.3),
    ] {
        let found = cutting_kn(PI * diameter * 25.4, t * 25.4, shear_mpa) / KN_PER_US_TONF;
        assert!((found / tons - 1.0).abs() < 0.01, "Ø{diameter} in × {t} in: {found} against {tons}");
    }
}

#[test]
fn bending_loads_follow_worked_examples_and_charts_spread_by_a_sixth() {
    // source: Groover worked examples (from memory), prints 10 909 N; the rest computed from the forms.
    close(bending_kn(1.33, 44.5, 3.2, 450.0, 25.0), 10.908_979, 1e-6);
    close(bending_kn(0.33, 44.5, 3.2, 450.0, 25.0), 2.706_739, 1e-6);
    close(bending_kn(1.42, 1000.0, 3.0, 450.0, 24.0), 239.625, 1e-9);
    close(air_chart_kn(304.8, 6.35, 50.8) / KN_PER_US_TONF, 17.968_75, 1e-9);
    // A printed chart gives 3.8 and 15.4 US tons a foot for 0.060 and 0.250 in; source:
    // metalworking-machinery.com (read). The 575 form at V = 8t gives 4.3 and 18.0: conventions differ by
    // some 15 %.
    for (t, chart, form) in [(0.060, 3.8, 4.3125), (0.250, 15.4, 17.968_75)] {
        let found = air_chart_kn(304.8, t * 25.4, 8.0 * t * 25.4) / KN_PER_US_TONF;
        close(found, form, 1e-9);
        assert!(found / chart > 1.10 && found / chart < 1.20, "{found} against {chart}");
    }
}

#[test]
fn drawing_loads_follow_worked_examples() {
    // source: Groover worked examples (from memory), prints 193 396 N and 86 824 N; the wall computed.
    close(drawing_kn(75.0, 138.0, 2.4, 300.0), 193.396_444, 1e-6);
    close(holding_kn(75.0, 138.0, 2.4, 6.0, 175.0), 86.824_366, 1e-6);
    close(wall_kn(75.0, 2.4, 300.0), 169.646_003, 1e-6);
    assert_eq!(holding_kn(100.0, 101.0, 2.0, 10.0, 200.0), 0.0);
}

#[test]
fn flywheel_and_shop_work_follow_their_formulas() {
    // source: computed. I = 50 kg·m² at 300 rpm.
    close(flywheel_usable_j(50.0, 300.0, 1.0), 24_674.011, 1e-3);
    close(flywheel_usable_j(50.0, 300.0, 0.10), 4_688.062, 1e-3);
    close(flywheel_usable_j(50.0, 300.0, 0.15), 6_847.038, 1e-3);
    close(flywheel_usable_j(50.0, 300.0, 0.20), 8_882.644, 1e-3);
    // Shop formulas: source: metalworking-machinery.com (read); Ø100 × 2 mm at 280 MPa computed.
    close(1000.0 * blanking_work_kj(175.929_189, 2.0), 175.929, 1e-3);
    close(drawing_work_kj(100.0, 50.0), 3.15, 1e-12);
    // 1.7 US tons a square inch is 6.8 % of a 50 ksi shear load; source: computed.
    let share = stripping_kn(100.0, 2.0) / cutting_kn(100.0, 2.0, 50.0 * 6.894_757_293);
    close(share, 0.068, 1e-6);
}

// Half a period leaves 2/π, as computed; the table is kept as it was made.
#[allow(clippy::approx_constant)]
#[test]
fn release_factors_follow_the_single_mass_solution() {
    // source: computed, confirmed with SciPy 1.17.1 solve_ivp to 1e-5.
    for (damping, factor) in [
        (0.02, 0.939_090),
        (0.05, 0.854_468),
        (0.10, 0.729_248),
        (0.20, 0.526_621),
        (0.30, 0.372_326),
        (0.50, 0.163_034),
    ] {
        close(sudden_release_factor(damping), factor, 1e-6);
    }
    for (duration, factor) in [
        (0.0, 1.0),
        (0.1, 0.983_632),
        (0.25, 0.900_316),
        (0.5, 0.636_620),
        (0.75, 0.300_105),
        (1.0, 0.0),
        (1.5, 0.212_207),
    ] {
        close(ramp_release_factor(duration), factor, 1e-6);
    }
}

#[test]
fn corners_share_by_the_linear_form() {
    // P 1000 kN, a 1.2 m, b 0.8 m, ex 0.1, ey 0.05; source: computed. Order lf, rf, lr, rr.
    let shares = column_shares(Columns::Corners, [100.0, 50.0], [1200.0, 800.0]);
    for (share, want) in shares.iter().zip([239.5833, 322.9167, 177.0833, 260.4167]) {
        close(1000.0 * share, want, 5e-5);
    }
    close(shares.iter().sum(), 1.0, 1e-12);
}
