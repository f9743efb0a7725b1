//! What a controller said on its line, against what the host finds in the same feed.

use std::error::Error;
use std::io::Write;
use std::path::Path;

use bolster_core::verdict::FINDINGS;
use bolster_link::feed::{HEADER_LEN, Header, decode_record, record_len};
use bolster_link::message::{EventLine, JudgedStroke, Notice};
use bolster_link::packet::Decoder;
use bolster_link::trial::{Trial, TrialMonitor, press};
use rand::{RngExt, SeedableRng};

/// Writes random bytes to standard output.
pub(crate) fn noise(seed: u64, count: usize) -> Result<(), Box<dyn Error>> {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let bytes: Vec<u8> = (0..count).map(|_| if rng.random_ratio(1, 20) { 0 } else { rng.random() }).collect();
    Ok(std::io::stdout().write_all(&bytes)?)
}

/// Strokes and events in order.
#[derive(Default)]
struct Said {
    strokes: Vec<JudgedStroke>,
    events: Vec<EventLine>,
}

/// Fails unless the controller said every stroke and event that the host finds, and nothing else.
pub(crate) fn compare(captured: &Path, feed: &Path) -> Result<(), Box<dyn Error>> {
    let (mut said, mut decoder, mut packets) = (Said::default(), Decoder::default(), 0_u16);
    for byte in std::fs::read(captured)? {
        let Some(packet) = decoder.push(byte) else { continue };
        let packet = packet?;
        if packet.number != packets {
            return Err(format!("packet {} where {packets} was due", packet.number).into());
        }
        packets = packets.wrapping_add(1);
        match packet.message()? {
            Notice::Stroke(summary) => {
                said.strokes.push(JudgedStroke { summary, findings: [None; FINDINGS] });
            }
            Notice::Findings { stroke, from, list } => {
                let judged = said.strokes.last_mut().filter(|judged| judged.summary.number == stroke);
                let judged = judged.ok_or("findings of another stroke than the last")?;
                for (to, finding) in judged.findings.iter_mut().skip(usize::from(from)).zip(list) {
                    *to = finding;
                }
            }
            Notice::Event(event) => said.events.push(event),
            Notice::StrokesLost(from, to) => return Err(format!("strokes {from} to {to} were lost").into()),
            Notice::EventsLost(from, to) => return Err(format!("events {from} to {to} were lost").into()),
            // Noise that happens to be a request, or an answer to one, does not concern strokes and events.
            _ => {}
        }
    }
    let host = judge(&std::fs::read(feed)?)?;
    if said.strokes != host.strokes {
        return Err(format!(
            "{} strokes said, {} found by the host, or they differ",
            said.strokes.len(),
            host.strokes.len()
        )
        .into());
    }
    if said.events != host.events {
        return Err(format!(
            "{} events said, {} found by the host, or they differ",
            said.events.len(),
            host.events.len()
        )
        .into());
    }
    println!(
        "{packets} packets, {} strokes and {} events, all as on the host",
        host.strokes.len(),
        host.events.len()
    );
    Ok(())
}

fn judge(feed: &[u8]) -> Result<Said, Box<dyn Error>> {
    let (header, records) = feed.split_first_chunk::<HEADER_LEN>().ok_or("the feed is too short")?;
    let header = Header::decode(header)?;
    let mut monitor = Box::new(TrialMonitor::<4>::new(press(&header)?));
    let mut trial = Trial::new(&mut monitor, &header);
    let mut said = Said::default();
    let mut next_event = 0;
    for record in records.chunks_exact(record_len(4)) {
        let (before, frame) = decode_record(record)?;
        trial.step(before, &frame, |monitor, frame| {
            let step = monitor.step(frame);
            if step.reported
                && let Some(report) = monitor.report()
            {
                said.strokes.push(JudgedStroke::of(report));
            }
            let fresh = monitor.journal().iter().filter(|event| event.number >= next_event);
            said.events.extend(fresh.map(EventLine::from));
            next_event = monitor.journal().count();
            step
        });
    }
    Ok(said)
}
