//! Input that means harm: it is refused, nothing is lost by it, nothing of it is executed.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::sync::Arc;
use std::time::{Duration, Instant};

use bolster::console::auth;
use bolster::console::feed::FeedState;
use bolster::console::store::{Event, NewCard, StrokeFilter};

use crate::api::{address, routes};
use crate::changing::{accept_fields, draft_fields, post};
use crate::client::{Answer, Follower, escaped, raw, raw_status};
use crate::killed::Program;
use crate::pages::crawl;
use crate::server::{Console, DIE, DIE_PAGE, PASSWORD, PATIENCE, press_card, stroke};

const SHORT: Duration = Duration::from_millis(500);

fn as_before(console: &Console, strokes: usize) {
    assert_eq!(console.viewer().get("/strokes").status, 200);
    assert_eq!(console.strokes().len(), strokes);
    assert_eq!(console.store.card_history("P3", DIE).unwrap().len(), 1);
}

#[test]
fn bodies_beyond_the_bound_are_refused_unread() {
    let console = Console::with_strokes();
    let strokes = console.strokes().len();
    let client = console.engineer();
    for path in ["/sign-in".to_owned(), format!("{DIE_PAGE}/draft"), "/sign-out".to_owned(), "/".to_owned()] {
        let headers = [("content-type", "application/x-www-form-urlencoded")];
        let body = vec![b'a'; 64 * 1024 + 1];
        let answer = client.send(hyper::Method::POST, &path, &headers, body);
        assert!(matches!(answer.status, 405 | 413), "{path}: {}", answer.status);
    }
    // A body that says it is huge, and one that never ends: answered before they are read.
    let host = console.address;
    let claims = format!(
        "POST /sign-in HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 99999999999\r\n\r\nname=a"
    );
    assert_eq!(raw_status(&raw(console.address, claims.as_bytes(), Duration::from_secs(5))), 413);
    let mut endless = format!(
        "POST /sign-in HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    .into_bytes();
    for _ in 0..100 {
        endless.extend_from_slice(b"1000\r\n");
        endless.extend_from_slice(&[b'a'; 0x1000]);
        endless.extend_from_slice(b"\r\n");
    }
    assert_eq!(raw_status(&raw(console.address, &endless, Duration::from_secs(5))), 413);
    as_before(&console, strokes);
}

#[test]
fn what_is_no_http_or_no_form_or_no_json_is_refused() {
    let console = Console::with_strokes();
    let strokes = console.strokes().len();
    let host = console.address;
    let long = "a".repeat(300_000);
    let many: String = (0..2000).map(|n| format!("X-{n}: y\r\n")).collect();
    for bytes in [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".to_vec(),
        b"\r\n\r\n\r\n".to_vec(),
        b"GET /\r\n\r\n".to_vec(),
        vec![0; 10_000],
        vec![0xff; 10_000],
        format!("GET /{long} HTTP/1.1\r\nHost: {host}\r\n\r\n").into_bytes(),
        format!("GET / HTTP/1.1\r\nHost: {host}\r\nX-Long: {long}\r\n\r\n").into_bytes(),
        format!("GET / HTTP/1.1\r\nHost: {host}\r\n{many}\r\n").into_bytes(),
        format!("GET / HTTP/1.1\r\nHost: {host}\r\nContent-Length: -1\r\n\r\n").into_bytes(),
        format!(
            "POST / HTTP/1.1\r\nHost: {host}\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n"
        )
        .into_bytes(),
        b"GET / HTTP/1.1\r\n\r\n".to_vec(),
    ] {
        let answer = raw(console.address, &bytes, SHORT);
        let status = raw_status(&answer);
        let first = String::from_utf8_lossy(&bytes[..bytes.len().min(40)]).into_owned();
        assert!(status == 0 || (400..500).contains(&status), "{first:?}: {status}");
    }
    let client = console.engineer();
    for (kind, body) in [
        ("application/json", "{\"token\": "),
        ("application/json", "[[[[[[[[[[[[[[[["),
        ("application/json", "{\"token\":\"x\",\"version\":1}"),
        ("application/x-www-form-urlencoded", "token=%ff%fe&version=1"),
        ("application/x-www-form-urlencoded", "version=1&version=2&version=3"),
        ("application/x-www-form-urlencoded", "%%%&&&==="),
        ("multipart/form-data; boundary=x", "--x\r\n"),
        ("text/plain", "token=x"),
    ] {
        for path in [
            format!("{DIE_PAGE}/draft"),
            format!("{DIE_PAGE}/accept"),
            "/sign-in".into(),
            "/api/strokes".into(),
        ] {
            let headers = [("content-type", kind)];
            let answer = client.send(hyper::Method::POST, &path, &headers, body.as_bytes().to_vec());
            assert!((400..500).contains(&answer.status), "{path} {kind} {body}: {}", answer.status);
        }
    }
    for path in [
        "/strokes?%ff=%00",
        "/strokes?press=%00",
        "/journal?q=%ff",
        "/press/%ff",
        "/press/%00",
        "/die/%00/%00",
        "/live?after=9e9",
        "/stroke/1?from=NaN&to=inf",
        "/stroke/-1",
        "/api/strokes?after=-9223372036854775808",
    ] {
        let status = client.get(path).status;
        assert!(status < 500, "{path}: {status}");
    }
    as_before(&console, strokes);
}

#[test]
fn no_way_leads_out_of_the_console_to_files() {
    let console = Console::with_strokes();
    let file = console.folder.file_name().unwrap().to_str().unwrap().to_owned();
    for path in [
        "/../../../../etc/passwd".to_owned(),
        "/assets/../../../../etc/passwd".to_owned(),
        "/assets/..%2f..%2f..%2f..%2fetc%2fpasswd".to_owned(),
        "/assets/%2e%2e/%2e%2e/etc/passwd".to_owned(),
        "/assets/....//....//etc/passwd".to_owned(),
        "/assets\\..\\..\\etc\\passwd".to_owned(),
        "//etc/passwd".to_owned(),
        "/stroke/1/..%2f..%2fconsole.sqlite".to_owned(),
        "/stroke/1/%2e%2e%2fconsole.sqlite".to_owned(),
        "/wear/P3/..%2f..%2fetc%2fpasswd".to_owned(),
        format!("/../{file}/console.sqlite"),
        "/die/..%2f..%2f..%2fetc/passwd".to_owned(),
        "/etc/passwd%00.svg".to_owned(),
        "file:///etc/passwd".to_owned(),
    ] {
        let request =
            format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", console.address);
        let answer = raw(console.address, request.as_bytes(), Duration::from_secs(5));
        let text = String::from_utf8_lossy(&answer);
        assert!((400..500).contains(&raw_status(&answer)), "{path}: {text}");
        assert!(!text.contains("root:") && !text.contains("SQLite format"), "{path}: {text}");
    }
}

#[test]
fn a_foreign_name_is_not_answered_to() {
    let console = Console::with_strokes();
    let client = console.viewer();
    for host in ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "", "evil.example:80"] {
        let answer = client.send(hyper::Method::GET, "/", &[("host", host)], Vec::new());
        assert_eq!(answer.status, 421, "{host}");
    }
    for host in ["localhost", "localhost:1", "127.0.0.1", "[::1]:7878", "console.shop", "CONSOLE.SHOP:443"] {
        let answer = client.send(hyper::Method::GET, "/", &[("host", host)], Vec::new());
        assert_eq!(answer.status, 200, "{host}");
    }
}

/// Texts that a page must only ever show.
const SCRIPTS: [&str; 6] = [
    "<script>window.executed=1</script>",
    "\"><img src=x onerror=window.executed=1>",
    "' onmouseover='window.executed=1",
    "</text></svg><script>window.executed=1</script>",
    "javascript:window.executed=1",
    "]]><svg onload=window.executed=1>",
];

/// A console in which every text that people or files bring is a script.
pub fn scripted() -> Console {
    let console = Console::with_strokes();
    let hash = auth::hash(PASSWORD).unwrap();
    let current = console.store.newest_card("P3", DIE).unwrap();
    for (n, script) in SCRIPTS.iter().enumerate() {
        console.store.put_engineer(script, &hash).unwrap();
        let mut card = press_card();
        card.name = (*script).to_owned();
        console.store.put_press(&card).unwrap();
        let run = console.store.begin_run(script, script).unwrap();
        let mut die: bolster::card::die::DieCard = toml::from_str(&current.toml).unwrap();
        die.die.name = (*script).to_owned();
        if let Some(from) = &mut die.provenance {
            from.recording = (*script).to_owned();
            from.evidence = (*script).to_owned();
        }
        let toml = die.to_toml().unwrap();
        let new = NewCard {
            press: script,
            die: script,
            began: 0,
            toml: &toml,
            accepted: n % 2 == 0,
            who: script,
            reason: script,
        };
        let text = || Some((*script).to_owned());
        let event = Event {
            kind: "card-stored",
            press: text(),
            die: text(),
            stroke_id: None,
            who: text(),
            says: (*script).to_owned(),
            old: text(),
            new: text(),
            reason: text(),
        };
        let row = console.store.put_card(&new, &event).unwrap();
        // A stroke with its readings, so that pictures carry the text as well.
        let kept = console.store.readings(console.held()).unwrap().unwrap().pack().unwrap();
        let (_, outcome) = console.store.stroke(console.held()).unwrap();
        let mut new = stroke(script, 1, 500.0);
        new.outcome = bolster::session::outcome_from_json(&outcome).unwrap();
        new.run = run;
        new.die = Some((*script).into());
        new.card = Some(row.id);
        new.kept = Some(kept);
        console.store.add_strokes(&[new]).unwrap();
    }
    console
}

#[test]
fn a_script_in_any_free_text_is_shown_as_text_on_every_page_and_picture() {
    let console = scripted();
    let held = console.strokes().last().unwrap().id;
    let client = console.signed_in(SCRIPTS[0]);
    let mut pages = crawl(&client);
    for script in SCRIPTS {
        let word = escaped(script);
        for path in [
            format!("/press/{word}"),
            format!("/die/{word}/{word}"),
            format!("/strokes?press={word}&die={word}"),
            format!("/journal?q={word}&press={word}&kind={word}"),
            format!("/wear?press={word}"),
            format!("/wear/{word}/peaks.svg"),
            format!("/wear/{word}/shares.svg"),
            format!("/strokes?from={word}"),
            format!("/sign-in?{word}"),
            format!("/{word}"),
        ] {
            let answer = client.get(&path);
            pages.insert(path, answer);
        }
    }
    for picture in ["signature.svg", "height.svg", "centre.svg"] {
        let path = format!("/stroke/{held}/{picture}");
        pages.insert(path.clone(), client.get(&path));
    }
    let mut shown = 0;
    for (path, answer) in &pages {
        shown += usize::from(is_only_shown(path, answer));
    }
    assert!(shown > 10, "the scripts are to be seen as text: {shown}");
}

/// Nothing of a script is more than text in this answer; whether it is there at all.
fn is_only_shown(path: &str, answer: &Answer) -> bool {
    let kind = answer.header("content-type");
    if !(kind.starts_with("text/html") || kind.starts_with("image/svg")) {
        // Never taken for a page by a browser that guesses.
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        return false;
    }
    let text = answer.text();
    for sign in [
        "<script>window",
        "<img src=x",
        "onerror=window.executed=1>",
        "<svg onload",
        "href=\"javascript:",
        "src=\"javascript:",
        "action=\"javascript:",
    ] {
        assert!(!text.contains(sign), "{path} carries {sign}:\n{text}");
    }
    // Values stand between double quotes only, so that a single one in a text ends nothing.
    let rest = text.replace(SCRIPTS[2], "").replace("&#39;", "");
    assert!(!rest.contains("='"), "{path} quotes a value by single quotes:\n{text}");
    text.contains("window.executed=1")
}

#[test]
fn a_script_that_people_type_into_a_form_or_an_address_is_taken_as_its_words() {
    let console = Console::with_strokes();
    let client = console.engineer();
    for script in SCRIPTS {
        let page = client.get(DIE_PAGE);
        assert_eq!(post(&client, "draft", &draft_fields(&page, &[("reason", script)])).status, 303);
        let page = client.get(DIE_PAGE);
        assert!(is_only_shown("a draft's reason", &page));
        let mut fields = accept_fields(&page, script);
        assert_eq!(post(&client, "accept", &fields).status, 303);
        // Where it is refused, it is not said again as anything but text either.
        fields[1].1 = script.to_owned();
        for (path, fields) in [
            (format!("{DIE_PAGE}/accept"), vec![("token", script), ("version", script), ("reason", script)]),
            (format!("{DIE_PAGE}/draft"), vec![("peak_high", script), ("unit", script)]),
            ("/sign-in".to_owned(), vec![("name", script), ("password", script)]),
            ("/sign-out".to_owned(), vec![("token", script)]),
        ] {
            let answer = client.post(&path, &fields);
            assert!((400..500).contains(&answer.status), "{path}: {}", answer.status);
            is_only_shown(&path, &answer);
        }
        let word = escaped(script);
        for (path, is_there) in [
            (format!("/journal?q={word}"), true),
            (format!("/journal?from={word}"), false),
            (format!("/strokes?die={word}"), true),
            (format!("/strokes?verdict={word}"), false),
            (format!("/strokes?before={word}"), false),
            (format!("/prefer?unit={word}&back={word}"), false),
            (format!("/wear?press=P3&quantity={word}&limit={word}"), false),
            (format!("/health?press={word}"), false),
            (format!("/report/shift/P3?from={word}"), false),
            (format!("/report/die/P3/{word}"), false),
        ] {
            let answer = client.get(&path);
            assert!(answer.status < 500, "{path}: {}", answer.status);
            assert!(is_only_shown(&path, &answer) || !is_there, "{path} shows what was asked for");
        }
    }
    let reasons: Vec<String> = console
        .store
        .card_history("P3", DIE)
        .unwrap()
        .into_iter()
        .rev()
        .skip(1)
        .map(|row| row.reason)
        .collect();
    assert_eq!(reasons, SCRIPTS.iter().flat_map(|script| [*script; 2]).collect::<Vec<_>>());
    let feed = &console.app.feeds[0];
    for script in SCRIPTS {
        {
            let mut status = feed.lock().unwrap();
            (status.source, status.problem, status.state) =
                (script.to_owned(), Some(script.to_owned()), FeedState::Failed);
        }
        for path in ["/", "/press/P3"] {
            assert!(is_only_shown(path, &client.get(path)), "{path} shows where strokes come from");
        }
    }
}

#[test]
fn an_address_takes_its_own_methods_only() {
    let console = Console::with_strokes();
    let strokes = console.strokes().len();
    let client = console.engineer();
    for route in routes() {
        let path = address(&console, route);
        for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND", "get", "G\u{e9}T"] {
            let request =
                format!("{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", console.address);
            let status = raw_status(&raw(console.address, request.as_bytes(), Duration::from_secs(5)));
            assert!(status == 405 || (status == 400 && !method.is_ascii()), "{method} {path}: {status}");
        }
        // A form where none is taken, and a form's address looked at.
        let posted = client.post(&path, &[("token", "0")]).status;
        assert!((400..500).contains(&posted), "POST {path}: {posted}");
    }
    as_before(&console, strokes);
}

#[test]
fn questions_longer_than_any_person_asks_are_answered_or_refused_and_break_nothing() {
    let console = Console::with_strokes();
    let strokes = console.strokes().len();
    let client = console.viewer();
    let (long, wild, quotes) = ("a".repeat(60_000), "%25_".repeat(10_000), "%27%22".repeat(5_000));
    for text in [&long, &wild, &quotes] {
        for path in [
            "/journal?q=",
            "/journal.csv?q=",
            "/api/events?q=",
            "/strokes?press=",
            "/strokes.csv?die=",
            "/wear?press=",
            "/press/",
            "/die/P3/",
        ] {
            let answer = client.send(hyper::Method::GET, &format!("{path}{text}"), &[], Vec::new());
            assert!(answer.status < 500, "{path}{}...: {}: {}", &text[..6], answer.status, answer.text());
        }
    }
    // A search of the longest kind that is taken.
    assert_eq!(client.get(&format!("/journal?q={}", "%25_".repeat(500))).status, 200);
    assert_eq!(client.get(&format!("/journal?q={}", "x".repeat(1001))).status, 400);
    as_before(&console, strokes);
}

#[test]
fn a_table_for_spreadsheets_holds_no_formula_in_any_text() {
    let console = Console::with_strokes();
    let formulas = [
        "=HYPERLINK(\"http://evil.example\")",
        "+1",
        "-1+cmd|' /C calc'!A0",
        "@x\n=2",
        "\t=1",
        "\r=1",
        "\n=1",
        "\u{ff1d}1",
    ];
    for formula in formulas {
        let some = || Some(formula.to_owned());
        let event = Event {
            kind: "card-stored",
            press: some(),
            die: some(),
            stroke_id: None,
            who: some(),
            says: formula.to_owned(),
            old: some(),
            new: some(),
            reason: some(),
        };
        console.store.journal(&event).unwrap();
        let mut of = stroke(formula, 1, 500.0);
        of.die = Some(formula.into());
        console.store.add_strokes(&[of]).unwrap();
    }
    for (path, texts) in [("/journal.csv", 7), ("/strokes.csv", 2)] {
        let text = console.viewer().get(path).text();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let mut led = 0;
        for record in reader.records() {
            for field in &record.unwrap() {
                assert!(
                    !field.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}'])
                        || field.parse::<f64>().is_ok(),
                    "{path}: {field:?}"
                );
                led += usize::from(field.starts_with('\'') && formulas.contains(&&field[1..]));
            }
        }
        assert_eq!(led, texts * formulas.len(), "{path}");
    }
}

#[test]
fn many_guesses_at_once_do_not_keep_others_from_looking() {
    let console = Arc::new(Console::with_strokes());
    let threads: Vec<_> = (0..24)
        .map(|n| {
            let client = console.viewer();
            std::thread::spawn(move || {
                client
                    .post("/sign-in", &[("name", &format!("guess {n}")), ("password", "guess after guess")])
                    .status
            })
        })
        .collect();
    let began = Instant::now();
    assert_eq!(console.viewer().get("/strokes").status, 200);
    assert!(began.elapsed() < Duration::from_secs(20), "{:?}", began.elapsed());
    for thread in threads {
        assert_eq!(thread.join().unwrap(), 403);
    }
}

/// Lets this process hold more connections than usual.
fn raise_descriptors() {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let limit = getrlimit(Resource::Nofile);
    let most = limit.maximum.unwrap_or(8192).min(8192);
    setrlimit(Resource::Nofile, Rlimit { current: Some(most), ..limit }).unwrap();
    assert!(most >= 4096, "1,000 connections need 4,096 descriptors; this machine allows {most}");
}

#[test]
fn a_thousand_idle_connections_keep_nobody_out_and_lose_no_stroke() {
    raise_descriptors();
    let folder = tempfile::tempdir().unwrap();
    let program = Program::start(folder.path(), &["--scenario", "five-station", "--pace", "20"]);
    let address = program.address(Instant::now() + Duration::from_secs(60)).expect("it listens");
    let mut page = Follower::new(address, "/live?after=0", None).unwrap();
    let mut idle = Vec::new();
    for n in 0..1000 {
        let mut stream = TcpStream::connect(address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
        match n % 3 {
            // One says nothing, one begins and stops, one asks once and stays.
            0 => {}
            1 => stream.write_all(b"GET / HTTP/1.1\r\nHost: 127").unwrap(),
            _ => {
                let _ = stream
                    .write_all(format!("GET /assets/live.js HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes());
                let mut part = [0; 512];
                let _ = stream.read(&mut part);
            }
        }
        idle.push(stream);
        if n % 100 == 99 {
            let client = crate::client::Client::new(address);
            let began = Instant::now();
            assert_eq!(client.get("/strokes").status, 200, "after {n} idle connections");
            assert!(
                began.elapsed() < Duration::from_secs(5),
                "{:?} after {n} idle connections",
                began.elapsed()
            );
        }
    }
    // The page that followed before still does, and has missed nothing.
    let mut got = Vec::new();
    let enough = Instant::now() + Duration::from_secs(2);
    while let Some(event) = page.next(Duration::from_secs(10)) {
        got.extend(event.strokes());
        if Instant::now() > enough && got.len() > 40 {
            break;
        }
    }
    assert_eq!(got, (1..=got.len() as i64).collect::<Vec<_>>());
    drop(program);
    let store = bolster::console::store::Store::open(folder.path()).unwrap();
    let stored =
        store.strokes(&StrokeFilter { after: Some(0), ..Default::default() }, usize::MAX >> 1).unwrap();
    assert!(stored.len() >= got.len());
    assert!(
        stored.windows(2).all(|pair| pair[0].stroke + 1 == pair[1].stroke && pair[0].id + 1 == pair[1].id)
    );
}

#[test]
fn who_asks_and_never_reads_is_given_up() {
    let console = Console::with_strokes();
    let one = format!("GET /api/openapi.json HTTP/1.1\r\nHost: {}\r\n\r\n", console.address);
    // 30 MB are asked for: more than the buffers of both ends take.
    let asked = one.repeat(1000);
    let mut greedy: Vec<TcpStream> = (0..8)
        .map(|_| {
            let mut stream = TcpStream::connect(console.address).unwrap();
            stream.set_write_timeout(Some(Duration::from_millis(100))).unwrap();
            let _ = stream.write_all(asked.as_bytes());
            stream
        })
        .collect();
    assert_eq!(console.viewer().get("/strokes").status, 200);
    let until = Instant::now() + PATIENCE.read + Duration::from_secs(30);
    while !greedy.is_empty() {
        assert!(Instant::now() < until, "{} are still borne with", greedy.len());
        // The console's end is closed with our requests unread: the next write is refused.
        greedy.retain_mut(|stream| match stream.write(b"GET") {
            Ok(_) => true,
            Err(why) => matches!(why.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut),
        });
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn pages_that_follow_and_never_read_are_given_up_and_take_nothing_from_one_that_reads() {
    let console = Console::empty();
    let never = 24;
    let silent: Vec<TcpStream> = (0..never)
        .map(|_| {
            let mut stream = TcpStream::connect(console.address).unwrap();
            let ask = format!("GET /live?after=0 HTTP/1.1\r\nHost: {}\r\n\r\n", console.address);
            stream.write_all(ask.as_bytes()).unwrap();
            stream
        })
        .collect();
    let mut page = Follower::new(console.address, "/live?after=0", None).unwrap();
    let until = Instant::now() + PATIENCE.read + Duration::from_secs(60);
    while console.app.followers.count() < never + 1 {
        assert!(Instant::now() < until, "{} follow", console.app.followers.count());
        std::thread::sleep(Duration::from_millis(20));
    }
    // More than the buffers of both ends take: 16,000 strokes of 1 kB.
    let press = "P".repeat(800);
    let mut got = Vec::new();
    for number in 0..32 {
        let some: Vec<_> = (0..500).map(|n| stroke(&press, 500 * number + n, 100.0)).collect();
        console.store.add_strokes(&some).unwrap();
        while got.len() < 500 * (number as usize + 1) {
            got.extend(page.next(Duration::from_secs(20)).expect("the one that reads goes on").strokes());
        }
    }
    assert_eq!(got, (1..=16_000).collect::<Vec<_>>());
    while console.app.followers.count() > 1 {
        assert!(Instant::now() < until, "{} are still borne with", console.app.followers.count() - 1);
        std::thread::sleep(Duration::from_millis(50));
    }
    console.store.add_strokes(&[stroke("P3", 0, 100.0)]).unwrap();
    assert_eq!(page.next(Duration::from_secs(20)).expect("it follows on").strokes(), [16_001]);
    drop(silent);
}
