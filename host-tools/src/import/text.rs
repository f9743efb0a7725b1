//! Foreign text: encodings, fields, numbers.

use std::io::{self, Read};
use std::ops::Range;

use serde::{Deserialize, Serialize};

/// Turns UTF-16 (known by its byte-order mark) into UTF-8 on the way and takes any mark off;
/// passes everything else through.
pub(super) struct Decoder<R> {
    pub(super) inner: R,
    form: Option<Form>,
    raw: Vec<u8>,
    ready: Vec<u8>,
    used: usize,
    high: Option<u16>,
}

#[derive(Clone, Copy, PartialEq)]
enum Form {
    Plain,
    Utf16 { big: bool },
}

impl<R: Read> Decoder<R> {
    pub(super) fn new(inner: R) -> Self {
        Self { inner, form: None, raw: Vec::new(), ready: Vec::new(), used: 0, high: None }
    }

    fn find_form(&mut self) -> io::Result<Form> {
        let mut start = Vec::new();
        (&mut self.inner).take(3).read_to_end(&mut start)?;
        Ok(match start.as_slice() {
            [0xff, 0xfe, rest @ ..] => {
                self.raw = rest.to_vec();
                Form::Utf16 { big: false }
            }
            [0xfe, 0xff, rest @ ..] => {
                self.raw = rest.to_vec();
                Form::Utf16 { big: true }
            }
            [0xef, 0xbb, 0xbf] => Form::Plain,
            _ => {
                self.ready = start;
                Form::Plain
            }
        })
    }

    fn decode(&mut self, big: bool) -> io::Result<()> {
        let mut block = [0; 8192];
        let count = self.inner.read(&mut block)?;
        self.raw.extend_from_slice(block.get(..count).unwrap_or_default());
        let pairs = self.raw.chunks_exact(2);
        // An odd byte at the very end is half a character: nothing can be made of it.
        let rest = if count == 0 { Vec::new() } else { pairs.remainder().to_vec() };
        let units = pairs
            .filter_map(|pair| <[u8; 2]>::try_from(pair).ok())
            .map(|pair| if big { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) });
        let mut units: Vec<u16> = self.high.take().into_iter().chain(units).collect();
        if count > 0 {
            // A high surrogate waits for its other half in the next block.
            self.high = units.pop_if(|unit| (0xd800..0xdc00).contains(unit));
        }
        self.ready.clear();
        self.used = 0;
        for letter in char::decode_utf16(units) {
            let letter = letter.unwrap_or(char::REPLACEMENT_CHARACTER);
            self.ready.extend_from_slice(letter.encode_utf8(&mut [0; 4]).as_bytes());
        }
        self.raw = rest;
        if self.ready.is_empty() && count > 0 { self.decode(big) } else { Ok(()) }
    }
}

impl<R: Read> Read for Decoder<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let form = match self.form {
            Some(form) => form,
            None => {
                let found = self.find_form()?;
                *self.form.insert(found)
            }
        };
        if self.used == self.ready.len() {
            match form {
                Form::Plain => return self.inner.read(into),
                Form::Utf16 { big } => self.decode(big)?,
            }
        }
        let count = self.ready.get(self.used..).unwrap_or_default().read(into)?;
        self.used += count;
        Ok(count)
    }
}

/// What stands between fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Delimiter {
    /// Found from the first line: a tab, else a semicolon, else a comma, else blanks.
    #[default]
    Auto,
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// A tab.
    Tab,
    /// `|`
    Bar,
    /// Any run of blanks and tabs.
    Blanks,
}

impl Delimiter {
    /// The one to use, found from a line where it is left open.
    pub(super) fn settle(self, line: &[u8], decimal_comma: bool) -> Self {
        let has = |byte: u8| memchr::memchr(byte, line).is_some();
        match self {
            Self::Auto if has(b'\t') => Self::Tab,
            Self::Auto if has(b';') => Self::Semicolon,
            Self::Auto if has(b',') && !decimal_comma => Self::Comma,
            Self::Auto => Self::Blanks,
            given => given,
        }
    }

    fn byte(self) -> Option<u8> {
        match self {
            Self::Comma => Some(b','),
            Self::Semicolon => Some(b';'),
            Self::Tab => Some(b'\t'),
            Self::Bar => Some(b'|'),
            Self::Auto | Self::Blanks => None,
        }
    }

    /// Finds the fields of a line, quotes included. Quotes keep delimiters together; a line break
    /// within quotes is not understood.
    pub(super) fn split(self, line: &[u8], fields: &mut Vec<Range<usize>>) {
        fields.clear();
        let Some(delimiter) = self.byte() else {
            let mut from = None;
            for (at, byte) in line.iter().enumerate() {
                match (byte.is_ascii_whitespace(), from) {
                    (true, Some(start)) => {
                        fields.push(start..at);
                        from = None;
                    }
                    (false, None) => from = Some(at),
                    _ => {}
                }
            }
            fields.extend(from.map(|start| start..line.len()));
            return;
        };
        let mut from = 0;
        if memchr::memchr(b'"', line).is_none() {
            for at in memchr::memchr_iter(delimiter, line) {
                fields.push(from..at);
                from = at + 1;
            }
        } else {
            let mut quoted = false;
            for (at, byte) in line.iter().enumerate() {
                if *byte == b'"' {
                    quoted = !quoted;
                } else if *byte == delimiter && !quoted {
                    fields.push(from..at);
                    from = at + 1;
                }
            }
        }
        fields.push(from..line.len());
    }
}

/// A field as text without blanks and quotes around it; Latin-1 where it is no UTF-8.
pub(super) fn text(field: &[u8]) -> String {
    let text = match std::str::from_utf8(field) {
        Ok(text) => text.to_owned(),
        Err(_) => field.iter().map(|byte| char::from(*byte)).collect(),
    };
    let bare = text.trim();
    match bare.strip_prefix('"').and_then(|inner| inner.strip_suffix('"')) {
        Some(inner) => inner.replace("\"\"", "\"").trim().to_owned(),
        None => bare.to_owned(),
    }
}

/// What a field holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    Number(f64),
    /// Nothing, or a mark for nothing.
    Missing,
    Words,
}

const MARKS: [&str; 9] = ["", "-", "--", "na", "n/a", "#n/a", "nan", "null", "none"];

/// Reads a field as a number.
pub(super) fn cell(field: &[u8], decimal_comma: bool) -> Cell {
    let plain = std::str::from_utf8(field).ok().map(str::trim);
    let number = plain.filter(|_| !decimal_comma).and_then(|text| text.parse::<f64>().ok());
    let number = number.or_else(|| {
        let text = text(field);
        if decimal_comma { text.replace(',', ".").parse().ok() } else { text.parse().ok() }
    });
    match number {
        Some(value) if value.is_finite() => Cell::Number(value),
        // Not a number, or beyond all range: the logger had no reading.
        Some(_) => Cell::Missing,
        None if MARKS.contains(&text(field).to_lowercase().as_str()) => Cell::Missing,
        None => Cell::Words,
    }
}
