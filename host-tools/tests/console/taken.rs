//! What is taken away as CSV and as Parquet, read back: the same values as in the database.

use bolster::console::store::{Event, EventFilter, EventRow, StrokeRow};
use bolster::markup::time_of;

use crate::server::{Console, stroke};

/// Strokes and events with all that makes tables go wrong: separators, quotes, line ends, other scripts, missing values, numbers
/// that no short text holds.
fn console() -> Console {
    let console = Console::with_strokes();
    let mut odd = stroke("P\"3\", left; \u{fc}\u{4e2d}", 7, 0.1 + 0.2);
    odd.outcome.reverse_kn = -0.0;
    odd.outcome.work_kj = None;
    odd.die = Some("line one\nline two".into());
    let mut formula = stroke("P3", 8, f64::MIN_POSITIVE);
    formula.die = Some("=cmd()".into());
    formula.outcome.work_kj = Some(1.0 / 3.0);
    console.store.add_strokes(&[odd, formula]).unwrap();
    let event = Event {
        kind: "limits-drafted",
        press: Some("-1".into()),
        who: Some("\u{ff1d}1+1".into()),
        says: "a, \"b\"\r\nc".into(),
        old: Some("'quoted".into()),
        new: Some(String::new()),
        reason: Some("\n=2".into()),
        ..Event::default()
    };
    console.store.journal(&event).unwrap();
    console
}

fn strokes(console: &Console) -> Vec<StrokeRow> {
    let mut rows = console.strokes();
    rows.reverse();
    rows
}

fn events(console: &Console) -> Vec<EventRow> {
    console.store.events(&EventFilter::default(), usize::MAX >> 1).unwrap()
}

/// A value of a table in the form it is compared in.
#[derive(Debug, Clone, PartialEq)]
enum Cell {
    None,
    Whole(i64),
    Moment(i64),
    /// By its bits: no rounding is let pass.
    Number(u64),
    Text(String),
}

fn text(text: Option<&str>) -> Cell {
    text.map_or(Cell::None, |text| Cell::Text(text.to_owned()))
}

fn number(value: f64) -> Cell {
    Cell::Number(value.to_bits())
}

/// Rows of a table: each value under its column's name.
type Rows = Vec<Vec<(&'static str, Cell)>>;

fn of_stroke(row: &StrokeRow) -> Vec<(&'static str, Cell)> {
    vec![
        ("id", Cell::Whole(row.id)),
        ("time_utc", Cell::Moment(row.at_ms)),
        ("press", text(Some(&row.press))),
        ("run", Cell::Whole(row.run)),
        ("stroke", Cell::Whole(row.stroke)),
        ("die", text(row.die.as_deref())),
        ("coil", Cell::Whole(row.coil)),
        ("verdict", text(Some(row.verdict))),
        ("reasons", text(Some(&row.reasons.join(" ")))),
        ("peak_kn", number(row.peak_kn)),
        ("reverse_kn", number(row.reverse_kn)),
        ("work_kj", row.work_kj.map_or(Cell::None, number)),
    ]
}

fn of_event(row: &EventRow) -> Vec<(&'static str, Cell)> {
    vec![
        ("id", Cell::Whole(row.id)),
        ("time_utc", Cell::Moment(row.at_ms)),
        ("kind", text(Some(&row.kind))),
        ("press", text(row.press.as_deref())),
        ("die", text(row.die.as_deref())),
        ("stroke_id", row.stroke_id.map_or(Cell::None, Cell::Whole)),
        ("who", text(row.who.as_deref())),
        ("says", text(Some(&row.says))),
        ("old", text(row.old.as_deref())),
        ("new", text(row.new.as_deref())),
        ("reason", text(row.reason.as_deref())),
    ]
}

/// Both tables as files of this form, each with its address and the rows that it must hold.
fn tables(form: &str, kind: &str) -> [(String, Rows, Vec<u8>); 2] {
    let console = console();
    let client = console.viewer();
    let wanted: [(&str, Rows); 2] = [
        ("strokes", strokes(&console).iter().map(of_stroke).collect()),
        ("journal", events(&console).iter().map(of_event).collect()),
    ];
    wanted.map(|(table, rows)| {
        let path = format!("/{table}.{form}");
        let answer = client.get(&path);
        assert_eq!((answer.status, answer.header("content-type")), (200, kind), "{path}");
        (path, rows, answer.bytes)
    })
}

/// A table read back is these rows.
fn compare(path: &str, expected: &[Vec<(&'static str, Cell)>], read: &[Vec<(String, Cell)>]) {
    assert!(expected.len() > 3, "{path}");
    assert_eq!(read.len(), expected.len(), "{path}");
    for (row, (read, expected)) in read.iter().zip(expected).enumerate() {
        let read: Vec<(&str, &Cell)> = read.iter().map(|(name, cell)| (name.as_str(), cell)).collect();
        let expected: Vec<(&str, &Cell)> = expected.iter().map(|(name, cell)| (*name, cell)).collect();
        assert_eq!(read, expected, "{path}, row {row}");
    }
}

/// The cells of a CSV file, each understood as the expected one is; what leads a formula is an apostrophe, and stands before
/// nothing else.
fn read_csv(bytes: &[u8], expected: &[Vec<(&'static str, Cell)>]) -> Vec<Vec<(String, Cell)>> {
    let mut reader = csv::Reader::from_reader(bytes);
    let names: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let one = |(cell, like): (&str, &Cell)| match like {
        // CSV has one word for nothing and for an empty text.
        Cell::None => text((!cell.is_empty()).then_some(cell)),
        Cell::Whole(_) => cell.parse().map_or(text(Some(cell)), Cell::Whole),
        Cell::Moment(_) => time_of(cell).map_or(text(Some(cell)), Cell::Moment),
        Cell::Number(_) => cell.parse().map_or(text(Some(cell)), number),
        Cell::Text(like) => {
            let led = like.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}']);
            text(Some(if led {
                cell.strip_prefix('\'').expect("a formula is led by an apostrophe")
            } else {
                cell
            }))
        }
    };
    let row = |(record, expected): (Result<csv::StringRecord, csv::Error>, &Vec<(&str, Cell)>)| {
        let record = record.unwrap();
        assert_eq!(record.len(), expected.len());
        let cells = record.iter().zip(expected.iter().map(|(_, like)| like)).map(one);
        names.iter().cloned().zip(cells).collect()
    };
    reader.records().zip(expected).map(row).collect()
}

#[test]
fn csv_files_of_strokes_and_journal_read_back_with_the_values_stored() {
    for (path, expected, bytes) in tables("csv", "text/csv; charset=utf-8") {
        let lines = csv::Reader::from_reader(&bytes[..]).records().count();
        assert_eq!(lines, expected.len(), "{path}");
        compare(&path, &expected, &read_csv(&bytes, &expected));
    }
}

#[cfg(feature = "parquet")]
#[test]
fn parquet_files_of_strokes_and_journal_read_back_with_the_values_stored_bit_for_bit() {
    use parquet::file::reader::{FileReader as _, SerializedFileReader};
    use parquet::record::Field;
    let cell = |field: &Field| match field {
        Field::Null => Cell::None,
        Field::Long(value) => Cell::Whole(*value),
        Field::TimestampMillis(value) => Cell::Moment(*value),
        Field::Double(value) => number(*value),
        Field::Str(value) => text(Some(value)),
        other => panic!("no column has values like {other:?}"),
    };
    for (path, expected, bytes) in tables("parquet", "application/vnd.apache.parquet") {
        let reader = SerializedFileReader::new(hyper::body::Bytes::from(bytes)).unwrap();
        let read: Vec<Vec<(String, Cell)>> = reader
            .get_row_iter(None)
            .unwrap()
            .map(|row| {
                row.unwrap().get_column_iter().map(|(name, field)| (name.clone(), cell(field))).collect()
            })
            .collect();
        compare(&path, &expected, &read);
    }
}

#[test]
fn a_time_of_a_table_can_be_asked_for_again() {
    let console = console();
    let client = console.viewer();
    let all = strokes(&console);
    let text = client.get("/strokes.csv").text();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let newest = reader.records().next().unwrap().unwrap();
    let rows = client.get(&format!("/api/strokes?from={}", crate::client::escaped(&newest[1]))).json();
    let expected = all.iter().filter(|row| row.at_ms >= all[0].at_ms).count();
    assert_eq!(rows.as_array().map(Vec::len), Some(expected));
}
