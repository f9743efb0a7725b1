//! Claim: over a broker the console is a node of Sparkplug B: it is born before it speaks, numbers what it says, says it
//! again when asked, loses no stroke while the broker is away, and its death is told even when it cannot tell it itself.
//!
//! Against mosquitto where it is installed; payloads are taken apart by a reader of this file, and where Python can be had
//! by classes generated from the standard's own file.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use bolster_claims::controller::{Fake, hello};
use bolster_claims::program::word;
use bolster_claims::python;
use bolster_claims::served::Served;
use serde_json::json;

/// A broker of this test's own.
struct Broker {
    child: Child,
    port: u16,
    _folder: tempfile::TempDir,
}

impl Drop for Broker {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

fn broker() -> Option<Broker> {
    let program = ["mosquitto", "/usr/sbin/mosquitto"].into_iter().find(|name| {
        Command::new(name).arg("-h").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok()
    })?;
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let config = folder.path().join("broker.conf");
    std::fs::write(&config, format!("listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n"))
        .unwrap();
    let child = Command::new(program)
        .args(["-c", word(&config)])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let broker = Broker { child, port, _folder: folder };
    wait("the broker to listen", || TcpStream::connect(("127.0.0.1", port)).is_ok());
    Some(broker)
}

fn wait(what: &str, mut is_so: impl FnMut() -> bool) {
    let began = Instant::now();
    while !is_so() {
        assert!(began.elapsed() < Duration::from_secs(60), "waited a minute for {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A way to the broker that can be cut.
struct Way {
    port: u16,
    open: Arc<AtomicBool>,
    live: Arc<Mutex<Vec<TcpStream>>>,
}

impl Way {
    fn to(broker: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let open = Arc::new(AtomicBool::new(true));
        let live: Arc<Mutex<Vec<TcpStream>>> = Arc::default();
        let (is_open, held) = (Arc::clone(&open), Arc::clone(&live));
        std::thread::spawn(move || {
            for near in listener.incoming() {
                let near = near.unwrap();
                if !is_open.load(Ordering::SeqCst) {
                    continue;
                }
                let Ok(far) = TcpStream::connect(("127.0.0.1", broker)) else { continue };
                held.lock().unwrap().extend([near.try_clone().unwrap(), far.try_clone().unwrap()]);
                for (mut from, mut to) in [(near.try_clone().unwrap(), far.try_clone().unwrap()), (far, near)]
                {
                    std::thread::spawn(move || {
                        let _ = std::io::copy(&mut from, &mut to);
                        let _ = to.shutdown(Shutdown::Both);
                    });
                }
            }
        });
        Self { port, open, live }
    }

    fn cut(&self) {
        self.open.store(false, Ordering::SeqCst);
        for stream in self.live.lock().unwrap().drain(..) {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }

    fn mend(&self) {
        self.open.store(true, Ordering::SeqCst);
    }
}

/// Topics and payloads, as they came.
type Heard = Arc<Mutex<Vec<(String, Vec<u8>)>>>;

/// The simplest MQTT 3.1.1 client: hears one filter at QoS 0, can say something.
struct Ear {
    stream: TcpStream,
    heard: Heard,
}

fn packet(kind: u8, body: &[u8]) -> Vec<u8> {
    let mut bytes = vec![kind];
    let mut left = body.len();
    loop {
        let more = left >= 128;
        bytes.push((left % 128) as u8 | if more { 128 } else { 0 });
        left /= 128;
        if !more {
            break;
        }
    }
    bytes.extend_from_slice(body);
    bytes
}

fn text(words: &str) -> Vec<u8> {
    [&(words.len() as u16).to_be_bytes()[..], words.as_bytes()].concat()
}

impl Ear {
    fn at(broker: u16, filter: &str) -> Self {
        let mut stream = TcpStream::connect(("127.0.0.1", broker)).unwrap();
        // CONNECT: protocol MQTT level 4, clean session, no keep-alive.
        let connect = [text("MQTT"), vec![4, 2, 0, 0], text("ear")].concat();
        stream.write_all(&packet(0x10, &connect)).unwrap();
        let mut answer = [0; 4];
        stream.read_exact(&mut answer).unwrap();
        assert_eq!(answer, [0x20, 2, 0, 0], "the broker takes the connection");
        let subscribe = [vec![0, 1], text(filter), vec![0]].concat();
        stream.write_all(&packet(0x82, &subscribe)).unwrap();
        let mut answer = [0; 5];
        stream.read_exact(&mut answer).unwrap();
        assert_eq!(answer, [0x90, 3, 0, 1, 0], "the broker takes the subscription");
        let heard: Heard = Arc::default();
        let (mut from, to) = (stream.try_clone().unwrap(), Arc::clone(&heard));
        std::thread::spawn(move || {
            while let Some((topic, payload)) = publish(&mut from) {
                to.lock().unwrap().push((topic, payload));
            }
        });
        Self { stream, heard }
    }

    fn say(&mut self, topic: &str, payload: &[u8]) {
        self.stream.write_all(&packet(0x30, &[&text(topic), payload].concat())).unwrap();
    }

    fn all(&self) -> Vec<Message> {
        let heard = self.heard.lock().unwrap();
        let said = heard.iter().filter(|(topic, _)| !topic.contains("/NCMD/"));
        said.map(|(topic, payload)| Message::of(topic, payload)).collect()
    }

    fn of(&self, kind: &str) -> Vec<Message> {
        self.all().into_iter().filter(|message| message.kind == kind).collect()
    }
}

/// The next message that was published at QoS 0; none at the end.
fn publish(from: &mut TcpStream) -> Option<(String, Vec<u8>)> {
    loop {
        let mut byte = [0];
        from.read_exact(&mut byte).ok()?;
        let kind = byte[0];
        let (mut size, mut shift) = (0_usize, 0);
        loop {
            from.read_exact(&mut byte).ok()?;
            size |= usize::from(byte[0] & 127) << shift;
            shift += 7;
            if byte[0] < 128 {
                break;
            }
        }
        let mut body = vec![0; size];
        from.read_exact(&mut body).ok()?;
        if kind >> 4 == 3 {
            let end = 2 + usize::from(u16::from_be_bytes([body[0], body[1]]));
            let topic = String::from_utf8(body[2..end].to_vec()).unwrap();
            return Some((topic, body[end..].to_vec()));
        }
    }
}

/// A value of a metric.
#[derive(Debug, Clone, PartialEq)]
enum Value {
    None,
    Whole(u64),
    Number(f64),
    Text(String),
}

/// A message taken apart by the field numbers of the standard's `sparkplug_b.proto`.
#[derive(Debug, Clone)]
struct Message {
    kind: String,
    device: Option<String>,
    payload: Vec<u8>,
    seq: Option<u64>,
    metrics: BTreeMap<String, Value>,
    historical: bool,
}

/// Fields of a protobuf message: number, and a varint, eight bytes or length-delimited bytes.
fn fields(mut bytes: &[u8]) -> Vec<(u64, u64, &[u8])> {
    fn varint(bytes: &mut &[u8]) -> u64 {
        let (mut value, mut shift) = (0, 0);
        loop {
            let (first, rest) = bytes.split_first().unwrap();
            *bytes = rest;
            value |= u64::from(first & 127) << shift;
            shift += 7;
            if *first < 128 {
                return value;
            }
        }
    }
    let mut all = Vec::new();
    while !bytes.is_empty() {
        let tag = varint(&mut bytes);
        match tag & 7 {
            0 => all.push((tag >> 3, varint(&mut bytes), &[][..])),
            1 => {
                let (eight, rest) = bytes.split_at(8);
                all.push((tag >> 3, u64::from_le_bytes(eight.try_into().unwrap()), &[][..]));
                bytes = rest;
            }
            2 => {
                let size = varint(&mut bytes) as usize;
                let (inner, rest) = bytes.split_at(size);
                all.push((tag >> 3, 0, inner));
                bytes = rest;
            }
            wire => panic!("wire type {wire}"),
        }
    }
    all
}

impl Message {
    fn of(topic: &str, payload: &[u8]) -> Self {
        let levels: Vec<&str> = topic.split('/').collect();
        assert_eq!((levels[0], levels[1], levels[3]), ("spBv1.0", "works", "hall 1"), "{topic}");
        let mut message = Self {
            kind: levels[2].to_owned(),
            device: levels.get(4).map(|device| (*device).to_owned()),
            payload: payload.to_vec(),
            seq: None,
            metrics: BTreeMap::new(),
            historical: false,
        };
        for (field, number, inner) in fields(payload) {
            match field {
                1 => {}
                2 => {
                    let (mut name, mut value) = (String::new(), Value::None);
                    for (field, number, inner) in fields(inner) {
                        match field {
                            1 => name = String::from_utf8(inner.to_vec()).unwrap(),
                            5 => message.historical |= number == 1,
                            10 | 11 | 14 => value = Value::Whole(number),
                            13 => value = Value::Number(f64::from_bits(number)),
                            15 => value = Value::Text(String::from_utf8(inner.to_vec()).unwrap()),
                            _ => {}
                        }
                    }
                    message.metrics.insert(name, value);
                }
                3 => message.seq = Some(number),
                other => panic!("field {other} of a payload"),
            }
        }
        message
    }

    fn whole(&self, name: &str) -> u64 {
        match self.metrics.get(name) {
            Some(Value::Whole(value)) => *value,
            other => panic!("{name}: {other:?} in {self:?}"),
        }
    }
}

/// `Node Control/Rebirth` = true, by hand: field 2, a metric of name (1), boolean type (4 = 11) and value (14).
fn rebirth() -> Vec<u8> {
    let name = "Node Control/Rebirth";
    let metric = [&[0x0a, name.len() as u8][..], name.as_bytes(), &[0x20, 11, 0x70, 1]].concat();
    [&[0x12, metric.len() as u8][..], &metric].concat()
}

#[test]
fn a_node_is_born_speaks_is_asked_again_comes_back_and_dies_as_the_standard_says() {
    let Some(broker) = broker() else {
        println!("note: skipped, no mosquitto here to be the broker");
        return;
    };
    let mut ear = Ear::at(broker.port, "spBv1.0/#");
    let way = Way::to(broker.port);
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let to = format!("127.0.0.1:{}", way.port);
    let console = Served::start(&words_of(&data, &to));

    // Birth, then strokes, numbered without a gap.
    wait("strokes", || ear.of("DDATA").len() >= 20);
    let first = ear.all();
    assert_eq!((first[0].kind.as_str(), first[0].seq), ("NBIRTH", Some(0)));
    assert_eq!(first[0].metrics["Node Control/Rebirth"], Value::Whole(0));
    let born = first[0].whole("bdSeq");
    assert_eq!((first[1].kind.as_str(), first[1].seq), ("DBIRTH", Some(1)));
    for (n, message) in first.iter().enumerate() {
        assert_eq!(message.seq, Some(n as u64 % 256), "{message:?}");
    }
    let names: Vec<&String> = first[2].metrics.keys().collect();
    assert!(names.iter().all(|name| first[1].metrics.contains_key(*name)), "born with every metric it has");
    let device = first[2].device.clone();
    assert!(device.is_some() && first[1].device == device);

    // Asked again: the same birth.
    ear.say("spBv1.0/works/NCMD/hall 1", b"\xff\xff nonsense");
    ear.say("spBv1.0/works/NCMD/hall 1", &rebirth());
    wait("the second birth", || ear.of("NBIRTH").len() == 2);
    let again = &ear.of("NBIRTH")[1];
    assert_eq!((again.seq, again.whole("bdSeq")), (Some(0), born));
    wait("the press again", || ear.of("DBIRTH").len() == 2);

    // The way is cut: the broker tells the death it was left with, strokes wait, and come marked as late.
    let before = ear.of("DDATA").len();
    way.cut();
    wait("the death", || ear.of("NDEATH").len() == 1);
    let death = &ear.of("NDEATH")[0];
    assert_eq!((death.seq, death.whole("bdSeq")), (None, born));
    let stored = || console.text("/strokes.csv").lines().count() - 1;
    let there = stored();
    wait("strokes that nobody hears of", || stored() > there + 10);
    way.mend();
    wait("the birth of the new connection", || ear.of("NBIRTH").len() == 3);
    let third = &ear.of("NBIRTH")[2];
    assert!(third.whole("bdSeq") != born && third.seq == Some(0), "{third:?}");
    wait("late strokes", || ear.of("DDATA").iter().any(|message| message.historical));
    wait("strokes of now", || {
        ear.of("DDATA").len() > before + 30 && !ear.of("DDATA").last().unwrap().historical
    });

    // Every stroke once and in order, with what the console stored.
    let data_messages = ear.of("DDATA");
    let numbers: Vec<u64> = data_messages.iter().map(|message| message.whole("Stroke/Number")).collect();
    assert!(numbers.windows(2).all(|pair| pair[1] == pair[0] + 1), "{numbers:?}");
    let csv = console.text("/strokes.csv");
    let names: Vec<&str> = csv.lines().next().unwrap().split(',').collect();
    let at = |name: &str| names.iter().position(|known| *known == name).unwrap();
    let rows: BTreeMap<u64, Vec<&str>> = csv
        .lines()
        .skip(1)
        .map(|line| line.split(',').collect::<Vec<_>>())
        .map(|cells| (cells[at("stroke")].parse().unwrap(), cells))
        .collect();
    for message in &data_messages {
        let Some(cells) = rows.get(&message.whole("Stroke/Number")) else { continue };
        assert_eq!(message.metrics["Stroke/Peak kN"], Value::Number(cells[at("peak_kn")].parse().unwrap()));
        assert_eq!(message.metrics["Stroke/Verdict"], Value::Text(cells[at("verdict")].to_owned()));
    }
    let passed = data_messages.last().unwrap().whole("Strokes/Pass");
    let words = data_messages.iter().filter(|m| m.metrics["Stroke/Verdict"] == Value::Text("pass".into()));
    assert_eq!(passed, words.count() as u64, "counts go on over a lost connection");

    // Killed: the broker tells it. Ended: it tells it itself.
    let alive = ear.of("NBIRTH").last().unwrap().whole("bdSeq");
    drop(console);
    wait("the death of what was killed", || ear.of("NDEATH").len() == 2);
    assert_eq!(ear.of("NDEATH")[1].whole("bdSeq"), alive);
    let last = Served::start(&words_of(&data, &to));
    wait("the next birth", || ear.of("NBIRTH").len() == 4);
    last.end();
    wait("its own death", || ear.of("NDEATH").len() == 3);
    assert_eq!(ear.of("NDEATH")[2].whole("bdSeq"), ear.of("NBIRTH")[3].whole("bdSeq"));

    decoded_by_others(&ear.all());
}

/// A controller at a port, as often as it is called; its strokes are a twentieth of a second apart.
fn controller(listener: TcpListener, calls: Vec<(u32, u32)>) -> std::thread::JoinHandle<()> {
    std::thread::spawn(move || {
        for (n, (next, until)) in calls.into_iter().enumerate() {
            // Away for longer than a line that breaks for a moment.
            std::thread::sleep(Duration::from_secs(if n == 0 { 0 } else { 4 }));
            // Calls that were given up meanwhile wait in the listener's queue as well.
            loop {
                let stream = listener.accept().unwrap().0;
                stream.set_nonblocking(true).unwrap();
                if Fake::new(stream).serve(hello(3, next), 0, next, until, Duration::from_millis(50)) {
                    break;
                }
            }
        }
    })
}

#[test]
fn a_press_that_goes_away_dies_and_is_born_again_when_it_is_back_and_one_that_has_ended_stays_dead() {
    let Some(broker) = broker() else {
        println!("note: skipped, no mosquitto here to be the broker");
        return;
    };
    let ear = Ear::at(broker.port, "spBv1.0/#");
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let at = format!("tcp:127.0.0.1:{}", listener.local_addr().unwrap().port());
    // The line is lost after a few strokes; when it is there again the controller has made more.
    let fake = controller(listener, vec![(0, 30), (40, 60)]);
    let folder = tempfile::tempdir().unwrap();
    let to = format!("127.0.0.1:{}", broker.port);
    let press = format!("{}/../sample-signatures/presses/five-station.toml", env!("CARGO_MANIFEST_DIR"));
    let mut words = words_of(folder.path(), &to);
    words.extend(["--controller", &at, "--press", &press]);
    let console = Served::start(&words);

    let of_press = |kind: &str| {
        let all = ear.of(kind).into_iter().filter(|message| message.device.as_deref() == Some("P3"));
        all.collect::<Vec<_>>()
    };
    wait("the death of the press", || !of_press("DDEATH").is_empty());
    wait("its second birth", || of_press("DBIRTH").len() >= 2);
    wait("the second death", || of_press("DDEATH").len() >= 2);
    fake.join().unwrap();
    // The node and its other press live on.
    assert!(ear.of("NDEATH").is_empty());
    let strokes = || ear.of("DDATA").iter().filter(|one| one.device.as_deref() != Some("P3")).count();
    let before = strokes();
    wait("strokes of the other press", || strokes() > before + 5);
    // The press is told in the order things happened: born, strokes, dead, born, more strokes, dead.
    let all: Vec<Message> =
        ear.all().into_iter().filter(|message| message.device.as_deref() == Some("P3")).collect();
    let mut kinds: Vec<&str> = all.iter().map(|message| message.kind.as_str()).collect();
    kinds.dedup();
    assert_eq!(kinds, ["DBIRTH", "DDATA", "DDEATH", "DBIRTH", "DDATA", "DDEATH"]);
    assert!(all.iter().filter(|message| message.kind == "DDEATH").all(|message| message.metrics.is_empty()));
    // No stroke is lost.
    let of_strokes = all.iter().filter(|message| message.kind == "DDATA");
    let numbers: Vec<u64> = of_strokes.map(|message| message.whole("Stroke/Number")).collect();
    assert_eq!(numbers, (0..60).collect::<Vec<u64>>());
    // What the console numbers goes on over all of it.
    let everything = ear.all();
    for pair in everything.windows(2) {
        assert_eq!(pair[1].seq, pair[0].seq.map(|seq| (seq + 1) % 256), "{pair:?}");
    }
    drop(console);
    wait("the death of what was killed", || ear.of("NDEATH").len() == 1);
    decoded_by_others(&ear.all());
}

fn words_of<'a>(data: &'a std::path::Path, to: &'a str) -> Vec<&'a str> {
    vec![
        "--data",
        word(data),
        "--scenario",
        "small-press",
        "--pace",
        "8",
        "--mqtt",
        to,
        "--mqtt-group",
        "works",
        "--mqtt-node",
        "hall 1",
    ]
}

/// Another project's classes, generated from the standard's own file, read the same.
fn decoded_by_others(messages: &[Message]) {
    let ours = messages.iter().filter(|message| message.kind != "NCMD");
    let ours: Vec<&Message> = ours.collect();
    let hex = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    let given = json!({ "payloads": ours.iter().map(|message| hex(&message.payload)).collect::<Vec<_>>() });
    let Some(found) = python::run_with("pysparkplug", "pysparkplug", "sparkplug.py", &given) else { return };
    let found = found.as_array().unwrap();
    assert_eq!(found.len(), ours.len());
    // Numbers of the standard's data types.
    let types = [
        ("bdSeq", 4),
        ("Stroke/Number", 8),
        ("Stroke/Peak kN", 10),
        ("Node Control/Rebirth", 11),
        ("Stroke/Verdict", 12),
    ];
    for (message, theirs) in ours.iter().zip(found) {
        assert_eq!(theirs["seq"].as_u64(), message.seq);
        for metric in theirs["metrics"].as_array().unwrap() {
            let name = metric["name"].as_str().unwrap();
            match &message.metrics[name] {
                Value::None => assert_eq!((&metric["value"], &metric["null"]), (&json!(null), &json!(true))),
                Value::Number(value) => assert_eq!(metric["value"].as_f64(), Some(*value)),
                Value::Text(value) => assert_eq!(metric["value"].as_str(), Some(value.as_str())),
                Value::Whole(value) => {
                    let number = metric["value"].as_u64().or(metric["value"].as_bool().map(u64::from));
                    assert_eq!(number, Some(*value), "{name}");
                }
            }
            if let Some((_, kind)) = types.iter().find(|(known, _)| *known == name) {
                assert_eq!(metric["datatype"], json!(kind), "{name}");
            }
            assert!(metric["timestamp"].as_u64().is_some());
        }
    }
}
