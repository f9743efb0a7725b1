//! Makes the sample recordings again: `--write` puts them in place, without it only differences are told.
#![allow(clippy::unwrap_used)]

use bolster_claims::samples;

fn main() {
    let write = std::env::args().any(|argument| argument == "--write");
    let scratch = tempfile::tempdir().unwrap();
    let mut different = 0;
    for (name, text) in samples::make(scratch.path()) {
        let path = samples::folder().join(&name);
        if std::fs::read_to_string(&path).is_ok_and(|there| there == text) {
            continue;
        }
        different += 1;
        println!("{} {name}", if write { "written:" } else { "different:" });
        if write {
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(&path, text).unwrap();
        }
    }
    println!("{different} file(s) {}", if write { "written" } else { "differ" });
    if different > 0 && !write {
        std::process::exit(1);
    }
}
