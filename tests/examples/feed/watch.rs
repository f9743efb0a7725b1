//! An emulated controller under observation: its line spoken to by the host's library, its watchdog provoked, its permit
//! seen in the emulator's trace.

use std::error::Error;
use std::fs;
use std::io::{BufWriter, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use bolster::card::die::DieCard;
use bolster::controller::{Client, ClientError, Heard, settings};
use bolster::feed::FeedWriter;
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::press::{Columns, PressSpec};
use bolster_core::settings::PressSettings;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};
use bolster_core::verdict::Reason;
use bolster_link::feed::{Before, Header, TrialDie, decode_record, record_len};
use bolster_link::message::{Cause, JournalEntry, JournalLine, Refusal, Request};
use bolster_link::packet::{WIRE_MAX, encode};
use bolster_link::trial::invented_press;
use rand::{RngExt, SeedableRng};

type Outcome = Result<(), Box<dyn Error>>;

const HZ: f64 = 10_000.0;
/// 60 strokes a minute.
const TURN: u32 = 10_000;
/// Frames of a feed: as many as the board's second RAM takes beside its flash.
const FRAMES: u32 = 560_000;
/// The stroke of the calm feed in which the press is overloaded.
const OVERLOADED: u32 = 4;
/// Dies sent one after the other while the press runs.
const DIES: u32 = 3;
/// How long anything may take.
const PATIENCE: Duration = Duration::from_secs(240);

fn press() -> PressSpec {
    PressSpec { speed_spm: [30.0, 90.0], ..invented_press(Columns::Corners) }
}

/// One frame of a press that runs well, but for one stroke.
fn frame(n: u32, overload: bool) -> Frame<4> {
    let turn = f64::from(n % TURN) / f64::from(TURN);
    let phase = (turn - 0.35) / 0.2;
    let top = if overload && n / TURN == OVERLOADED { 1.3 } else { 0.25 };
    let load = if (0.0..1.0).contains(&phase) { top * (phase * std::f64::consts::PI).sin() } else { 0.0 };
    // A fixed hash for noise: what was sent can be told from the tick.
    let noise = |column: u32| (n.wrapping_mul(2_654_435_761).rotate_left(5 * column) >> 24) as i32 - 128;
    let counts = std::array::from_fn(|column| (load * 500_000.0) as i32 + noise(column as u32));
    let crank = CrankReading::Angle(CrankAngle::from_degrees(360.0 * turn));
    Frame { tick: Tick(n), counts, crank, sensors: 0 }
}

/// The frame of a feed with an overload that begins again and again.
fn fed(tick: Tick) -> Frame<4> {
    Frame { tick, ..frame(tick.0 % FRAMES, true) }
}

/// What the controller is fed with.
#[derive(Clone, Copy)]
enum Frames {
    /// Over and over, whatever time the host takes: in every lap one stroke is an overload, or none.
    Endless { overload: bool },
    /// So many.
    End(u32),
    /// All that there is room for, column 2 frozen from a frame on.
    Frozen(u32),
}

/// Writes a feed.
fn feed(path: &Path, frames: Frames) -> Outcome {
    let (count, overload, frozen_from) = match frames {
        Frames::Endless { overload } => (FRAMES, overload, u32::MAX),
        Frames::End(count) => (count, false, u32::MAX),
        Frames::Frozen(from) => (FRAMES, false, from),
    };
    let header = Header {
        press: press(),
        source: StrokeSource::Encoder,
        timed: true,
        repeats: matches!(frames, Frames::Endless { .. }),
        die: TrialDie::None,
        records: 0,
        sample_hz: HZ,
        kn_per_count: 1e-3,
    };
    let mut writer = FeedWriter::new()?;
    for n in 0..count {
        let mut frame = frame(n, overload);
        if n >= frozen_from {
            frame.counts[2] = 90_000;
        }
        writer.push(Before::default(), &frame)?;
    }
    Ok(writer.finish(&header, &mut BufWriter::new(fs::File::create(path)?))?)
}

/// How fast an emulated controller runs.
#[derive(Clone, Copy)]
enum Pace {
    /// As fast as it can.
    Free,
    /// No faster than the clock on the wall: there is time to acknowledge before the feed ends again.
    Wall,
}

impl Pace {
    fn option(self) -> &'static str {
        match self {
            Self::Free => "shift=3,sleep=off",
            Self::Wall => "shift=3,sleep=on,align=on",
        }
    }
}

/// A running controller; it ends when this is dropped.
struct Board {
    child: Child,
    trace: PathBuf,
    _folder: tempfile::TempDir,
}

impl Drop for Board {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Board {
    fn start(program: &Path, frames: Frames, pace: Pace) -> Result<(Self, TcpStream), Box<dyn Error>> {
        let folder = tempfile::tempdir()?;
        let (path, trace) = (folder.path().join("feed"), folder.path().join("trace"));
        feed(&path, frames)?;
        let listener = TcpListener::bind(("127.0.0.1", 0))?;
        let port = listener.local_addr()?.port();
        let child = Command::new("qemu-system-arm")
            .args(["-M", "mps2-an386", "-nodefaults", "-display", "none", "-monitor", "none"])
            // 2^3 ns an instruction: frames and instructions keep their ratio however busy this machine is.
            .args(["-icount", pace.option(), "-serial", "null", "-serial"])
            .arg(format!("tcp:127.0.0.1:{port},nodelay=on"))
            .arg("-device")
            .arg(format!("loader,file={},addr=0x21000000,force-raw=on", path.display()))
            .args(["-trace", "mps2_fpgaio_*", "-D"])
            .arg(&trace)
            .arg("-kernel")
            .arg(program)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()?;
        let board = Self { child, trace, _folder: folder };
        let (line, _) = listener.accept()?;
        line.set_nodelay(true)?;
        // Committing settings takes the controller a while, on a busy machine several seconds.
        line.set_read_timeout(Some(Duration::from_secs(1)))?;
        Ok((board, line))
    }

    /// Whether the permit's coil was energised before the last reset, and was off when it came.
    fn permit_fell(&self) -> Result<bool, Box<dyn Error>> {
        let trace = fs::read_to_string(&self.trace)?;
        let lines: Vec<&str> = trace.lines().collect();
        let reset = lines.iter().rposition(|line| line.contains("mps2_fpgaio_reset")).unwrap_or(0);
        let coil = |line: &&str| {
            let value = line.split("mps2_fpgaio_write").nth(1)?.contains("offset 0x0 ").then_some(*line)?;
            let data = value.split("data 0x").nth(1)?.split_whitespace().next()?;
            Some(u64::from_str_radix(data, 16).ok()? & 1 == 1)
        };
        let before: Vec<bool> = lines.iter().take(reset).filter_map(coil).collect();
        Ok(before.contains(&true) && before.last() == Some(&false))
    }
}

/// Waits until the controller has started again; gives why.
fn restarted(client: &mut Client<TcpStream>, boots: u32) -> Result<Cause, Box<dyn Error>> {
    let began = Instant::now();
    while client.hello().boots < boots {
        if began.elapsed() > PATIENCE {
            return Err("the controller was not restarted".into());
        }
        // One that hangs does not answer until it has been restarted.
        match client.greet() {
            Ok(()) | Err(ClientError::Silent) => while client.hear()?.is_some() {},
            Err(why) => return Err(why.into()),
        }
    }
    Ok(client.hello().cause)
}

fn must(holds: bool, what: &str) -> Outcome {
    if holds { Ok(()) } else { Err(what.into()) }
}

/// What the journal holds between the start before the last and the last one.
fn journal(client: &mut Client<TcpStream>, cause: Cause) -> Result<Vec<JournalLine>, Box<dyn Error>> {
    let lines = client.journal(0)?;
    let follow = lines.windows(2).all(|pair| pair[1].number == pair[0].number + 1);
    must(follow, "the journal has a hole")?;
    let begins = |line: &JournalLine, boots: u32, why: Cause| {
        line.entry == JournalEntry::Started { boots, cause: why }
    };
    let first = lines.iter().position(|line| begins(line, 1, Cause::Power)).ok_or("no first start")?;
    let again =
        lines.iter().position(|line| begins(line, 2, cause)).ok_or("the restart is not journalled")?;
    Ok(lines[first + 1..again].to_vec())
}

/// After the restart: no permit without a person, and with one only while the channel is not frozen again.
fn back(client: &mut Client<TcpStream>, case: &str) -> Result<&'static str, Box<dyn Error>> {
    must(client.status()?.permit != 1, "the permit came back without a person")?;
    match client.acknowledge() {
        Ok(()) => {
            let permit = client.status()?.permit;
            // It may freeze again as soon as it was acknowledged.
            must(
                permit == 1 || (case == "channel" && permit == 2),
                "the permit did not come back with a person",
            )?;
            Ok("back after acknowledgement")
        }
        Err(ClientError::Refused(Refusal::StillWrong(_))) if case == "channel" => {
            must(client.status()?.permit != 1, "the permit came back although the channel is frozen")?;
            Ok("acknowledgement refused while the channel is frozen")
        }
        Err(why) => Err(why.into()),
    }
}

/// One way to provoke the watchdog.
pub(crate) fn watchdog(case: &str, program: &Path) -> Outcome {
    let (frames, wanted) = match case {
        "frames" => (Frames::End(60_000), Cause::FramesStopped),
        "channel" => (Frames::Frozen(40_000), Cause::ChannelFrozen(2)),
        "task" => (Frames::Endless { overload: false }, Cause::TaskStuck),
        _ => return Err("no such case".into()),
    };
    let (board, line) = Board::start(program, frames, Pace::Wall)?;
    let mut client = Client::connect(line)?;
    must(client.hello().cause == Cause::Power, "it does not start from power")?;
    let mut boots = 2;
    let then = loop {
        let cause = restarted(&mut client, boots)?;
        must(cause == wanted, &format!("restarted for {cause:?}"))?;
        must(board.permit_fell()?, "the permit was not withdrawn before the reset")?;
        let then = back(&mut client, case);
        client.greet()?;
        if client.hello().boots == boots {
            break then?;
        }
        // The feed began again with the controller; on a host so slow the same has happened once more.
        boots = client.hello().boots;
        must(boots < 20, "it is restarted again and again before anybody can acknowledge")?;
    };
    let before = journal(&mut client, wanted)?;
    if case == "channel" {
        let stuck = |line: &JournalLine| {
            matches!(line.entry, JournalEntry::Event(event)
                if event.column == Some(2) && event.reason == Some(Reason::GaugeStuck as u8))
        };
        must(before.iter().any(stuck), "that the channel stood still is not journalled")?;
    }
    println!(
        "{case}: permit off, restarted for {wanted:?}, journalled ({} lines before), {then}",
        before.len()
    );
    Ok(())
}

/// Everything that can be asked of a controller by its line.
pub(crate) fn talk(program: &Path) -> Outcome {
    let (_board, line) = Board::start(program, Frames::Endless { overload: true }, Pace::Free)?;
    let mut client = Client::connect(line)?;
    must(client.hello().columns == 4 && client.hello().settings == 0, "it starts otherwise")?;
    client.set_time(1_767_225_600_000)?;
    // The press as it is, and a die with a learned shape: taken where it is, without a restart, between two strokes.
    let die = DieCard::load_alone(Path::new("sample-signatures/dies/five-station.toml"))?;
    let settings_of = |press: PressSpec, die: Option<&DieCard>| {
        let settings = PressSettings::<4>::usual(press, HZ, 1e-3, StrokeSource::Encoder);
        settings::bytes(settings, die, true, HZ)
    };
    let bytes = settings_of(press(), Some(&die))?;
    // More than once, for the stroke under way may be anywhere: the old die judges it to its end.
    for generation in 1..=DIES {
        client.put_settings(&bytes)?;
        while client.hello().settings < generation && client.hello().boots == 1 {
            client.greet()?;
        }
        let hello = client.hello();
        must(hello.boots == 1, &format!("a die restarted it: start {}, {:?}", hello.boots, hello.cause))?;
        must(hello.settings == generation, "other settings are in effect than were sent")?;
        must(client.status()?.missed == 0, "frames were missed while a die was taken")?;
    }
    eprintln!("settings are there");
    // A rating below zero: whole, but nothing that can be.
    let mut broken = bytes.get(..bolster_link::settings::FIXED_MAX).unwrap_or(&bytes).to_vec();
    broken[8 + 7] ^= 0x80;
    must(client.put_settings(&broken).is_err(), "impossible settings were taken")?;
    client.greet()?;
    must(client.hello().settings == DIES, "impossible settings took effect")?;
    eprintln!("settings are in effect, broken ones refused");
    // Live frames are those of the feed.
    client.live(50)?;
    let (mut live, mut kept) = (0, false);
    let mut strokes = 0;
    let began = Instant::now();
    while (live < 20 || !kept || strokes < 6) && began.elapsed() < PATIENCE {
        match client.hear()? {
            Some(Heard::Live(record)) => {
                let (_, said) = decode_record::<4>(&record)?;
                must(said == fed(said.tick), "a live frame is not the one that was fed")?;
                live += 1;
                if live == 20 {
                    client.live(0)?;
                }
            }
            Some(Heard::Stroke(stroke)) => {
                must(stroke.summary.number == strokes, "strokes are missing")?;
                strokes += 1;
                kept |= stroke.summary.verdict == 3;
            }
            Some(Heard::StrokesLost(from, to)) => return Err(format!("strokes {from} to {to} lost").into()),
            _ => {}
        }
    }
    must(live >= 20 && kept && strokes >= 6, "too few live frames or strokes, or none tripped")?;
    // The kept stroke: as many frames as there is room for, one after the other, as they were fed.
    let records = client.kept()?;
    let frames: Vec<Frame<4>> = records
        .chunks(record_len(4))
        .map(|record| decode_record(record).map(|(_, frame)| frame))
        .collect::<Result<_, _>>()?;
    must(frames.len() == bolster_link::trial::KEEP, "the kept stroke is not whole")?;
    must(frames.windows(2).all(|pair| pair[1].tick.0 == pair[0].tick.0 + 1), "kept frames are missing")?;
    must(frames.iter().all(|kept| *kept == fed(kept.tick)), "a kept frame is not the one fed")?;
    eprintln!("live frames and a kept stroke");
    // Another press: the controller starts anew with it, out of its flash.
    let other = PressSpec { rated_kn: 1900.0, ..press() };
    client.put_settings(&settings_of(other, None)?)?;
    // Whoever acknowledges without having noticed is refused, and hears of the start.
    let began = Instant::now();
    let start = loop {
        must(began.elapsed() < PATIENCE, "the new press did not restart it")?;
        match client.acknowledge() {
            Err(ClientError::StartedAnew(start)) => break start,
            // Before the start, or while it goes on.
            Ok(()) | Err(ClientError::Refused(_) | ClientError::Silent) => {}
            Err(why) => return Err(why.into()),
        }
    };
    must(start == 2, "it has started more than once")?;
    let cause = restarted(&mut client, 2)?;
    must(cause == Cause::Settings && client.hello().settings == DIES + 1, "the new press is not in effect")?;
    let lines = journal(&mut client, Cause::Settings)?;
    let times = lines.iter().filter(|line| matches!(line.entry, JournalEntry::Time { .. })).count();
    must(times == 1, "the time is not in the journal")?;
    let status = client.status()?;
    must(status.missed == 0, "frames were missed")?;
    println!(
        "settings of {} bytes with read-back, die without and press with a restart (an acknowledgement meant for the start before refused), {live} live frames, a kept stroke of {} \
         frames, {} journal lines, stack {} bytes, no frame missed, latest {} ticks of 40 ns",
        bytes.len(),
        frames.len(),
        lines.len(),
        status.stack,
        status.latest
    );
    Ok(())
}

/// A peer that sends anything but sense, while frames must be done in time.
pub(crate) fn hostile(seed: u64, count: usize, program: &Path) -> Outcome {
    let (_board, line) = Board::start(program, Frames::Endless { overload: false }, Pace::Free)?;
    let mut out = line.try_clone()?;
    let mut client = Client::connect(line)?;
    // Damaged, not merely out of date.
    let start = client.hello().boots;
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let noise = std::thread::spawn(move || -> std::io::Result<usize> {
        let mut sent = 0;
        while sent < count {
            let mut bytes = garbage(&mut rng, start);
            // Doubled, and out of order.
            if rng.random_ratio(1, 4) {
                let again = bytes.clone();
                bytes.splice(0..0, again.into_iter().rev());
            }
            out.write_all(&bytes)?;
            sent += bytes.len();
        }
        out.write_all(&[0])?;
        Ok(sent)
    });
    let mut strokes = 0;
    // A few at a time: on a quick machine strokes come as fast as they are heard, until the feed ends.
    let mut heard = |client: &mut Client<TcpStream>| -> Outcome {
        for _ in 0..4 {
            let Some(what) = client.hear()? else { break };
            match what {
                Heard::Stroke(stroke) => {
                    must(stroke.summary.number == strokes, "a stroke is missing")?;
                    strokes += 1;
                }
                Heard::StrokesLost(from, to) => return Err(format!("strokes {from} to {to} lost").into()),
                _ => {}
            }
        }
        Ok(())
    };
    while !noise.is_finished() {
        heard(&mut client)?;
    }
    let sent = noise.join().map_err(|_| "the noise failed")??;
    // What is sent now waits behind all the noise that the controller has not read yet.
    let began = Instant::now();
    let status = loop {
        heard(&mut client)?;
        match client.status() {
            Err(ClientError::Silent) if began.elapsed() < PATIENCE => {}
            status => break status?,
        }
    };
    client.greet()?;
    let hello = client.hello();
    must(hello.boots == 1, &format!("it was restarted: start {}, {:?}", hello.boots, hello.cause))?;
    must(client.hello().settings == 0, "noise was taken for settings")?;
    must(status.missed == 0, &format!("{} frames were missed", status.missed))?;
    must(status.refused > 100, "the noise held no packets")?;
    println!(
        "{sent} hostile bytes, {} packets refused, {strokes} strokes in order, {} frames, none missed, latest {} ticks of 40 ns",
        status.refused, status.frames, status.latest
    );
    Ok(())
}

/// Random bytes, or a request cut short or with a bit flipped.
fn garbage(rng: &mut rand_chacha::ChaCha8Rng, start: u32) -> Vec<u8> {
    if rng.random_ratio(1, 2) {
        return (0..rng.random_range(1..60))
            .map(|_| if rng.random_ratio(1, 20) { 0 } else { rng.random() })
            .collect();
    }
    let requests = [
        Request::CommitSettings { start, len: 700, check: 1 },
        Request::PutSettings { start, from: 0, bytes: &[0; 40] },
        Request::KeptFrom(3),
        Request::Acknowledge(start),
        Request::SetTime { start, unix_ms: 1 },
    ];
    let mut wire = [0; WIRE_MAX];
    let request = requests[rng.random_range(0..requests.len())];
    let len = encode(rng.random(), &request, &mut wire).unwrap_or(0);
    let mut bytes = wire[..len].to_vec();
    if rng.random_ratio(1, 2) {
        bytes.truncate(rng.random_range(1..len));
    } else {
        let bit = rng.random_range(0..8 * (len - 1));
        bytes[bit / 8] ^= 1 << (bit % 8);
    }
    bytes
}
