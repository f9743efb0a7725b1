//! The JSON interface against its own OpenAPI document, and the metrics against their form.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::client::{Answer, escaped};
use crate::schema::wrong;
use crate::server::{Console, DIE};

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
        other => panic!("this test knows no value of the parameter {other}; give it one"),
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

#[test]
fn every_address_under_api_is_in_the_document() {
    let console = Console::with_strokes();
    let document = document(&console);
    let routes = include_str!("../../src/console/app.rs");
    let served: BTreeSet<&str> =
        routes.split('"').filter(|text| text.starts_with("/api/") && !text.contains('\n')).collect();
    let described: BTreeSet<&str> = document["paths"]
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .filter(|path| path.starts_with("/api/"))
        .collect();
    assert_eq!(served, described);
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

#[test]
fn metrics_are_in_their_text_form_and_count_what_is_stored() {
    let console = Console::with_strokes();
    let answer = console.viewer().get("/metrics");
    assert!(answer.header("content-type").starts_with("text/plain; version=0.0.4"));
    let text = answer.text();
    let mut typed = BTreeSet::new();
    for line in text.lines() {
        if let Some(rest) = line.strip_prefix("# TYPE ") {
            let (name, kind) = rest.split_once(' ').unwrap();
            assert!(["counter", "gauge"].contains(&kind), "{line}");
            typed.insert(name.to_owned());
        } else if !line.starts_with('#') {
            let (series, value) = line.rsplit_once(' ').expect("a sample is a series and a value");
            let name = series.split('{').next().unwrap();
            assert!(typed.contains(name), "{name} has no type before it");
            assert!(value.parse::<f64>().is_ok(), "{line}");
        }
    }
    let sum: f64 = text
        .lines()
        .filter(|line| line.starts_with("bolster_strokes_total{"))
        .map(|line| line.rsplit_once(' ').unwrap().1.parse::<f64>().unwrap())
        .sum();
    // The fixture's second feed is the one that is served.
    let run = console.strokes().last().unwrap().run;
    assert_eq!(sum as usize, console.strokes().iter().filter(|row| row.run == run).count());
}
