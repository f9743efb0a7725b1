//! Output files that appear whole or not at all.
//!
//! Bytes go to a temporary file in the same folder, which takes the target's place only when all of
//! them are on disk. A run that fails leaves whatever stood there before. A pipe or a device named as
//! target stays what it is and is written straight into.

use std::fmt;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::GzEncoder;
use tempfile::{Builder, NamedTempFile};

/// Why an output could not be made.
#[derive(Debug, thiserror::Error)]
#[error("{}: cannot be written ({why}); {}", path.display(), advice(why))]
pub struct OutputError {
    path: PathBuf,
    why: io::Error,
}

fn advice(why: &io::Error) -> &'static str {
    match why.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => "free some space, nothing was replaced",
        io::ErrorKind::NotFound => "create its folder first",
        io::ErrorKind::IsADirectory => "a folder has that name, choose another",
        io::ErrorKind::InvalidInput => "name another file",
        _ => "check the folder and your rights in it",
    }
}

impl OutputError {
    /// The file that could not be written.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What the operating system said.
    #[must_use]
    pub fn kind(&self) -> io::ErrorKind {
        self.why.kind()
    }
}

/// Where bytes go.
enum Sink {
    /// A file of ours beside the target.
    Beside(NamedTempFile),
    /// The target itself, a pipe or a device.
    Straight(File),
}

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Self::Beside(file) => file.write(bytes),
            Self::Straight(file) => file.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Self::Beside(file) => file.flush(),
            Self::Straight(file) => file.flush(),
        }
    }
}

type Buffered = BufWriter<Sink>;

enum Body {
    Plain(Buffered),
    Packed(Box<GzEncoder<Buffered>>),
}

/// A file being written beside its target. Dropped without [`Output::commit`], it leaves no trace.
///
/// A target whose name ends in `.gz` is gzip-compressed on the way.
pub struct Output {
    path: PathBuf,
    body: Body,
}

impl Output {
    /// Starts an output; the target is not touched yet. Call this before the work whose result it takes.
    ///
    /// # Errors
    /// [`OutputError`] if the target's folder cannot be written, the target is a folder, or the file
    /// system is full.
    pub fn create(path: &Path) -> Result<Self, OutputError> {
        let failed = |why| OutputError { path: path.to_owned(), why };
        if path.is_dir() || path.file_name().is_none() {
            return Err(failed(io::ErrorKind::IsADirectory.into()));
        }
        let packed = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("gz"));
        let open = |sink: Sink| {
            let file = BufWriter::with_capacity(1 << 16, sink);
            if packed {
                Body::Packed(Box::new(GzEncoder::new(file, Compression::fast())))
            } else {
                Body::Plain(file)
            }
        };
        if path.metadata().is_ok_and(|facts| !facts.is_file()) {
            let file = File::options().write(true).open(path).map_err(failed)?;
            return Ok(Self { path: path.to_owned(), body: open(Sink::Straight(file)) });
        }
        // A link is written through: what it points at is replaced, not the link.
        let path = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        if let Ok(facts) = path.metadata()
            && facts.permissions().readonly()
        {
            return Err(failed(io::ErrorKind::PermissionDenied.into()));
        }
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let mut builder = Builder::new();
        builder.prefix(".bolster-").suffix(".part");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            // As for any new file: the process's umask takes rights away from this.
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let mut file = builder.tempfile_in(folder).map_err(failed)?;
        // A full file system still makes empty files; a byte shows it before the work, not after.
        file.write_all(b"\n").and_then(|()| file.as_file().sync_data()).map_err(failed)?;
        file.as_file().set_len(0).map_err(failed)?;
        io::Seek::rewind(&mut file).map_err(failed)?;
        Ok(Self { path, body: open(Sink::Beside(file)) })
    }

    /// Like [`Output::create`], for a run that reads `inputs`: none of them may be the target, by whatever name.
    ///
    /// # Errors
    /// [`OutputError`] naming the target.
    pub fn apart_from(path: &Path, inputs: &[&Path]) -> Result<Self, OutputError> {
        let target = path.canonicalize().ok();
        if target.is_some() && inputs.iter().any(|input| input.canonicalize().ok() == target) {
            let why = io::Error::new(io::ErrorKind::InvalidInput, "this run reads it");
            return Err(OutputError { path: path.to_owned(), why });
        }
        Self::create(path)
    }

    /// The target.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Replaces the target, whole, by what was written.
    ///
    /// # Errors
    /// [`OutputError`] if the bytes cannot all be stored; the target is then as it was.
    pub fn commit(self) -> Result<(), OutputError> {
        let path = self.path;
        let failed = |why| OutputError { path: path.clone(), why };
        let file = match self.body {
            Body::Plain(file) => file,
            Body::Packed(encoder) => encoder.finish().map_err(failed)?,
        };
        match file.into_inner().map_err(|why| failed(why.into_error()))? {
            Sink::Beside(file) => {
                file.as_file().sync_all().map_err(failed)?;
                file.persist(&path).map_err(|why| failed(why.error))?;
            }
            Sink::Straight(mut file) => file.flush().map_err(failed)?,
        }
        Ok(())
    }
}

impl fmt::Debug for Output {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Output").field("path", &self.path).finish_non_exhaustive()
    }
}

/// Errors name the target, whichever layer passes them on.
impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = match &mut self.body {
            Body::Plain(file) => file.write(bytes),
            Body::Packed(encoder) => encoder.write(bytes),
        };
        written.map_err(|why| named(&self.path, why))
    }

    fn flush(&mut self) -> io::Result<()> {
        let flushed = match &mut self.body {
            Body::Plain(file) => file.flush(),
            Body::Packed(encoder) => encoder.flush(),
        };
        flushed.map_err(|why| named(&self.path, why))
    }
}

fn named(path: &Path, why: io::Error) -> io::Error {
    io::Error::new(why.kind(), OutputError { path: path.to_owned(), why })
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;
    use std::path::Path;
    use std::process::Command;

    use super::Output;

    fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap();
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
    }

    #[test]
    fn a_commit_replaces_the_whole_file_and_a_drop_leaves_the_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out.txt");
        std::fs::write(&path, "a long old text").unwrap();
        let mut output = Output::create(&path).unwrap();
        output.write_all(b"new").unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "a long old text");
        output.commit().unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "new");
        let mut output = Output::create(&path).unwrap();
        output.write_all(b"never seen").unwrap();
        drop(output);
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "new");
        assert_eq!(names(folder.path()), ["out.txt"]);
    }

    #[test]
    fn a_name_ending_in_gz_is_compressed_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out.csv.gz");
        let mut output = Output::create(&path).unwrap();
        output.write_all(&[b'x'; 100_000]).unwrap();
        output.commit().unwrap();
        let packed = std::fs::File::open(&path).unwrap();
        assert!(packed.metadata().unwrap().len() < 2_000);
        let mut back = Vec::new();
        std::io::Read::read_to_end(&mut flate2::read::GzDecoder::new(packed), &mut back).unwrap();
        assert_eq!(back, [b'x'; 100_000]);
    }

    #[test]
    fn a_place_that_cannot_be_written_is_refused_before_work_starts() {
        let folder = tempfile::tempdir().unwrap();
        let why = Output::create(&folder.path().join("none/out.txt")).unwrap_err();
        assert!(why.to_string().contains("create its folder first"), "{why}");
        let why = Output::create(folder.path()).unwrap_err();
        assert!(why.to_string().contains("a folder has that name"), "{why}");
        assert!(Output::create(Path::new("/")).is_err());
        let kept = folder.path().join("kept.txt");
        std::fs::write(&kept, "kept").unwrap();
        let mut rights = kept.metadata().unwrap().permissions();
        rights.set_readonly(true);
        std::fs::set_permissions(&kept, rights).unwrap();
        assert!(Output::create(&kept).is_err(), "a write-protected file is not replaced");
    }

    /// Needs the right to mount a file system of its own; without it the claim is skipped, aloud.
    #[test]
    fn a_full_disk_is_an_error_that_names_the_file_and_keeps_the_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"])
            .arg(folder.path())
            .output();
        if !mounted.is_ok_and(|done| done.status.success()) {
            println!("skipped: no small file system can be mounted here");
            return;
        }
        let path = folder.path().join("out.txt");
        std::fs::write(&path, "old").unwrap();
        let mut output = Output::create(&path).unwrap();
        let written = (0..64).try_for_each(|_| output.write_all(&[b'x'; 4096]));
        let said = match written {
            Err(why) => why.to_string(),
            Ok(()) => output.commit().unwrap_err().to_string(),
        };
        let old = std::fs::read_to_string(&path);
        // Fill what is left, so that not even a start is possible.
        let _ = std::fs::write(folder.path().join("fill"), vec![0; 1 << 20]);
        let start = Output::create(&path).map(|_| ());
        let _ = Command::new("umount").arg("-l").arg(folder.path()).status();
        assert!(said.contains("out.txt") && said.contains("free some space"), "{said}");
        assert_eq!(old.unwrap(), "old");
        assert!(start.is_err(), "a full disk is noticed at the start");
    }
}
