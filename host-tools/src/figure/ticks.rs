//! Where an axis carries numbers, and how numbers are written.

/// The ticks of one axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Ticks {
    /// Tick positions, rising, multiples of the step.
    pub values: Vec<f64>,
    /// Distance between ticks.
    pub step: f64,
}

impl Ticks {
    /// The number printed at `value`: as many decimals as the step needs.
    #[must_use]
    pub fn print(&self, value: f64) -> String {
        let most = self.values.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        if most >= 1e7 || self.step < 1e-5 {
            // A value at a rounding error of zero is zero.
            if value.abs() < self.step * 1e-6 {
                return "0".into();
            }
            let digits = ((most / self.step).log10().floor().clamp(0.0, 6.0)) as usize;
            return minus(format!("{value:.digits$e}"));
        }
        let decimals = (-(self.step * 1.000_001).log10().floor()).clamp(0.0, 6.0) as usize;
        grouped(value, decimals)
    }
}

/// At most `most` ticks in `low..=high`, at steps of 1, 2 or 5 times a power of ten.
#[must_use]
pub fn ticks(low: f64, high: f64, most: usize) -> Ticks {
    let span = high - low;
    if !(span.is_finite() && span > 0.0) {
        return Ticks { values: vec![low], step: 1.0 };
    }
    let rough = span / most.max(1) as f64;
    let power = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|&s| count(low, high, s) <= most.max(1))
        .unwrap_or(20.0 * power);
    at_steps(low, high, step)
}

/// Like [`ticks`], for crank angles: wide ranges take parts of a turn (15, 30, 45, 90 degrees).
#[must_use]
pub fn degree_ticks(low: f64, high: f64, most: usize) -> Ticks {
    let plain = ticks(low, high, most);
    if plain.step <= 10.0 {
        return plain;
    }
    [15.0, 30.0, 45.0, 90.0, 180.0]
        .into_iter()
        .find(|&s| count(low, high, s) <= most.max(1))
        .map_or(plain, |s| at_steps(low, high, s))
}

/// Like [`ticks`], but never between whole numbers: strokes.
pub(super) fn whole_ticks(low: f64, high: f64, most: usize) -> Ticks {
    let plain = ticks(low, high, most);
    if plain.step >= 1.0 || high - low <= 0.0 { plain } else { at_steps(low, high, 1.0) }
}

fn first_last(low: f64, high: f64, step: f64) -> (f64, f64) {
    // A tick a rounding error outside is inside.
    ((low / step - 1e-9).ceil(), (high / step + 1e-9).floor())
}

fn count(low: f64, high: f64, step: f64) -> usize {
    let (first, last) = first_last(low, high, step);
    if last < first { 0 } else { (last - first).min(1e6) as usize + 1 }
}

fn at_steps(low: f64, high: f64, step: f64) -> Ticks {
    let (first, _) = first_last(low, high, step);
    // + 0.0 turns a negative zero into zero.
    let values = (0..count(low, high, step)).map(|i| (first + i as f64) * step + 0.0).collect();
    Ticks { values, step }
}

/// A number with its thousands apart and a true minus sign.
pub(crate) fn grouped(value: f64, decimals: usize) -> String {
    let plain = format!("{:.*}", decimals, value.abs());
    let (whole, part) = plain.split_once('.').map_or((plain.as_str(), ""), |(w, p)| (w, p));
    let mut out = String::new();
    if value < 0.0 && plain.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        out.push('−');
    }
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if !part.is_empty() {
        out.push('.');
        out.push_str(part);
    }
    out
}

/// A number for a label: three significant digits below 1000, whole above.
pub(super) fn readable(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 {
        return "0".into();
    }
    if !(1e-3..1e7).contains(&size) {
        return minus(format!("{value:.2e}"));
    }
    let decimals = (2.0 - size.log10().floor()).clamp(0.0, 5.0) as usize;
    grouped(value, decimals)
}

/// [`readable`] without zeros at the end: for numbers somebody chose, such as a confidence.
pub(super) fn short(value: f64) -> String {
    let text = readable(value);
    if !text.contains('.') || text.contains('e') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn minus(text: String) -> String {
    text.replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mantissa(step: f64) -> f64 {
        let m = step / 10_f64.powf(step.log10().floor());
        (m * 1e6).round() / 1e6
    }

    #[test]
    fn ticks_step_by_one_two_or_five_and_stay_inside() {
        // Enumerated over twelve decades and offsets of both signs.
        for power in -6..6 {
            let scale = 10_f64.powi(power);
            for (low, high) in [(0.0, 1.0), (-3.3, 7.1), (160.0, 200.0), (0.97, 1.01), (-9.0, -8.5)] {
                for most in 2..12 {
                    let t = ticks(low * scale, high * scale, most);
                    let m = mantissa(t.step);
                    assert!([1.0, 2.0, 5.0, 10.0].iter().any(|s| (m - s).abs() < 1e-6), "step {}", t.step);
                    assert!(t.values.len() <= most, "{t:?}");
                    let slack = 1e-8 * t.step;
                    assert!(
                        t.values.iter().all(|&v| v >= low * scale - slack && v <= high * scale + slack),
                        "{t:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_range_has_at_least_a_third_of_the_ticks_it_may_have() {
        // Steps grow by at most 2.5, so at least most / 2.5 − 1 ticks fit.
        for i in 1..400 {
            let high = 0.37 * f64::from(i);
            let t = ticks(0.0, high, 8);
            assert!(t.values.len() >= 3, "{high}: {t:?}");
        }
    }

    #[test]
    fn numbers_carry_the_decimals_of_the_step() {
        let t = ticks(0.0, 1.0, 6);
        let printed: Vec<String> = t.values.iter().map(|&v| t.print(v)).collect();
        assert_eq!(printed, ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
        let t = ticks(-40_000.0, 40_000.0, 5);
        let printed: Vec<String> = t.values.iter().map(|&v| t.print(v)).collect();
        assert_eq!(printed, ["−40,000", "−20,000", "0", "20,000", "40,000"]);
        let t = ticks(-2e-7, 2e-7, 5);
        let printed: Vec<String> = t.values.iter().map(|&v| t.print(v)).collect();
        assert_eq!(printed, ["−2e−7", "−1e−7", "0", "1e−7", "2e−7"]);
    }

    #[test]
    fn a_turn_is_divided_into_parts_of_a_turn() {
        assert_eq!(
            degree_ticks(0.0, 360.0, 9).values,
            [0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0, 360.0]
        );
        assert_eq!(degree_ticks(160.0, 200.0, 9).step, 5.0);
    }

    #[test]
    fn strokes_are_never_cut_in_parts() {
        assert_eq!(whole_ticks(1.0, 3.0, 9).values, [1.0, 2.0, 3.0]);
        assert_eq!(whole_ticks(0.0, 30_000.0, 8).step, 5000.0);
    }

    #[test]
    fn an_empty_range_has_one_tick() {
        assert_eq!(ticks(5.0, 5.0, 6).values, [5.0]);
        assert_eq!(ticks(f64::NAN, 5.0, 6).values.len(), 1);
    }

    #[test]
    fn labels_keep_three_digits() {
        assert_eq!(readable(1234.5), "1,234");
        assert_eq!(readable(412.34), "412");
        assert_eq!(readable(3.1849), "3.18");
        assert_eq!(readable(-0.05), "−0.0500");
        assert_eq!(readable(0.0), "0");
        assert_eq!(readable(2.5e-9), "2.50e−9");
        assert_eq!([90.0, 99.5, 1.0, 0.25, 1000.0].map(short), ["90", "99.5", "1", "0.25", "1,000"]);
    }
}
