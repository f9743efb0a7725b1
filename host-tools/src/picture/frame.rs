//! Frame health as a picture: spectra and decays of the last recording, and what moved over all of them.

use super::{Caption, label};
use crate::figure::{Decay, LoadUnit, Moved, Spectrum, SpectrumColumn, SpectrumPeak};
use crate::spectrum::{FrameHealth, Level, PartHealth};

/// The picture of a frame's health; none where no recording shows free vibration.
#[must_use]
pub fn frame_health(health: &FrameHealth, unit: LoadUnit, caption: &Caption) -> Option<Spectrum> {
    let recording = health.recordings.iter().rev().find(|recording| recording.free_part.is_some())?;
    let modes = || recording.ringing.iter().flat_map(|ringing| &ringing.modes);
    let hz = recording.shown.iter().map(|shape| &shape.spectrum[0]).find(|hz| hz.len() > 1)?;
    let fastest = modes().map(|of| of.mode.hz).reduce(f64::max).unwrap_or(f64::INFINITY);
    let shown = hz.partition_point(|hz| *hz <= 3.0 * fastest).max(2);
    let columns = recording
        .ringing
        .iter()
        .zip(&recording.shown)
        .map(|(ringing, shape)| SpectrumColumn {
            name: label(&ringing.channel),
            amplitude_kn: shape.spectrum[1].iter().take(shown).copied().collect(),
            peaks: ringing
                .modes
                .iter()
                .map(|of| SpectrumPeak { hz: of.mode.hz, damping: Some(of.mode.damping) })
                .collect(),
            note: if ringing.modes.is_empty() { "not enough ringing".to_owned() } else { String::new() },
            decay: decay(&shape.decay),
        })
        .collect();
    let parts: Vec<&PartHealth> = health.recordings.iter().flat_map(|recording| &recording.parts).collect();
    Some(Spectrum {
        title: format!("Free vibration of the frame of press {}", health.press),
        subtitle: format!(
            "{}, {}; one stroke's decay with the fitted envelope",
            caption.subtitle, recording.recording
        ),
        unit,
        hz: hz.iter().take(shown).copied().collect(),
        columns,
        moved: moved(health, &parts),
    })
}

fn decay([time, load, envelope]: &[Vec<f64>; 3]) -> Option<Decay> {
    let time_ms: Vec<f64> = time.iter().map(|t| 1000.0 * t).collect();
    (time.len() > 1).then(|| Decay { time_ms, load_kn: load.clone(), envelope_kn: envelope.clone() })
}

fn moved(health: &FrameHealth, parts: &[&PartHealth]) -> Vec<Moved> {
    if parts.len() < 2 {
        return Vec::new();
    }
    let mut at = 0.0;
    let middles: Vec<f64> = parts
        .iter()
        .map(|part| {
            at += part.strokes as f64;
            at - 0.5 * part.strokes as f64
        })
        .collect();
    // Values of each part with twice their errors, off the first part that has one.
    let row = |of: &dyn Fn(&PartHealth) -> Option<Level>, relative: bool| -> Vec<[f64; 3]> {
        let values: Vec<(f64, Level)> =
            middles.iter().zip(parts).filter_map(|(at, part)| Some((*at, of(part)?))).collect();
        let Some(&(_, first)) = values.first() else { return Vec::new() };
        let scale = if relative { 100.0 / first.value } else { 1.0 };
        let off = |(at, of): (f64, Level)| [at, scale * (of.value - first.value), 2.0 * scale * of.error];
        values.into_iter().map(off).collect()
    };
    let columns = health.columns.len();
    let channels = parts.first().map_or(0, |part| part.ringing.len());
    let mode = |part: &PartHealth, channel: usize, damping: bool| {
        let strongest = part.ringing.get(channel)?.modes.first()?;
        Some(if damping {
            Level { value: strongest.mode.damping, error: strongest.damping_error }
        } else {
            Level { value: strongest.mode.hz, error: strongest.hz_error }
        })
    };
    let ringing = |damping| (0..channels).map(|n| row(&|part| mode(part, n, damping), true)).collect();
    let (frequency, damping) = (ringing(false), ringing(true));
    let zero = (0..columns).map(|n| row(&|part| part.zero_kn.get(n).copied(), false)).collect();
    let share = (0..columns).map(|n| row(&|part| part.share_percent.get(n).copied(), false)).collect();
    let one = |title: &str, points| Moved { title: title.to_owned(), points };
    let mut all = vec![
        one("Frequency, % off the first", frequency),
        one("Damping, % off the first", damping),
        one("Zero, kN off the first", zero),
    ];
    if columns > 1 {
        all.push(one("Share, % of the load off the first", share));
    }
    all
}
