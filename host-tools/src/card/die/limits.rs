//! The plain limits of a die card: what a person may edit, what leaving each means, and how often it must be left.
//!
//! ```toml
//! [limits]
//! peak_kn = [355.9, 1150.0]       # total peak; leaving it holds the press
//! work_kj = { between = [0.94, 2.97], verdict = "note", strokes = [2, 5] }   # two of the last five strokes: a note
//! reverse_kn = [0.0, 80.0]
//! no_load_kn = 60.0               # a total peak below this: nothing in the die
//! double_load_kn = { load = 1500.0, verdict = "trip" }    # above this: twice the stock in it
//! envelope = { verdict = "hold", strokes = [2, 3] }       # leaving what was learnt
//!
//! [[limits.watch]]                # an angle window with its own load limits, eight at most
//! from_deg = 165.0                # a machine without a crank: from_ms and to_ms after load onset
//! to_deg = 172.0
//! load = "lf"                     # a column, or "total"
//! value = "greatest"              # or "least", "mean"
//! between_kn = [20.0, 200.0]
//!
//! [[limits.sensor]]               # a window in which a sensor must, or must not, be on, eight at most
//! input = 1                       # recorded as s1
//! from_deg = 200.0
//! to_deg = 350.0
//! must = "on-once"                # a part passes out; "on-throughout" (in place), "off-throughout" (cleared)
//! verdict = "hold"
//! ```
//!
//! A verdict is `note`, `hold` or `trip`, a hold where none is given; `strokes = [m, n]` gives it when m of the last n
//! strokes left the limit, at the first where it is not given. No limit here lifts one of the press's own.

use bolster_core::die::{Band as CoreBand, DieLimits, Envelope, SENSOR_WINDOWS, Threshold, WATCH_WINDOWS};
use bolster_core::often::MofN;
use bolster_core::press::Columns;
use bolster_core::units::CrankAngle;
use bolster_core::verdict::Verdict;
use bolster_core::windows::{Channel, SensorRule, SensorWindow, Span, WatchWindow, WindowValue};
use serde::de::value::MapAccessDeserializer;
use serde::de::{MapAccess, SeqAccess, Unexpected, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A verdict a limit may give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gives {
    /// People are told.
    Note,
    /// The press stops at the top of the stroke.
    #[default]
    Hold,
    /// The permit is withdrawn when the stroke is over, whatever bypass runs.
    Trip,
}

/// What leaving a limit means, and in how many of the last strokes it must have been left.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Then {
    /// The verdict.
    pub verdict: Gives,
    /// m and n of m of the last n strokes.
    pub strokes: [u8; 2],
}

const FIRST: [u8; 2] = [1, 1];

impl Default for Then {
    fn default() -> Self {
        Self { verdict: Gives::Hold, strokes: FIRST }
    }
}

impl Then {
    /// In the core's terms.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        match self.verdict {
            Gives::Note => Verdict::Note,
            Gives::Hold => Verdict::Hold,
            Gives::Trip => Verdict::Trip,
        }
    }

    /// In the core's terms.
    #[must_use]
    pub fn rule(&self) -> MofN {
        let [m, n] = self.strokes;
        MofN { m, n }
    }

    /// In words, where it is anything but a hold at the first stroke: `note, after 2 of 5 strokes`.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let [m, n] = self.strokes;
        (*self != Self::default()).then(|| {
            let often = if n > 1 { format!(", after {m} of {n} strokes") } else { String::new() };
            format!("{}{often}", self.verdict().word())
        })
    }
}

/// Lowest and highest allowed value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lowest and highest.
    pub ends: [f64; 2],
    /// What leaving it means.
    pub then: Then,
}

/// A load at which something is wrong, on one side of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// kN.
    pub kn: f64,
    /// What passing it means.
    pub then: Then,
}

fn first() -> [u8; 2] {
    FIRST
}

fn is_first(strokes: &[u8; 2]) -> bool {
    *strokes == FIRST
}

fn is_hold(verdict: &Gives) -> bool {
    *verdict == Gives::Hold
}

impl From<[f64; 2]> for Band {
    fn from(ends: [f64; 2]) -> Self {
        Self { ends, then: Then::default() }
    }
}

impl From<f64> for Load {
    fn from(kn: f64) -> Self {
        Self { kn, then: Then::default() }
    }
}

/// A band as a table, where it says what leaving it means.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct BandTable {
    between: [f64; 2],
    #[serde(default, skip_serializing_if = "is_hold")]
    verdict: Gives,
    #[serde(default = "first", skip_serializing_if = "is_first")]
    strokes: [u8; 2],
}

/// The same of a load.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct LoadTable {
    load: f64,
    #[serde(default, skip_serializing_if = "is_hold")]
    verdict: Gives,
    #[serde(default = "first", skip_serializing_if = "is_first")]
    strokes: [u8; 2],
}

impl Serialize for Band {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let Then { verdict, strokes } = self.then;
        if self.then == Then::default() {
            self.ends.serialize(to)
        } else {
            BandTable { between: self.ends, verdict, strokes }.serialize(to)
        }
    }
}

impl Serialize for Load {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let Then { verdict, strokes } = self.then;
        if self.then == Then::default() {
            self.kn.serialize(to)
        } else {
            LoadTable { load: self.kn, verdict, strokes }.serialize(to)
        }
    }
}

impl<'de> Deserialize<'de> for Band {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Forms;
        impl<'de> Visitor<'de> for Forms {
            type Value = Band;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("[lowest, highest], or a table with `between`")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Band, A::Error> {
                let (low, high) = (items.next_element()?, items.next_element()?);
                match (low, high, items.next_element::<f64>()?) {
                    (Some(low), Some(high), None) => Ok([low, high].into()),
                    _ => Err(serde::de::Error::invalid_type(Unexpected::Seq, &self)),
                }
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Band, A::Error> {
                let BandTable { between, verdict, strokes } =
                    Deserialize::deserialize(MapAccessDeserializer::new(map))?;
                Ok(Band { ends: between, then: Then { verdict, strokes } })
            }
        }
        from.deserialize_any(Forms)
    }
}

impl<'de> Deserialize<'de> for Load {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Forms;
        impl<'de> Visitor<'de> for Forms {
            type Value = Load;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a load in kN, or a table with `load`")
            }
            fn visit_f64<E>(self, kn: f64) -> Result<Load, E> {
                Ok(kn.into())
            }
            fn visit_i64<E>(self, kn: i64) -> Result<Load, E> {
                Ok((kn as f64).into())
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Load, A::Error> {
                let LoadTable { load, verdict, strokes } =
                    Deserialize::deserialize(MapAccessDeserializer::new(map))?;
                Ok(Load { kn: load, then: Then { verdict, strokes } })
            }
        }
        from.deserialize_any(Forms)
    }
}

/// What leaving the learned envelope means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EnvelopeCard {
    /// The verdict.
    #[serde(default)]
    pub verdict: Gives,
    /// m and n of m of the last n strokes.
    #[serde(default = "first")]
    pub strokes: [u8; 2],
}

/// Where in the stroke a window lies: both ends in degrees, or both in milliseconds after load onset.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    Degrees([f64; 2]),
    Milliseconds([f64; 2]),
}

/// An angle window with its own load limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WatchCard {
    /// Where it begins and ends, degrees from the top; over the top where it begins after it ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_deg: Option<f64>,
    /// See `from_deg`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_deg: Option<f64>,
    /// The same in milliseconds after load onset, for a machine without a crank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_ms: Option<f64>,
    /// See `from_ms`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_ms: Option<f64>,
    /// `total`, or a column as recordings name it.
    pub load: String,
    /// Which value of that load is limited.
    pub value: Value,
    /// Lowest and highest, kN.
    pub between_kn: [f64; 2],
    /// What leaving them means.
    #[serde(default, skip_serializing_if = "is_hold")]
    pub verdict: Gives,
    /// m and n of m of the last n strokes.
    #[serde(default = "first", skip_serializing_if = "is_first")]
    pub strokes: [u8; 2],
}

/// Which value of a load a watch window limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Value {
    /// Its greatest.
    Greatest,
    /// Its least.
    Least,
    /// Its mean over the readings inside.
    Mean,
}

/// A window in which a sensor must, or must not, be on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorCard {
    /// Input, 1 to 8; recorded as `s1` to `s8`.
    pub input: u8,
    /// As of [`WatchCard`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_deg: Option<f64>,
    /// See `from_deg`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_deg: Option<f64>,
    /// As of [`WatchCard`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_ms: Option<f64>,
    /// See `from_ms`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_ms: Option<f64>,
    /// How the sensor must be.
    pub must: Must,
    /// What missing it means.
    #[serde(default, skip_serializing_if = "is_hold")]
    pub verdict: Gives,
    /// m and n of m of the last n strokes.
    #[serde(default = "first", skip_serializing_if = "is_first")]
    pub strokes: [u8; 2],
}

/// How a sensor must be in its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Must {
    /// On at some moment: a part passes out.
    OnOnce,
    /// On all through: a part is in place.
    OnThroughout,
    /// Off all through: an ejector has cleared.
    OffThroughout,
}

/// Plain limits of a stroke; see the module.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LimitsCard {
    /// Peak of the total load, kN.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub peak_kn: Option<Band>,
    /// Reverse load, kN.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reverse_kn: Option<Band>,
    /// Work, kJ.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub work_kj: Option<Band>,
    /// A total peak below this: nothing in the die, kN.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_load_kn: Option<Load>,
    /// A total peak above this: twice the stock in the die, kN.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub double_load_kn: Option<Load>,
    /// What leaving the learned envelope means; a hold at the first stroke where nothing is said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub envelope: Option<EnvelopeCard>,
    /// Watch windows.
    #[serde(default, rename = "watch", skip_serializing_if = "Vec::is_empty")]
    pub watches: Vec<WatchCard>,
    /// Sensor windows.
    #[serde(default, rename = "sensor", skip_serializing_if = "Vec::is_empty")]
    pub sensors: Vec<SensorCard>,
}

/// Sample rate at which a card is checked before its recording is known, Hz.
const ANY_HZ: f64 = 10_000.0;

impl LimitsCard {
    /// Whether the limits can be those of a die on a press of these columns; says what cannot.
    pub(crate) fn check(&self, columns: Columns) -> Result<(), String> {
        self.to_core(columns, ANY_HZ).map(drop)
    }

    /// As the core takes them, for frames that come at `sample_hz`.
    ///
    /// # Errors
    /// What cannot be, in words.
    pub fn to_core(&self, columns: Columns, sample_hz: f64) -> Result<DieLimits, String> {
        let band = |band: Option<Band>| {
            band.map(|Band { ends: [low, high], then }| CoreBand {
                low: low as f32,
                high: high as f32,
                verdict: then.verdict(),
                rule: then.rule(),
            })
        };
        let load = |load: Option<Load>| {
            load.map(|Load { kn, then }| Threshold {
                kn: kn as f32,
                verdict: then.verdict(),
                rule: then.rule(),
            })
        };
        let envelope = self.envelope.map_or_else(Envelope::default, |EnvelopeCard { verdict, strokes }| {
            let then = Then { verdict, strokes };
            Envelope { verdict: then.verdict(), rule: then.rule() }
        });
        let mut limits = DieLimits {
            peak_kn: band(self.peak_kn),
            reverse_kn: band(self.reverse_kn),
            work_kj: band(self.work_kj),
            no_load: load(self.no_load_kn),
            double_load: load(self.double_load_kn),
            envelope,
            ..DieLimits::default()
        };
        for (n, watch) in (1..).zip(&self.watches) {
            let told = |why: String| format!("watch window {n}: {why}");
            let window = watch.to_core(columns, sample_hz).map_err(told)?;
            let full = |_| format!("has more than {WATCH_WINDOWS} watch windows");
            limits.watch.push(window).map_err(full)?;
        }
        for (n, sensor) in (1..).zip(&self.sensors) {
            let told = |why: String| format!("sensor window {n}: {why}");
            let window = sensor.to_core(sample_hz).map_err(told)?;
            let full = |_| format!("has more than {SENSOR_WINDOWS} sensor windows");
            limits.sensors.push(window).map_err(full)?;
        }
        limits.check(columns.count()).map_err(|why| why.to_string())?;
        Ok(limits)
    }

    /// Whether every window fits a recording with or without angles and with these sensor columns (bit 0 is `s1`); says
    /// which does not.
    pub(crate) fn fits(&self, has_angle: bool, recorded: u8) -> Result<(), String> {
        let watches = (1..).zip(&self.watches).map(|(n, window)| ("watch", n, window.place()));
        let sensors = (1..).zip(&self.sensors).map(|(n, window)| ("sensor", n, window.place()));
        for (kind, n, place) in watches.chain(sensors) {
            match (place?, has_angle) {
                (Place::Degrees(_), false) => {
                    return Err(format!("{kind} window {n} lies by crank angle and the recording has none"));
                }
                (Place::Milliseconds(_), true) => {
                    return Err(format!(
                        "{kind} window {n} lies by time and the recording goes by crank angle"
                    ));
                }
                _ => {}
            }
        }
        let missing = self.sensors.iter().find(|sensor| recorded & 1 << (sensor.input.clamp(1, 8) - 1) == 0);
        missing.map_or(Ok(()), |sensor| {
            Err(format!("the die watches sensor s{} and the recording has no such column", sensor.input))
        })
    }
}

fn place(degrees: [Option<f64>; 2], milliseconds: [Option<f64>; 2]) -> Result<Place, String> {
    match (degrees, milliseconds) {
        ([Some(from), Some(to)], [None, None]) => Ok(Place::Degrees([from, to])),
        ([None, None], [Some(from), Some(to)]) => Ok(Place::Milliseconds([from, to])),
        _ => Err("needs from_deg and to_deg, or from_ms and to_ms".to_owned()),
    }
}

fn span(place: Place, sample_hz: f64) -> Result<Span, String> {
    match place {
        Place::Degrees([from, to]) => {
            if ![from, to].iter().all(|degrees| (0.0..=360.0).contains(degrees)) {
                return Err("from_deg and to_deg lie from 0 to 360".to_owned());
            }
            Ok(Span::angles(CrankAngle::from_degrees(from), CrankAngle::from_degrees(to)))
        }
        Place::Milliseconds([from, to]) => {
            // An hour is longer than any stroke.
            if !(from >= 0.0 && to <= 3.6e6) {
                return Err("from_ms and to_ms lie from 0 to 3600000".to_owned());
            }
            let ticks = |ms: f64| (ms * sample_hz / 1000.0).round() as u32;
            Span::ticks(ticks(from), ticks(to)).ok_or_else(|| "from_ms lies after to_ms".to_owned())
        }
    }
}

impl WatchCard {
    fn place(&self) -> Result<Place, String> {
        place([self.from_deg, self.to_deg], [self.from_ms, self.to_ms])
    }

    fn to_core(&self, columns: Columns, sample_hz: f64) -> Result<WatchWindow, String> {
        let column = columns.names().iter().position(|name| *name == self.load);
        let channel = match (self.load.as_str(), column) {
            ("total", _) => Channel::Total,
            (_, Some(column)) => Channel::Column(column as u8),
            (name, None) => {
                let known = columns.names().join(", ");
                return Err(format!("knows no load \"{}\"; there are total, {known}", name.escape_debug()));
            }
        };
        let then = Then { verdict: self.verdict, strokes: self.strokes };
        let [low, high] = self.between_kn;
        if !(low.is_finite() && high.is_finite() && low <= high) {
            return Err("between_kn needs a low limit not above its high limit, both finite".to_owned());
        }
        Ok(WatchWindow {
            span: span(self.place()?, sample_hz)?,
            channel,
            value: match self.value {
                Value::Greatest => WindowValue::Greatest,
                Value::Least => WindowValue::Least,
                Value::Mean => WindowValue::Mean,
            },
            low_kn: low as f32,
            high_kn: high as f32,
            verdict: then.verdict(),
            rule: then.rule(),
        })
    }
}

impl SensorCard {
    fn place(&self) -> Result<Place, String> {
        place([self.from_deg, self.to_deg], [self.from_ms, self.to_ms])
    }

    fn to_core(&self, sample_hz: f64) -> Result<SensorWindow, String> {
        let then = Then { verdict: self.verdict, strokes: self.strokes };
        let input = self.input.checked_sub(1).filter(|input| *input < 8);
        Ok(SensorWindow {
            span: span(self.place()?, sample_hz)?,
            input: input.ok_or_else(|| format!("input is 1 to 8, not {}", self.input))?,
            must: match self.must {
                Must::OnOnce => SensorRule::OnOnce,
                Must::OnThroughout => SensorRule::OnThroughout,
                Must::OffThroughout => SensorRule::OffThroughout,
            },
            verdict: then.verdict(),
            rule: then.rule(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(text: &str) -> Result<LimitsCard, toml::de::Error> {
        toml::from_str(text)
    }

    /// What a person may write, in every form.
    const EVERY: &str = "peak_kn = [355, 1150.5]\n\
        work_kj = { between = [0.94, 2.97], verdict = \"note\", strokes = [2, 5] }\n\
        no_load_kn = 60\n\
        double_load_kn = { load = 1500.0, verdict = \"trip\" }\n\
        envelope = { verdict = \"note\" }\n\
        [[watch]]\nfrom_deg = 165.0\nto_deg = 172\nload = \"lf\"\nvalue = \"mean\"\nbetween_kn = [20, 200.0]\n\
        [[watch]]\nfrom_deg = 350.0\nto_deg = 10.0\nload = \"total\"\nvalue = \"least\"\nbetween_kn = [-5.0, 5.0]\nverdict = \"note\"\nstrokes = [3, 3]\n\
        [[sensor]]\ninput = 8\nfrom_deg = 200.0\nto_deg = 350.0\nmust = \"on-once\"\n";

    #[test]
    fn every_form_of_a_limit_reaches_the_core_as_it_was_meant_and_comes_back_as_it_was() {
        let card = limits(EVERY).unwrap();
        let again: LimitsCard = toml::from_str(&toml::to_string(&card).unwrap()).unwrap();
        assert_eq!(again, card);
        let core = card.to_core(Columns::Corners, 10_000.0).unwrap();
        let peak = core.peak_kn.unwrap();
        assert_eq!((peak.low, peak.high), (355.0, 1150.5));
        assert_eq!((peak.verdict, peak.rule), (Verdict::Hold, MofN::FIRST));
        let work = core.work_kj.unwrap();
        assert_eq!((work.verdict, work.rule), (Verdict::Note, MofN { m: 2, n: 5 }));
        let (nothing, twice) = (core.no_load.unwrap(), core.double_load.unwrap());
        assert_eq!((nothing.kn, nothing.verdict), (60.0, Verdict::Hold));
        assert_eq!((twice.kn, twice.verdict), (1500.0, Verdict::Trip));
        assert_eq!(core.envelope, Envelope { verdict: Verdict::Note, rule: MofN::FIRST });
        assert_eq!(core.watch[0].channel, Channel::Column(0));
        assert_eq!(core.watch[1].rule, MofN { m: 3, n: 3 });
        assert_eq!((core.sensors[0].input, core.sensors[0].must), (7, SensorRule::OnOnce));
    }

    #[test]
    fn a_window_in_milliseconds_is_of_its_recordings_readings() {
        let text = "[[sensor]]\ninput = 1\nfrom_ms = 2.0\nto_ms = 5.0\nmust = \"on-throughout\"\n";
        let core = limits(text).unwrap().to_core(Columns::Total, 4_000.0).unwrap();
        assert_eq!(Some(core.sensors[0].span), Span::ticks(8, 20));
    }

    #[test]
    fn a_card_without_rules_keeps_the_plain_form_that_people_have_written() {
        let text = "peak_kn = [355.9, 1150.0]\nwork_kj = [0.9388, 2.973]\n";
        assert_eq!(toml::to_string(&limits(text).unwrap()).unwrap(), text);
    }

    #[test]
    fn windows_must_fit_their_recording() {
        let card = limits(EVERY).unwrap();
        assert_eq!(card.fits(true, 0x80), Ok(()));
        assert!(card.fits(true, 0x7F).unwrap_err().contains("sensor s8"));
        assert!(card.fits(false, 0x80).unwrap_err().contains("by crank angle"));
        let timed = "[[sensor]]\ninput = 1\nfrom_ms = 2.0\nto_ms = 5.0\nmust = \"on-throughout\"\n";
        assert!(limits(timed).unwrap().fits(true, 1).unwrap_err().contains("by time"));
    }
}
