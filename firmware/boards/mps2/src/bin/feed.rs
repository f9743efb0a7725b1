//! Runs the feed named on the command line through the monitor and prints its strokes and digest; with `rainflow`
//! instead of a name it counts the published example.
#![no_std]
#![no_main]

use bolster_core::frame::Frame;
use bolster_core::monitor::Step;
use bolster_link::feed::{HEADER_LEN, Header, decode_record, record_len};
use bolster_link::trial::{Trial, TrialMonitor, count_example, press};
use bolster_mps2::{measure, stack};
use core::ffi::CStr;
use semihosting::fs::File;
use semihosting::io::Read;
use semihosting::{println, process};
use static_cell::StaticCell;

/// A whole number of records of every length: 16, 20 and 28 bytes.
const BUFFER: usize = 16 * 5 * 7 * 4;

/// The one monitor of a run: there is no room for one of each.
// There is no heap to box the large ones in, and only one is ever made.
#[allow(clippy::large_enum_variant)]
enum Any {
    One(TrialMonitor<1>),
    Two(TrialMonitor<2>),
    Four(TrialMonitor<4>),
}

static MONITOR: StaticCell<Any> = StaticCell::new();
static BYTES: StaticCell<[u8; BUFFER]> = StaticCell::new();

#[cortex_m_rt::entry]
fn main() -> ! {
    stack::paint();
    match run() {
        Ok(()) => process::exit(0),
        Err(what) => {
            println!("feed: {what}");
            process::exit(1)
        }
    }
}

/// A stack that ran over, above all.
#[cortex_m_rt::exception]
#[allow(unsafe_code)]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    process::exit(70)
}

fn run() -> Result<(), &'static str> {
    let args = semihosting::experimental::env::args::<512>().map_err(|_| "command line too long")?;
    let path = (&args).into_iter().next().ok_or("no feed named")?.map_err(|_| "a name is not text")?;
    if path == "rainflow" {
        // Bit for bit, and in tenths to be read.
        count_example(|range, mean, cycles| {
            let [a, b, c] = [range, mean, cycles].map(f32::to_bits);
            let [range, mean, cycles] = [range, mean, cycles].map(|value| (10.0 * value) as i32);
            println!("{a:08x} {b:08x} {c:08x} range {range} mean {mean} cycles {cycles}");
        });
        return Ok(());
    }
    let mut name = [0; 256];
    name.get_mut(..path.len()).ok_or("the name is too long")?.copy_from_slice(path.as_bytes());
    let name = CStr::from_bytes_until_nul(&name).map_err(|_| "the name is too long")?;
    let mut file = File::open(name).map_err(|_| "cannot be opened")?;

    let mut header = [0; HEADER_LEN];
    let got = fill(&mut file, &mut header)?;
    if got < HEADER_LEN {
        return Err("ends within its header");
    }
    let header = Header::decode(&header).map_err(|_| "has a damaged header")?;
    let bytes = BYTES.init([0; BUFFER]);
    let mut watch = measure::Stopwatch::start();
    let any = match header.press.columns.count() {
        1 => press(&header).map(|press| MONITOR.init_with(|| Any::One(TrialMonitor::new(press)))),
        2 => press(&header).map(|press| MONITOR.init_with(|| Any::Two(TrialMonitor::new(press)))),
        _ => press(&header).map(|press| MONITOR.init_with(|| Any::Four(TrialMonitor::new(press)))),
    };
    let (columns, (strokes, digest)) = match any.map_err(|_| "its press cannot be")? {
        Any::One(monitor) => {
            (1, run_trial(&mut file, bytes, &header, monitor, |monitor, frame| monitor.step(frame))?)
        }
        Any::Two(monitor) => {
            (2, run_trial(&mut file, bytes, &header, monitor, |monitor, frame| monitor.step(frame))?)
        }
        Any::Four(monitor) => {
            let step = |monitor: &mut _, frame: &_| watch.time(|| measure::step(monitor, frame));
            (4, run_trial(&mut file, bytes, &header, monitor, step)?)
        }
    };
    println!("columns {columns} frames {} strokes {strokes} digest {digest:016x}", header.records);
    let (calls, sum, [least, greatest]) = watch.read();
    println!("timed {calls} ticks {sum} least {least} greatest {greatest}");
    println!("stack {} static {}", stack::peak(), stack::static_bytes());
    Ok(())
}

fn run_trial<const N: usize>(
    file: &mut File,
    bytes: &mut [u8; BUFFER],
    header: &Header,
    monitor: &mut TrialMonitor<N>,
    mut step: impl FnMut(&mut TrialMonitor<N>, &Frame<N>) -> Step,
) -> Result<(u32, u64), &'static str> {
    let mut trial = Trial::new(monitor, header);
    let mut left = header.records;
    while left > 0 {
        let got = fill(file, bytes)?;
        if got == 0 {
            return Err("ends before its last record");
        }
        for record in bytes.get(..got).unwrap_or(&[]).chunks(record_len(N)).take(left as usize) {
            let (before, frame) = decode_record(record).map_err(|_| "holds a damaged record")?;
            trial.step(before, &frame, &mut step);
            left -= 1;
        }
    }
    Ok(trial.close())
}

/// Reads until the buffer is full or the file ends.
fn fill(file: &mut File, buffer: &mut [u8]) -> Result<usize, &'static str> {
    let mut got = 0;
    while let Some(rest) = buffer.get_mut(got..)
        && !rest.is_empty()
    {
        match file.read(rest).map_err(|_| "cannot be read")? {
            0 => break,
            more => got += more,
        }
    }
    Ok(got)
}
