//! Stations pressed by a slide that does not give: loads, work and springing back.

use super::*;
use crate::frame::{Frame, FrameChange};
use crate::scenario::{Scenario, find};

fn frame() -> Frame {
    let scenario = Scenario::from_toml(find("five-station").unwrap()).unwrap();
    let press = crate::press::spec(&scenario).unwrap();
    Frame::new(&press, &scenario.frame, &FrameChange::default(), 1e-4)
}

fn stock(thickness_mm: f64) -> Stock {
    let material = crate::material::find("low-carbon-cold-rolled").unwrap();
    Stock {
        material,
        thickness_mm,
        nominal_mm: 2.0,
        shear_mpa: material.shear_mpa,
        tensile_mpa: material.tensile_mpa,
        yield_mpa: material.yield_mpa,
        friction: 1.0,
        penetration: 1.0,
    }
}

fn site(operation: &str) -> Site {
    let data: StationData = toml::from_str(&format!("name = \"s\"\nx_mm = 0.0\n{operation}")).unwrap();
    Site { name: data.name.clone(), x_mm: 0.0, y_mm: 0.0, data }
}

/// Peak and lowest load (kN) and work (J) of one slow stroke from 15 mm to the bottom and back.
fn press(operation: &str, stock: &Stock, change: &StationChange) -> (f64, f64, f64) {
    let mut elements = Vec::new();
    site(operation).elements(0, stock, change, &frame(), &mut elements);
    let steps = 15_000_i32;
    let (mut peak, mut lowest, mut work) = (0.0_f64, 0.0_f64, 0.0);
    let mut last = (15.0, 0.0);
    for i in -steps..=steps {
        let height = 15.0 * f64::from(i.abs()) / f64::from(steps);
        let load: f64 = elements.iter_mut().map(|e| e.settle(e.touch_mm - height)).sum();
        work -= 0.5 * (load + last.1) * (height - last.0);
        (peak, lowest) = (peak.max(load), lowest.min(load));
        last = (height, load);
    }
    (peak, lowest, work)
}

const SHARP: StationChange = StationChange {
    presence: 1.0,
    edge: 1.0,
    dullness: 0.0,
    load: 1.0,
    forming: 1.0,
    packed: 0.0,
    slug_mm: 0.0,
};

#[test]
fn a_plain_cut_peaks_at_the_handbook_load_and_takes_its_energy() {
    let (peak, lowest, work) =
        press("pierce = { perimeter_mm = 400.0, entry_mm = 2.0 }", &stock(2.0), &SHARP);
    let load = pierce::cutting_kn(400.0, 2.0, 276.0);
    // A Newton step a micrometre leaves at most slope·step: 2e-3 of the load.
    assert!((peak / load - 1.0).abs() < 3e-3, "{peak} against {load}");
    assert!((lowest / load + 0.07).abs() < 1e-3, "stripping {lowest}");
    // Shop formula 0.5·F·t (read); sharp edges at 40 % penetration come near it.
    let shop = 0.5 * load * 2.0;
    assert!((work / shop - 1.0).abs() < 0.25, "{work} J against {shop} J");
}

#[test]
fn shear_and_stagger_spread_the_cut() {
    let plain = press("pierce = { perimeter_mm = 400.0, entry_mm = 4.0 }", &stock(2.0), &SHARP);
    let shear =
        press("pierce = { perimeter_mm = 400.0, entry_mm = 4.0, shear_mm = 2.0 }", &stock(2.0), &SHARP);
    let stagger = press(
        "pierce = { perimeter_mm = 400.0, entry_mm = 4.0, punches = 3, stagger_mm = 2.4 }",
        &stock(2.0),
        &SHARP,
    );
    // Shear as high as the sheet: the cut is spread over 1.4 of the 0.4 thickness it takes at one place.
    assert!(shear.0 < 0.55 * plain.0, "{} against {}", shear.0, plain.0);
    // Three steps a penetration and crack apart: one third at a time, and the others' friction.
    assert!(stagger.0 < 0.45 * plain.0, "{} against {}", stagger.0, plain.0);
    // Neither saves work; they enter less deep and drag a little less.
    assert!((shear.2 / plain.2 - 1.0).abs() < 0.1 && (stagger.2 / plain.2 - 1.0).abs() < 0.1);
}

#[test]
fn dull_edges_and_tight_clearance_cost_load_and_work() {
    let cut = "pierce = { perimeter_mm = 400.0, entry_mm = 2.0 }";
    let sharp = press(cut, &stock(2.0), &SHARP);
    let dull = press(cut, &stock(2.0), &StationChange { dullness: 1.0, ..SHARP });
    assert!((dull.0 / sharp.0 - 1.12).abs() < 0.01, "{} against {}", dull.0, sharp.0);
    assert!(dull.2 > 1.5 * sharp.2 && dull.1 < 2.0 * sharp.1, "{dull:?} against {sharp:?}");
    let tight = press(
        "pierce = { perimeter_mm = 400.0, entry_mm = 2.0, clearance_percent = 4.0 }",
        &stock(2.0),
        &SHARP,
    );
    assert!((tight.0 / sharp.0 - 1.04).abs() < 0.005, "{} against {}", tight.0, sharp.0);
}

#[test]
fn a_draw_carries_punch_and_holder_and_the_holder_comes_back() {
    let cup = "draw = { punch_mm = 75.0, blank_mm = 120.0, depth_mm = 12.0, die_radius_mm = 6.0";
    let with = press(&format!("{cup} }}"), &stock(2.0), &SHARP);
    let without = press(&format!("{cup}, holder = false }}"), &stock(2.0), &SHARP);
    let draw = draw::drawing_kn(75.0, 120.0, 2.0, 345.0);
    let hold = draw::holding_kn(75.0, 120.0, 2.0, 6.0, 205.0);
    assert!((without.0 / draw - 1.0).abs() < 0.01, "{} against {draw}", without.0);
    assert!(with.0 > draw + hold && with.0 < draw + 1.15 * hold, "{} against {draw} and {hold}", with.0);
    // Of the cushion's work only its friction stays: at most 5 % of hold · 1.15 · depth.
    let stays = with.2 - without.2;
    assert!(stays > 0.0 && stays < 0.06 * 1.15 * hold * 12.5, "{stays} J");
}

#[test]
fn a_lance_cuts_then_forms_and_a_restrike_only_presses() {
    let lance = press("lance = { cut_mm = 60.0, bend_mm = 30.0, height_mm = 6.0 }", &stock(2.0), &SHARP);
    let cut = pierce::cutting_kn(60.0, 2.0, 276.0);
    let bend = bend::bending_kn(crate::scenario::BendKind::Wipe, 30.0, 12.0, 2.0, 345.0);
    assert!(lance.0 > cut && lance.0 < cut + bend, "{} against {cut} and {bend}", lance.0);
    let strike =
        press("restrike = { length_mm = 80.0, radius_mm = 2.0, touch_mm = 0.3 }", &stock(2.0), &SHARP);
    let full = restrike::restriking_kn(80.0, 2.0, 2.0, 345.0);
    assert!(strike.0 > full && strike.1 == 0.0, "{strike:?} against {full}");
}

#[test]
fn no_strip_means_no_load_but_pads_and_slugs() {
    let gone = StationChange { presence: 0.0, ..SHARP };
    assert_eq!(press("pierce = { perimeter_mm = 400.0, entry_mm = 2.0 }", &stock(2.0), &gone).0, 0.0);
    let pad = press("pad = { preload_kn = 10.0, rate_kn_per_mm = 1.0, touch_mm = 5.0 }", &stock(2.0), &gone);
    assert!((pad.0 - 15.0).abs() < 0.2, "{pad:?}");
    let slug = press(
        "pad = { preload_kn = 0.0, rate_kn_per_mm = 0.001, touch_mm = 1.0 }",
        &stock(2.0),
        &StationChange { slug_mm: 1.0, ..gone },
    );
    assert!(slug.0 > 100.0, "{slug:?}");
}
