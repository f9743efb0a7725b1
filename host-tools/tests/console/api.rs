//! The JSON interface against its own OpenAPI document, and the metrics against their form.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use serde_json::Value;

use bolster::console::feed::FeedState;

use crate::client::{Answer, Follower, escaped, raw, raw_status};
use crate::schema::wrong;
use crate::server::{Console, DIE, PRESS};

fn document(console: &Console) -> Value {
    let answer = console.viewer().get("/api/openapi.json");
    assert_eq!((answer.status, answer.header("content-type")), (200, "application/json"));
    answer.json()
}

/// What the document says of an answer, by status.
fn described(operation: &Value, status: u16) -> &Value {
    let responses = &operation["responses"];
    let exact = &responses[status.to_string()];
    if exact.is_null() { &responses[format!("{}XX", status / 100)] } else { exact }
}

fn fits(document: &Value, operation: &Value, path: &str, answer: &Answer) {
    let response = described(operation, answer.status);
    assert!(!response.is_null(), "{path}: status {} is not described", answer.status);
    let content = response["content"].as_object().expect("an answer has content");
    let kind = answer.header("content-type").split(';').next().unwrap_or("").to_owned();
    let Some(media) = content.get(&kind) else {
        panic!("{path}: {} {kind} is not described: {}", answer.status, answer.text())
    };
    if kind.ends_with("json") {
        let problems = wrong(document, &media["schema"], &answer.json(), "");
        assert!(problems.is_empty(), "{path}: {problems:#?}");
    }
}

/// A value that a parameter takes, and one it does not (none where it takes every text).
fn values(console: &Console, name: &str) -> (String, Option<&'static str>) {
    match name {
        "id" => (console.held().to_string(), Some("first")),
        "press" => ("P3".into(), None),
        "die" => (DIE.into(), None),
        "verdict" => ("hold".into(), Some("fine")),
        "before" | "after" | "run" => ("6".into(), Some("six")),
        "from" => ("2026-01-05".into(), Some("yesterday")),
        "to" => ("2126-01-05T06:00".into(), Some("5.1.2126")),
        "kind" => ("stroke-held".into(), None),
        "q" => ("held".into(), None),
        "unit" => ("kN".into(), None),
        "quantity" => ("peak".into(), None),
        "limit" => ("12".into(), Some("much")),
        "feeds" => ("0".into(), None),
        other => panic!("this test knows no value of the parameter {other}; give it one"),
    }
}

/// An address whose answer does not end, with each of its parameters.
fn streams(console: &Console, path: &str, operation: &Value) {
    let parameters = operation["parameters"].as_array().unwrap();
    let named = |name: &str| format!("{name}={}", escaped(&values(console, name).0));
    let queries = parameters.iter().map(|one| named(one["name"].as_str().unwrap()));
    for query in queries.chain(["after=0".to_owned()]) {
        let mut page = Follower::new(console.address, &format!("{path}?{query}"), None).unwrap();
        assert_eq!(page.status, 200, "{path}?{query}");
        console.store.add_strokes(&[crate::server::stroke(PRESS, 1, 1.0)]).unwrap();
        let event = page.next(Duration::from_secs(20)).expect("an event");
        assert!(["strokes", "feeds"].contains(&event.name.as_str()), "{path}?{query}: {event:?}");
    }
}

#[test]
fn every_address_of_the_document_answers_as_described() {
    let console = Console::with_strokes();
    let document = document(&console);
    let client = console.viewer();
    let mut answered = 0;
    for (path, methods) in document["paths"].as_object().unwrap() {
        assert_eq!(
            methods.as_object().unwrap().keys().collect::<Vec<_>>(),
            ["get"],
            "{path}: for reading only"
        );
        let operation = &methods["get"];
        if path.ends_with(".parquet") && !cfg!(feature = "parquet") {
            continue;
        }
        if !operation["responses"]["200"]["content"]["text/event-stream"].is_null() {
            streams(&console, path, operation);
            continue;
        }
        let parameters = operation["parameters"].as_array().cloned().unwrap_or_default();
        let of = |place: &str| parameters.iter().filter(move |one| one["in"] == place).collect::<Vec<_>>();
        let mut address = path.clone();
        let mut nowhere = path.clone();
        for parameter in of("path") {
            let name = parameter["name"].as_str().unwrap();
            address = address.replace(&format!("{{{name}}}"), &escaped(&values(&console, name).0));
            nowhere = nowhere.replace(&format!("{{{name}}}"), "987654321");
        }
        let answer = client.get(&address);
        assert_eq!(answer.status, 200, "{address}: {}", answer.text());
        fits(&document, operation, &address, &answer);
        answered += 1;
        if nowhere != *path {
            let answer = client.get(&nowhere);
            assert_eq!(answer.status, 404, "{nowhere}: {}", answer.text());
            fits(&document, operation, &nowhere, &answer);
        }
        for parameter in of("path").into_iter().chain(of("query")) {
            let name = parameter["name"].as_str().unwrap();
            let (good, bad) = values(&console, name);
            let with = |value: &str| match parameter["in"].as_str() {
                Some("query") => format!("{address}?{name}={}", escaped(value)),
                _ => path.replace(&format!("{{{name}}}"), value),
            };
            if parameter["in"] == "query" {
                let answer = client.get(&with(&good));
                assert_eq!(answer.status, 200, "{}: {}", with(&good), answer.text());
                fits(&document, operation, &with(&good), &answer);
            }
            if let Some(bad) = bad {
                let answer = client.get(&with(bad));
                assert_eq!(answer.status, 400, "{}: {}", with(bad), answer.text());
                fits(&document, operation, &with(bad), &answer);
            }
        }
    }
    assert!(answered >= 8, "{answered}");
}

/// Every address that the console serves, as its router has them.
pub fn routes() -> BTreeSet<&'static str> {
    let router = include_str!("../../src/console/app.rs");
    let routes: BTreeSet<&str> =
        router.split(".route(\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert!(routes.len() > 30 && routes.iter().all(|path| path.starts_with('/')), "{routes:?}");
    routes
}

/// An address of a route, its parts filled in.
pub fn address(console: &Console, route: &str) -> String {
    let picture = if route.starts_with("/wear/") { "peaks.svg" } else { "signature.svg" };
    route
        .replace("{press}", PRESS)
        .replace("{die}", &escaped(DIE))
        .replace("{id}", &console.held().to_string())
        .replace("{picture}", picture)
}

/// Whether an address of the document is one of this route.
fn is_of(path: &str, route: &str) -> bool {
    let (path, route): (Vec<&str>, Vec<&str>) = (path.split('/').collect(), route.split('/').collect());
    let fits = |(one, of): (&&str, &&str)| one == of || (of.starts_with('{') && !one.is_empty());
    path.len() == route.len() && path.iter().zip(&route).all(fits)
}

#[test]
fn every_address_with_an_answer_for_programs_is_in_the_document_and_the_document_names_no_other() {
    let console = Console::with_strokes();
    let document = document(&console);
    let described: Vec<&str> = document["paths"].as_object().unwrap().keys().map(String::as_str).collect();
    let routes = routes();
    for path in &described {
        assert!(routes.iter().any(|route| is_of(path, route)), "{path} is described and not served");
    }
    let mut for_programs = 0;
    for route in &routes {
        if route.ends_with(".parquet") && !cfg!(feature = "parquet") {
            continue;
        }
        let path = address(&console, route);
        // The head is enough: one of them does not end.
        let request =
            format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", console.address);
        let answer =
            String::from_utf8_lossy(&raw(console.address, request.as_bytes(), Duration::from_secs(3)))
                .into_owned();
        let status = raw_status(answer.as_bytes());
        assert!(status == 200 || status == 303 || status == 405, "{path}: {answer}");
        let head = answer.split("\r\n\r\n").next().unwrap_or("").to_ascii_lowercase();
        let kind =
            head.split("content-type: ").nth(1).and_then(|rest| rest.split(['\r', ';']).next()).unwrap_or("");
        let for_people = ["text/html", "image/svg+xml", "text/css", "text/javascript", ""].contains(&kind);
        // Changes are made by people, with a form.
        if status == 200 && !for_people {
            assert!(described.contains(route), "{path} answers with {kind} and is not described");
            for_programs += 1;
        }
    }
    // Of one route the document names one answer only: the recording among a stroke's pictures.
    let among_others = described.iter().filter(|path| !routes.contains(**path)).count();
    assert_eq!((for_programs + among_others, among_others), (described.len(), 1));
}

#[test]
fn a_program_is_refused_in_the_form_it_reads() {
    let console = Console::with_strokes();
    let client = console.viewer();
    for (method, path, status) in [
        (hyper::Method::GET, "/api/nothing", 404),
        (hyper::Method::GET, "/api/strokes/first", 400),
        (hyper::Method::GET, "/api/strokes?before=x", 400),
        (hyper::Method::POST, "/api/strokes", 405),
        (hyper::Method::DELETE, "/api/dies/P3/x", 405),
    ] {
        let answer = client.send(method, path, &[], Vec::new());
        assert_eq!(
            (answer.status, answer.header("content-type")),
            (status, "application/problem+json"),
            "{path}"
        );
        assert_eq!(answer.json()["status"], status);
        assert!(answer.json()["detail"].as_str().is_some_and(|says| !says.is_empty()), "{path}");
    }
}

#[test]
fn following_by_number_reads_every_stroke_once() {
    let console = Console::with_strokes();
    let client = console.viewer();
    let ids: Vec<i64> = console.strokes().iter().map(|row| row.id).collect();
    let all = client.get("/api/strokes?after=0").json();
    let read: Vec<i64> = all.as_array().unwrap().iter().map(|row| row["id"].as_i64().unwrap()).collect();
    assert_eq!(read, ids);
    let newest = client.get("/api/strokes").json();
    let read: Vec<i64> = newest.as_array().unwrap().iter().map(|row| row["id"].as_i64().unwrap()).collect();
    assert_eq!(read, ids.iter().rev().copied().collect::<Vec<_>>());
}

/// A sample of the metrics: name, labels, value.
type Sample = (String, BTreeMap<String, String>, f64);

fn is_name(text: &str) -> bool {
    let is_first = |letter: char| letter.is_ascii_alphabetic() || letter == '_';
    text.starts_with(is_first) && text.chars().all(|letter| is_first(letter) || letter.is_ascii_digit())
}

/// One line of a sample, or what is wrong with it. Source of the form: Prometheus, "Exposition formats", text-based format 0.0.4
/// (from memory).
fn sample(line: &str) -> Result<Sample, String> {
    let wrong = |what: &str| Err(format!("{what}: {line:?}"));
    let end = line.find(['{', ' ']).ok_or(format!("no value: {line:?}"))?;
    let (name, mut rest) = line.split_at(end);
    if !is_name(name) {
        return wrong("no name");
    }
    let mut labels = BTreeMap::new();
    if let Some(inner) = rest.strip_prefix('{') {
        rest = inner;
        loop {
            let Some((label, after)) = rest.split_once("=\"") else { return wrong("no label") };
            if !is_name(label) {
                return wrong("no label's name");
            }
            let (mut value, mut letters) = (String::new(), after.char_indices());
            rest = loop {
                match letters.next() {
                    Some((at, '"')) => break &after[at + 1..],
                    Some((_, '\\')) => match letters.next() {
                        Some((_, '\\')) => value.push('\\'),
                        Some((_, '"')) => value.push('"'),
                        Some((_, 'n')) => value.push('\n'),
                        _ => return wrong("no such escape"),
                    },
                    Some((_, letter)) => value.push(letter),
                    None => return wrong("a label's value does not end"),
                }
            };
            if labels.insert(label.to_owned(), value).is_some() {
                return wrong("a label twice");
            }
            match (rest.strip_prefix(','), rest.strip_prefix('}')) {
                (Some(more), _) => rest = more,
                (_, Some(over)) => {
                    rest = over;
                    break;
                }
                _ => return wrong("neither another label nor the end"),
            }
        }
    }
    let value = rest.strip_prefix(' ').ok_or(format!("no value: {line:?}"))?;
    let number = match value {
        "NaN" => f64::NAN,
        "+Inf" => f64::INFINITY,
        "-Inf" => f64::NEG_INFINITY,
        _ => value
            .parse()
            .ok()
            .filter(|number: &f64| number.is_finite())
            .ok_or(format!("no number: {line:?}"))?,
    };
    Ok((name.to_owned(), labels, number))
}

/// The samples of a whole page of metrics, each family with its kind.
fn metrics(text: &str) -> Vec<(String, Sample)> {
    assert!(text.ends_with('\n') && !text.contains('\r'), "every line ends");
    let (mut families, mut found) = (Vec::<(String, String)>::new(), Vec::<(String, Sample)>::new());
    let mut helped: Option<&str> = None;
    for line in text.lines() {
        if let Some(rest) = line.strip_prefix("# HELP ") {
            let (name, says) = rest.split_once(' ').expect("help says something");
            assert!(is_name(name) && !says.is_empty() && !says.contains('\\'), "{line}");
            helped = Some(name);
        } else if let Some(rest) = line.strip_prefix("# TYPE ") {
            let (name, kind) = rest.split_once(' ').unwrap();
            assert_eq!(helped, Some(name), "help stands before the kind: {line}");
            assert!(["counter", "gauge"].contains(&kind), "{line}");
            assert_eq!(kind == "counter", name.ends_with("_total"), "{line}");
            assert!(families.iter().all(|(known, _)| known != name), "{name} twice");
            families.push((name.to_owned(), kind.to_owned()));
        } else {
            let one = sample(line).unwrap_or_else(|why| panic!("{why}"));
            // All of a family stand together, after its kind.
            let (family, kind) = families.last().expect("a kind stands before the first sample");
            assert_eq!(&one.0, family, "{line}");
            assert!(found.iter().all(|(_, known)| (&known.0, &known.1) != (&one.0, &one.1)), "{line} twice");
            found.push((kind.clone(), one));
        }
    }
    found
}

#[test]
fn what_is_no_metrics_is_told_from_metrics() {
    assert_eq!(sample("a{b=\"c\\\"\\\\\\n\"} 1").unwrap().1["b"], "c\"\\\n");
    for line in [
        "a",
        "a{} 1",
        "1a 1",
        "a{b=\"c} 1",
        "a{b=\"c\"d\"} 1",
        "a{b=\"\\t\"} 1",
        "a{b=\"c\",b=\"d\"} 1",
        "a{b=\"c\"}1",
        "a inf",
        "a much",
        "a{b-c=\"d\"} 1",
    ] {
        assert!(sample(line).is_err(), "{line}");
    }
}

#[test]
fn metrics_are_in_their_text_form_whatever_presses_are_called_and_count_what_is_stored() {
    let console = Console::with_strokes();
    let name = "P\"3\" \\ left\nor right,}= 1 \u{4e2d}";
    let name = format!("{name}\\n");
    {
        let mut status = console.app.feeds[0].lock().unwrap();
        (status.press, status.state, status.peak_kn) = (name.clone(), FeedState::Away, f64::INFINITY);
    }
    let answer = console.viewer().get("/metrics");
    assert_eq!(answer.header("content-type"), "text/plain; version=0.0.4; charset=utf-8");
    let found = metrics(&answer.text());
    let of = |wanted: &str| {
        found.iter().map(|(_, one)| one).filter(|one| one.0 == wanted).cloned().collect::<Vec<Sample>>()
    };
    // The fixture's second feed is the one that is served.
    let run = console.strokes().last().unwrap().run;
    for (label, verdict) in [("pass", "pass"), ("note", "note"), ("hold", "hold"), ("trip", "trip")] {
        let counted = of("bolster_strokes_total");
        let one = counted.iter().find(|one| one.1["verdict"] == label).expect("every verdict is counted");
        assert_eq!(one.1["press"], name);
        let stored = console.strokes().iter().filter(|row| row.run == run && row.verdict == verdict).count();
        assert_eq!(one.2, stored as f64, "{label}");
    }
    assert_eq!(of("bolster_feed_up")[0].2, 0.0);
    assert_eq!(of("bolster_peak_kn")[0].2, f64::INFINITY);
    assert_eq!(of("bolster_database_bytes")[0].2, console.store.used_bytes().unwrap() as f64);
    assert_eq!(of("bolster_followers")[0].2, 0.0);
}
