//! The plan against the simulator, which has laws, frame and gauges of its own: 500 seeded jobs.

#![allow(clippy::unwrap_used)] // a test stops where its setup fails

use bolster::card::press::PressCard;
use bolster::material::Materials;
use bolster::plan::course::march;
use bolster::plan::job::Job;
use bolster::plan::press::{Candidate, FrameFacts};
use bolster::plan::{Variation, band};
use bolster_core::crank::CrankSlider;
use bolster_core::press::Columns;
use bolster_sim::scenario::Scenario;
use bolster_sim::simulator::{SimStroke, Simulator};
use std::fmt::Write as _;
use std::path::Path;

/// SplitMix64: enough chance for a job, and the same on every machine.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn from(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[((self.next() * of.len() as f64) as usize).min(of.len() - 1)]
    }
}

/// Names of the simulator's table.
const MATERIALS: [&str; 6] = [
    "low-carbon-hot-rolled",
    "low-carbon-cold-rolled",
    "weathering-steel",
    "stainless",
    "aluminium-6061-t6",
    "brass-half-hard",
];

struct Case {
    scenario: String,
    job: String,
}

/// A random job and the same as a scenario.
fn case(seed: u64) -> Case {
    let mut chance = Chance(seed);
    let columns = *chance.pick(&[1_usize, 2, 4, 4]);
    let rated = chance.from(800.0, 4000.0);
    let stroke = chance.from(100.0, 250.0);
    let spm = chance.from(20.0, 70.0);
    let plate = [chance.from(900.0, 2500.0), chance.from(500.0, 1200.0)];
    let stretch = 0.02 * rated.sqrt() * chance.from(0.7, 1.3);
    let mass = rated * chance.from(2.0, 4.0);
    let damping = chance.from(0.03, 0.08);
    let name = *chance.pick(&MATERIALS);
    let material = bolster_sim::material::find(name).unwrap();
    let t = chance.from(0.8, 4.0);
    let mut scenario = format!(
        "name = \"case\"\nabout = \"invented\"\nseed = {seed}\nstrokes = 1\nsample_hz = 10000.0\n\
         angle_from_deg = 100.0\nangle_to_deg = 265.0\n[press]\nname = \"case\"\ncolumns = {columns}\nrated_kn = {rated}\n\
         rated_height_mm = 6.0\nstroke_mm = {stroke}\nrod_mm = {}\nspeed_spm = [10.0, 80.0]\n\
         bolster_mm = [{}, {}]\nusable_energy_kj = 50.0\n[frame]\nslide_mass_kg = {mass}\n\
         stretch_at_rated_mm = {stretch}\ndamping = {damping}\n[drive]\nspeed_spm = {spm}\nscatter_percent = 0.3\n\
         [strip]\nmaterial = \"{name}\"\nthickness_mm = {t}\nstrokes_per_coil = 100\ncoil_thickness_percent = 1.2\n\
         coil_strength_percent = 4.0\ndrift_percent = 0.5\nscatter_thickness_percent = 0.3\n\
         scatter_strength_percent = 0.4\nscatter_station_percent = 0.4\nscatter_friction_percent = 6.0\n",
        stroke * 4.5,
        plate[0],
        plate[1],
    );
    // Half bands are two standard deviations of the coil's.
    let mut job = format!(
        "[units]\nlength = \"mm\"\nstrength = \"MPa\"\nload = \"kN\"\n[job]\nname = \"case\"\nstrokes_per_minute = {spm}\n\
         [strip]\nshear = {}\ntensile = {}\nyield = {}\npenetration_percent = {}\nthickness = {t}\n\
         thickness_spread_percent = 2.6\nstrength_spread_percent = 8.4\n",
        material.shear_mpa,
        material.tensile_mpa,
        material.yield_mpa,
        100.0 * material.penetration
    );
    let stations = 1 + (chance.next() * 5.0) as usize;
    // Loads fill some half of the rating between them.
    let share = 0.5 * rated / stations as f64;
    for number in 0..stations {
        let (x, y) = (chance.from(-0.35, 0.35) * plate[0], chance.from(-0.3, 0.3) * plate[1]);
        let kn = share * chance.from(0.4, 1.6);
        let _ = write!(scenario, "[[station]]\nname = \"s{number}\"\nx_mm = {x}\ny_mm = {y}\n");
        let _ = write!(job, "[[station]]\nname = \"s{number}\"\nx = {x}\ny = {y}\n");
        match (chance.next() * 8.0) as usize {
            0..=3 => {
                let perimeter = kn * 1000.0 / (t * material.shear_mpa);
                let entry = chance.from(0.8, 3.5);
                let stagger = if chance.next() < 0.5 { chance.from(0.2, 0.7) * entry } else { 0.0 };
                let punches = 2 + (chance.next() * 4.0) as u32;
                let cut = format!(
                    "perimeter{{mm}} = {perimeter}, punches = {punches}, entry{{mm}} = {entry}, stagger{{mm}} = {stagger}, stripping_percent = 7.0"
                );
                let _ = writeln!(scenario, "pierce = {{ {} }}", cut.replace("{mm}", "_mm"));
                let _ = writeln!(job, "pierce = {{ {} }}", cut.replace("{mm}", ""));
            }
            4 | 5 => {
                let (how, factor) = *chance.pick(&[("vee", 1.33), ("wipe", 0.33), ("air", 1.42)]);
                let opening = chance.from(6.0, 10.0) * t;
                let length =
                    (0.4 * kn * 1000.0 * opening / (factor * material.tensile_mpa * t * t)).min(5000.0);
                let contact = (0.5 * opening).min(15.0);
                let own = if how == "vee" { "v" } else { how };
                let _ = writeln!(
                    scenario,
                    "bend = {{ how = \"{how}\", length_mm = {length}, opening_mm = {opening}, touch_mm = {contact} }}"
                );
                let _ = writeln!(
                    job,
                    "bend = {{ how = \"{own}\", length = {length}, opening = {opening}, contact = {contact} }}"
                );
            }
            6 => {
                let depth = chance.from(8.0, 16.0);
                let punch: f64 = 0.4 * kn * 1000.0 / (core::f64::consts::PI * t * material.tensile_mpa * 0.9);
                let punch = punch.min(1000.0);
                let blank = 1.6 * punch;
                let _ = writeln!(
                    scenario,
                    "draw = {{ punch_mm = {punch}, blank_mm = {blank}, depth_mm = {depth}, die_radius_mm = 8.0 }}"
                );
                let _ = writeln!(
                    job,
                    "draw = {{ punch = {punch}, blank = {blank}, depth = {depth}, die_radius = 8, holder = \"cushion\" }}"
                );
            }
            _ => {
                let factor = chance.from(1.0, 3.0);
                let area = kn * 1000.0 / (factor * material.tensile_mpa);
                let reduction = chance.from(0.1, 0.25);
                // Set for the frame's stretch under its own load.
                let contact = reduction + kn / rated * stretch;
                let _ = writeln!(
                    scenario,
                    "coin = {{ area_mm2 = {area}, pressure_factor = {factor}, reduction_mm = {reduction}, touch_mm = {contact} }}"
                );
                let _ = writeln!(
                    job,
                    "coin = {{ area = {area}, pressure_factor = {factor}, reduction = {reduction}, contact = {contact} }}"
                );
            }
        }
        if chance.next() < 0.3 {
            let (preload, rate, contact) =
                (chance.from(5.0, 30.0), chance.from(0.5, 3.0), chance.from(5.0, 10.0));
            let _ = writeln!(
                scenario,
                "pad = {{ preload_kn = {preload}, rate_kn_per_mm = {rate}, touch_mm = {contact} }}"
            );
            let _ = writeln!(job, "pad = {{ preload = {preload}, rate = {rate}, contact = {contact} }}");
        }
    }
    Case { scenario, job }
}

struct Measured {
    peak_kn: f64,
    work_kj: f64,
    centre_mm: [f64; 2],
}

fn measure(stroke: &SimStroke, crank: &CrankSlider, columns: Columns, plate: [f64; 2]) -> Measured {
    let total = |kn: &[f64; 4]| kn.iter().sum::<f64>();
    let peak = stroke.samples.iter().max_by(|a, b| total(&a.kn).total_cmp(&total(&b.kn))).unwrap();
    let work_kj = stroke
        .samples
        .windows(2)
        .map(|w| {
            let h = |deg: f64| crank.height_mm(deg.to_radians());
            0.5 * (total(&w[0].kn) + total(&w[1].kn)) * (h(w[0].angle_deg) - h(w[1].angle_deg)) / 1000.0
        })
        .sum();
    let centre = |sides: &[f32], distance: f64| {
        let moment: f64 = peak.kn.iter().zip(sides).map(|(kn, side)| kn * f64::from(*side)).sum();
        moment / total(&peak.kn) * distance / 2.0
    };
    Measured {
        peak_kn: total(&peak.kn),
        work_kj,
        centre_mm: [centre(columns.side_x(), plate[0]), centre(columns.side_y(), plate[1])],
    }
}

#[test]
fn peak_work_and_load_centre_lie_in_the_stated_bands_in_nineteen_of_twenty_jobs() {
    const JOBS: u64 = 500;
    let materials = Materials::built_in().unwrap();
    // Peak, work, centre left-right, centre front-rear: jobs compared and jobs in the band.
    let mut compared = [0_u32; 4];
    let mut held = [0_u32; 4];
    let (mut whole, mut widths) = (0, 0.0);
    let mut off: Vec<String> = Vec::new();
    // The bands' widths were settled on seeds 1 to 500; these are others.
    for seed in 10_001..=10_000 + JOBS {
        let case = case(seed);
        let scenario = Scenario::from_toml(&case.scenario).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
        let job = Job::parse(&case.job, Path::new("case.toml"), &materials)
            .unwrap_or_else(|why| panic!("seed {seed}: {why}\n{}", case.job));
        let card = PressCard::parse(&bolster_sim::press::card(&scenario), Path::new("case")).unwrap();
        let frame = FrameFacts {
            stretch_at_rated_mm: scenario.frame.stretch_at_rated_mm,
            slide_mass_kg: scenario.frame.slide_mass_kg,
            damping: scenario.frame.damping,
        };
        let press = Candidate { name: "case".into(), spec: card.spec, frame, defaults: vec![] };
        let spm = scenario.drive.speed_spm;
        let course = march(&job, 1, &press, spm, &Variation::default());
        let bands = band::bands(&job, 1, &press, spm, &course);
        let mut run = Simulator::new(&scenario).unwrap();
        let stroke = run.next().unwrap();
        let crank = CrankSlider::new(card.spec.stroke_mm, card.spec.rod_mm).unwrap();
        let seen = measure(&stroke, &crank, card.spec.columns, card.spec.bolster_mm);
        widths += (bands.peak_kn.high - bands.peak_kn.low) / bands.peak_kn.nominal;
        let mut rows = vec![("peak", bands.peak_kn, seen.peak_kn), ("work", bands.work_kj, seen.work_kj)];
        if card.spec.columns != Columns::Total {
            rows.push(("centre x", bands.centre_mm[0], seen.centre_mm[0]));
        }
        if card.spec.columns == Columns::Corners {
            rows.push(("centre y", bands.centre_mm[1], seen.centre_mm[1]));
        }
        let mut all = true;
        for (place, (name, band, value)) in rows.into_iter().enumerate() {
            compared[place] += 1;
            if band.holds(value) {
                held[place] += 1;
            } else {
                all = false;
                off.push(format!(
                    "seed {seed}: {name} {value:.3}, planned {:.3} in {:.3} to {:.3}",
                    band.nominal, band.low, band.high
                ));
            }
        }
        whole += u32::from(all);
    }
    let mean_width = widths / JOBS as f64;
    println!(
        "in the band {held:?} of {compared:?}; all at once {whole} of {JOBS}; mean width of the peak's band {mean_width:.3}"
    );
    for line in &off {
        println!("{line}");
    }
    for (inside, of) in held.into_iter().zip(compared) {
        assert!(f64::from(inside) >= 0.95 * f64::from(of), "{held:?} of {compared:?}\n{}", off.join("\n"));
    }
    assert!(f64::from(whole) >= 0.95 * JOBS as f64, "{whole} of {JOBS} whole\n{}", off.join("\n"));
    // A band so wide that nothing could leave it would prove nothing.
    assert!(mean_width < 0.6, "{mean_width}");
}
