//! The bytes of a recording: a plain or gzip-compressed file, counted and hashed as it is read.

use std::fs::File;
use std::io::{self, BufReader, Cursor, Read};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, OnceLock};

use flate2::read::MultiGzDecoder;
use sha2::{Digest, Sha256};

use super::error::Defect;

/// Decompressed bytes handed over at a time: large against the cost of handing over, small against memory.
const CHUNK: usize = 128 * 1024;
/// Chunks the decompressing thread may be ahead.
const AHEAD: usize = 4;

/// Bytes of the file passed through, counted and hashed on the way.
struct Tap {
    file: File,
    done: Arc<AtomicU64>,
    hasher: Option<Sha256>,
    digest: Arc<OnceLock<[u8; 32]>>,
}

impl Read for Tap {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(into)?;
        self.done.fetch_add(count as u64, Ordering::Relaxed);
        if let (Some(hasher), Some(bytes)) = (&mut self.hasher, into.get(..count)) {
            hasher.update(bytes);
        }
        if count == 0
            && !into.is_empty()
            && let Some(hasher) = self.hasher.take()
        {
            // Set once only, as the hasher is taken.
            let _ = self.digest.set(hasher.finalize().into());
        }
        Ok(count)
    }
}

enum Bytes {
    Plain(Box<dyn Read + Send>),
    /// Decompression runs in a thread of its own: it costs more than reading the rows does.
    Unpacked {
        chunks: Receiver<io::Result<Vec<u8>>>,
        chunk: Vec<u8>,
        used: usize,
    },
}

/// An open text file, decompressed where it starts with gzip's magic bytes, whatever its name.
pub(crate) struct Source {
    bytes: Bytes,
    gzip: bool,
    done: Arc<AtomicU64>,
    total: Option<u64>,
    digest: Arc<OnceLock<[u8; 32]>>,
}

impl Source {
    /// Opens a file; with `hash`, its SHA-256 is known once it was read to the end.
    pub(crate) fn open(path: &Path, hash: bool) -> Result<Self, Defect> {
        let file = File::open(path).map_err(Defect::Unreadable)?;
        let facts = file.metadata().map_err(Defect::Unreadable)?;
        if facts.is_dir() {
            return Err(Defect::Directory);
        }
        let total = facts.is_file().then_some(facts.len());
        let done = Arc::new(AtomicU64::new(0));
        let digest = Arc::new(OnceLock::new());
        let hasher = hash.then(Sha256::new);
        let mut tap = Tap { file, done: Arc::clone(&done), hasher, digest: Arc::clone(&digest) };
        let mut magic = Vec::with_capacity(2);
        (&mut tap).take(2).read_to_end(&mut magic).map_err(Defect::Unreadable)?;
        let gzip = magic == [0x1f, 0x8b];
        let whole = Cursor::new(magic).chain(tap);
        let bytes = if gzip {
            let (sender, chunks) = sync_channel(AHEAD);
            let decoder = MultiGzDecoder::new(BufReader::with_capacity(CHUNK, whole));
            std::thread::Builder::new()
                .name("unpack".into())
                .spawn(move || unpack(decoder, &sender))
                .map_err(Defect::Unreadable)?;
            Bytes::Unpacked { chunks, chunk: Vec::new(), used: 0 }
        } else {
            Bytes::Plain(Box::new(whole))
        };
        Ok(Self { bytes, gzip, done, total, digest })
    }

    /// Bytes of the file read so far, and its size where it has one.
    pub(crate) fn progress(&self) -> Option<(u64, u64)> {
        self.total.map(|total| (self.done.load(Ordering::Relaxed), total))
    }

    /// SHA-256 of the file's bytes, if asked for and once read to the end.
    pub(crate) fn sha256(&self) -> Option<[u8; 32]> {
        self.digest.get().copied()
    }

    /// What a failed read means.
    pub(crate) fn defect(&self, why: io::Error) -> Defect {
        match why.kind() {
            io::ErrorKind::UnexpectedEof if self.gzip => Defect::TruncatedGzip,
            io::ErrorKind::InvalidInput | io::ErrorKind::InvalidData if self.gzip => {
                Defect::CorruptGzip(why.to_string())
            }
            _ => Defect::Unreadable(why),
        }
    }
}

/// Reads the decoder to its end, or until nobody listens any more.
fn unpack(mut decoder: impl Read, sender: &SyncSender<io::Result<Vec<u8>>>) {
    loop {
        let mut chunk = Vec::with_capacity(CHUNK);
        let read = (&mut decoder).take(CHUNK as u64).read_to_end(&mut chunk);
        let last = read.is_err() || chunk.is_empty();
        // What was unpacked before an error is sent before the error: a defect in it comes first.
        if !chunk.is_empty() && sender.send(Ok(chunk)).is_err() {
            return;
        }
        if let Err(why) = read {
            let _ = sender.send(Err(why));
        }
        if last {
            return;
        }
    }
}

impl Read for Source {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match &mut self.bytes {
            Bytes::Plain(file) => file.read(into),
            Bytes::Unpacked { chunks, chunk, used } => {
                if *used == chunk.len() {
                    match chunks.recv() {
                        Ok(next) => *chunk = next?,
                        // The thread ends after the last byte or the error it sent.
                        Err(_) => chunk.clear(),
                    }
                    *used = 0;
                }
                let mut left = chunk.get(*used..).unwrap_or_default();
                let count = left.read(into)?;
                *used += count;
                Ok(count)
            }
        }
    }
}
