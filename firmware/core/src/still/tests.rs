use super::*;
use crate::features::At;
use crate::stroke::Position;
use proptest::prelude::*;

/// Of a press of 1,000 kN with four columns: 275 kN a column, 100 kN reverse, 300 kN apart; `off_centre` as given.
fn limits(off_centre: f32) -> MachineLimits {
    MachineLimits {
        rated: 1000.0,
        torque: f32::INFINITY,
        column: 275.0,
        reverse: 100.0,
        imbalance: 300.0,
        off_centre,
        energy: f32::INFINITY,
        anywhere: f32::INFINITY,
    }
}

fn found(limits: &MachineLimits, features: Option<&Features<4>>) -> Still<4> {
    let mut still = Still::default();
    still.find(limits, features);
    still
}

fn at(value: f32) -> At {
    At { value, position: Position::Unknown, height_mm: None }
}

/// A stroke that has had these peaks and reverse loads of each column, of the total, and these differences.
fn had(column: [f32; 2], total: [f32; 2], apart: [f32; 2]) -> Features<4> {
    let of = |[peak, reverse]: [f32; 2]| ColumnFeatures { peak: at(peak), reverse: at(reverse) };
    Features {
        columns: [of(column); 4],
        total: of(total),
        left_right: at(apart[0]),
        front_rear: at(apart[1]),
        ..Features::NOTHING
    }
}

/// One number of a frame that is otherwise at rest.
enum One {
    Column(usize),
    Total,
    Side,
    Face,
}

fn holds(still: &Still<4>, one: &One, value: f32) -> bool {
    let (mut loads, mut total, mut apart) = ([0.0; 4], 0.0, [0.0; 2]);
    match *one {
        One::Column(column) => loads[column] = value,
        One::Total => total = value,
        One::Side => apart[0] = value,
        One::Face => apart[1] = value,
    }
    still.holds(&loads, total, apart)
}

#[test]
fn nothing_is_known_to_be_still_before_it_was_looked_at_nor_once_forgotten() {
    assert!(!Still::<4>::default().holds(&[0.0; 4], 0.0, [0.0; 2]));
    let mut still = found(&limits(0.0), None);
    assert!(still.holds(&[0.0; 4], 0.0, [0.0; 2]));
    still.forget();
    assert!(!still.holds(&[0.0; 4], 0.0, [0.0; 2]));
}

#[test]
fn outside_a_stroke_every_load_up_to_the_press_s_limits_is_still_and_none_beyond() {
    let still = found(&limits(0.0), None);
    let cases = [
        (One::Column(0), f32::MIN, 275.0),
        (One::Column(3), f32::MIN, 275.0),
        (One::Total, -100.0, 1000.0),
        (One::Side, -300.0, 300.0),
        (One::Face, -300.0, 300.0),
    ];
    for (one, least, most) in cases {
        assert!(holds(&still, &one, most) && !holds(&still, &one, most.next_up()), "over {most}");
        assert!(holds(&still, &one, least), "{least}");
        assert!(least == f32::MIN || !holds(&still, &one, least.next_down()), "under {least}");
        assert!(!holds(&still, &one, f32::NAN));
    }
}

#[test]
fn in_a_stroke_only_what_it_has_had_already_is_still() {
    let still = found(&limits(0.0), Some(&had([120.0, 8.0], [400.0, 20.0], [-60.0, 30.0])));
    let cases = [
        (One::Column(2), -8.0, 120.0),
        (One::Total, -20.0, 400.0),
        (One::Side, -60.0, 60.0),
        (One::Face, -30.0, 30.0),
    ];
    for (one, least, most) in cases {
        assert!(holds(&still, &one, most) && !holds(&still, &one, most.next_up()), "over {most}");
        assert!(holds(&still, &one, least) && !holds(&still, &one, least.next_down()), "under {least}");
    }
    // A stroke that went beyond a limit is looked at by every rule there, again and again.
    let beyond = found(&limits(0.0), Some(&had([300.0, 8.0], [1200.0, 150.0], [350.0, -400.0])));
    for (one, most) in [(One::Column(1), 275.0), (One::Total, 1000.0), (One::Side, 300.0), (One::Face, 300.0)]
    {
        assert!(holds(&beyond, &one, most) && !holds(&beyond, &one, most.next_up()), "over {most}");
    }
    assert!(holds(&beyond, &One::Total, -100.0) && !holds(&beyond, &One::Total, -100.1));
}

#[test]
fn a_lone_column_has_no_sides_and_its_differences_are_not_looked_at() {
    let mut still = Still::<1>::default();
    still.find(&limits(0.0), None);
    assert!(still.holds(&[10.0], 10.0, [f32::NAN; 2]));
}

#[test]
fn bounds_that_keep_the_allowance_off_the_middle_together_stay_as_they_are() {
    // 400 + 1.5 · (100 + 90) = 685 kN of 1,000.
    let wide = found(&limits(1.5), Some(&had([150.0, 0.0], [400.0, 0.0], [100.0, 90.0])));
    assert!(wide.holds(&[150.0; 4], 400.0, [100.0, -90.0]));
    // 700 + 1.5 · (150 + 50) is the rating itself, which is kept.
    let just = found(&limits(1.5), Some(&had([250.0, 0.0], [700.0, 0.0], [150.0, 50.0])));
    assert!(just.holds(&[250.0; 4], 700.0, [150.0, 50.0]));
    // 1 kN more is not: half of the rating and what 1.5 of each difference leaves, 0.24 · 1000/1.5 = 160 kN, are.
    let over = found(&limits(1.5), Some(&had([250.0, 0.0], [701.0, 0.0], [150.0, 170.0])));
    assert!(over.holds(&[250.0; 4], 500.0, [150.0, 159.9]));
    assert!(!over.holds(&[250.0; 4], 500.1, [0.0; 2]) && !over.holds(&[0.0; 4], 0.0, [0.0, 160.1]));
    // Bounds lower than these stay.
    let low = found(&limits(1.5), Some(&had([250.0, 0.0], [450.0, 0.0], [300.0, 100.0])));
    assert!(low.holds(&[250.0; 4], 450.0, [159.9, 100.0]));
    assert!(!low.holds(&[250.0; 4], 450.1, [0.0; 2]) && !low.holds(&[0.0; 4], 0.0, [0.0, 100.1]));
}

proptest! {
    /// What is still keeps every limit but those of height and work, and passes no peak: the rules need not be asked.
    #[test]
    fn a_frame_that_is_still_keeps_the_limits_and_is_no_extreme_of_its_stroke(
        k in prop_oneof![Just(0.0_f32), 0.01_f32..20.0],
        of_a_stroke: bool,
        had_column in [0.0_f32..300.0, 0.0..150.0],
        had_total in [0.0_f32..1200.0, 0.0..150.0],
        had_apart in [-400.0_f32..400.0, -400.0..400.0],
        column in prop::array::uniform4(-160.0_f32..310.0),
        total in -160.0_f32..1250.0,
        apart in [-410.0_f32..410.0, -410.0..410.0],
        // Towards nought, so that many are still.
        shrink in 0.0_f32..=1.0,
    ) {
        let limits = limits(k);
        let features = had(had_column, had_total, had_apart);
        let mut still = found(&limits, of_a_stroke.then_some(&features));
        // Far from all limits they are found more cheaply, and no wider.
        if of_a_stroke {
            let mut cheap = Still::default();
            if cheap.find_free(&limits, &features) {
                still = cheap;
            }
        }
        let (column, total) = (column.map(|load| load * shrink), total * shrink);
        let [side, face] = apart.map(|apart| apart * shrink);
        if still.holds(&column, total, [side, face]) {
            prop_assert!(limits.keep(&column, total, [side, face]));
            if of_a_stroke {
                prop_assert!(column.iter().all(|load| *load <= had_column[0] && -load <= had_column[1]));
                prop_assert!(total <= had_total[0] && -total <= had_total[1]);
                prop_assert!(side.abs() <= had_apart[0].abs() && face.abs() <= had_apart[1].abs());
            }
        }
    }
}
