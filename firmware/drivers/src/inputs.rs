//! Debounced inputs: sensors, keys, switches.

use embedded_hal::digital::InputPin;

/// Up to eight inputs, each believed once it has stood still for a stated number of samples.
///
/// A sensor of 1 kHz bandwidth at 10 kHz frames is served by 8 samples; a relay contact that bounces for 5 ms by 50.
#[derive(Debug, Clone, Copy)]
pub struct Debounce {
    samples: u8,
    believed: u8,
    /// `[input]`: samples for which it has differed from what is believed.
    differing: [u8; 8],
}

impl Debounce {
    /// All inputs off; a change is believed after this many samples in a row (0 and 1: at once).
    #[must_use]
    pub const fn new(samples: u8) -> Self {
        Self { samples, believed: 0, differing: [0; 8] }
    }

    /// Takes in one sample of all inputs, bit 0 = input 1; gives what is believed.
    pub fn step(&mut self, raw: u8) -> u8 {
        for (input, differing) in (0_u8..).zip(&mut self.differing) {
            let bit = 1 << input;
            if (raw ^ self.believed) & bit == 0 {
                *differing = 0;
                continue;
            }
            *differing = differing.saturating_add(1);
            if *differing >= self.samples {
                self.believed ^= bit;
                *differing = 0;
            }
        }
        self.believed
    }

    /// What is believed.
    #[must_use]
    pub fn believed(&self) -> u8 {
        self.believed
    }
}

/// Reads pins into bits; a pin that cannot be read counts as off.
pub fn read<P: InputPin>(pins: &mut [P]) -> u8 {
    (0_u8..8).zip(pins).fold(0, |bits, (n, pin)| bits | u8::from(pin.is_high().unwrap_or(false)) << n)
}

/// A key that is pressed by a person: acts once a press, and only if it was seen released before.
///
/// A key that is stuck, or held since power-up, acknowledges nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Key {
    released: bool,
}

impl Key {
    /// Takes in the key's debounced state; true in the sample in which it goes down.
    pub fn step(&mut self, down: bool) -> bool {
        let acts = down && self.released;
        self.released = !down;
        acts
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_believed_after_its_samples_and_a_bounce_starts_again() {
        let mut debounce = Debounce::new(4);
        for raw in [1, 1, 1, 0, 1, 1, 1] {
            assert_eq!(debounce.step(raw), 0);
        }
        assert_eq!(debounce.step(0x81), 1, "input 1 after four, input 8 not yet");
        assert_eq!([debounce.step(0x80), debounce.step(0x80), debounce.step(0x80)], [1, 1, 0x81]);
        assert_eq!(debounce.step(0x80), 0x80);
    }

    #[test]
    fn every_input_is_on_its_own() {
        for input in 0..8 {
            let mut debounce = Debounce::new(2);
            debounce.step(1 << input);
            assert_eq!(debounce.step(1 << input), 1 << input);
        }
    }

    #[test]
    fn a_key_held_since_power_up_does_nothing_until_released() {
        let mut key = Key::default();
        assert!(![true; 100].into_iter().any(|down| key.step(down)));
        assert!(!key.step(false));
        assert!(key.step(true));
        assert!(!key.step(true), "once a press");
    }
}
