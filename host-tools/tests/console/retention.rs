//! Retention by size: the database's file keeps to what it was given, and what matters goes last or never.

use std::sync::Arc;

use bolster::console::feed::Intake;
use bolster::console::store::{
    Event, EventFilter, FILE_NAME, NewCard, NewStroke, Store, StrokeFilter, StrokeRow,
};
use tempfile::TempDir;

use crate::server::stroke;

/// Least size the program takes, bytes.
const LEAST: u64 = 4_000_000;

/// Readings that no packing makes smaller.
fn readings(number: u64, bytes: usize) -> Vec<u8> {
    let mut state = number.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let next = |_| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state as u8
    };
    (0..bytes).map(next).collect()
}

/// A stroke with this verdict; noted and stopped ones with their readings, as a feed brings them.
fn judged(number: u64, verdict: &'static str) -> NewStroke {
    let mut new = stroke("P3", number, 500.0);
    new.die = Some("bracket".into());
    new.outcome.verdict = verdict;
    new.passing = verdict == "pass";
    new.kept = Some(readings(number, 1200));
    new
}

/// One in twenty noted, one in fifty held.
fn mixed(number: u64) -> NewStroke {
    judged(
        number,
        if number.is_multiple_of(50) {
            "hold"
        } else if number.is_multiple_of(20) {
            "note"
        } else {
            "pass"
        },
    )
}

fn opened() -> (TempDir, Arc<Store>) {
    let folder = tempfile::tempdir().unwrap();
    let store = Arc::new(Store::open(folder.path()).unwrap());
    (folder, store)
}

/// Bytes of the file, with what stands in its log.
fn file_bytes(folder: &TempDir) -> u64 {
    let file = rusqlite::Connection::open(folder.path().join(FILE_NAME)).unwrap();
    let number = |name: &str| file.pragma_query_value(None, name, |row| row.get::<_, i64>(0)).unwrap();
    (number("page_count") * number("page_size")).unsigned_abs()
}

fn stored(store: &Store) -> Vec<StrokeRow> {
    store.strokes(&StrokeFilter { after: Some(0), ..StrokeFilter::default() }, usize::MAX >> 1).unwrap()
}

fn count(rows: &[StrokeRow], verdict: &str) -> usize {
    rows.iter().filter(|row| row.verdict == verdict).count()
}

#[test]
fn the_file_keeps_to_its_size_and_the_oldest_strokes_that_passed_go_first() {
    let (folder, store) = opened();
    let (intake, thread) =
        Intake::start(Arc::clone(&store), LEAST, |why| panic!("the intake failed: {why}")).unwrap();
    let all = 12_000;
    for number in 1..=all {
        intake.put(mixed(number)).unwrap();
        if number.is_multiple_of(500) {
            // What one transaction brings, 256 strokes of 3 kB at most, is taken back right after it.
            let bytes = file_bytes(&folder);
            assert!(bytes < LEAST + 256 * 4096, "{bytes} bytes after {number} strokes");
        }
    }
    drop(intake);
    thread.join().unwrap();
    let rows = stored(&store);
    assert!(file_bytes(&folder) <= LEAST, "{} bytes", file_bytes(&folder));
    assert!(store.used_bytes().unwrap() > LEAST / 2, "no more is taken out than has to be");
    // Every stop is there still, and of the others the newest.
    assert_eq!(count(&rows, "hold"), all as usize / 50);
    assert_eq!(rows.last().map(|row| row.stroke), Some(all as i64));
    let passed: Vec<i64> = rows.iter().filter(|row| row.verdict == "pass").map(|row| row.stroke).collect();
    let oldest = passed[0];
    assert!(oldest > 1);
    let expected: Vec<i64> =
        (oldest..=all as i64).filter(|number| number % 50 != 0 && number % 20 != 0).collect();
    assert_eq!(passed, expected, "the newest that passed, without a gap");
    // What was taken out is said, and what is told of a die is what is stored.
    let removed = EventFilter { kind: Some("strokes-removed".into()), ..EventFilter::default() };
    let removed: u64 = store
        .events(&removed, 10_000)
        .unwrap()
        .iter()
        .map(|event| event.says.split(' ').nth(1).and_then(|word| word.parse::<u64>().ok()).unwrap())
        .sum();
    assert_eq!(removed + rows.len() as u64, all);
    let told = store.verdicts("P3", "bracket").unwrap();
    assert_eq!(told, ["pass", "note", "hold", "trip"].map(|word| count(&rows, word) as i64));
    // No readings are left of strokes that are gone.
    let file = rusqlite::Connection::open(folder.path().join(FILE_NAME)).unwrap();
    let orphans: i64 = file
        .query_row("SELECT COUNT(*) FROM kept WHERE stroke_id NOT IN (SELECT id FROM strokes)", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert_eq!(orphans, 0);
    drop((file, store));
    // On the disk as well, once the log is written back.
    let disk = folder.path().join(FILE_NAME).metadata().unwrap().len();
    assert!(disk <= LEAST, "{disk} bytes on the disk");
}

#[test]
fn noted_strokes_go_when_no_passed_one_is_left_and_stopped_ones_when_no_noted_one_is() {
    let (_folder, store) = opened();
    // The stops are the oldest of all: by age alone they would go first.
    let words = ["trip", "hold", "note", "pass"];
    let list: Vec<NewStroke> = (0..1600).map(|n| judged(n + 1, words[n as usize / 400])).collect();
    for some in list.chunks(200) {
        store.add_strokes(some).unwrap();
    }
    store.add_strokes(&[judged(9999, "pass")]).unwrap();
    let mut before = stored(&store);
    assert!(count(&before, "note") == 400 && count(&before, "pass") > 100);
    let mut steps = 0;
    let mut most = store.used_bytes().unwrap();
    while before.len() > 1 {
        most = most.saturating_sub(150_000);
        store.prune(most).unwrap();
        let now = stored(&store);
        let left = words.map(|word| count(&now, word));
        // The newest stroke stays whatever it is.
        let [trips, holds, notes, passes] = [left[0], left[1], left[2], left[3] - 1];
        assert!(passes == 0 || notes == 400, "{left:?}");
        assert!(notes == 0 || trips + holds == 800, "{left:?}");
        // Of one kind the oldest go first.
        let stops: Vec<i64> = now
            .iter()
            .filter(|row| row.verdict == "trip" || row.verdict == "hold")
            .map(|row| row.id)
            .collect();
        assert!(
            stops.windows(2).all(|pair| pair[0] + 1 == pair[1])
                && stops.last().is_none_or(|last| *last == 800)
        );
        steps += usize::from(now.len() < before.len());
        assert!(now.len() < before.len() || most > 0, "{left:?} stay whatever is asked");
        before = now;
    }
    assert!(steps >= 8, "{steps}");
    assert_eq!(before[0].stroke, 9999);
    // Numbers are never given again, so that no page takes a new stroke for one it has.
    store.add_strokes(&[judged(1, "pass")]).unwrap();
    assert_eq!(stored(&store).last().map(|row| row.id), Some(1602));
}

#[test]
fn cards_with_their_history_the_journal_and_passwords_never_go() {
    let (_folder, store) = opened();
    store.put_engineer("A. Engineer", "a hash").unwrap();
    for began in 0..40 {
        let reason = format!("reason {began}");
        let new = NewCard {
            press: "P3",
            die: "bracket",
            began,
            toml: &"limits = 1\n".repeat(200),
            accepted: began % 2 == 1,
            who: "A. Engineer",
            reason: &reason,
        };
        let event = Event { kind: "limits-drafted", says: reason.clone(), ..Event::default() };
        store.put_card(&new, &event).unwrap();
    }
    for number in 0..10 {
        let list: Vec<NewStroke> = (1..=100).map(|n| mixed(100 * number + n)).collect();
        store.add_strokes(&list).unwrap();
    }
    let (cards, events) = (
        store.card_history("P3", "bracket").unwrap(),
        store.events(&EventFilter::default(), 10_000).unwrap(),
    );
    // Far less than the cards alone take.
    let pruned = store.prune(1).unwrap();
    assert_eq!(pruned.strokes, 999, "all but the newest");
    assert_eq!(store.card_history("P3", "bracket").unwrap(), cards);
    assert_eq!(cards.len(), 40);
    assert_eq!(store.events(&EventFilter::default(), 10_000).unwrap(), events);
    assert_eq!(store.engineer("A. Engineer").unwrap().as_deref(), Some("a hash"));
}

#[test]
fn a_console_given_less_room_than_before_gives_the_rest_back_to_the_disk() {
    let (folder, store) = opened();
    for number in 0..60 {
        let list: Vec<NewStroke> = (1..=100).map(|n| judged(100 * number + n, "note")).collect();
        store.add_strokes(&list).unwrap();
    }
    assert!(file_bytes(&folder) > 2 * LEAST, "{}", file_bytes(&folder));
    // A part at each call: strokes that come meanwhile do not wait for all of it.
    let calls = (1..20).find(|_| {
        store.prune(LEAST).unwrap();
        file_bytes(&folder) <= LEAST
    });
    assert!(calls.is_some(), "{} bytes are still held", file_bytes(&folder));
    let rows = stored(&store);
    assert!(rows.len() > 100 && rows.windows(2).all(|pair| pair[0].id + 1 == pair[1].id));
    drop(store);
    assert!(folder.path().join(FILE_NAME).metadata().unwrap().len() <= LEAST);
}
