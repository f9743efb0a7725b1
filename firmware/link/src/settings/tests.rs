use super::*;
use crate::feed::{Header, TrialDie};
use crate::trial::{TrialMonitor, die, invented_press, press, put_die};
use proptest::prelude::*;
use std::vec::Vec;

fn fixed<const N: usize>(columns: Columns, source: StrokeSource) -> Fixed<N> {
    let press = invented_press(columns);
    let mut settings = PressSettings::usual(press, 10_000.0, 1e-3, source);
    settings.calibration.zero_tracking = Some(ZeroTracking { rate: 0.01, limit_kn: 2.0 });
    settings.calibration.zero_counts = core::array::from_fn(|n| 5 - 100 * n as i32);
    Fixed { press: settings, die: Some(die(&press, source)), has_shape: true, marked: true }
}

fn bytes<const N: usize>(fixed: &Fixed<N>) -> Vec<u8> {
    let mut out = [0xAA; FIXED_MAX];
    let len = fixed.encode(&mut out).unwrap();
    out[..len].to_vec()
}

#[test]
fn settings_of_every_press_come_back_as_they_were() {
    fn check<const N: usize>(fixed: &Fixed<N>) {
        let bytes = bytes(fixed);
        assert_eq!(bytes.len() % 4, 0);
        assert_eq!(Fixed::decode(&bytes), Ok((fixed.clone(), bytes.len())));
        assert_eq!(Head::read(&bytes).map(|head| head.has_shape), Ok(fixed.has_shape));
    }
    for source in [StrokeSource::Encoder, StrokeSource::Index, StrokeSource::Load, StrokeSource::Marked] {
        check(&fixed::<1>(Columns::Total, source));
        check(&fixed::<2>(Columns::LeftRight, source));
        check(&fixed::<4>(Columns::Corners, source));
    }
    let mut bare = fixed::<4>(Columns::Corners, StrokeSource::Marked);
    (bare.die, bare.has_shape, bare.press.filter) = (None, false, None);
    bare.press.press.usable_energy_kj = None;
    bare.press.spike_jump_kn = f32::INFINITY;
    check(&bare);
}

#[test]
fn settings_cut_short_or_for_other_columns_are_refused() {
    let bytes = bytes(&fixed::<4>(Columns::Corners, StrokeSource::Encoder));
    for len in 0..bytes.len() {
        assert_eq!(Fixed::<4>::decode(&bytes[..len]), Err(FormError::Length), "{len} bytes");
    }
    assert_eq!(Fixed::<2>::decode(&bytes), Err(FormError::Columns(4)));
    let mut other = bytes.clone();
    other[4] = VERSION + 1;
    assert_eq!(Fixed::<4>::decode(&other), Err(FormError::Head));
    let mut out = [0; 100];
    assert_eq!(fixed::<4>(Columns::Corners, StrokeSource::Encoder).encode(&mut out), Err(FormError::Length));
}

#[test]
fn every_single_bit_that_flips_and_every_end_that_is_missing_is_told_by_the_checksum() {
    const CRC_32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
    let whole = bytes(&fixed::<4>(Columns::Corners, StrokeSource::Encoder));
    let check = CRC_32.checksum(&whole);
    for bit in 0..8 * whole.len() {
        let mut damaged = whole.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        assert_ne!(CRC_32.checksum(&damaged), check, "bit {bit}");
    }
    for len in 0..whole.len() {
        assert_ne!(CRC_32.checksum(&whole[..len]), check, "{len} bytes");
    }
}

/// The words of a shape that a monitor judges by.
fn shape() -> Vec<u32> {
    let header = Header {
        press: invented_press(Columns::Corners),
        source: StrokeSource::Encoder,
        timed: true,
        repeats: false,
        die: TrialDie::Shape,
        records: 0,
        sample_hz: 10_000.0,
        kn_per_count: 1e-3,
    };
    let mut monitor = std::boxed::Box::new(TrialMonitor::<4>::new(press(&header).unwrap()));
    put_die(&mut monitor, &header).unwrap();
    let model = monitor.shape().model().unwrap();
    (0..).map_while(|n| model.word(n)).collect()
}

fn is_whole(words: &[u32]) -> bool {
    let mut check = WordCheck::new(4);
    words.iter().for_each(|word| check.take(*word));
    check.is_whole()
}

#[test]
fn a_shape_is_whole_only_with_every_word_possible_and_no_other() {
    let words = shape();
    assert!(is_whole(&words));
    assert!(!is_whole(&words[..words.len() - 1]));
    assert!(!is_whole(&[words.as_slice(), &[0]].concat()));
    for n in (0..words.len()).step_by(37).chain(0..80) {
        let mut wrong = words.clone();
        wrong[n] = f32::NAN.to_bits();
        // Word 2 is any whole number above zero.
        assert_eq!(is_whole(&wrong), n == 2, "word {n}");
    }
    let mut falling = words.clone();
    falling.swap(10, 11);
    assert!(!is_whole(&falling));
}

proptest! {
    #[test]
    fn any_bytes_are_settings_or_refused(mut noise in proptest::collection::vec(any::<u8>(), 0..700), head in any::<bool>()) {
        if head && noise.len() >= 8 {
            noise[..8].copy_from_slice(b"BOLS\x02\x04\x07\0");
        }
        let _ = Fixed::<4>::decode(&noise).map(|(fixed, _)| fixed.press.build().is_ok());
    }
}
