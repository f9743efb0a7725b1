//! A causal low-pass chosen in hertz, and a spike guard.
//!
//! Three forms. [`FilterKind::NoOvershoot`] is two equal one-pole stages: no sample of its impulse
//! response is negative, so its output is always a weighted mean of what came in, and it can show
//! neither a reverse load nor an overload that was not there. The Butterworth forms keep more of the
//! band but undershoot after a sudden release (4–5 % of the step in second order, 11–12 % in fourth);
//! their output is therefore held within the range of what came in lately: since the beginning of the span of
//! two periods of the corner that came before the present one, or since the filter was last started. So a load
//! that once was real, a reverse load after fracture, cannot show again as the undershoot of another release.
//! Butterworth sections come from the bilinear transform of the analogue prototype with the corner
//! pre-warped (standard design), and agree with SciPy's `butter(..., output='sos')`.

/// Shape of the low-pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum FilterKind {
    /// Two equal real poles; the default.
    #[default]
    NoOvershoot,
    /// Second-order Butterworth.
    Butterworth2,
    /// Fourth-order Butterworth, two sections.
    Butterworth4,
}

/// What a person chooses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilterConfig {
    /// Shape.
    pub kind: FilterKind,
    /// −3 dB corner, Hz.
    pub corner_hz: f64,
    /// Sample rate, Hz.
    pub sample_hz: f64,
}

/// Why a filter was refused: the corner must lie above zero and below half the sample rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilterError {
    /// The corner asked for, Hz.
    pub corner_hz: f64,
    /// The sample rate, Hz.
    pub sample_hz: f64,
}

impl core::fmt::Display for FilterError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(
            f,
            "a low-pass corner of {} Hz does not fit a sample rate of {} Hz: it must lie above 0 and below half of it",
            self.corner_hz, self.sample_hz
        )
    }
}

impl core::error::Error for FilterError {}

/// One second-order section, leading denominator coefficient 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Numerator.
    pub b: [f32; 3],
    /// Denominator after its leading 1.
    pub a: [f32; 2],
}

/// What one section remembers (transposed direct form II).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SectionState([f32; 2]);

impl Section {
    /// A low-pass section of quality `q` with its corner at `corner` = tan(π f/fs), gain 1 at rest.
    fn low_pass(corner: f64, q: f64) -> Self {
        let (k, k2) = (corner / q, corner * corner);
        let norm = 1.0 / (1.0 + k + k2);
        let gain = (k2 * norm) as f32;
        Self {
            b: [gain, 2.0 * gain, gain],
            a: [(2.0 * (k2 - 1.0) * norm) as f32, ((1.0 - k + k2) * norm) as f32],
        }
    }

    /// One sample through the section.
    #[must_use]
    #[inline]
    pub fn step(&self, state: &mut SectionState, x: f32) -> f32 {
        let [s1, s2] = state.0;
        let y = self.b[0] * x + s1;
        state.0 = [self.b[1] * x - self.a[0] * y + s2, self.b[2] * x - self.a[1] * y];
        y
    }

    /// The state in which a constant input `x` gives the constant output `x`.
    fn settled(&self, x: f32) -> SectionState {
        let s2 = (self.b[2] - self.a[1]) * x;
        SectionState([(self.b[1] - self.a[0]) * x + s2, s2])
    }
}

/// A built low-pass: coefficients only, shared by all columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LowPass {
    form: Form,
    /// Frames in two periods of the corner, rounded up: what a Butterworth form remembers of an input after so
    /// many is below 1 % of it (fourth order: its slowest poles decay by exp(−2π sin 22.5° · 2) = 0.8 %).
    span: u32,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Form {
    Smooth(f32),
    One(Section),
    Two([Section; 2]),
}

/// What a low-pass remembers of one column.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LowPassState {
    started: bool,
    smooth: [f32; 2],
    sections: [SectionState; 2],
    /// Least and greatest input of the span under way, and of the one before it.
    seen: [[f32; 2]; 2],
    /// Frames left of the span under way.
    left: u32,
    /// What came out last, where [`LowPass::step_each`] was asked.
    out: f32,
}

impl FilterConfig {
    /// Checks the corner and computes the coefficients.
    ///
    /// # Errors
    /// [`FilterError`] unless 0 < corner < half the sample rate, both finite.
    pub fn build(&self) -> Result<LowPass, FilterError> {
        let ratio = self.corner_hz / self.sample_hz;
        if !(self.sample_hz.is_finite() && ratio > 0.0 && ratio < 0.5) {
            return Err(FilterError { corner_hz: self.corner_hz, sample_hz: self.sample_hz });
        }
        let corner = libm::tan(core::f64::consts::PI * ratio);
        let sine = |degrees: f64| libm::sin(degrees.to_radians());
        let form = match self.kind {
            FilterKind::NoOvershoot => {
                // Each stage is 1 − p over 1 − p/z; two of them are 3 dB down where
                // (1 − p)² = k(1 + p² − 2p cos ω), k = 1/√2: a quadratic in p.
                let k = core::f64::consts::FRAC_1_SQRT_2;
                let cosine = libm::cos(core::f64::consts::TAU * ratio);
                let (half_b, c) = (1.0 - k * cosine, 1.0 - k);
                let pole = (half_b - libm::sqrt(half_b * half_b - c * c)) / c;
                Form::Smooth((1.0 - pole) as f32)
            }
            FilterKind::Butterworth2 => {
                Form::One(Section::low_pass(corner, core::f64::consts::FRAC_1_SQRT_2))
            }
            // Pole pairs of order 4 lie 22.5° and 67.5° off the imaginary axis: q = 1/(2 sin).
            FilterKind::Butterworth4 => Form::Two([
                Section::low_pass(corner, 0.5 / sine(67.5)),
                Section::low_pass(corner, 0.5 / sine(22.5)),
            ]),
        };
        Ok(LowPass { form, span: libm::ceil(2.0 * self.sample_hz / self.corner_hz) as u32 })
    }
}

impl LowPass {
    /// One sample of one column. The first sample starts the filter settled at that value.
    #[must_use]
    #[inline]
    pub fn step(&self, state: &mut LowPassState, x: f32) -> f32 {
        if !state.started {
            *state = self.settled(x);
        }
        match &self.form {
            Form::Smooth(share) => {
                let [first, second] = &mut state.smooth;
                *first += share * (x - *first);
                *second += share * (*first - *second);
                *second
            }
            Form::One(section) => {
                let y = section.step(&mut state.sections[0], x);
                state.within_seen(self.span, x, y)
            }
            Form::Two([one, two]) => {
                let between = one.step(&mut state.sections[0], x);
                let y = two.step(&mut state.sections[1], between);
                state.within_seen(self.span, x, y)
            }
        }
    }

    /// One frame of all columns, as [`Self::step`] of each: what form it is, and whether they have been started, is asked
    /// once. They are started together.
    #[must_use]
    #[inline]
    pub fn step_all<const N: usize>(&self, states: &mut [LowPassState; N], loads: &[f32; N]) -> [f32; N] {
        let mut out = [0.0; N];
        if let Form::Smooth(share) = &self.form
            && states.first().is_some_and(|state| state.started)
        {
            for ((state, load), out) in states.iter_mut().zip(loads).zip(&mut out) {
                let [first, second] = &mut state.smooth;
                *first += share * (*load - *first);
                *second += share * (*first - *second);
                *out = *second;
            }
        } else {
            // By way of the states: a place on the stack would have to be filled in every frame.
            self.step_each(states, loads);
            for (out, state) in out.iter_mut().zip(states) {
                *out = state.out;
            }
        }
        out
    }

    #[cold]
    #[inline(never)]
    fn step_each<const N: usize>(&self, states: &mut [LowPassState; N], loads: &[f32; N]) {
        for (state, load) in states.iter_mut().zip(loads) {
            state.out = self.step(state, *load);
        }
    }

    fn settled(&self, x: f32) -> LowPassState {
        let mut sections = [SectionState::default(); 2];
        match &self.form {
            Form::Smooth(_) => {}
            Form::One(section) => sections[0] = section.settled(x),
            Form::Two([one, two]) => sections = [one.settled(x), two.settled(x)],
        }
        LowPassState { started: true, smooth: [x; 2], sections, seen: [[x; 2]; 2], left: self.span, out: x }
    }

    /// The sections, in order; none for the form without overshoot.
    #[must_use]
    pub fn sections(&self) -> &[Section] {
        match &self.form {
            Form::Smooth(_) => &[],
            Form::One(section) => core::slice::from_ref(section),
            Form::Two(sections) => sections,
        }
    }
}

impl LowPassState {
    /// Forgets everything; the next sample starts it anew.
    pub fn restart(&mut self) {
        self.started = false;
    }

    /// A filter may not report a load that did not come in lately.
    #[inline]
    fn within_seen(&mut self, span: u32, x: f32, y: f32) -> f32 {
        let [now, before] = &mut self.seen;
        if self.left == 0 {
            *before = *now;
            *now = [x; 2];
            self.left = span;
        }
        self.left = self.left.saturating_sub(1);
        if x < now[0] {
            now[0] = x;
        }
        if x > now[1] {
            now[1] = x;
        }
        let least = if before[0] < now[0] { before[0] } else { now[0] };
        let greatest = if before[1] > now[1] { before[1] } else { now[1] };
        if y < least {
            least
        } else if y > greatest {
            greatest
        } else {
            y
        }
    }
}

/// A guard against single-frame electrical spikes, for all columns.
///
/// A reading that jumps by more than the limit from the last accepted one is withheld for one frame
/// (the last accepted reading stands in); in the next frame every column's reading is accepted, whatever
/// it is. So an overload of two frames or more is delayed by one frame and never hidden, also one that
/// goes from column to column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpikeGuards<const N: usize> {
    /// `[column]`: last accepted reading; NaN before the first, from which nothing is a jump.
    last: [f32; N],
    /// Bit n is set where column n's last reading was withheld; if any is, none is in the next frame.
    withheld: u32,
}

impl<const N: usize> Default for SpikeGuards<N> {
    fn default() -> Self {
        Self { last: [f32::NAN; N], withheld: 0 }
    }
}

impl<const N: usize> SpikeGuards<N> {
    /// Frames of overload that the guard may hide: exactly one.
    pub const HIDES_FRAMES: u32 = 1;

    /// One reading of each column; `jump` is the greatest believable change in one frame, kN. Gives the accepted readings.
    #[must_use]
    #[inline]
    pub fn step(&mut self, jump: f32, loads: &[f32; N]) -> [f32; N] {
        // As long as nothing jumps, one comparison a column: sizes compare as the bits after their sign do.
        let most = jump.to_bits() << 1;
        if loads.iter().zip(&self.last).all(|(load, last)| (load - last).to_bits() << 1 <= most) {
            self.last = *loads;
            self.withheld = 0;
        } else {
            self.withhold(jump, loads);
        }
        self.last
    }

    /// `[column]`: the last accepted readings, kN.
    #[must_use]
    #[inline]
    pub fn accepted(&self) -> &[f32; N] {
        &self.last
    }

    /// Bit n is set where column n's reading was withheld in the last frame.
    #[must_use]
    pub fn withheld(&self) -> u32 {
        self.withheld
    }

    /// A reading jumps, or cannot be compared.
    #[cold]
    #[inline(never)]
    fn withhold(&mut self, jump: f32, loads: &[f32; N]) {
        let mut jumps = 0;
        for (n, (load, last)) in loads.iter().zip(&self.last).enumerate() {
            if (load - last).abs() > jump {
                jumps |= 1 << (n & 31);
            }
        }
        let withheld = if self.withheld == 0 { jumps } else { 0 };
        for (n, (load, last)) in loads.iter().zip(&mut self.last).enumerate() {
            if withheld & (1 << (n & 31)) == 0 {
                *last = *load;
            }
        }
        self.withheld = withheld;
    }

    /// Forgets the last readings; the next ones are accepted as they are.
    pub fn restart(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests;
