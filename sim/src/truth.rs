//! What the simulator knows it did, and how it is written beside a recording.

use crate::simulator::SimStroke;
use serde::Deserialize;
use std::io::{self, Write};

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $text:literal),+ $(,)?) => {
        /// What a stroke is: good, or which fault it has. The names are stable.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Deserialize)]
        #[non_exhaustive]
        pub enum Kind {
            $($(#[$doc])* #[serde(rename = $text)] $name),+
        }

        impl Kind {
            /// Every kind, good first.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];

            /// Its stable name, snake case.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$name => $text),+ }
            }
        }
    };
}

kinds! {
    /// Nothing wrong.
    Good = "good",
    /// A cutting station has lost its edge.
    Dull = "dull",
    /// Part of a cutting edge has broken out.
    Chipped = "chipped",
    /// Some of a station's punches are gone.
    Broken = "broken",
    /// No strip in the die, or (below severity 1) its end has passed the first stations.
    NoStrip = "no_strip",
    /// A new strip has reached only the first stations; at severity 1 none.
    Threading = "threading",
    /// The strip is narrower, or lies partly beside the die.
    PartialStrip = "partial_strip",
    /// Two thicknesses at once; below severity 1, overlapping in part.
    Double = "double",
    /// The strip was fed short or long.
    Misfeed = "misfeed",
    /// The slide is set too low.
    ShutHeight = "shut_height",
    /// A slug lies on the die.
    Slug = "slug",
    /// Scrap stays in a cutting station.
    ScrapNotShed = "scrap_not_shed",
    /// The finished part stays in the die.
    PartNotOut = "part_not_out",
    /// A tie rod has lost its preload: its column is softer.
    LooseRod = "loose_rod",
    /// The guides are worn: the slide tilts more.
    WornGib = "worn_gib",
    /// The die stands on uneven shims.
    UnevenShims = "uneven_shims",
    /// A welded joint of two coils lies under a station.
    Joint = "joint",
    /// The right alloy, too hard.
    HardMaterial = "hard_material",
    /// Another alloy, another thickness.
    WrongMaterial = "wrong_material",
    /// A gauge gives the same reading all the time.
    GaugeStuck = "gauge_stuck",
    /// A gauge lead is open.
    GaugeOpen = "gauge_open",
    /// A gauge is shorted.
    GaugeShort = "gauge_short",
    /// A gauge reads low.
    GaugeGain = "gauge_gain",
    /// A gauge's zero wanders.
    GaugeDrift = "gauge_drift",
    /// A cable picks up the mains.
    GaugeHum = "gauge_hum",
    /// Sparks and contactors on a cable.
    GaugeSpikes = "gauge_spikes",
    /// The encoder's coupling has slipped: angles are wrong.
    EncoderSlip = "encoder_slip",
    /// The index pulse at the top does not come.
    MissedIndex = "missed_index",
    /// Some frames do not arrive.
    LostFrames = "lost_frames",
    /// The converter's supply fails for a while, at any instant.
    BrownOut = "brown_out",
}

/// The truth about one stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// What was wrong; of several faults the most severe.
    pub kind: Kind,
    /// How badly, 0 to 1; 0 for a good stroke.
    pub severity: f64,
    /// Station concerned, from 1 in the order of the scenario with repeats counted.
    pub station: Option<usize>,
    /// Column concerned, by name.
    pub column: Option<&'static str>,
    /// Highest sum of the columns' loads in the recorded part, kN, before gauges and noise.
    pub peak_kn: f64,
    /// Lowest sum, as a positive magnitude, kN.
    pub reverse_kn: f64,
    /// Work that the die took in the recorded part, kJ.
    pub work_kj: f64,
    /// Strip thickness, mm.
    pub thickness_mm: f64,
}

/// Writes the truth (CSV), stroke by stroke.
#[derive(Debug)]
pub struct TruthWriter<W: Write> {
    out: W,
}

impl<W: Write> TruthWriter<W> {
    /// Starts: writes the header.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn new(mut out: W) -> io::Result<Self> {
        out.write_all(b"stroke,kind,severity,coil,station,column,peak_kn,reverse_kn,work_kj\n")?;
        Ok(Self { out })
    }

    /// Adds a stroke.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn write(&mut self, stroke: &SimStroke) -> io::Result<()> {
        let truth = &stroke.truth;
        let station = truth.station.map(|s| s.to_string()).unwrap_or_default();
        writeln!(
            self.out,
            "{},{},{:.3},{},{},{},{:.3},{:.3},{:.5}",
            stroke.number,
            truth.kind.name(),
            truth.severity,
            stroke.coil,
            station,
            truth.column.unwrap_or_default(),
            truth.peak_kn,
            truth.reverse_kn,
            truth.work_kj
        )
    }

    /// Flushes and gives the writer back.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }
}
