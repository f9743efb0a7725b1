//! A scratch Python with numerical libraries, for references computed by somebody else's code.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use serde_json::Value;

/// The interpreter, or why there is none.
///
/// A virtual environment under `target/tmp/python`, made and filled at the first call, kept for the next run.
fn interpreter() -> &'static Result<PathBuf, String> {
    static INTERPRETER: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    INTERPRETER.get_or_init(|| {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/tmp/python");
        let python = folder.join("bin/python");
        let works = |python: &Path| {
            let tried =
                Command::new(python).args(["-c", "import numpy, scipy, pandas, rainflow, sklearn"]).output();
            tried.is_ok_and(|done| done.status.success())
        };
        if works(&python) {
            return Ok(python);
        }
        let did = |command: &mut Command| {
            let done = command.stdin(Stdio::null()).output().map_err(|why| format!("{command:?}: {why}"))?;
            let said = String::from_utf8_lossy(&done.stderr);
            let last = said.lines().last().unwrap_or("no reason given").to_owned();
            if done.status.success() { Ok(()) } else { Err(format!("{command:?}: {last}")) }
        };
        did(Command::new("python3").args(["-m", "venv"]).arg(&folder))?;
        let pip = ["-m", "pip", "install", "--quiet", "--timeout", "20", "--retries", "1"];
        did(Command::new(&python).args(pip).args(["numpy", "scipy", "pandas", "rainflow", "scikit-learn"]))?;
        if works(&python) { Ok(python) } else { Err("the libraries cannot be imported".to_owned()) }
    })
}

/// Runs `tests/python/SCRIPT` with `given` as JSON on its standard input; gives the JSON it prints. Without Python,
/// or without a network to fetch libraries from, a notice is printed and the claim skipped, unless
/// `BOLSTER_REQUIRE_PYTHON` is set to 1.
///
/// # Panics
/// If the script fails, or Python is required and not there.
#[must_use]
pub fn run(script: &str, given: &Value) -> Option<Value> {
    let python = match interpreter() {
        Ok(python) => python,
        Err(why) => {
            let required = std::env::var("BOLSTER_REQUIRE_PYTHON").is_ok_and(|value| value == "1");
            assert!(!required, "Python is required here: {why}");
            println!("note: skipped, no Python with SciPy and pandas: {why}");
            return None;
        }
    };
    Some(run_in(python, script, given))
}

/// As [`run`], for a script that needs one package more; it is fetched at the first call. Without it a notice is
/// printed and the claim skipped, unless `BOLSTER_REQUIRE_PYTHON` is set to 1.
///
/// # Panics
/// If the script fails, or Python is required and not there.
#[must_use]
pub fn run_with(package: &str, module: &str, script: &str, given: &Value) -> Option<Value> {
    let required = std::env::var("BOLSTER_REQUIRE_PYTHON").is_ok_and(|value| value == "1");
    let without = |why: String| {
        assert!(!required, "Python with {package} is required here: {why}");
        println!("note: skipped, no Python with {package}: {why}");
        None
    };
    let python = match interpreter() {
        Ok(python) => python,
        Err(why) => return without(why.clone()),
    };
    let there = |python: &Path| {
        let tried = Command::new(python).args(["-c", &format!("import {module}")]).output();
        tried.is_ok_and(|done| done.status.success())
    };
    if !there(python) {
        let pip = ["-m", "pip", "install", "--quiet", "--timeout", "20", "--retries", "1", package];
        let _ = Command::new(python).args(pip).stdin(Stdio::null()).output();
        if !there(python) {
            return without(format!("{package} cannot be fetched"));
        }
    }
    Some(run_in(python, script, given))
}

fn run_in(python: &Path, script: &str, given: &Value) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python").join(script);
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python can be started");
    child.stdin.take().unwrap().write_all(given.to_string().as_bytes()).unwrap();
    let done = child.wait_with_output().unwrap();
    assert!(done.status.success(), "the script failed");
    serde_json::from_slice(&done.stdout).expect("the script prints JSON")
}
