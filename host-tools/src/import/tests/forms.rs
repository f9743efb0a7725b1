//! Delimiters, encodings, names, units, missing values and options.

use bolster_core::press::Columns;
use proptest::prelude::*;

use super::super::{Cut, ImportArgs, ImportPlan, Mapping};
use super::{Bench, plan, said};
use crate::recording::Unit;

#[test]
fn any_delimiter_and_decimal_comma_give_the_same_rows() {
    let forms: [(&[u8], bool); 6] = [
        (b"t,a,b\n0,1.5,-2\n0.25,3,4\n", false),
        (b"t;a;b\r\n0;1,5;-2\r\n0,25;3;4\r\n", true),
        (b"t\ta\tb\n0\t1.5\t-2\n0.25\t3\t4", false),
        (b"  t   a b\n0   1.5\t-2 \n\n0.25 3 4\n", false),
        (b"\"t\",\"a\",\"b\"\n\"0\",\"1,5\",\"-2\"\n\"0,25\",\"3\",\"4\"\n", true),
        (b"t,a,b,\n0,1.5,-2,\n0.25,3,4,\n", false),
    ];
    for (index, (text, decimal_comma)) in forms.into_iter().enumerate() {
        let mut plan = ImportPlan { decimal_comma, ..plan(&["time=t", "left=a:kn", "right=b:kn"]) };
        if index == 4 {
            plan.delimiter = super::super::Delimiter::Comma;
        }
        let (report, header, rows) = Bench::of(&[text]).run(&plan).unwrap();
        assert_eq!((header.columns, header.has_time, header.has_angle), (Columns::LeftRight, true, false));
        let seen: Vec<_> = rows.iter().map(|row| (row.time_s, row.loads[0], row.loads[1])).collect();
        assert_eq!(seen, [(0.0, 1.5, -2.0), (0.25, 3.0, 4.0)], "form {index}");
        assert_eq!((report.strokes, report.rows_ragged), (1, 0), "form {index}");
    }
}

#[test]
fn utf_16_byte_order_marks_and_latin_1_are_understood() {
    let text = "Zeit;Kraft µ 🜨\n0;1\n1;2\n".to_owned() + &"2;3\n".repeat(9000);
    let wide = |big: bool| -> Vec<u8> {
        let units = std::iter::once(0xfeff).chain(text.encode_utf16());
        units.flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() }).collect()
    };
    let marked: Vec<u8> = b"\xef\xbb\xbf".iter().copied().chain(text.bytes()).collect();
    for bytes in [wide(true), wide(false), marked, text.clone().into_bytes()] {
        let (_, _, rows) = Bench::of(&[&bytes]).run(&plan(&["time=Zeit", "total=\"Kraft µ 🜨\":kn"])).unwrap();
        assert_eq!((rows.len(), rows[1].loads[0]), (9002, 2.0));
    }
    let (_, _, rows) =
        Bench::of(&[b"Zeit;Kr\xe4fte\n0;7\n"]).run(&plan(&["time=Zeit", "total=Kräfte:kn"])).unwrap();
    assert_eq!(rows[0].loads[0], 7.0);
}

#[test]
fn units_gains_offsets_and_signs_are_applied_in_that_order() {
    let of = |map: &str| {
        Bench::of(&[b"10\n"]).run(&ImportPlan { rate_hz: Some(1.0), ..plan(&[map]) }).unwrap().2[0].loads[0]
    };
    // Exact definitions: 1 lbf = 4.4482216152605 N, 1 tonne-force = 9.80665 kN.
    assert_eq!(of("total=1:kn"), 10.0);
    assert_eq!(of("total=1:n"), 0.01);
    assert!((of("total=1:tonne") - 98.0665).abs() < 1e-12);
    assert!((of("total=1:lbf") - 0.044_482_216_152_605).abs() < 1e-17);
    assert!((of("total=1:tonf") - 88.964_432_305_21).abs() < 1e-12);
    assert_eq!(of("total=1:kn:gain=3:offset=-4:neg"), -18.0);
    let angle =
        |map: &str, text: &[u8]| Bench::of(&[text]).run(&plan(&[map, "total=2:raw"])).unwrap().2[0].angle_deg;
    assert_eq!(angle("angle=1:counts/4096", b"1024 5\n"), 90.0);
    assert_eq!(angle("angle=1:counts/4096", b"5120 5\n"), 90.0);
    assert!((angle("angle=1:rad", b"3.141592653589793 5\n") - 180.0).abs() < 1e-12);
    assert_eq!(angle("angle=1", b"-1e-30 5\n"), 0.0, "no angle is rounded up to 360");
    assert_eq!(angle("angle=1:neg:offset=-360", b"90 5\n"), 270.0);
    let (_, header, rows) = Bench::of(&[b"500 7\n"]).run(&plan(&["time=1:ms", "total=2:raw"])).unwrap();
    assert_eq!((header.unit, rows[0].time_s, rows[0].loads[0]), (Unit::Counts, 0.5, 7.0));
}

#[test]
fn rows_without_a_reading_are_skipped_and_counted_and_the_sample_clock_goes_on() {
    let text = b"F,x\n1,a\n,b\nNaN,c\n#N/A,d\n5\n6,e,extra\n-99999,f\n";
    let plan = ImportPlan { rate_hz: Some(10.0), ..plan(&["total=F:kn:min=-1000"]) };
    let (report, _, rows) = Bench::of(&[text]).run(&plan).unwrap();
    assert_eq!((report.rows_read, report.rows_missing, report.rows_ragged), (7, 4, 2));
    let seen: Vec<_> = rows.iter().map(|row| (row.time_s, row.loads[0])).collect();
    assert_eq!(seen, [(0.0, 1.0), (0.4, 5.0), (0.5, 6.0)]);
}

#[test]
fn words_for_a_number_stop_the_import_unless_told_to_skip_them() {
    let maps = ["time=s", "total=kN:kn"];
    let text: &[u8] = b"made by a logger\ns;kN\n[s];[kN]\n0;1\n1;OVER\n2;3\n";
    let plan = ImportPlan { skip_lines: 1, skip_after_header: 1, ..plan(&maps) };
    let why = said(&[text], &plan);
    assert!(why.contains("line 5, column `kN`: `OVER` stands where a number belongs"), "{why}");
    let (report, _, rows) = Bench::of(&[text]).run(&ImportPlan { skip_bad: true, ..plan }).unwrap();
    assert_eq!((report.rows_missing, rows.len()), (1, 2));
}

#[test]
fn faults_of_plan_and_file_are_told_in_words() {
    let good: &[u8] = b"Time,Load\n0,1\n";
    let cases: [(&[u8], ImportPlan, &str); 14] = [
        (good, plan(&["time=Time"]), "no gauge is mapped"),
        (good, plan(&["time=Time", "total=Laod:kn"]), "there is no column `Laod`; did you mean `Load`?"),
        (good, plan(&["time=Time", "total=7:kn"]), "column 7 is mapped, but the line has 2 fields"),
        (good, plan(&["total=2:kn"]), "map time= or angle="),
        (good, plan(&["time=1", "left=2:kn"]), "gauge `right` is not mapped"),
        (good, plan(&["time=1", "left=2:kn", "right=2:raw"]), "some gauges are raw"),
        (good, plan(&["time=1", "left=2:kn", "total=2:kn"]), "different numbers of columns"),
        (good, plan(&["time=1", "time=2", "total=2:kn"]), "`time` is mapped twice"),
        (good, ImportPlan { cut: Some(Cut::Level), ..plan(&["time=1", "total=2:kn"]) }, "needs --level"),
        (
            good,
            ImportPlan { zero_rows: 9, ..plan(&["time=1", "total=2:kn"]) },
            "has 1 rows with readings, fewer than the 9",
        ),
        (
            good,
            ImportPlan { header: Some(false), ..plan(&["time=Time", "total=2:kn"]) },
            "there is no header row",
        ),
        (b"", plan(&["time=1", "total=2:kn"]), "has no rows"),
        (
            b"0,1\n1,1\n0.5,1\n",
            plan(&["time=1", "total=2:kn"]),
            "line 3, column `time`, stroke 1: time runs backwards",
        ),
        (b"1.5,0,1\n", plan(&["stroke=1", "time=2", "total=3:kn"]), "`1.5` is not a whole number"),
    ];
    for (text, plan, words) in cases {
        let why = said(&[text], &plan);
        assert!(why.contains(words), "{why}");
    }
    for (map, words) in [
        ("total", "write it as TARGET=COLUMN"),
        ("totl=1:kn", "did you mean `total`?"),
        ("total=0:kn", "counted from 1"),
        ("total=1", "give the gauge's unit"),
        ("total=1:deg", "`deg` is not a unit of `total`"),
        ("total=1:kn:twice", "`twice` is no option"),
        ("total=1:kn:gain=x", "has no number"),
        ("total=1:kn:gain=0", "would lose the reading"),
        ("total=\"a:kn", "not closed"),
        ("stroke=1:s", "`stroke` takes no unit"),
        ("total=:kn", "the column is missing"),
        ("angle=1:counts/0", "is no option"),
    ] {
        let why = map.parse::<Mapping>().unwrap_err().to_string();
        assert!(why.contains(words), "{map}: {why}");
    }
}

#[test]
fn a_recipe_says_what_options_say_and_options_win() {
    let folder = tempfile::tempdir().unwrap();
    let recipe = folder.path().join("logger.toml");
    std::fs::write(
        &recipe,
        "map = [\"time=1:ms\", \"total=2:kn\"]\ncut = \"level\"\nlevel = 5.0\nskip_lines = 2\n",
    )
    .unwrap();
    let args = ImportArgs {
        recipe: Some(recipe.clone()),
        map: vec!["total=3:n".into()],
        level: Some(7.0),
        ..ImportArgs::default()
    };
    let made = args.plan().unwrap();
    let expected = ImportPlan {
        cut: Some(Cut::Level),
        level: Some(7.0),
        skip_lines: 2,
        ..plan(&["time=1:ms", "total=3:n"])
    };
    assert_eq!(made, expected);
    std::fs::write(&recipe, toml::to_string(&expected).unwrap()).unwrap();
    let again = ImportArgs { recipe: Some(recipe.clone()), ..ImportArgs::default() }.plan().unwrap();
    assert_eq!(again, expected);
    std::fs::write(&recipe, "cut = \"level\"\nlevle = 5.0\n").unwrap();
    let why = ImportArgs { recipe: Some(recipe), ..ImportArgs::default() }.plan().unwrap_err().to_string();
    assert!(why.contains("line 2") && why.contains("levle") && why.lines().count() == 1, "{why}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    #[test]
    fn a_map_comes_back_from_its_own_text(
        target in prop::sample::select(vec!["total", "left", "rr"]), column in "[a-zA-Z][a-z :=]{0,8}|[1-9][0-9]{0,2}",
        unit in prop::sample::select(vec!["kn", "n", "tonf", "tonne", "lbf", "raw"]),
        gain in 0.001_f64..1e6, offset in -1e6_f64..1e6, negate in any::<bool>(), min in prop::option::of(-1e9_f64..1e9),
    ) {
        let mut text = format!("{target}=\"{column}\":{unit}:gain={gain}:offset={offset}");
        text += if negate { ":neg" } else { "" };
        text += &min.map(|min| format!(":min={min}")).unwrap_or_default();
        let mapping: Mapping = text.parse().unwrap();
        prop_assert_eq!(mapping.to_string().parse::<Mapping>().unwrap(), mapping);
    }

    #[test]
    fn arbitrary_maps_never_panic(text in "([a-z0-9]{0,6}=)?.{0,20}") {
        let _ = text.parse::<Mapping>();
    }

    #[test]
    fn arbitrary_bytes_never_panic_the_importer(
        bytes in prop::collection::vec(any::<u8>(), 0..300),
        start in prop::sample::select(vec![&b""[..], b"\xff\xfe", b"\xfe\xff", b"0;1\n", b"a,b\n", b"\x1f\x8b\x08\0\0\0\0\0\0\x03"]),
        cut in prop::sample::select(vec![None, Some(Cut::Level), Some(Cut::Angle), Some(Cut::Index), Some(Cut::File)]),
        zero_rows in 0_u64..3, lead_rows in 0_u64..3, decimal_comma in any::<bool>(), skip_bad in any::<bool>(),
    ) {
        let text: Vec<u8> = start.iter().chain(&bytes).copied().collect();
        let plan = ImportPlan {
            cut, zero_rows, lead_rows, decimal_comma, skip_bad, level: Some(1.0), rate_hz: Some(10.0),
            ..plan(&["angle=1", "index=1", "total=2:kn"])
        };
        // Whatever was made of it, the reader takes it: `run` reads it back.
        match Bench::of(&[&text]).run(&plan) {
            Ok(_) => {}
            Err(why) => prop_assert_eq!(why.to_string().lines().count(), 1),
        }
    }

    #[test]
    fn rows_of_near_numbers_never_panic_the_importer(text in "([0-9]{1,3}[;,\t ][-0-9.e,]{0,6}\n|.{0,8}\n){0,20}") {
        let _ = Bench::of(&[text.as_bytes()]).run(&ImportPlan { skip_bad: true, ..plan(&["time=1", "total=2:kn"]) });
    }
}
