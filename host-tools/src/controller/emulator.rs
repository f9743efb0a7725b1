//! A controller on this machine: the board's program, built and run in the emulator.
//!
//! Its line is a socket on this machine; its frames come by the emulator's standard input.

use std::fs::File;
use std::io::Read as _;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::time::{Duration, Instant};

/// The emulator and its package.
const EMULATOR: &str = "qemu-system-arm";
const TARGET: &str = "thumbv7em-none-eabihf";
/// How long the emulator may take to come up.
const PATIENCE: Duration = Duration::from_secs(30);
/// How long a read of the line waits for a word of the controller.
const READ_TIME: Duration = Duration::from_millis(500);

/// There is no emulated controller here.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EmulatorError {
    /// A program is missing.
    #[error(
        "an emulated controller needs {0}, which is not here; on Debian: apt-get install {0} (elsewhere: QEMU for ARM)"
    )]
    Missing(&'static str),
    /// The firmware's source is missing.
    #[error(
        "an emulated controller is built from firmware/boards, which is not in {0}; run it from the project's folder"
    )]
    NoSource(PathBuf),
    /// The firmware does not build.
    #[error("the controller's program does not build: {0}")]
    Build(String),
    /// The emulator does not run.
    #[error("the emulated controller does not run: {0}")]
    Run(String),
    /// The operating system.
    #[error("the emulated controller cannot be started: {0}")]
    System(#[from] std::io::Error),
}

/// A running emulated controller. It ends when this is dropped.
#[derive(Debug)]
pub struct Emulator {
    child: Child,
    said: File,
}

impl Emulator {
    /// Builds the controller's program for replay, if it is not built yet; says where it is.
    ///
    /// # Errors
    /// [`EmulatorError`] names what is missing.
    pub fn build() -> Result<PathBuf, EmulatorError> {
        if !is_program(EMULATOR) {
            return Err(EmulatorError::Missing(EMULATOR));
        }
        let boards = boards()?;
        let board = boards.join("mps2");
        let built = board.join("target").join("any");
        let output = Command::new("bash")
            .current_dir(&board)
            .arg(boards.join("build.sh"))
            .args(["--release", "--locked", "--bin", "bridge", "--features", "emulator", "--target", TARGET])
            .arg("--target-dir")
            .arg(&built)
            .stdin(Stdio::null())
            .output()?;
        if !output.status.success() {
            return Err(EmulatorError::Build(telling(&String::from_utf8_lossy(&output.stderr))));
        }
        Ok(built.join(TARGET).join("release").join("bridge"))
    }

    /// Starts the program; gives the emulator, the controller's line and where its frames go.
    ///
    /// # Errors
    /// [`EmulatorError`] if the emulator does not come up.
    pub fn start(program: &Path) -> Result<(Self, TcpStream, ChildStdin), EmulatorError> {
        let listener = TcpListener::bind(("127.0.0.1", 0))?;
        let port = listener.local_addr()?.port();
        let said = tempfile::tempfile()?;
        let mut child = Command::new(EMULATOR)
            .args(["-M", "mps2-an386", "-nodefaults", "-display", "none", "-monitor", "none"])
            .args(["-semihosting-config", "enable=on,target=native", "-serial", "null", "-serial"])
            .arg(format!("tcp:127.0.0.1:{port}"))
            .arg("-kernel")
            .arg(program)
            .stdin(Stdio::piped())
            .stdout(said.try_clone()?)
            .stderr(said.try_clone()?)
            .spawn()?;
        let frames = child.stdin.take();
        let mut emulator = Self { child, said };
        let frames = frames.ok_or_else(|| EmulatorError::Run("it has no input".into()))?;
        listener.set_nonblocking(true)?;
        let began = Instant::now();
        let line = loop {
            match listener.accept() {
                Ok((line, _)) => break line,
                Err(why) if why.kind() == std::io::ErrorKind::WouldBlock => {}
                Err(why) => return Err(why.into()),
            }
            if emulator.child.try_wait()?.is_some() || began.elapsed() > PATIENCE {
                return Err(EmulatorError::Run(emulator.said()));
            }
            std::thread::sleep(Duration::from_millis(5));
        };
        line.set_nonblocking(false)?;
        line.set_nodelay(true)?;
        line.set_read_timeout(Some(READ_TIME))?;
        Ok((emulator, line, frames))
    }

    /// What the emulator has said, on one line.
    pub fn said(&mut self) -> String {
        use std::io::Seek as _;
        let mut text = String::new();
        let read = self.said.rewind().and_then(|()| self.said.read_to_string(&mut text));
        match read {
            // The board's network card has no cable, which the emulator tells every time.
            Ok(_) => text.lines().filter(|line| !line.contains("has no peer")).collect::<Vec<_>>().join("; "),
            Err(_) => String::new(),
        }
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The firmware's boards: beside this program's source, or under the folder it is run from.
fn boards() -> Result<PathBuf, EmulatorError> {
    let here = std::env::current_dir()?;
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../firmware/boards");
    let found = here.ancestors().map(|folder| folder.join("firmware/boards")).chain([source]);
    found
        .into_iter()
        .find(|folder| folder.join("build.sh").is_file())
        .and_then(|folder| folder.canonicalize().ok())
        .ok_or(EmulatorError::NoSource(here))
}

fn is_program(name: &str) -> bool {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).any(|folder| folder.join(name).is_file())
}

/// The line of a build's output that says why.
fn telling(output: &str) -> String {
    let telling = |line: &&str| line.starts_with("error") || line.starts_with("build: no");
    let lines: Vec<&str> = output.lines().collect();
    lines
        .iter()
        .find(|line| telling(line))
        .or(lines.last())
        .map_or("no reason given", |line| *line)
        .to_owned()
}
