//! Each cause on the change it would make: what the plan, or statics, says it does to the columns of an invented press.

use std::path::Path;

use super::*;
use crate::card::die::{Head, LimitsCard, PressPrint, ShapeCard, State};
use crate::card::press::PressCard;
use crate::material::Materials;
use crate::plan::Variation;
use crate::plan::course::march_in;
use crate::plan::job::{Coin, Operation, Station};
use crate::plan::press::of_card;
use crate::session::{FindingOutcome, Outcome};

mod unnamed;

const COLUMNS: usize = 4;
/// Scatter of every bin, kN: far below every change tried.
const SIGMA: f64 = 0.5;

struct Bench {
    press: Candidate,
    job: Job,
    edges: Vec<f64>,
    expected: Vec<f32>,
    die: DieCard,
}

/// Mean load of each column in each bin of the course of a job.
fn bins(job: &Job, press: &Candidate, edges: &[f64], variation: &Variation) -> Vec<f32> {
    let course = march_in(job, 1, press, 45.0, variation, 2_000);
    let mut out = Vec::new();
    for pair in edges.windows(2) {
        for column in 0..COLUMNS {
            // A hundred points a bin: the bins are a degree or two wide, the ringing's period 2.7 degrees.
            let at = |place: f64| {
                let after = course.samples.partition_point(|sample| sample.angle_deg < place);
                match (after.checked_sub(1).and_then(|n| course.samples.get(n)), course.samples.get(after)) {
                    (Some(a), Some(b)) => {
                        let share = (place - a.angle_deg) / (b.angle_deg - a.angle_deg);
                        a.columns_kn[column] + share * (b.columns_kn[column] - a.columns_kn[column])
                    }
                    _ => 0.0,
                }
            };
            let mean = (0..100)
                .map(|n| at(pair[0] + (pair[1] - pair[0]) * (f64::from(n) + 0.5) / 100.0))
                .sum::<f64>();
            out.push((mean / 100.0) as f32);
        }
    }
    out
}

impl Bench {
    fn new() -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures");
        let card = PressCard::load(&folder.join("presses/five-station.toml")).unwrap();
        let press = of_card(&card).unwrap().remove(0);
        let job =
            Job::load(&folder.join("jobs/mounting-bracket.toml"), &Materials::built_in().unwrap()).unwrap();
        let edges: Vec<f64> = (0..=64).map(|n| 148.0 + f64::from(n)).collect();
        let expected = bins(&job, &press, &edges, &Variation::default());
        let shape = ShapeCard {
            edges: edges.clone(),
            reference: expected.iter().map(|v| f64::from(*v)).collect(),
            sigma: vec![SIGMA; expected.len()],
            ..ShapeCard::blank()
        };
        let die = DieCard {
            die: Head { name: "bracket".into(), state: State::Draft, press: PressPrint::of(&card) },
            acceptance: None,
            reviews: Vec::new(),
            provenance: None,
            limits: LimitsCard::default(),
            shape: Some(shape),
        };
        Self { press, job, edges, expected, die }
    }

    /// The diagnosis of a stroke that comes after ten good ones.
    fn of(&self, stroke: &[f32], outcome: &Outcome) -> Diagnosis {
        self.with_job(Some((&self.job, 1)), stroke, outcome)
    }

    fn with_job(&self, job: Option<(&Job, u32)>, stroke: &[f32], outcome: &Outcome) -> Diagnosis {
        let mut diagnoser = Diagnoser::new(&self.press, &self.die, job).unwrap();
        let pass = Outcome { verdict: "pass", reasons: Vec::new(), ..outcome.clone() };
        let judged = |signature, outcome| JudgedStroke { outcome, signature, expected: Some(&self.expected) };
        for _ in 0..10 {
            assert!(diagnoser.stroke(judged(Some(self.expected.as_slice()), &pass)).is_none());
        }
        diagnoser.stroke(judged(Some(stroke), outcome)).unwrap()
    }

    /// The first cause must be this one, here; all strengths and supports within 0 and 1, strongest first.
    fn is(&self, stroke: &[f32], outcome: &Outcome, code: &str, place: Option<&str>) {
        let diagnosis = self.of(stroke, outcome);
        let causes: Vec<_> =
            diagnosis.causes.iter().map(|c| (c.code, c.place.as_deref(), c.strength)).collect();
        let first = causes.first().unwrap_or_else(|| panic!("{code}: no cause: {:?}", diagnosis.places));
        assert_eq!((first.0, first.1), (code, place), "{causes:?}\n{:?}", diagnosis.places);
        assert!(causes.is_sorted_by(|a, b| a.2 >= b.2), "{causes:?}");
        assert!(first.2 > 0.3 && causes.iter().all(|c| (0.0..=1.0).contains(&c.2)), "{causes:?}");
        for evidence in diagnosis.causes.iter().flat_map(|cause| &cause.evidence) {
            assert!((0.0..=1.0).contains(&evidence.support), "{evidence:?}");
            assert!(!evidence.sign.is_empty());
        }
        assert_eq!(diagnosis.basis, "common practice, no source");
    }

    /// With one station changed.
    fn changed_at(&self, name: &str, change: &dyn Fn(&mut Station)) -> Vec<f32> {
        self.changed(|job| {
            let station = job.stations.iter_mut().find(|station| station.name == name).unwrap();
            change(station);
        })
    }

    fn changed(&self, change: impl Fn(&mut Job)) -> Vec<f32> {
        let mut job = self.job.clone();
        change(&mut job);
        bins(&job, &self.press, &self.edges, &Variation::default())
    }

    /// Each value of the expected signature changed by its column, its bin and the bin's loads.
    fn each(&self, change: impl Fn(usize, usize, &[f32]) -> f32) -> Vec<f32> {
        let rows = self.expected.chunks(COLUMNS).enumerate();
        rows.flat_map(|(bin, row)| (0..COLUMNS).map(|c| row[c] + change(c, bin, row)).collect::<Vec<_>>())
            .collect()
    }
}

fn harder(station: &mut Station, by: f64) {
    station.stock.shear_mpa *= by;
}

/// Something the size of a small coin lies on the die.
fn slug(station: &mut Station) {
    station.operations.push(Operation::Coin(Coin {
        area_mm2: 400.0,
        pressure_mpa: 900.0,
        reduction_mm: 0.5,
        contact_mm: 1.0,
    }));
}

fn outcome(reasons: &[Reason]) -> Outcome {
    Outcome {
        stroke: 11,
        verdict: "hold",
        reasons: reasons.iter().map(|reason| reason.code()).collect(),
        peak_kn: 700.0,
        peak_angle_deg: Some(180.0),
        reverse_kn: 0.0,
        work_kj: None,
        load_centre_mm: None,
        columns: Vec::new(),
        coil: 1,
        peak_height_mm: None,
        reverse_angle_deg: None,
        contact_angle_deg: None,
        speed_spm: None,
        wear: None,
        findings: Vec::new(),
    }
}

fn held() -> Outcome {
    outcome(&[Reason::ShapeOffEnvelope])
}

#[test]
fn a_gauge_that_the_monitor_found_faulty_is_named_before_everything_else() {
    let bench = Bench::new();
    let finding = FindingOutcome {
        reason: Reason::GaugeOpen.code(),
        verdict: "trip",
        says: Reason::GaugeOpen.says(),
        column: Some("rf"),
        from_deg: None,
        to_deg: None,
        value: 0.0,
        limit: 0.0,
    };
    let told = Outcome { findings: vec![finding], ..outcome(&[Reason::GaugeOpen]) };
    let stroke = bench.each(|column, _, _| if column == 1 { 900.0 } else { 0.0 });
    bench.is(&stroke, &told, "gauge-or-cable-fault", Some("rf"));
    assert_eq!(bench.of(&stroke, &told).places[0].name, "rf");
    // Without a signature the monitor's word is all there is.
    let mut diagnoser = Diagnoser::new(&bench.press, &bench.die, None).unwrap();
    let blind = diagnoser.stroke(JudgedStroke { outcome: &told, signature: None, expected: None }).unwrap();
    assert_eq!((blind.causes[0].code, blind.places[0].name.as_str()), ("gauge-or-cable-fault", "rf"));
    assert!(blind.change.is_none() && blind.extent.is_none() && blind.centre.is_none());
}

#[test]
fn a_change_in_one_column_alone_is_its_gauge_s() {
    let bench = Bench::new();
    let only = |which: usize, of: &dyn Fn(usize, f32) -> f32| {
        bench.each(|column, bin, row| if column == which { of(bin, row[column]) } else { 0.0 })
    };
    bench.is(&only(1, &|_, load| -0.1 * load), &held(), "gauge-gain-changed", Some("rf"));
    bench.is(&only(2, &|_, _| 25.0), &held(), "gauge-zero-shifted", Some("lr"));
    let noise = only(3, &|bin, _| if bin % 8 < 4 { 30.0 } else { -30.0 });
    bench.is(&noise, &held(), "gauge-or-cable-fault", Some("rr"));
}

#[test]
fn a_soft_column_gives_its_load_to_its_neighbours() {
    let bench = Bench::new();
    for (column, name) in ["lf", "rf", "lr", "rr"].into_iter().enumerate() {
        // Statics of four columns: what one and its diagonal opposite lose the other two gain.
        let sign = |c: usize| if c == column || c == 3 - column { -1.0 } else { 1.0 };
        let stroke = bench.each(|c, _, row| 0.06 * sign(c) * row[column]);
        let diagnosis = bench.of(&stroke, &held());
        assert_eq!(diagnosis.causes[0].code, "loose-tie-rod", "{name}: {:?}", diagnosis.causes);
        // With no stretch to tell it from, the opposite may do as well; never a neighbour.
        let place = diagnosis.causes[0].place.as_deref();
        let opposite = ["rr", "lr", "rf", "lf"][column];
        assert!(place == Some(name) || place == Some(opposite), "{name}: {place:?}");
    }
}

#[test]
fn a_die_that_does_not_stand_level_and_guides_with_play_are_told_apart() {
    let bench = Bench::new();
    let tilted = bench.changed(|job| {
        for station in &mut job.stations {
            let by = 0.15 * station.x_mm / 900.0;
            for operation in &mut station.operations {
                match operation {
                    Operation::Cut(cut) => cut.contact_mm += by,
                    Operation::Bend(bend) => bend.contact_mm += by,
                    Operation::Draw(draw) => draw.depth_mm += by,
                    Operation::Coin(coin) => coin.contact_mm += by,
                    Operation::Pad(pad) => pad.contact_mm += by,
                }
            }
        }
    });
    bench.is(&tilted, &held(), "uneven-shims", None);
    let mean = |row: &[f32]| row.iter().sum::<f32>() / COLUMNS as f32;
    let rocking = bench.each(|column, _, row| 0.25 * (row[column] - mean(row)));
    bench.is(&rocking, &held(), "worn-guides", None);
}

#[test]
fn a_signature_at_another_angle_is_a_misread_crank() {
    let bench = Bench::new();
    for by in [2_usize, 6] {
        let moved: Vec<f32> = (0..bench.expected.len())
            .map(|n| n.checked_sub(by * COLUMNS).map_or(0.0, |n| bench.expected[n]))
            .collect();
        bench.is(&moved, &held(), "crank-angle-off", None);
    }
}

#[test]
fn a_slide_set_otherwise_a_second_sheet_and_other_stock_are_told_apart() {
    let bench = Bench::new();
    for (lower_mm, code) in [(0.12, "slide-set-low"), (-0.12, "slide-set-high")] {
        let variation = Variation { lower_mm, ..Variation::default() };
        let stroke = bins(&bench.job, &bench.press, &bench.edges, &variation);
        bench.is(&stroke, &held(), code, None);
    }
    let doubled = bench.changed(|job| {
        for station in &mut job.stations {
            let more = 0.3 * station.stock.thickness_mm;
            station.stock.thickness_mm += more;
            for operation in &mut station.operations {
                match operation {
                    Operation::Cut(cut) => cut.contact_mm += more,
                    Operation::Bend(bend) => bend.contact_mm += more,
                    Operation::Draw(_) | Operation::Pad(_) => {}
                    Operation::Coin(coin) => coin.contact_mm += more,
                }
            }
        }
    });
    bench.is(&doubled, &held(), "double-thickness", None);
    let beyond = outcome(&[Reason::ChangeBeyondAllowed]);
    bench.is(&bench.each(|c, _, row| 0.07 * row[c]), &beyond, "stock-harder-or-thicker", None);
    bench.is(&bench.each(|c, _, row| -0.07 * row[c]), &beyond, "stock-softer-or-thinner", None);
}

#[test]
fn notes_of_stock_and_drift_say_so() {
    let bench = Bench::new();
    for (reason, code) in [(Reason::StockChanged, "new-stock"), (Reason::DriftOffReference, "slow-drift")] {
        let noted = Outcome { verdict: "note", ..outcome(&[reason]) };
        let diagnosis = bench.of(&bench.each(|c, _, row| 0.03 * row[c]), &noted);
        let cause = diagnosis.causes.iter().find(|cause| cause.code == code);
        assert!(cause.is_some_and(|cause| cause.strength > 0.9), "{code}: {:?}", diagnosis.causes);
    }
}

#[test]
fn a_strip_that_ends_or_was_misfed_shows_at_many_stations() {
    let bench = Bench::new();
    let part = |stations: usize, cut: f64, form: f64| {
        bench.changed(|job| {
            for station in job.stations.iter_mut().take(stations) {
                station.stock.shear_mpa *= cut;
                station.stock.tensile_mpa *= form;
                station.stock.yield_mpa *= form;
                for operation in &mut station.operations {
                    if let Operation::Coin(coin) = operation {
                        coin.pressure_mpa *= form;
                    }
                }
            }
        })
    };
    bench.is(&part(4, 0.5, 0.5), &held(), "strip-missing", None);
    let sensor = outcome(&[Reason::ShapeOffEnvelope, Reason::SensorWindow]);
    bench.is(&part(6, 0.8, 1.25), &sensor, "misfeed", None);
}

#[test]
fn what_goes_wrong_at_one_station_is_named_with_it() {
    let bench = Bench::new();
    let at = |name: &str, change: &dyn Fn(&mut Station)| bench.changed_at(name, change);
    for name in ["pilot holes", "slots", "outline"] {
        bench.is(&at(name, &|s| harder(s, 0.7)), &held(), "broken-punch", Some(name));
        bench.is(&at(name, &|s| harder(s, 1.3)), &held(), "hard-spot-in-strip", Some(name));
        let blunt = at(name, &|s| {
            harder(s, 1.05);
            s.stock.penetration *= 1.3;
        });
        bench.is(&blunt, &held(), "dull-edge", Some(name));
        let chipped = at(name, &|s| {
            harder(s, 0.85);
            s.stock.penetration *= 1.3;
        });
        bench.is(&chipped, &held(), "chipped-edge", Some(name));
        let scrap = at(name, &|s| {
            let Some(Operation::Cut(cut)) = s.operations.first().cloned() else {
                panic!("{name} does not cut")
            };
            let cracked = cut.contact_mm - 0.5 * cut.stagger_mm - s.stock.penetration * s.stock.thickness_mm;
            let squeeze = Coin { area_mm2: 6e4, pressure_mpa: 1.0, reduction_mm: 1e4, contact_mm: cracked };
            s.operations.push(Operation::Coin(squeeze));
        });
        bench.is(&scrap, &held(), "scrap-not-shed", Some(name));
    }
    let slug = |name: &str| at(name, &slug);
    bench.is(&slug("slots"), &held(), "slug-on-die", Some("slots"));
    let last = slug("flatten and part off");
    let sensor = outcome(&[Reason::ShapeOffEnvelope, Reason::SensorWindow]);
    bench.is(&last, &sensor, "part-not-out", Some("flatten and part off"));
    let diagnosis = bench.of(&slug("slots"), &held());
    assert_eq!((diagnosis.places[0].station, diagnosis.places[0].corner), (Some(3), Some("lf")));
    let centre = diagnosis.centre.unwrap();
    // The other tools press less as the slug opens the frame, which draws the centre of the change towards it: the
    // place itself, (−200, 40), is only near.
    assert!(centre.of_change_mm[0].is_some_and(|x| x < 0.0 && x > -700.0), "{centre:?}");
    let extent = diagnosis.extent.unwrap();
    assert!(extent.greatest_height_mm.is_some_and(|height| height < 1.0), "{extent:?}");
}

#[test]
fn a_note_that_only_repeats_repeats_its_diagnosis_and_a_pass_has_none() {
    let bench = Bench::new();
    let mut diagnoser = Diagnoser::new(&bench.press, &bench.die, Some((&bench.job, 1))).unwrap();
    let mut take = |stroke: u64, verdict, reasons: &[Reason]| {
        let outcome = Outcome { stroke, verdict, ..outcome(reasons) };
        let (signature, expected) = (Some(bench.expected.as_slice()), Some(bench.expected.as_slice()));
        diagnoser.stroke(JudgedStroke { outcome: &outcome, signature, expected }).map(|d| d.since_stroke)
    };
    assert_eq!(take(1, "pass", &[]), None);
    assert_eq!(take(2, "note", &[Reason::DriftOffReference]), Some(2));
    assert_eq!(take(3, "note", &[Reason::DriftOffReference]), Some(2));
    assert_eq!(take(4, "hold", &[Reason::DriftOffReference]), Some(4));
    assert_eq!(take(5, "pass", &[]), None);
    assert_eq!(take(6, "note", &[Reason::DriftOffReference]), Some(6));
}

#[test]
fn what_cannot_be_looked_at_is_said_and_is_no_panic() {
    let bench = Bench::new();
    let blank = DieCard { shape: None, ..bench.die.clone() };
    assert!(matches!(Diagnoser::new(&bench.press, &blank, None), Err(DiagnoseError::NotLearnt(_))));
    for hit in [0, 2] {
        let made = Diagnoser::new(&bench.press, &bench.die, Some((&bench.job, hit)));
        assert!(matches!(made, Err(DiagnoseError::NoSuchHit { .. })), "hit {hit}");
    }
    let not_a_number = bench.each(|_, bin, _| if bin == 7 { f32::NAN } else { 0.0 });
    for stroke in [not_a_number.as_slice(), &[], &bench.expected[..40]] {
        let diagnosis = bench.of(stroke, &held());
        assert!(diagnosis.change.is_none(), "{diagnosis:?}");
        assert!(
            diagnosis.remarks.iter().any(|remark| remark.contains("no whole signature")),
            "{diagnosis:?}"
        );
    }
    let unchanged = bench.of(&bench.expected.clone(), &held());
    assert!(unchanged.causes.iter().all(|cause| cause.strength <= 1.0), "{unchanged:?}");
}
