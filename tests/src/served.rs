//! A console of its own for a test, and the simplest of clients for it.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Child, Stdio};

use crate::program::command;

/// A running console; killed when it is dropped.
#[derive(Debug)]
pub struct Served {
    child: Child,
    address: String,
}

impl Served {
    /// `bolster serve` with these words, on a free port of this machine.
    ///
    /// # Panics
    /// If it does not come up.
    #[must_use]
    pub fn start(words: &[&str]) -> Self {
        let mut child = command()
            .args(["serve", "--listen", "127.0.0.1:0"])
            .args(words)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program can be started");
        let mut line = String::new();
        let out = child.stdout.take().expect("its output is piped");
        BufReader::new(out).read_line(&mut line).expect("it says where it is");
        let address = line.trim().trim_start_matches("console: http://").trim_end_matches('/').to_owned();
        assert!(address.contains(':'), "no address: {line:?}");
        Self { child, address }
    }

    /// Status and body of an answer.
    ///
    /// # Panics
    /// If there is none.
    #[must_use]
    pub fn get(&self, path: &str) -> (u16, Vec<u8>) {
        let mut stream = TcpStream::connect(&self.address).expect("it listens");
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.address).unwrap();
        let mut all = Vec::new();
        stream.read_to_end(&mut all).expect("it answers");
        let end = all.windows(4).position(|bytes| bytes == b"\r\n\r\n").expect("a head ends") + 4;
        let head = String::from_utf8_lossy(&all[..end]).to_ascii_lowercase();
        let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).expect("a status");
        let body = all.split_off(end);
        let body = if head.contains("transfer-encoding: chunked") { unchunked(&body) } else { body };
        (status, body)
    }

    /// The text of an answer that is as asked.
    ///
    /// # Panics
    /// If it is not.
    #[must_use]
    pub fn text(&self, path: &str) -> String {
        let (status, body) = self.get(path);
        assert_eq!(status, 200, "{path}: {}", String::from_utf8_lossy(&body));
        String::from_utf8(body).expect("text is UTF-8")
    }

    /// Asks it to end and waits for that.
    ///
    /// # Panics
    /// If it cannot be asked.
    pub fn end(mut self) {
        let asked = std::process::Command::new("kill").arg(self.child.id().to_string()).status();
        assert!(asked.is_ok_and(|status| status.success()));
        let _ = self.child.wait();
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // SIGKILL: a test may drop it for that very reason.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn unchunked(mut body: &[u8]) -> Vec<u8> {
    let mut whole = Vec::new();
    while let Some(end) = body.windows(2).position(|bytes| bytes == b"\r\n") {
        let size =
            std::str::from_utf8(&body[..end]).ok().and_then(|size| usize::from_str_radix(size, 16).ok());
        let Some(size) = size.filter(|size| *size > 0) else { break };
        whole.extend_from_slice(&body[end + 2..end + 2 + size]);
        body = &body[end + 2 + size + 2..];
    }
    whole
}
