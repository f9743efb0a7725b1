//! All settings of a controller as bytes: the press, the die's limits, and the die's learned shape word by word.
//!
//! A head of eight bytes (`BOLS`, version, columns, flags, zero), then press and die (the fixed part, its length a
//! multiple of four), then, if the flags say so, the words of the shape as [`bolster_core::shape::fill`] orders them.
//! All numbers little-endian; an option is 0, or 1 and its value; a list is its count and its items. Both directions walk
//! the same fields, so that they cannot differ, and name every field, so that one that is added is not forgotten.
//! Whoever sends or stores the bytes adds the checksum ([`crate::message::Request::CommitSettings`]).

use bolster_core::calibrate::{CalibrationConfig, ZeroTracking};
use bolster_core::die::{Band, DieLimits, Envelope, Threshold};
use bolster_core::filter::{FilterConfig, FilterKind};
use bolster_core::health::HealthRules;
use bolster_core::often::MofN;
use bolster_core::press::{Columns, PressSpec};
use bolster_core::settings::PressSettings;
use bolster_core::shape::ShapeModel;
use bolster_core::signature::Layout;
use bolster_core::stroke::{Position, StrokeConfig, StrokeSource};
use bolster_core::units::CrankAngle;
use bolster_core::verdict::Verdict;
use bolster_core::windows::{Channel, SensorRule, SensorWindow, Span, WatchWindow, WindowValue};

use crate::trial::BINS;

/// Room that the fixed part takes at most, bytes.
pub const FIXED_MAX: usize = 896;
/// Bytes of the head.
pub const HEAD: usize = 8;

const MAGIC: [u8; 4] = *b"BOLS";
/// Version of this form.
const VERSION: u8 = 2;

/// What comes before the shape's words.
#[derive(Debug, Clone, PartialEq)]
pub struct Fixed<const N: usize> {
    /// The press.
    pub press: PressSettings<N>,
    /// The die's limits; none without a die.
    pub die: Option<DieLimits>,
    /// Whether the words of a learned shape follow.
    pub has_shape: bool,
    /// Whether changes of coil will be told.
    pub marked: bool,
}

/// Why bytes are no settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FormError {
    /// They do not begin as settings do, or are of another version.
    Head,
    /// They are of a press with so many columns.
    Columns(u8),
    /// They end too soon, or do not fit.
    Length,
    /// A field holds what it cannot.
    Value,
}

impl core::fmt::Display for FormError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Head => f.write_str("these are no settings, or settings of another version"),
            Self::Columns(columns) => write!(f, "these are settings of a press with {columns} columns"),
            Self::Length => f.write_str("the settings end too soon or are too long"),
            Self::Value => f.write_str("the settings hold an impossible value"),
        }
    }
}

impl core::error::Error for FormError {}

/// What the head says, before anything else is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// Columns of the press.
    pub columns: u8,
    /// Whether the words of a learned shape follow the fixed part.
    pub has_shape: bool,
    /// Whether changes of coil will be told.
    pub marked: bool,
    has_die: bool,
}

impl Head {
    /// Reads it.
    ///
    /// # Errors
    /// [`FormError`] if it is none.
    pub fn read(bytes: &[u8]) -> Result<Self, FormError> {
        let [m0, m1, m2, m3, version, columns, flags, 0] = *bytes.first_chunk().ok_or(FormError::Length)?
        else {
            return Err(FormError::Head);
        };
        if [m0, m1, m2, m3] != MAGIC || version != VERSION || flags > 7 {
            return Err(FormError::Head);
        }
        let flag = |bit: u8| flags & bit != 0;
        Ok(Self { columns, has_die: flag(1), has_shape: flag(2), marked: flag(4) })
    }
}

impl<const N: usize> Fixed<N> {
    /// Writes head and fixed part; gives their length.
    ///
    /// # Errors
    /// [`FormError::Length`] if they do not fit; [`FIXED_MAX`] always does.
    pub fn encode(&self, out: &mut [u8]) -> Result<usize, FormError> {
        let flags = u8::from(self.die.is_some()) | u8::from(self.has_shape) << 1 | u8::from(self.marked) << 2;
        let [m0, m1, m2, m3] = MAGIC;
        let mut put = Put { room: out, len: 0 };
        put.bytes(&[m0, m1, m2, m3, VERSION, N as u8, flags, 0])?;
        // The walk is the same both ways and writes back what it has read.
        let mut own = self.clone();
        walk(&mut put, &mut own.press, own.die.as_mut())?;
        while !put.len.is_multiple_of(4) {
            put.bytes(&[0])?;
        }
        Ok(put.len)
    }

    /// Reads head and fixed part; gives their length as well. Values are taken as they are: whether they go together is
    /// for [`PressSettings::build`] and [`DieLimits::check`] to say.
    ///
    /// # Errors
    /// [`FormError`] if they are none of `N` columns.
    pub fn decode(bytes: &[u8]) -> Result<(Self, usize), FormError> {
        let head = Head::read(bytes)?;
        if usize::from(head.columns) != N {
            return Err(FormError::Columns(head.columns));
        }
        let columns = Columns::from_count(N).ok_or(FormError::Columns(head.columns))?;
        let mut take = Take { bytes, len: HEAD };
        let mut fixed = Self {
            press: blank(columns),
            die: head.has_die.then(DieLimits::default),
            has_shape: head.has_shape,
            marked: head.marked,
        };
        walk(&mut take, &mut fixed.press, fixed.die.as_mut())?;
        while !take.len.is_multiple_of(4) {
            let mut zero = 1;
            take.u8(&mut zero)?;
            if zero != 0 {
                return Err(FormError::Value);
            }
        }
        Ok((fixed, take.len))
    }
}

/// Looks at the words of a shape before any of them is taken.
#[derive(Debug, Clone)]
pub struct WordCheck {
    words: usize,
    next: usize,
    /// Whether bins are bins of angle, and how many are used.
    by_angle: bool,
    used: usize,
    /// Where bins start, and the end.
    places: [f32; BINS + 1],
    sound: bool,
}

impl WordCheck {
    /// Nothing seen yet, of a press with this many columns.
    #[must_use]
    pub fn new(columns: u8) -> Self {
        let words = match columns {
            1 => ShapeModel::<1, BINS>::WORDS,
            2 => ShapeModel::<2, BINS>::WORDS,
            _ => ShapeModel::<4, BINS>::WORDS,
        };
        Self { words, next: 0, by_angle: false, used: 0, places: [0.0; BINS + 1], sound: true }
    }

    /// The next word.
    pub fn take(&mut self, word: u32) {
        let value = f32::from_bits(word);
        let sound = match self.next {
            0 => {
                self.by_angle = word == 1;
                word <= 1
            }
            1 => {
                self.used = word as usize;
                (1..=BINS).contains(&self.used)
            }
            2 => word > 0,
            n => {
                if let Some(place) = self.places.get_mut(n - 3) {
                    *place = value;
                }
                value.is_finite()
            }
        };
        self.sound &= sound;
        self.next += 1;
    }

    /// Whether the words that were seen make up a shape.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        let [starts @ .., end] = &self.places;
        let mut edges = self.places;
        if let Some(last) = edges.get_mut(self.used) {
            *last = *end;
        }
        let rest = starts.iter().skip(self.used).all(|start| start == end);
        let layout = edges.get(..=self.used).map(|edges| Layout::<BINS>::new(self.by_angle, edges));
        self.sound && self.next == self.words && rest && layout.is_some_and(|layout| layout.is_ok())
    }
}

/// Settings to be filled in.
fn blank<const N: usize>(columns: Columns) -> PressSettings<N> {
    let spec = PressSpec { columns, ..crate::trial::invented_press(columns) };
    PressSettings::usual(spec, 1.0, 1.0, StrokeSource::Encoder)
}

/// One direction of the walk: takes fields out, or puts them in.
trait Pass {
    fn bytes(&mut self, bytes: &mut [u8]) -> Result<(), FormError>;

    fn u8(&mut self, value: &mut u8) -> Result<(), FormError> {
        self.bytes(core::slice::from_mut(value))
    }

    fn u32(&mut self, value: &mut u32) -> Result<(), FormError> {
        let mut bytes = value.to_le_bytes();
        self.bytes(&mut bytes)?;
        *value = u32::from_le_bytes(bytes);
        Ok(())
    }

    fn i32(&mut self, value: &mut i32) -> Result<(), FormError> {
        let mut bits = value.cast_unsigned();
        self.u32(&mut bits)?;
        *value = bits.cast_signed();
        Ok(())
    }

    fn f32(&mut self, value: &mut f32) -> Result<(), FormError> {
        let mut bits = value.to_bits();
        self.u32(&mut bits)?;
        *value = f32::from_bits(bits);
        Ok(())
    }

    fn f64(&mut self, value: &mut f64) -> Result<(), FormError> {
        let mut bytes = value.to_le_bytes();
        self.bytes(&mut bytes)?;
        *value = f64::from_le_bytes(bytes);
        Ok(())
    }

    fn flag(&mut self, value: &mut bool) -> Result<(), FormError> {
        self.one_of(value, &[false, true])
    }

    /// A value by its place in a list.
    fn one_of<T: Copy + PartialEq>(&mut self, value: &mut T, all: &[T]) -> Result<(), FormError> {
        let mut place = all.iter().position(|one| one == value).unwrap_or(0) as u8;
        self.u8(&mut place)?;
        *value = *all.get(usize::from(place)).ok_or(FormError::Value)?;
        Ok(())
    }

    /// An option; `blank` is filled in where there is a value.
    fn optional<T: Copy>(
        &mut self,
        value: &mut Option<T>,
        blank: T,
        walk: impl FnOnce(&mut Self, &mut T) -> Result<(), FormError>,
    ) -> Result<(), FormError> {
        let mut is = value.is_some();
        self.flag(&mut is)?;
        let mut inner = value.unwrap_or(blank);
        *value = None;
        if is {
            walk(self, &mut inner)?;
            *value = Some(inner);
        }
        Ok(())
    }

    /// A list of at most `MOST` items.
    fn list<T: Copy, const MOST: usize>(
        &mut self,
        list: &mut heapless::Vec<T, MOST>,
        blank: T,
        mut walk: impl FnMut(&mut Self, &mut T) -> Result<(), FormError>,
    ) -> Result<(), FormError> {
        let mut count = list.len() as u8;
        self.u8(&mut count)?;
        list.resize(usize::from(count), blank).map_err(|_| FormError::Value)?;
        list.iter_mut().try_for_each(|item| walk(self, item))
    }
}

struct Put<'a> {
    room: &'a mut [u8],
    len: usize,
}

impl Put<'_> {
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), FormError> {
        let end = self.len.saturating_add(bytes.len());
        // Not `copy_from_slice`, whose panic the compiler does not always see to be out of reach.
        let room = self.room.get_mut(self.len..end).ok_or(FormError::Length)?;
        room.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
        self.len = end;
        Ok(())
    }
}

impl Pass for Put<'_> {
    fn bytes(&mut self, bytes: &mut [u8]) -> Result<(), FormError> {
        Put::bytes(self, bytes)
    }
}

struct Take<'a> {
    bytes: &'a [u8],
    len: usize,
}

impl Pass for Take<'_> {
    fn bytes(&mut self, bytes: &mut [u8]) -> Result<(), FormError> {
        let end = self.len.saturating_add(bytes.len());
        let from = self.bytes.get(self.len..end).ok_or(FormError::Length)?;
        bytes.iter_mut().zip(from).for_each(|(to, from)| *to = *from);
        self.len = end;
        Ok(())
    }
}

fn walk<P: Pass, const N: usize>(
    pass: &mut P,
    press: &mut PressSettings<N>,
    die: Option<&mut DieLimits>,
) -> Result<(), FormError> {
    let PressSettings {
        press: spec,
        calibration,
        filter,
        spike_jump_kn,
        stroke,
        health,
        centre_least_kn,
        timed,
    } = press;
    walk_spec(pass, spec)?;
    walk_calibration(pass, calibration)?;
    let blank = FilterConfig { kind: FilterKind::default(), corner_hz: 0.0, sample_hz: 0.0 };
    pass.optional(filter, blank, |pass, filter| {
        let FilterConfig { kind, corner_hz, sample_hz } = filter;
        pass.one_of(kind, &[FilterKind::NoOvershoot, FilterKind::Butterworth2, FilterKind::Butterworth4])?;
        pass.f64(corner_hz)?;
        pass.f64(sample_hz)
    })?;
    pass.f32(spike_jump_kn)?;
    let StrokeConfig { source, sample_hz, top_speed_spm, onset_kn, rest_s } = stroke;
    pass.one_of(
        source,
        &[StrokeSource::Encoder, StrokeSource::Index, StrokeSource::Load, StrokeSource::Marked],
    )?;
    [sample_hz, top_speed_spm, onset_kn, rest_s].into_iter().try_for_each(|value| pass.f32(value))?;
    let HealthRules {
        rail_frames,
        stuck_frames,
        stuck_others_kn,
        stuck_alone_frames,
        short_counts,
        noise_kn,
        hum_kn,
        repeat_frames,
    } = health;
    [rail_frames, stuck_frames, stuck_alone_frames, repeat_frames]
        .into_iter()
        .try_for_each(|value| pass.u32(value))?;
    pass.i32(short_counts)?;
    [stuck_others_kn, noise_kn, hum_kn, centre_least_kn].into_iter().try_for_each(|value| pass.f32(value))?;
    pass.flag(timed)?;
    die.map_or(Ok(()), |die| walk_die(pass, die))
}

fn walk_spec<P: Pass>(pass: &mut P, spec: &mut PressSpec) -> Result<(), FormError> {
    let PressSpec {
        // The head says it.
        columns: _,
        rated_kn,
        rated_height_mm,
        stroke_mm,
        rod_mm,
        speed_spm: [slowest, fastest],
        bolster_mm: [left_right, front_rear],
        usable_energy_kj,
        reverse_percent,
        column_percent,
        imbalance_percent,
        off_centre_percent,
    } = spec;
    [
        rated_kn,
        rated_height_mm,
        stroke_mm,
        rod_mm,
        slowest,
        fastest,
        left_right,
        front_rear,
        reverse_percent,
        column_percent,
        imbalance_percent,
    ]
    .into_iter()
    .try_for_each(|value| pass.f64(value))?;
    pass.optional(usable_energy_kj, 0.0, Pass::f64)?;
    pass.optional(off_centre_percent, 0.0, Pass::f64)
}

fn walk_calibration<P: Pass, const N: usize>(
    pass: &mut P,
    calibration: &mut CalibrationConfig<N>,
) -> Result<(), FormError> {
    let CalibrationConfig { zero_counts, kn_per_count, range_counts, zero_tracking } = calibration;
    zero_counts.iter_mut().chain(range_counts).try_for_each(|value| pass.i32(value))?;
    kn_per_count.iter_mut().flatten().try_for_each(|value| pass.f32(value))?;
    pass.optional(zero_tracking, ZeroTracking { rate: 0.0, limit_kn: 0.0 }, |pass, tracking| {
        let ZeroTracking { rate, limit_kn } = tracking;
        pass.f32(rate)?;
        pass.f32(limit_kn)
    })
}

fn walk_die<P: Pass>(pass: &mut P, die: &mut DieLimits) -> Result<(), FormError> {
    let DieLimits { peak_kn, reverse_kn, work_kj, no_load, double_load, envelope, watch, sensors } = die;
    for band in [peak_kn, reverse_kn, work_kj] {
        let blank = Band { low: 0.0, high: 0.0, verdict: Verdict::Pass, rule: MofN::FIRST };
        pass.optional(band, blank, |pass, band| {
            let Band { low, high, verdict, rule } = band;
            pass.f32(low)?;
            pass.f32(high)?;
            walk_meaning(pass, verdict, rule)
        })?;
    }
    for threshold in [no_load, double_load] {
        let blank = Threshold { kn: 0.0, verdict: Verdict::Pass, rule: MofN::FIRST };
        pass.optional(threshold, blank, |pass, threshold| {
            let Threshold { kn, verdict, rule } = threshold;
            pass.f32(kn)?;
            walk_meaning(pass, verdict, rule)
        })?;
    }
    let Envelope { verdict, rule } = envelope;
    walk_meaning(pass, verdict, rule)?;
    let nowhere = Span::angles(CrankAngle(0), CrankAngle(0));
    let blank = WatchWindow {
        span: nowhere,
        channel: Channel::Total,
        value: WindowValue::Greatest,
        low_kn: 0.0,
        high_kn: 0.0,
        verdict: Verdict::Pass,
        rule: MofN::FIRST,
    };
    pass.list(watch, blank, |pass, window| {
        let WatchWindow { span, channel, value, low_kn, high_kn, verdict, rule } = window;
        walk_span(pass, span)?;
        let channels = [0, 1, 2, 3].map(Channel::Column);
        let [a, b, c, d] = channels;
        pass.one_of(channel, &[Channel::Total, a, b, c, d])?;
        pass.one_of(value, &[WindowValue::Greatest, WindowValue::Least, WindowValue::Mean])?;
        pass.f32(low_kn)?;
        pass.f32(high_kn)?;
        walk_meaning(pass, verdict, rule)
    })?;
    let blank = SensorWindow {
        span: nowhere,
        input: 0,
        must: SensorRule::OnOnce,
        verdict: Verdict::Pass,
        rule: MofN::FIRST,
    };
    pass.list(sensors, blank, |pass, window| {
        let SensorWindow { span, input, must, verdict, rule } = window;
        walk_span(pass, span)?;
        pass.u8(input)?;
        pass.one_of(must, &[SensorRule::OnOnce, SensorRule::OnThroughout, SensorRule::OffThroughout])?;
        walk_meaning(pass, verdict, rule)
    })
}

/// A verdict, and how often its limit must have been left.
fn walk_meaning<P: Pass>(pass: &mut P, verdict: &mut Verdict, rule: &mut MofN) -> Result<(), FormError> {
    pass.one_of(verdict, &[Verdict::Pass, Verdict::Note, Verdict::Hold, Verdict::Trip])?;
    let MofN { m, n } = rule;
    pass.u8(m)?;
    pass.u8(n)
}

fn walk_span<P: Pass>(pass: &mut P, span: &mut Span) -> Result<(), FormError> {
    let place = |position| match position {
        Position::Angle(angle) => (true, angle.0),
        Position::SinceOnset(ticks) => (false, ticks),
        Position::Unknown => (false, 0),
    };
    let [(mut by_angle, mut from), (_, mut to)] = span.ends().map(place);
    pass.flag(&mut by_angle)?;
    pass.u32(&mut from)?;
    pass.u32(&mut to)?;
    *span = if by_angle {
        Span::angles(CrankAngle(from), CrankAngle(to))
    } else {
        Span::ticks(from, to).ok_or(FormError::Value)?
    };
    Ok(())
}

#[cfg(test)]
mod tests;
