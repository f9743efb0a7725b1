//! The same without a job: the place comes from the columns' shares, the cause from the stroke.

use super::*;

impl Bench {
    fn blind(&self, stroke: &[f32], outcome: &Outcome) -> Diagnosis {
        self.with_job(None, stroke, outcome)
    }
}

fn first(diagnosis: &Diagnosis) -> (&str, Option<&str>) {
    diagnosis.causes.first().map_or(("none", None), |cause| (cause.code, cause.place.as_deref()))
}

#[test]
fn one_station_s_change_is_placed_within_a_tenth_of_the_plate() {
    let bench = Bench::new();
    let half = bench.press.spec.bolster_mm.map(|width| 0.5 * width);
    for name in ["pilot holes", "slots", "outline"] {
        let station = bench.job.stations.iter().find(|station| station.name == name).unwrap();
        // Harder metal and a blunt edge differ by where the load lets go, which a short cut blurs.
        for (by, codes) in [(0.7, ["broken-punch"; 2]), (1.3, ["hard-spot-in-strip", "dull-edge"])] {
            let diagnosis = bench.blind(&bench.changed_at(name, &|s| harder(s, by)), &held());
            assert!(codes.contains(&first(&diagnosis).0), "{name}: {:?}", diagnosis.causes);
            let place = &diagnosis.places[0];
            assert_eq!(place.kind, "near", "{name}: {:?}", diagnosis.places);
            let at = place.at_mm.unwrap();
            let away = [(at[0] - station.x_mm) / half[0], (at[1] - station.y_mm) / half[1]];
            assert!(away.iter().all(|away| away.abs() < 0.2), "{name}: {at:?}, {away:?} halves off");
        }
    }
}

#[test]
fn a_slug_is_told_where_it_lies_and_a_slide_set_low_is_none() {
    let bench = Bench::new();
    let diagnosis = bench.blind(&bench.changed_at("slots", &slug), &held());
    assert_eq!(first(&diagnosis).0, "slug-on-die", "{:?}", diagnosis.causes);
    assert!(diagnosis.places[0].at_mm.is_some_and(|at| at[0] < 0.0), "{:?}", diagnosis.places);
    for (lower_mm, code) in [(0.12, "slide-set-low"), (-0.12, "slide-set-high")] {
        let variation = Variation { lower_mm, ..Variation::default() };
        let stroke = bins(&bench.job, &bench.press, &bench.edges, &variation);
        let diagnosis = bench.blind(&stroke, &held());
        assert_eq!(first(&diagnosis), (code, None), "{:?}", diagnosis.causes);
        assert_eq!(diagnosis.places[0].kind, "press", "{:?}", diagnosis.places);
    }
}

#[test]
fn no_strip_is_told_from_softer_stock_by_how_much_is_missing() {
    let bench = Bench::new();
    for (left, code) in [(0.93, "stock-softer-or-thinner"), (0.4, "strip-missing")] {
        let stroke = bench.each(|column, _, row| (left - 1.0) * row[column]);
        let diagnosis = bench.blind(&stroke, &held());
        assert_eq!(first(&diagnosis), (code, None), "{:?}", diagnosis.causes);
    }
}

#[test]
fn a_gauge_is_told_from_a_tie_rod_by_what_its_neighbours_take_over() {
    let bench = Bench::new();
    let gauge = bench.each(|column, _, row| if column == 3 { -0.15 * row[3] } else { 0.0 });
    assert_eq!(first(&bench.blind(&gauge, &held())), ("gauge-gain-changed", Some("rr")));
    // What the rod no longer holds goes to the other three.
    let rod = bench.each(|column, _, row| if column == 3 { -0.15 * row[3] } else { 0.05 * row[3] });
    assert_eq!(first(&bench.blind(&rod, &held())), ("loose-tie-rod", Some("rr")));
}

#[test]
fn lost_samples_are_named_before_what_is_left_seems_to_show() {
    let bench = Bench::new();
    let stroke = bench.changed_at("slots", &|s| harder(s, 0.5));
    let lost = outcome(&[Reason::FramesLost, Reason::ShapeOffEnvelope]);
    for diagnosis in [bench.blind(&stroke, &lost), bench.of(&stroke, &lost)] {
        assert_eq!(first(&diagnosis), ("samples-lost", None), "{:?}", diagnosis.causes);
    }
}

#[test]
fn a_place_is_never_named_beyond_the_plate_nor_by_one_gauge() {
    let bench = Bench::new();
    // One force cannot leave two columns pulling: whatever fits best still lies on the plate.
    let odd = bench.each(|column, bin, _| if (bin + column) % 3 == 0 { 40.0 } else { -25.0 });
    let half = bench.press.spec.bolster_mm.map(|width| 0.5 * width);
    let diagnosis = bench.blind(&odd, &held());
    for place in diagnosis.places.iter().filter(|place| place.kind == "near") {
        let at = place.at_mm.unwrap();
        assert!(at[0].abs() <= half[0] && at[1].abs() <= half[1], "{place:?}");
        assert!((0.0..=1.0).contains(&place.explains), "{place:?}");
    }
    let mut press = bench.press.clone();
    press.spec.columns = Columns::Total;
    let sum = |bins: &[f32]| bins.chunks(COLUMNS).map(|row| row.iter().sum()).collect::<Vec<f32>>();
    let mut die = bench.die.clone();
    if let Some(shape) = &mut die.shape {
        shape.reference = sum(&bench.expected).iter().map(|value| f64::from(*value)).collect();
        shape.sigma = vec![SIGMA; shape.reference.len()];
    }
    let mut diagnoser = Diagnoser::new(&press, &die, None).unwrap();
    let expected = sum(&bench.expected);
    let broken = sum(&bench.changed_at("slots", &|s| harder(s, 0.6)));
    let diagnosis = diagnoser
        .stroke(JudgedStroke { outcome: &held(), signature: Some(&broken), expected: Some(&expected) })
        .unwrap();
    assert!(diagnosis.places.iter().all(|place| place.kind == "column"), "{:?}", diagnosis.places);
    assert_eq!(first(&diagnosis), ("broken-punch", None), "{:?}", diagnosis.causes);
}
