//! A small HTTP client with a cookie jar, and a raw one for what a well-behaved client would never send.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

use http_body_util::{BodyExt as _, Full};
use hyper::body::Bytes;
use hyper::{Method, Request};
use hyper_util::rt::TokioIo;

/// Longest wait for any answer: far above what the console takes, below what a test runner bears.
const PATIENCE: Duration = Duration::from_secs(60);

/// An answer, read whole.
#[derive(Debug, Clone)]
pub struct Answer {
    pub status: u16,
    pub headers: BTreeMap<String, String>,
    pub bytes: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8(self.bytes.clone()).expect("every text of the console is UTF-8")
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", String::as_str)
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.bytes)
            .unwrap_or_else(|why| panic!("JSON expected ({why}): {}", self.text()))
    }

    /// Status, and words that must be among the page's.
    pub fn says(&self, status: u16, words: &str) {
        let text = self.text();
        assert_eq!(self.status, status, "{text}");
        assert!(text.contains(words), "{words:?} expected in {text}");
    }

    /// Value of a hidden field, of the first form that has one of this name and stands after `after`.
    pub fn hidden(&self, after: &str, name: &str) -> String {
        let text = self.text();
        let from = text.find(after).unwrap_or_else(|| panic!("{after:?} expected in {text}"));
        let wanted = format!("name=\"{name}\" value=\"");
        let rest = &text[from..];
        let at = rest.find(&wanted).unwrap_or_else(|| panic!("a field {name} expected in {rest}"));
        let value = &rest[at + wanted.len()..];
        value[..value.find('"').expect("the value ends")].to_owned()
    }
}

/// One visitor with cookies of their own.
pub struct Client {
    address: SocketAddr,
    runtime: tokio::runtime::Runtime,
    cookies: RefCell<BTreeMap<String, String>>,
}

impl Client {
    pub fn new(address: SocketAddr) -> Self {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        Self { address, runtime, cookies: RefCell::default() }
    }

    pub fn get(&self, path: &str) -> Answer {
        self.send(Method::GET, path, &[], Vec::new())
    }

    /// Sends a form as a page of the console does.
    pub fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let origin = format!("http://{}", self.address);
        self.post_from(path, fields, &origin)
    }

    /// Sends a form as a page of `origin` does.
    pub fn post_from(&self, path: &str, fields: &[(&str, &str)], origin: &str) -> Answer {
        let pairs: Vec<String> =
            fields.iter().map(|(key, value)| format!("{key}={}", escaped(value))).collect();
        let headers = [("content-type", "application/x-www-form-urlencoded"), ("origin", origin)];
        self.send(Method::POST, path, &headers, pairs.join("&").into_bytes())
    }

    pub fn cookie(&self, name: &str) -> Option<String> {
        self.cookies.borrow().get(name).cloned()
    }

    pub fn set_cookie(&self, name: &str, value: &str) {
        self.cookies.borrow_mut().insert(name.to_owned(), value.to_owned());
    }

    pub fn send(&self, method: Method, path: &str, headers: &[(&str, &str)], body: Vec<u8>) -> Answer {
        self.try_send(method, path, headers, body).unwrap_or_else(|why| panic!("{path}: {why}"))
    }

    /// As [`Self::send`]; the error where the console is not there or breaks off.
    pub fn try_send(
        &self,
        method: Method,
        path: &str,
        headers: &[(&str, &str)],
        body: Vec<u8>,
    ) -> Result<Answer, String> {
        let mut request = Request::builder().method(method).uri(path);
        if !headers.iter().any(|(name, _)| *name == "host") {
            request = request.header("host", self.address.to_string());
        }
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let cookies: Vec<String> =
            self.cookies.borrow().iter().map(|(key, value)| format!("{key}={value}")).collect();
        if !cookies.is_empty() {
            request = request.header("cookie", cookies.join("; "));
        }
        let request = request.body(Full::new(Bytes::from(body))).map_err(|why| why.to_string())?;
        let talk = async {
            let stream = tokio::net::TcpStream::connect(self.address).await.map_err(|why| why.to_string())?;
            let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream))
                .await
                .map_err(|why| why.to_string())?;
            tokio::spawn(connection);
            let answer = sender.send_request(request).await.map_err(|why| why.to_string())?;
            let (parts, body) = answer.into_parts();
            let bytes = body.collect().await.map_err(|why| why.to_string())?.to_bytes().to_vec();
            Ok::<_, String>((parts, bytes))
        };
        let patient = async { tokio::time::timeout(PATIENCE, talk).await };
        let (parts, bytes) = self.runtime.block_on(patient).map_err(|_| "no answer".to_owned())??;
        let mut headers = BTreeMap::new();
        for (name, value) in &parts.headers {
            let value = value.to_str().expect("headers are text").to_owned();
            if name == "set-cookie" {
                let (key, rest) = value.split_once('=').expect("a cookie has a value");
                let word = rest.split(';').next().unwrap_or("");
                if rest.contains("Max-Age=0;") || rest.ends_with("Max-Age=0") {
                    self.cookies.borrow_mut().remove(key);
                } else {
                    self.set_cookie(key, word);
                }
            }
            headers.insert(name.to_string(), value);
        }
        Ok(Answer { status: parts.status.as_u16(), headers, bytes })
    }
}

/// A value in the form of a form.
pub fn escaped(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' => char::from(byte).to_string(),
            _ => format!("%{byte:02X}"),
        })
        .collect()
}

/// Sends these very bytes and gives what comes back until the console closes or says nothing for `patience`.
pub fn raw(address: SocketAddr, bytes: &[u8], patience: Duration) -> Vec<u8> {
    let mut stream = TcpStream::connect(address).expect("the console listens");
    stream.set_read_timeout(Some(patience)).unwrap();
    // A console that refuses early may close before everything is sent.
    let _ = stream.write_all(bytes);
    let mut answer = Vec::new();
    let mut part = [0; 4096];
    while let Ok(read) = stream.read(&mut part) {
        if read == 0 {
            break;
        }
        answer.extend_from_slice(&part[..read]);
    }
    answer
}

/// Status of a raw answer; 0 for none.
pub fn raw_status(answer: &[u8]) -> u16 {
    let text = String::from_utf8_lossy(answer);
    text.split(' ').nth(1).and_then(|word| word.parse().ok()).unwrap_or(0)
}

/// One server-sent event.
#[derive(Debug, Clone, Default)]
pub struct Event {
    pub id: i64,
    pub name: String,
    pub data: String,
}

impl Event {
    /// Numbers of the strokes it brings.
    pub fn strokes(&self) -> Vec<i64> {
        let strokes: serde_json::Value = serde_json::from_str(&self.data).expect("an event's data is JSON");
        strokes.as_array().unwrap().iter().map(|stroke| stroke["id"].as_i64().unwrap()).collect()
    }
}

/// Follows server-sent events as a page does.
pub struct Follower {
    runtime: tokio::runtime::Runtime,
    body: hyper::body::Incoming,
    text: String,
    pub status: u16,
}

impl Follower {
    pub fn new(address: SocketAddr, path: &str, last_event_id: Option<i64>) -> Result<Self, String> {
        Self::from(address, path, last_event_id, None)
    }

    /// As [`Self::new`], from an address that a reverse proxy says it asks for.
    pub fn from(
        address: SocketAddr,
        path: &str,
        last_event_id: Option<i64>,
        from: Option<&str>,
    ) -> Result<Self, String> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let mut request = Request::builder().uri(path).header("host", address.to_string());
        if let Some(id) = last_event_id {
            request = request.header("last-event-id", id.to_string());
        }
        if let Some(from) = from {
            request = request.header("x-forwarded-for", from);
        }
        let request = request.body(Full::new(Bytes::new())).map_err(|why| why.to_string())?;
        let answer = runtime.block_on(async {
            let stream = tokio::net::TcpStream::connect(address).await.map_err(|why| why.to_string())?;
            let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream))
                .await
                .map_err(|why| why.to_string())?;
            tokio::spawn(connection);
            tokio::time::timeout(PATIENCE, sender.send_request(request))
                .await
                .map_err(|_| "no answer".to_owned())?
                .map_err(|why| why.to_string())
        })?;
        let (parts, body) = answer.into_parts();
        Ok(Self { runtime, body, text: String::new(), status: parts.status.as_u16() })
    }

    /// The next event; none when nothing comes for `patience` or the connection ends.
    pub fn next(&mut self, patience: Duration) -> Option<Event> {
        loop {
            if let Some((event, rest)) = self.text.split_once("\n\n") {
                let mut found = Event::default();
                for line in event.lines() {
                    match line.split_once(": ") {
                        Some(("id", id)) => {
                            found.id = id.parse().expect("an event's id is a stroke's number")
                        }
                        Some(("event", name)) => found.name = name.to_owned(),
                        Some(("data", data)) => found.data = data.to_owned(),
                        _ => {}
                    }
                }
                self.text = rest.to_owned();
                if !found.data.is_empty() {
                    return Some(found);
                }
                continue;
            }
            let (runtime, body) = (&self.runtime, &mut self.body);
            let frame =
                runtime.block_on(async { tokio::time::timeout(patience, body.frame()).await }).ok()??.ok()?;
            if let Ok(data) = frame.into_data() {
                self.text += std::str::from_utf8(&data).expect("events are text");
            }
        }
    }
}
