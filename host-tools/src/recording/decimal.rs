//! Numbers as recordings write them, read exactly: short ones in a few instructions, all others by
//! the standard library. Both give the nearest double.

use super::lines::Line;

/// Powers of ten that a double holds exactly.
const POWERS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

const ONES: u64 = 0x0101_0101_0101_0101;
const HIGHS: u64 = 0x8080_8080_8080_8080;

/// Marks with its high bit the lowest byte of `word` that equals `byte`; marks above it may be false.
const fn find(word: u64, byte: u8) -> u64 {
    let zeroed = word ^ (ONES * byte as u64);
    zeroed.wrapping_sub(ONES) & !zeroed & HIGHS
}

/// Reads the field that starts at `at`, if it is a plain decimal of few digits, and gives the value
/// and the field's length. None means only that this way cannot read it.
#[inline]
pub(super) fn short(line: Line<'_>, at: usize) -> Option<(f64, usize)> {
    let left = line.len.wrapping_sub(at);
    let bytes: [u8; 8] = line.window.get(at..at + 8)?.try_into().ok()?;
    let mut word = u64::from_le_bytes(bytes);
    let comma = find(word, b',').trailing_zeros() as usize / 8;
    let len = comma.min(left);
    if len >= 8 {
        return longer(line, at);
    }
    let negative = u64::from(bytes[0] == b'-');
    word >>= 8 * negative;
    // At most 7: an empty field or a lone sign wraps or is zero, and neither is a number.
    let digits = (len as u64).wrapping_sub(negative);
    if digits.wrapping_sub(1) > 6 {
        return None;
    }
    // The field moves to the top of the word, zeros fill in before it: all numbers have eight digits.
    word = (word << (64 - 8 * digits)) | (0x3030_3030_3030_3030 >> (8 * digits));
    let mut decimals = 0;
    let point = find(word, b'.');
    if point != 0 {
        let place = point.trailing_zeros() / 8;
        decimals = 7 - place as usize;
        // Digits before the point move up one place over it.
        let before = word & ((1_u64 << (8 * place)) - 1);
        let after = word & (!0_u64).checked_shl(8 * place + 8).unwrap_or(0);
        word = (before << 8) | after | 0x30;
        if digits == 1 {
            return None;
        }
    }
    let odd = (word.wrapping_add(0x4646_4646_4646_4646) | word.wrapping_sub(0x3030_3030_3030_3030)) & HIGHS;
    if odd != 0 {
        return None;
    }
    // Pairs, then fours, then eights of digits are joined side by side.
    let tens = (word & 0x0F0F_0F0F_0F0F_0F0F).wrapping_mul(10 * 256 + 1) >> 8;
    let hundreds = (tens & 0x00FF_00FF_00FF_00FF).wrapping_mul(100 * 65_536 + 1) >> 16;
    let whole = (hundreds & 0x0000_FFFF_0000_FFFF).wrapping_mul(10_000 * 4_294_967_296 + 1) >> 32;
    // Signed converts in one instruction, and eight digits are far below its limit.
    let size = whole as i64 as f64 / POWERS.get(decimals)?;
    Some((f64::from_bits(size.to_bits() | (negative << 63)), len))
}

/// Plain decimals of eight characters and more, up to 15 digits.
fn longer(line: Line<'_>, at: usize) -> Option<(f64, usize)> {
    let field = line.text().get(at..)?;
    let negative = field.first() == Some(&b'-');
    let (mut whole, mut digits, mut decimals, mut pointed) = (0_u64, 0_usize, 0_usize, false);
    let mut len = usize::from(negative);
    for byte in field.iter().skip(len) {
        match byte {
            b'0'..=b'9' => {
                whole = whole.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
                digits += 1;
                decimals += usize::from(pointed);
            }
            b'.' if !pointed => pointed = true,
            b',' => break,
            _ => return None,
        }
        len += 1;
    }
    // Fifteen digits and ten to the fifteenth are exact doubles, so one division rounds once.
    if digits == 0 || digits > 15 {
        return None;
    }
    let size = whole as f64 / POWERS.get(decimals)?;
    Some((if negative { -size } else { size }, len))
}

/// Reads a whole field of any form, without quotes: decimal, exponent, sign, blanks around it.
/// Infinities and NaN are given as they are.
pub(super) fn any(field: &[u8]) -> Option<f64> {
    std::str::from_utf8(field).ok()?.trim().parse().ok()
}

/// The field of `line` that starts at `at`, quotes taken off, and its length in the line.
///
/// A quoted field may hold commas and doubled quotes (RFC 4180). A quote never closed runs to the line's end.
pub(super) fn field(line: &[u8], at: usize) -> (Vec<u8>, usize) {
    let rest = line.get(at..).unwrap_or_default();
    if rest.first() != Some(&b'"') {
        let len = memchr::memchr(b',', rest).unwrap_or(rest.len());
        return (rest.get(..len).unwrap_or_default().to_vec(), len);
    }
    let mut text = Vec::new();
    let mut quoted = false;
    let mut before_quote = false;
    for (len, byte) in rest.iter().enumerate() {
        match byte {
            b',' if !quoted => return (text, len),
            b'"' => {
                // The second of two quotes stands for one.
                if before_quote && !quoted {
                    text.push(b'"');
                }
                quoted = !quoted;
                before_quote = !quoted;
                continue;
            }
            _ => text.push(*byte),
        }
        before_quote = false;
    }
    (text, rest.len())
}
