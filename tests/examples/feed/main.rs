//! Writes feeds for the controller and prints what the host makes of them.
//!
//! `feed random SEED FRAMES FOLDER` writes one feed for every number of columns and every way of telling
//! strokes apart, FRAMES in all, with faults. `feed recording PRESS.toml RECORDING.csv OUT.feed` turns a
//! recording into one, `feed judge FEED` takes one that is there, as `bolster simulate --feed` writes them. Each
//! feed gives one line: its file, then strokes and digest as the host finds them.
//!
//! `feed line CAPTURED FEED` decodes what a controller said while it judged a feed of four columns and compares every
//! stroke and event with the host's; `feed noise SEED COUNT` writes random bytes for it to be disturbed with; `feed rainflow`
//! counts the published example. `feed watchdog`, `feed talk` and `feed hostile` run the controller's PROGRAM in the emulator
//! and provoke its watchdog, ask of it all that can be asked, and disturb it.

mod line;
mod random;
mod watch;

use std::error::Error;
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

use bolster::card::press::PressCard;
use bolster::feed::FeedWriter;
use bolster::recording::{Reader, Row};
use bolster::session::{Framer, ROWS_AHEAD, SampleRate};
use bolster_core::frame::Frame;
use bolster_core::press::Columns;
use bolster_core::stroke::StrokeSource;
use bolster_link::feed::{Before, HEADER_LEN, Header, TrialDie, decode_record, record_len};
use bolster_link::trial::{Trial, TrialMonitor, count_example, press};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["random", seed, frames, folder] => all_random(seed.parse()?, frames.parse()?, Path::new(folder)),
        ["recording", card, recording, out] => {
            let card = PressCard::load(Path::new(card))?;
            let (recording, out) = (Path::new(recording), Path::new(out));
            match card.spec.columns {
                Columns::Total => from_recording::<1>(&card, recording, out),
                Columns::LeftRight => from_recording::<2>(&card, recording, out),
                Columns::Corners => from_recording::<4>(&card, recording, out),
            }
        }
        ["judge", feed] => {
            let feed = Path::new(feed);
            let header = std::fs::read(feed)?;
            let header = header.first_chunk::<HEADER_LEN>().ok_or("the feed is too short")?;
            match Header::decode(header)?.press.columns {
                Columns::Total => judge::<1>(feed),
                Columns::LeftRight => judge::<2>(feed),
                Columns::Corners => judge::<4>(feed),
            }
        }
        ["rainflow"] => {
            count_example(|range, mean, cycles| {
                let [a, b, c] = [range, mean, cycles].map(f32::to_bits);
                let [range, mean, cycles] = [range, mean, cycles].map(|value| (10.0 * value) as i32);
                println!("{a:08x} {b:08x} {c:08x} range {range} mean {mean} cycles {cycles}");
            });
            Ok(())
        }
        ["noise", seed, count] => line::noise(seed.parse()?, count.parse()?),
        ["watchdog", case, program] => watch::watchdog(case, Path::new(program)),
        ["talk", program] => watch::talk(Path::new(program)),
        ["hostile", seed, count, program] => {
            watch::hostile(seed.parse()?, count.parse()?, Path::new(program))
        }
        ["line", captured, feed] => line::compare(Path::new(captured), Path::new(feed)),
        _ => Err("usage: feed random SEED FRAMES FOLDER | feed recording PRESS.toml RECORDING.csv OUT.feed \
                  | feed judge FEED | feed noise SEED COUNT | feed line CAPTURED FEED | feed rainflow | feed watchdog frames|channel|task PROGRAM | feed talk PROGRAM \
                  | feed hostile SEED COUNT PROGRAM"
            .into()),
    }
}

fn all_random(seed: u64, frames: u32, folder: &Path) -> Result<(), Box<dyn Error>> {
    let sources = [
        ("encoder", StrokeSource::Encoder),
        ("index", StrokeSource::Index),
        ("load", StrokeSource::Load),
        ("marked", StrokeSource::Marked),
    ];
    let each = frames.div_ceil(3 * sources.len() as u32);
    for (number, (name, source)) in (0..).zip(sources) {
        let seed = seed + 10 * number;
        let out = |columns: usize| folder.join(format!("random-{columns}-{name}.feed"));
        run(
            &random::header(Columns::Total, source, each),
            random::frames::<1>(seed + 1, source, each, false),
            &out(1),
        )?;
        run(
            &random::header(Columns::LeftRight, source, each),
            random::frames::<2>(seed + 2, source, each, false),
            &out(2),
        )?;
        run(
            &random::header(Columns::Corners, source, each),
            random::frames::<4>(seed + 4, source, each, false),
            &out(4),
        )?;
    }
    // What controllers are shown: a clock that never fails and channels that do not freeze, for else the watchdog
    // restarts them.
    let header = random::header(Columns::Corners, StrokeSource::Encoder, each);
    let frames = random::frames::<4>(seed + 100, StrokeSource::Encoder, each, true);
    run(&header, frames, &folder.join("sound-4-encoder.feed"))
}

/// Writes a feed and judges it.
fn run<const N: usize>(
    header: &Header,
    frames: impl Iterator<Item = (Before, Frame<N>)>,
    out: &Path,
) -> Result<(), Box<dyn Error>> {
    let mut feed = FeedWriter::new()?;
    for (before, frame) in frames {
        feed.push(before, &frame)?;
    }
    feed.finish(header, &mut BufWriter::new(File::create(out)?))?;
    judge::<N>(out)
}

/// Judges a feed and says what became of it.
fn judge<const N: usize>(path: &Path) -> Result<(), Box<dyn Error>> {
    let bytes = std::fs::read(path)?;
    let (header, records) = bytes.split_first_chunk::<HEADER_LEN>().ok_or("the feed is too short")?;
    let header = Header::decode(header)?;
    if records.len() != header.records as usize * record_len(N) {
        return Err("the feed has other records than its header says".into());
    }
    let mut monitor = Box::new(TrialMonitor::<N>::new(press(&header)?));
    let mut trial = Trial::new(&mut monitor, &header);
    for record in records.chunks_exact(record_len(N)) {
        let (before, frame) = decode_record(record)?;
        trial.step(before, &frame, |monitor, frame| monitor.step(frame));
    }
    let (strokes, digest) = trial.close();
    println!(
        "{} columns {N} frames {} strokes {strokes} digest {digest:016x}",
        path.display(),
        header.records
    );
    Ok(())
}

fn from_recording<const N: usize>(card: &PressCard, path: &Path, out: &Path) -> Result<(), Box<dyn Error>> {
    let mut reader = Reader::open(path)?;
    reader.expect_columns(card.spec.columns)?;
    let recorded = *reader.header();
    let mut rows = Vec::new();
    let mut row = Row::default();
    while reader.next(&mut row)? {
        rows.push(row);
    }
    let rate = SampleRate::of(card, &recorded, &rows[..rows.len().min(ROWS_AHEAD)]);
    // Loads of a recording, taken at their word; raw counts would need its calibration and become no feed.
    let (mut framer, settings) = Framer::<N>::new(card, false, rate)?;
    let header = Header {
        press: card.spec,
        source: StrokeSource::Marked,
        timed: rate.is_measured,
        repeats: false,
        die: TrialDie::Shape,
        records: u32::try_from(rows.len())?,
        sample_hz: rate.hz,
        kn_per_count: settings.calibration.kn_per_count[0][0],
    };
    let frames = rows.iter().map(|row| {
        let (before, frame) = framer.next(row);
        // One acknowledgement a stroke, so that a trip does not hide the rest; judged within frames, as on a press.
        (Before { acknowledge: before.mark, finish: false, ..before }, frame)
    });
    run(&header, frames, out)
}
