//! Claims about reading and writing recordings.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use bolster_core::press::Columns;
use flate2::Compression;
use flate2::write::GzEncoder;
use proptest::prelude::*;
use sha2::{Digest, Sha256};

use super::{Defect, Header, Precision, Reader, RecordingError, Row, Unit, Writer};

/// A file with these bytes that lives as long as the folder.
fn file(bytes: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("rec.csv");
    std::fs::write(&path, bytes).unwrap();
    (folder, path)
}

fn read_all(path: &Path) -> Result<(Header, Vec<Row>), RecordingError> {
    let mut reader = Reader::open(path)?;
    let (mut row, mut rows) = (Row::default(), Vec::new());
    while reader.next(&mut row)? {
        rows.push(row);
    }
    Ok((*reader.header(), rows))
}

fn read(bytes: &[u8]) -> Result<(Header, Vec<Row>), RecordingError> {
    let (_folder, path) = file(bytes);
    read_all(&path)
}

fn code(bytes: &[u8]) -> &'static str {
    match read(bytes) {
        Ok(_) => "fine",
        Err(why) => why.defect().code(),
    }
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

const GOOD: &[u8] =
    b"stroke,angle_deg,left_kn,right_kn,coil,s2\n1,170,1.5,-2.25,7,0\n1,171.5,100,200.125,7,1\n2,3,0,0,8,1\n";

#[test]
fn columns_come_in_any_order_with_any_line_end_and_a_byte_order_mark() {
    let (header, rows) = read(GOOD).unwrap();
    assert_eq!((header.columns, header.unit, header.sensors), (Columns::LeftRight, Unit::Kilonewtons, 0b10));
    assert_eq!(
        (header.has_angle, header.has_time, header.has_speed, header.has_coil),
        (true, false, false, true)
    );
    assert_eq!(rows.len(), 3);
    let second = rows[1];
    assert_eq!((second.line, second.stroke, second.coil, second.sensors), (3, 1, 7, 2));
    assert_eq!((second.angle_deg, second.loads), (171.5, [100.0, 200.125, 0.0, 0.0]));
    let other = b"\xef\xbb\xbfright_kn,s2,coil,\"stroke\",left_kn,angle_deg\r\n\r\n-2.25,0,7,1,\"1.5\",1.7e2\r\n200.125,1,7,1,100.0, 171.50\r\n\r\n0,1,8,2,-0,3";
    let (same, again) = read(other).unwrap();
    assert_eq!(same, header);
    let bare =
        |rows: &[Row]| rows.iter().map(|row| format!("{:?}", Row { line: 0, ..*row })).collect::<Vec<_>>();
    assert_eq!(bare(&again).join("\n").replace("-0.0", "0.0"), bare(&rows).join("\n"));
    assert_eq!(again.iter().map(|row| row.line).collect::<Vec<_>>(), [3, 4, 6]);
}

#[test]
fn gzip_is_read_by_its_first_bytes_in_one_member_or_several() {
    let plain = read(GOOD).unwrap().1.len();
    assert_eq!(read(&gzip(GOOD)).unwrap().1.len(), plain);
    let mut members = gzip(&GOOD[..50]);
    members.extend(gzip(&GOOD[50..]));
    assert_eq!(read(&members).unwrap().1.len(), plain);
}

#[test]
fn every_cut_of_a_gzip_file_is_reported_as_truncated() {
    let whole = gzip(GOOD);
    for cut in 3..whole.len() {
        assert_eq!(code(&whole[..cut]), "truncated-gzip", "cut after byte {cut} of {}", whole.len());
    }
}

#[test]
fn damage_inside_gzip_is_an_error() {
    let mut rows = b"stroke,angle_deg,total_kn\n".to_vec();
    for step in 0..3000 {
        rows.extend(
            format!("1,{},{}\n", f64::from(step) * 0.1, f64::from(step * 7919 % 1000) * 0.37).bytes(),
        );
    }
    let mut packed = gzip(&rows);
    let middle = packed.len() / 2;
    packed[middle] ^= 0xff;
    assert!(read(&packed).is_err());
    let last = packed.len() - 6;
    packed[middle] ^= 0xff;
    packed[last] ^= 0xff;
    assert_eq!(code(&packed), "corrupt-gzip", "the checksum at the end does not fit");
}

#[test]
fn tons_force_are_given_in_kilonewtons_and_counts_as_they_are() {
    let (header, rows) = read(b"stroke,time_s,total_tonf\n1,0,10\n").unwrap();
    assert_eq!(header.unit, Unit::TonsForce);
    assert_eq!(rows[0].loads[0], 88.964_432_305_21);
    assert!(rows[0].angle_deg.is_nan() && rows[0].speed_spm.is_nan());
    let (header, rows) = read(b"stroke,time_s,total_counts\n1,0,-8387142\n").unwrap();
    assert_eq!((header.unit, rows[0].loads[0]), (Unit::Counts, -8_387_142.0));
}

#[test]
fn the_angle_may_jitter_and_pass_the_top_once_but_not_run_back() {
    let over = |angles: &[f64]| {
        let mut text = "stroke,angle_deg,total_kn\n".to_owned();
        for angle in angles {
            text += &format!("1,{angle},0\n");
        }
        code(text.as_bytes())
    };
    assert_eq!(over(&[100.0, 99.0, 99.5, 100.5]), "fine");
    assert_eq!(over(&[100.0, 98.9]), "angle-runs-backwards");
    assert_eq!(over(&[100.0, 99.5, 98.9]), "angle-runs-backwards", "jitter does not add up");
    assert_eq!(over(&[300.0, 359.9, 0.1, 359.8, 0.2, 90.0]), "fine");
    assert_eq!(over(&[300.0, 359.9, 0.2, 359.0]), "angle-runs-backwards");
    assert_eq!(over(&[0.2, 359.9, 0.1, 180.0]), "fine");
    assert_eq!(over(&[300.0, 10.0, 180.0, 300.0, 10.0]), "angle-wraps-twice");
    assert_eq!(over(&[300.0, 10.0, 9.5, 8.9]), "angle-runs-backwards");
    assert_eq!(over(&[360.0]), "angle-out-of-range");
    assert_eq!(over(&[-0.1]), "angle-out-of-range");
}

#[test]
fn time_may_start_again_with_a_stroke_but_not_within() {
    assert_eq!(code(b"stroke,time_s,total_kn\n1,0,0\n1,1,0\n2,0,0\n"), "fine");
    assert_eq!(code(b"stroke,time_s,total_kn\n1,0,0\n1,1,0\n1,0.5,0\n"), "time-runs-backwards");
}

#[test]
fn an_error_names_file_line_column_and_stroke() {
    let (_folder, path) = file(b"stroke,angle_deg,total_kn\n4,10,0\n5,11,oops\n");
    let why = read_all(&path).unwrap_err();
    let place = why.place();
    assert_eq!((place.line, place.column.as_deref(), place.stroke), (Some(3), Some("total_kn"), Some(5)));
    let text = why.to_string();
    assert_eq!(
        text,
        format!(
            "{}, line 3, column `total_kn`, stroke 5: `oops` stands where a number belongs; remove the row or give the reading",
            path.display()
        )
    );
}

#[test]
fn a_recording_of_another_press_is_refused_in_words() {
    let (_folder, path) = file(GOOD);
    let reader = Reader::open(&path).unwrap();
    assert!(reader.expect_columns(Columns::LeftRight).is_ok());
    let why = reader.expect_columns(Columns::Corners).unwrap_err();
    assert!(why.to_string().contains("two columns for a four-column press"), "{why}");
}

#[test]
fn a_missing_file_a_folder_and_an_endless_line_are_errors() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(read_all(folder.path()).unwrap_err().defect().code(), "directory");
    let why = read_all(&folder.path().join("none.csv")).unwrap_err();
    assert!(matches!(why.defect(), Defect::Unreadable(_)), "{why}");
    assert_eq!(code(&vec![b'1'; 1 << 20]), "line-too-long");
    let mut late = b"stroke,angle_deg,total_kn\n1,2,3\n".to_vec();
    late.extend(vec![b'1'; 70_000]);
    late.push(b'\n');
    assert_eq!(code(&late), "line-too-long");
}

#[test]
fn the_hash_is_of_the_file_as_stored() {
    let bytes = gzip(GOOD);
    let (_folder, path) = file(&bytes);
    let mut reader = Reader::open_hashed(&path).unwrap();
    let mut row = Row::default();
    while reader.next(&mut row).unwrap() {}
    assert_eq!(reader.sha256(), Some(<[u8; 32]>::from(Sha256::digest(&bytes))));
    assert_eq!(reader.progress(), Some((bytes.len() as u64, bytes.len() as u64)));
}

#[test]
fn rows_across_buffer_borders_are_whole() {
    let mut text = b"stroke,time_s,total_kn\n".to_vec();
    // Lines of changing length, several buffers' worth: every split of a line occurs.
    let value = |row: u32| f64::from(row) * 0.001 * f64::from(10_u32.pow(row % 5));
    for row in 0..120_000_u32 {
        text.extend(format!("{row},{row},{}\n", value(row)).bytes());
    }
    let (_, rows) = read(&text).unwrap();
    assert_eq!(rows.len(), 120_000);
    for (index, row) in rows.iter().enumerate() {
        assert_eq!((row.stroke, row.line), (index as u64, index as u64 + 2));
        assert_eq!(row.loads[0], value(index as u32));
    }
}

#[test]
fn the_reader_takes_the_outside_recordings_where_they_are_present() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/recordings/fast-train.csv.gz");
    if !path.exists() {
        println!("skipped: no recordings beside the project");
        return;
    }
    let (header, rows) = read_all(&path).unwrap();
    assert_eq!((header.columns, header.has_coil), (Columns::Corners, true));
    assert_eq!(rows.last().map(|row| row.stroke), Some(300));
}

#[test]
fn fixed_decimals_round_and_never_carry_over_the_top() {
    let header = Header { has_time: true, ..Header::over_angle(Columns::Total) };
    let mut writer = Writer::new(Vec::new(), header, Precision::default()).unwrap();
    let row = Row {
        stroke: 3,
        angle_deg: 359.9999,
        time_s: 0.25,
        loads: [-0.0404, 0.0, 0.0, 0.0],
        ..Row::default()
    };
    writer.write(&row).unwrap();
    writer.write(&Row { loads: [-0.0004, 0.0, 0.0, 0.0], ..row }).unwrap();
    assert!(writer.write(&Row { angle_deg: 360.0, ..row }).is_err());
    assert!(writer.write(&Row { loads: [f64::NAN; 4], ..row }).is_err());
    let text = String::from_utf8(writer.finish().unwrap()).unwrap();
    assert_eq!(text, "stroke,angle_deg,time_s,total_kn\n3,359.999,0.25,-0.04\n3,359.999,0.25,0\n");
}

fn headers() -> impl Strategy<Value = Header> {
    let columns = prop::sample::select(vec![Columns::Total, Columns::LeftRight, Columns::Corners]);
    let unit = prop::sample::select(vec![Unit::Kilonewtons, Unit::TonsForce, Unit::Counts]);
    (columns, unit, 1..4_u8, any::<(bool, bool, u8)>()).prop_map(
        |(columns, unit, position, (speed, coil, sensors))| Header {
            columns,
            unit,
            has_angle: position & 1 != 0,
            has_time: position & 2 != 0,
            has_speed: speed,
            has_coil: coil,
            sensors,
        },
    )
}

/// Finite doubles of the kinds seen (short decimals) and of every other kind.
fn finite() -> impl Strategy<Value = f64> {
    prop_oneof![
        (-10_000_000_i64..10_000_000, 0_u32..6)
            .prop_map(|(whole, decimals)| whole as f64 / 10_f64.powi(decimals as i32)),
        any::<f64>().prop_filter("finite", |value| value.is_finite() && value.abs() < 1e300),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_exactly_is_read_back_exactly(
        header in headers(),
        rows in prop::collection::vec(
            (0_u64..3, 0.0_f64..1.0, 0.0_f64..1.0, prop::array::uniform4(finite()), finite(), any::<(u32, u8)>()), 1..40),
    ) {
        let (mut stroke, mut angle_deg, mut time_s) = (0, 0.0, 0.0);
        let rows: Vec<Row> = rows.into_iter().enumerate().map(|(index, (next, turn, tick, loads, speed_spm, (coil, on)))| {
            stroke += next;
            angle_deg = if next > 0 { turn * 359.0 } else { angle_deg + turn * (359.9 - angle_deg) };
            time_s += tick;
            let channels = header.columns.count();
            let loads = std::array::from_fn(|channel| if channel < channels { loads[channel] } else { 0.0 });
            Row {
                line: index as u64 + 2, stroke, angle_deg, time_s, speed_spm, loads,
                coil: if header.has_coil { u64::from(coil) } else { 0 },
                sensors: on & header.sensors,
            }
        }).collect();
        let mut writer = Writer::new(Vec::new(), header, Precision::Exact).unwrap();
        for row in &rows {
            writer.write(row).unwrap();
        }
        let (back_header, back) = read(&writer.finish().unwrap()).unwrap();
        prop_assert_eq!(back_header, header);
        prop_assert_eq!(back.len(), rows.len());
        for (was, is) in rows.iter().zip(&back) {
            prop_assert_eq!((was.line, was.stroke, was.coil, was.sensors), (is.line, is.stroke, is.coil, is.sensors));
            prop_assert!(!header.has_angle || was.angle_deg == is.angle_deg);
            prop_assert!(!header.has_time || was.time_s == is.time_s);
            prop_assert!(!header.has_speed || was.speed_spm == is.speed_spm);
            for (was, is) in was.loads.iter().zip(is.loads) {
                // Conversion to tons-force and back rounds twice: two units in the last place (denormals lose more).
                let slack = if header.unit == Unit::TonsForce { was.abs() * 2.0 * f64::EPSILON } else { 0.0 };
                prop_assert!((was - is).abs() <= slack.max(f64::MIN_POSITIVE), "{was} {is}");
            }
        }
    }

    #[test]
    fn short_decimals_read_as_the_standard_library_reads_them(text in "-?[0-9]{0,9}\\.?[0-9]{0,9}") {
        let file = format!("stroke,time_s,total_kn\n0,0,{text}\n");
        match (text.parse::<f64>(), read(file.as_bytes())) {
            (Ok(expected), Ok((_, rows))) => prop_assert_eq!(rows[0].loads[0].to_bits(), expected.to_bits()),
            (Err(_), Err(why)) => prop_assert_eq!(why.defect().code(), "text-for-number"),
            (std, ours) => prop_assert!(false, "{text}: {std:?} against {ours:?}"),
        }
    }

    #[test]
    fn arbitrary_bytes_never_panic_the_reader(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes);
        let mut headed = b"stroke,angle_deg,total_kn,s1\n".to_vec();
        headed.extend(&bytes);
        let _ = read(&headed);
        let mut packed = vec![0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3];
        packed.extend(&bytes);
        let _ = read(&packed);
    }

    #[test]
    fn near_recordings_never_panic_the_reader(text in "stroke,angle_deg,(total|left|right)_(kn|tonf)\n([0-9,.\"\n\r e+-]|nan|inf){0,200}") {
        let _ = read(text.as_bytes());
    }
}
