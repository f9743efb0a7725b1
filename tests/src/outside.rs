//! Recordings that lie beside the project and are no part of it.

use std::path::{Path, PathBuf};

/// A file or folder under the recordings beside the project; without it a notice is printed and the claim skipped.
#[must_use]
pub fn recording(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/recordings").join(name);
    if path.exists() {
        return Some(path);
    }
    println!("note: skipped, {name} is not beside the project (../shared/recordings)");
    None
}

/// A file of the sample signatures.
#[must_use]
pub fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures").join(name)
}
