//! Faults: which stroke has which, how badly, and what that changes in die, stock, frame and gauges.
//!
//! Severity 1 is the fault at its worst; effects are proportional below. What each does at severity 1:
//! see [`Changes::apply`]. The sizes are assumptions of this model, chosen so that severity 1 is what a
//! toolmaker would call unmistakable.

use crate::frame::FrameChange;
use crate::scenario::{FaultData, Scenario};
use crate::seed::{Purpose, stream};
use crate::sensors::SensorChange;
use crate::station::{Site, StationChange};
use crate::strip::Seam;
use crate::truth::Kind;
use bolster_core::press::PressSpec;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng as _;

/// What is wrong with one gauge channel in one stroke. Neutral by default.
///
/// Spans are measured from the bottom of the stroke outwards, 1 being the whole recorded part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeChange {
    /// Part of the recording over which the reading does not move.
    pub stuck_span: f64,
    /// Part over which a lead is open.
    pub open_span: f64,
    /// Part over which the bridge is shorted.
    pub short_span: f64,
    /// Factor on the signal.
    pub gain: f64,
    /// Shift of zero, in the column's rating.
    pub offset: f64,
    /// Amplitude of picked-up mains, in the column's rating.
    pub hum: f64,
    /// Chance of a spike in a sample.
    pub spike_chance: f64,
    /// Highest spike, in the column's rating.
    pub spike: f64,
}

impl GaugeChange {
    /// Nothing wrong.
    pub const NONE: Self = Self {
        stuck_span: 0.0,
        open_span: 0.0,
        short_span: 0.0,
        gain: 1.0,
        offset: 0.0,
        hum: 0.0,
        spike_chance: 0.0,
        spike: 0.0,
    };

    /// Whether nothing is wrong (a stuck reading is handled after the converter).
    #[inline]
    pub(crate) fn is_neutral(&self) -> bool {
        self.open_span == 0.0
            && self.short_span == 0.0
            && self.gain == 1.0
            && self.offset == 0.0
            && self.hum == 0.0
            && self.spike_chance == 0.0
    }
}

/// Everything that faults change in one stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct Changes {
    /// The frame.
    pub frame: FrameChange,
    /// Each station.
    pub stations: Vec<StationChange>,
    /// Each gauge.
    pub gauges: [GaugeChange; 4],
    /// How much lower the slide is set, mm.
    pub lower_mm: f64,
    /// How much higher the die stands at the right and at the front columns, mm.
    pub shims_mm: [f64; 2],
    /// Factor on strip thickness.
    pub thickness: f64,
    /// Factor on strip strength.
    pub strength: f64,
    /// Factor on penetration at fracture.
    pub penetration: f64,
    /// Part sensors.
    pub sensors: SensorChange,
    /// How far the encoder reads ahead, degrees.
    pub encoder_deg: f64,
    /// Whether the index pulse does not come.
    pub no_index: bool,
    /// Chance that a frame does not arrive.
    pub lost: f64,
    /// How long the converter has no supply, s.
    pub outage_s: f64,
}

/// A fault that a stroke has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Active {
    /// What.
    pub kind: Kind,
    /// How badly, 0 to 1.
    pub severity: f64,
    /// Index of the station.
    pub station: usize,
    /// Index of the column.
    pub column: usize,
}

impl Changes {
    /// No change, for this many stations.
    #[must_use]
    pub fn none(stations: usize) -> Self {
        Self {
            frame: FrameChange::default(),
            stations: vec![StationChange::default(); stations],
            gauges: [GaugeChange::NONE; 4],
            lower_mm: 0.0,
            shims_mm: [0.0; 2],
            thickness: 1.0,
            strength: 1.0,
            penetration: 1.0,
            sensors: SensorChange::default(),
            encoder_deg: 0.0,
            no_index: false,
            lost: 0.0,
            outage_s: 0.0,
        }
    }

    /// Adds what `fault` does in a die of these sites, cut from strip `nominal_mm` thick.
    pub fn apply(&mut self, fault: &Active, sites: &[Site], nominal_mm: f64) {
        let s = fault.severity;
        if let Some(station) = self.stations.get_mut(fault.station) {
            match fault.kind {
                Kind::Dull => station.dullness += s,
                Kind::Chipped => {
                    station.edge *= 1.0 - 0.25 * s;
                    station.dullness += 0.5 * s;
                }
                Kind::Broken => station.edge *= 1.0 - s,
                Kind::Slug => station.slug_mm += s * nominal_mm,
                Kind::Joint => station.load *= joint_load(s),
                Kind::ScrapNotShed => station.packed += s,
                _ => {}
            }
        }
        if let Some(factor) = self.frame.column_factor.get_mut(fault.column)
            && fault.kind == Kind::LooseRod
        {
            *factor *= 1.0 - 0.5 * s;
        }
        if let Some(gauge) = self.gauges.get_mut(fault.column) {
            apply_to_gauge(gauge, fault.kind, s);
        }
        match fault.kind {
            Kind::NoStrip => {
                self.end_strip(s);
                // The end of the strip has passed the feed sensor before it has passed any station.
                self.sensors.feed = 1.0;
            }
            Kind::Threading => {
                self.reach_strip((1.0 - s) * self.stations.len() as f64);
            }
            Kind::PartialStrip => {
                for (station, site) in self.stations.iter_mut().zip(sites) {
                    // The strip lies off the die to the front, so rear stations keep more of it.
                    station.presence *= 1.0 - s * if site.y_mm >= 0.0 { 0.6 } else { 0.2 };
                }
            }
            Kind::Misfeed => {
                for (i, station) in self.stations.iter_mut().enumerate() {
                    // Cuts fall partly into open holes; formed places are hit again, off their mark.
                    station.edge *= 1.0 - s * if i % 2 == 0 { 0.45 } else { 0.15 };
                    station.forming *= 1.0 + 0.4 * s;
                }
                self.sensors.feed = self.sensors.feed.max(s);
            }
            Kind::PartNotOut => {
                // It lies over the last station and is struck again, crumpled to two thirds of its thickness.
                if let Some(last) = self.stations.last_mut() {
                    last.slug_mm += 0.65 * s * nominal_mm;
                }
                self.sensors.part_out = self.sensors.part_out.max(s);
            }
            Kind::EncoderSlip => self.encoder_deg += 20.0 * s,
            Kind::MissedIndex => self.no_index = true,
            Kind::LostFrames => self.lost = 0.05 * s,
            Kind::BrownOut => self.outage_s = 0.02 * s,
            Kind::Double => self.thickness *= 1.0 + s,
            Kind::ShutHeight => self.lower_mm += 0.5 * s,
            Kind::WornGib => self.frame.gib_factor *= 1.0 - 0.95 * s,
            Kind::UnevenShims => self.shims_mm[0] += 0.4 * s,
            Kind::HardMaterial => {
                self.strength *= 1.0 + 0.35 * s;
                self.penetration *= 1.0 - 0.3 * s;
            }
            Kind::WrongMaterial => {
                self.strength *= 1.0 + 0.5 * s;
                self.thickness *= 1.0 + 0.1 * s;
            }
            _ => {}
        }
    }

    /// Adds what one coil's end and the next one's beginning do; gives the kind and severity of that, and the station
    /// it names.
    pub(crate) fn pass(&mut self, seam: &Seam, sites: &[Site], joint: f64) -> (Kind, f64, Option<usize>) {
        let worked = || sites.iter().enumerate().filter(|(_, site)| site.works_strip()).map(|(i, _)| i);
        let count = worked().count();
        match *seam {
            Seam::Joint(at) => {
                let station = worked().nth(at);
                if let Some(change) = station.and_then(|i| self.stations.get_mut(i)) {
                    change.load *= joint_load(joint);
                }
                (Kind::Joint, joint, station)
            }
            Seam::End(passed) => {
                worked().take(passed).for_each(|i| self.take_strip(i));
                // The end has passed the feed sensor before it has passed any station.
                self.sensors.feed = 1.0;
                (Kind::NoStrip, passed as f64 / count.max(1) as f64, None)
            }
            Seam::Threading(reached) => {
                worked().skip(reached).for_each(|i| self.take_strip(i));
                self.sensors.part_out = 1.0;
                (Kind::Threading, 1.0 - reached as f64 / count.max(1) as f64, None)
            }
        }
    }

    fn take_strip(&mut self, station: usize) {
        if let Some(change) = self.stations.get_mut(station) {
            change.presence = 0.0;
        }
    }

    /// The strip's end has passed the first `s` of the stations (it enters at the first).
    fn end_strip(&mut self, s: f64) {
        let count = self.stations.len() as f64;
        for (i, station) in self.stations.iter_mut().enumerate() {
            station.presence *= (1.0 + i as f64 - s * count).clamp(0.0, 1.0);
        }
    }

    /// A new strip has reached only the first so many stations; no part comes out.
    fn reach_strip(&mut self, stations: f64) {
        for (i, station) in self.stations.iter_mut().enumerate() {
            station.presence *= (stations - i as f64).clamp(0.0, 1.0);
        }
        self.sensors.part_out = 1.0;
    }
}

/// Factor on the load of a station that a welded joint lies under: weld metal stands proud and is harder.
fn joint_load(severity: f64) -> f64 {
    1.0 + 0.6 * severity
}

fn apply_to_gauge(gauge: &mut GaugeChange, kind: Kind, s: f64) {
    match kind {
        Kind::GaugeStuck => gauge.stuck_span = gauge.stuck_span.max(s),
        Kind::GaugeOpen => gauge.open_span = gauge.open_span.max(s),
        Kind::GaugeShort => gauge.short_span = gauge.short_span.max(s),
        Kind::GaugeGain => gauge.gain *= 1.0 - s,
        Kind::GaugeDrift => gauge.offset += 0.3 * s,
        Kind::GaugeHum => gauge.hum += 0.15 * s,
        Kind::GaugeSpikes => {
            gauge.spike_chance = 0.01 * s;
            gauge.spike = 1.0;
        }
        _ => {}
    }
}

/// When faults strike, and where.
#[derive(Debug, Clone)]
pub struct FaultPlan {
    faults: Vec<(FaultData, usize, usize)>,
    strokes: u32,
    columns: usize,
    cutting: Vec<usize>,
    sites: usize,
    times: ChaCha8Rng,
    places: ChaCha8Rng,
}

impl FaultPlan {
    /// The plan of a checked scenario.
    #[must_use]
    pub fn new(scenario: &Scenario, press: &PressSpec, sites: &[Site]) -> Self {
        let mut plan = Self {
            faults: Vec::new(),
            strokes: scenario.strokes,
            columns: press.columns.count(),
            cutting: sites.iter().enumerate().filter(|(_, s)| s.cuts()).map(|(i, _)| i).collect(),
            sites: sites.len(),
            times: stream(scenario.seed, Purpose::FaultTime),
            places: stream(scenario.seed, Purpose::FaultKind),
        };
        for data in &scenario.faults {
            let (station, column) = plan.place(data, press);
            plan.faults.push((data.clone(), station, column));
        }
        plan
    }

    /// Where a fault is: as the scenario says, else by chance among the places it can be.
    fn place(&mut self, data: &FaultData, press: &PressSpec) -> (usize, usize) {
        let (for_station, for_column) = (self.places.next_u32(), self.places.next_u32());
        let needs_edge =
            matches!(data.kind, Kind::Dull | Kind::Chipped | Kind::Broken | Kind::ScrapNotShed | Kind::Joint);
        let pick = |count: usize, draw: u32| (draw as usize).checked_rem(count).unwrap_or(0);
        let by_chance = if needs_edge {
            self.cutting.get(pick(self.cutting.len(), for_station)).copied().unwrap_or(0)
        } else {
            pick(self.sites, for_station)
        };
        let named = data.column.as_ref().and_then(|n| press.columns.names().iter().position(|c| c == n));
        let station = data.station.map_or(by_chance, |s| s.saturating_sub(1));
        (station, named.unwrap_or_else(|| pick(self.columns, for_column)))
    }

    /// The faults of stroke `number`.
    pub fn of_stroke(&mut self, number: u32, press: &PressSpec) -> Vec<Active> {
        let mut active = Vec::new();
        for i in 0..self.faults.len() {
            let Some((data, station, column)) = self.faults.get(i).cloned() else { continue };
            let last = data.to.unwrap_or(self.strokes);
            let mut place = (station, column);
            if let Some(chance) = data.probability {
                // Drawn on every stroke, so that the span does not shift later draws.
                let draw = f64::from(self.times.next_u32()) / 4_294_967_296.0;
                let moved = self.place(&data, press);
                if draw >= chance {
                    continue;
                }
                place = moved;
            }
            if number < data.from || number > last {
                continue;
            }
            let grown = if data.grows {
                f64::from(number - data.from + 1) / f64::from(last.saturating_sub(data.from) + 1)
            } else {
                1.0
            };
            active.push(Active {
                kind: data.kind,
                severity: data.severity * grown,
                station: place.0,
                column: place.1,
            });
        }
        active
    }
}

/// Whether the truth of this fault names a station, and whether it names a column.
#[must_use]
pub fn has_place(kind: Kind) -> (bool, bool) {
    let station = matches!(
        kind,
        Kind::Dull | Kind::Chipped | Kind::Broken | Kind::Slug | Kind::ScrapNotShed | Kind::Joint
    );
    let column = matches!(
        kind,
        Kind::LooseRod
            | Kind::GaugeStuck
            | Kind::GaugeOpen
            | Kind::GaugeShort
            | Kind::GaugeGain
            | Kind::GaugeDrift
            | Kind::GaugeHum
            | Kind::GaugeSpikes
    );
    (station, column)
}
