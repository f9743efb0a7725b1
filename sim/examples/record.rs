//! Writes a scenario's recording and truth: `cargo run -p bolster-sim --example record -- NAME STROKES OUT-PREFIX`.

use bolster_sim::recording::{RecordingForm, RecordingWriter, TruthWriter};
use bolster_sim::scenario::{self, Scenario};
use bolster_sim::simulator::Simulator;
use std::{fs::File, io::BufWriter};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [name, strokes, prefix] = arguments.as_slice() else {
        return Err("give NAME STROKES OUT-PREFIX; NAME is a built-in scenario or a file".into());
    };
    let text = match scenario::find(name) {
        Some(text) => text.to_owned(),
        None => std::fs::read_to_string(name)?,
    };
    let mut wanted = Scenario::from_toml(&text)?;
    wanted.strokes = strokes.parse()?;
    let run = Simulator::new(&wanted)?;
    let form = RecordingForm { time: true, speed: true, ..RecordingForm::default() };
    let recording = BufWriter::new(File::create(format!("{prefix}.csv"))?);
    let mut recording = RecordingWriter::new(recording, run.press().columns, form)?;
    let mut truth = TruthWriter::new(BufWriter::new(File::create(format!("{prefix}.truth.csv"))?))?;
    let started = std::time::Instant::now();
    let mut spent = std::time::Duration::ZERO;
    let mut strokes = run.into_iter();
    loop {
        let before = std::time::Instant::now();
        let Some(stroke) = strokes.next() else { break };
        spent += before.elapsed();
        recording.write(&stroke)?;
        truth.write(&stroke)?;
        let e = stroke.energy;
        if stroke.number <= 3 {
            println!(
                "stroke {}: {} samples, peak {:.0} kN, reverse {:.0} kN, crank {:.0} J, die {:.0}, damped {:.0}, stored {:.1}, open by {:.2} %",
                stroke.number,
                stroke.samples.len(),
                stroke.truth.peak_kn,
                stroke.truth.reverse_kn,
                e.crank_j,
                e.die_j,
                e.damped_j,
                e.stored_j,
                100.0 * (e.crank_j - e.die_j - e.damped_j - e.stored_j) / e.crank_j
            );
        }
    }
    recording.finish()?;
    truth.finish()?;
    println!("{name}: simulated in {spent:?}, with writing {:?}", started.elapsed());
    Ok(())
}
