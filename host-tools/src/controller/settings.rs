//! A controller's settings as it takes them: the press, the die's limits and what learning found.

use bolster_core::settings::PressSettings;
use bolster_link::settings::{FIXED_MAX, Fixed};

use crate::card::die::DieCard;
use crate::session::SessionError;

const CRC_32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// The checksum that settings are committed with.
#[must_use]
pub fn checksum(settings: &[u8]) -> u32 {
    CRC_32.checksum(settings)
}

/// Settings as bytes; `marked` says whether the controller will be told of changes of coil, `sample_hz` at what rate it
/// samples.
///
/// # Errors
/// [`SessionError::Settings`] if press or die cannot be.
pub fn bytes<const N: usize>(
    press: PressSettings<N>,
    die: Option<&DieCard>,
    marked: bool,
    sample_hz: f64,
) -> Result<Vec<u8>, SessionError> {
    let failed = |why: String| SessionError::Settings(why);
    press.build()?;
    let limits =
        die.map(|die| die.limits.to_core(press.press.columns, sample_hz)).transpose().map_err(failed)?;
    let shape = die.and_then(|die| die.shape.as_ref()).map(|shape| shape.model::<N>(sample_hz));
    let shape = shape.transpose().map_err(|why| failed(why.to_string()))?;
    let fixed = Fixed { press, die: limits, has_shape: shape.is_some(), marked };
    let mut bytes = vec![0; FIXED_MAX];
    let len = fixed.encode(&mut bytes).map_err(|why| failed(why.to_string()))?;
    bytes.truncate(len);
    if let Some(shape) = &shape {
        let words = (0..).map_while(|n| shape.word(n));
        bytes.extend(words.flat_map(u32::to_le_bytes));
    }
    Ok(bytes)
}
