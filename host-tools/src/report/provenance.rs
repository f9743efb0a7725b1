//! Where a report's figures come from: files with their hashes, cards, versions, times.

use std::io::Read as _;
use std::path::Path;

use maud::{Markup, html};
use sha2::{Digest as _, Sha256};

use crate::card::die::DieCard;
use crate::markup::time;

/// What a report rests on, line by line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Provenance {
    made_ms: i64,
    lines: Vec<(String, String)>,
}

impl Provenance {
    /// Of a report made at this moment, ms since 1970, UTC.
    #[must_use]
    pub fn new(made_ms: i64) -> Self {
        Self { made_ms, lines: Vec::new() }
    }

    /// Of a report made now.
    #[must_use]
    pub fn now() -> Self {
        Self::new(jiff::Timestamp::now().as_millisecond())
    }

    /// Adds a line.
    pub fn add(&mut self, what: impl Into<String>, says: impl Into<String>) {
        self.lines.push((what.into(), says.into()));
    }

    /// Adds a file by its name, size and hash.
    ///
    /// # Errors
    /// What the operating system says of a file that cannot be read.
    pub fn add_file(&mut self, what: &str, path: &Path) -> std::io::Result<()> {
        let (bytes, digest) = digest(path)?;
        let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
        self.add(what, format!("{name}, {bytes} bytes, SHA-256 {digest}"));
        Ok(())
    }

    /// Adds a text that lies in no file, by its hash.
    pub fn add_text(&mut self, what: &str, says: &str, text: &str) {
        self.add(what, format!("{says}, SHA-256 {}", hex(&Sha256::digest(text.as_bytes()))));
    }

    /// Adds a die card by what it is and what its content is.
    pub fn add_die(&mut self, die: &DieCard, where_from: &str) {
        self.add(
            "Die card",
            format!(
                "{} ({where_from}), {}, content SHA-256 {}",
                die.die.name,
                die.standing_says(),
                die.content_sha256()
            ),
        );
        if let Some(from) = &die.provenance {
            self.add(
                "Die learnt from",
                format!(
                    "{}, {} of {} strokes, SHA-256 {}, by {}",
                    from.recording, from.strokes_used, from.strokes_seen, from.sha256, from.made_by
                ),
            );
        }
    }

    pub(super) fn markup(&self) -> Markup {
        html! {
            h2 { "Where this comes from" }
            dl class="facts" {
                @for (what, says) in &self.lines { dt { (what) } dd { (says) } }
                dt { "Report made" } dd { (time(self.made_ms)) " by bolster " (env!("CARGO_PKG_VERSION")) }
            }
        }
    }
}

fn hex(digest: &[u8]) -> String {
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Size and SHA-256 of a file, read in pieces.
fn digest(path: &Path) -> std::io::Result<(u64, String)> {
    let mut file = std::fs::File::open(path)?;
    let mut hasher = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    let mut bytes = 0;
    loop {
        let count = file.read(&mut piece)?;
        if count == 0 {
            return Ok((bytes, hex(&hasher.finalize())));
        }
        hasher.update(piece.get(..count).unwrap_or_default());
        bytes += count as u64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_named_with_its_size_and_hash_and_no_text_gets_out_of_its_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a<b>.csv");
        std::fs::write(&path, "abc").unwrap();
        let mut from = Provenance::new(0);
        from.add_file("Recording", &path).unwrap();
        from.add_text("Press card", "P<1>", "abc");
        let page = from.markup().into_string();
        // FIPS 180-2, appendix B.1: SHA-256 of "abc".
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert!(page.contains(&format!("a&lt;b&gt;.csv, 3 bytes, SHA-256 {abc}")), "{page}");
        assert_eq!(page.matches(abc).count(), 2);
        assert!(page.contains("1970-01-01 00:00:00 UTC") && page.contains("P&lt;1&gt;"), "{page}");
        assert!(from.add_file("Recording", &folder.path().join("none")).is_err());
    }
}
