//! Every page there is answers, leads nowhere outside, and carries no script or style within.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use bolster::recording::{Reader, Row};

use crate::client::{Answer, Client};
use crate::server::{Console, DIE_PAGE};

/// Pages of one kind that are looked at; more differ in numbers only.
const OF_A_KIND: usize = 4;

/// Values of an attribute in a page, with its character references turned back.
pub fn attributes(text: &str, name: &str) -> Vec<String> {
    let wanted = format!(" {name}=\"");
    let parts = text.split(&wanted).skip(1);
    let value =
        |part: &str| part.split('"').next().unwrap_or("").replace("&amp;", "&").replace("&quot;", "\"");
    parts.map(value).collect()
}

/// An address without its numbers: pages of one kind have the same.
fn kind(path: &str) -> String {
    let path = path.split(['?', '#']).next().unwrap_or("");
    let part = |part: &str| {
        if !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit()) {
            "N".to_owned()
        } else {
            part.to_owned()
        }
    };
    path.split('/').map(part).collect::<Vec<_>>().join("/")
}

/// Every address a visitor can come to by links, pictures and scripts from the first page on.
pub fn crawl(client: &Client) -> BTreeMap<String, Answer> {
    let mut seen = BTreeSet::new();
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    let mut next = VecDeque::from(["/".to_owned()]);
    let mut found = BTreeMap::new();
    while let Some(path) = next.pop_front() {
        // A query may change what is seen: it counts as a kind of its own.
        let of = kinds.entry(format!("{} {}", kind(&path), path.contains('?'))).or_default();
        if !seen.insert(path.clone()) || *of >= OF_A_KIND || path.starts_with("/prefer?") {
            continue;
        }
        *of += 1;
        let answer = client.get(&path);
        if answer.header("content-type").starts_with("text/html") {
            let text = answer.text();
            for link in attributes(&text, "href").into_iter().chain(attributes(&text, "src")) {
                if link.starts_with('#') {
                    continue;
                }
                assert!(link.starts_with('/') && !link.starts_with("//"), "{path} leads outside: {link}");
                next.push_back(link.split('#').next().unwrap_or("").to_owned());
            }
        }
        found.insert(path, answer);
    }
    found
}

/// What every page must and must not have.
fn is_sound(path: &str, answer: &Answer) {
    let text = answer.text();
    for must in [
        "<!DOCTYPE html>",
        "<html lang=\"en\"",
        "<main id=\"main\"",
        "<h1",
        "replaces no guard",
        "name=\"viewport\"",
    ] {
        assert!(text.contains(must), "{path}: {must} is missing:\n{text}");
    }
    assert_eq!(text.matches("<h1").count(), 1, "{path}: one heading of the first order");
    let lower = text.to_lowercase();
    for script in lower.split("<script").skip(1) {
        assert!(script.trim_start().starts_with("src=\"/assets/"), "{path}: a script within the page");
    }
    for must_not in
        [" style=\"", "<style", "javascript:", " onclick=", " onload=", " onerror=", "http://", "https://"]
    {
        // Names of namespaces are addresses that nobody goes to.
        let lower = lower.replace("http://www.w3.org/", "");
        assert!(!lower.contains(must_not), "{path}: {must_not} within the page");
    }
    let ids = attributes(&text, "id");
    let distinct: BTreeSet<&String> = ids.iter().collect();
    assert_eq!(ids.len(), distinct.len(), "{path}: an id is given twice: {ids:?}");
}

/// A report is a document of its own, style and pictures within: no script at all may run in it.
fn is_sound_report(path: &str, answer: &Answer) {
    let text = answer.text();
    let lower = text.to_lowercase();
    for must in ["<!doctype html>", "<html lang=\"en\"", "<h1", "replaces no guard"] {
        assert!(lower.contains(must), "{path}: {must} is missing:\n{text}");
    }
    for must_not in ["<script", " src=", "javascript:", " onload=", " onerror=", "url("] {
        assert!(!lower.contains(must_not), "{path}: {must_not} within a report");
    }
    let policy = answer.header("content-security-policy");
    assert!(policy.starts_with("default-src 'none'; ") && !policy.contains("script-src"), "{path}: {policy}");
}

fn has_safe_headers(path: &str, answer: &Answer) {
    let policy = if path.starts_with("/report/") {
        "default-src 'none'; style-src 'unsafe-inline'"
    } else {
        "default-src 'none'; script-src 'self'; style-src 'self'"
    };
    for (name, wanted) in [
        ("content-security-policy", policy),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
    ] {
        assert!(answer.header(name).starts_with(wanted), "{path}: {name}: {}", answer.header(name));
    }
}

#[test]
fn every_page_that_can_be_come_to_answers_is_whole_and_leads_nowhere_outside() {
    let console = Console::with_strokes();
    for client in [console.viewer(), console.engineer()] {
        let found = crawl(&client);
        for (path, answer) in &found {
            assert_eq!(answer.status, 200, "{path}: {}", answer.text());
            assert!(!answer.bytes.is_empty(), "{path} is empty");
            has_safe_headers(path, answer);
            if path.starts_with("/report/") {
                is_sound_report(path, answer);
            } else if answer.header("content-type").starts_with("text/html") {
                is_sound(path, answer);
            }
        }
        for page in [
            "/",
            "/press/P3",
            "/strokes",
            "/strokes.csv?",
            "/dies",
            DIE_PAGE,
            "/wear",
            "/journal",
            "/about",
            "/sign-in",
            "/metrics",
        ] {
            assert!(found.contains_key(page), "no way leads to {page}: {:?}", found.keys());
        }
        for report in ["/report/shift/", "/report/die/", "/report/stroke/"] {
            assert!(
                found.keys().any(|path| path.starts_with(report)),
                "no way leads to {report}: {:?}",
                found.keys()
            );
        }
        assert!(found.keys().any(|path| path.ends_with("/signature.svg")));
        assert!(found.keys().any(|path| path.ends_with("/recording.csv")));
    }
}

#[test]
fn every_page_answers_in_a_console_that_has_seen_nothing() {
    let console = Console::empty();
    for (path, answer) in crawl(&console.viewer()) {
        assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    }
}

#[test]
fn what_is_not_there_is_said_as_a_page_with_the_ways_on() {
    let console = Console::with_strokes();
    let client = console.viewer();
    let newest = console.strokes().last().unwrap().id;
    for path in [
        "/nothing".to_owned(),
        "/press/Q9".to_owned(),
        format!("/stroke/{}", newest + 1),
        format!("/stroke/{newest}/mood.svg"),
        "/die/P3/none".to_owned(),
        "/wear/P3/none.svg".to_owned(),
    ] {
        let answer = client.get(&path);
        answer.says(404, "There is no such");
        is_sound(&path, &answer);
        has_safe_headers(&path, &answer);
    }
    for path in [
        "/stroke/first",
        "/stroke/99999999999999999999",
        "/strokes?before=x",
        "/strokes?verdict=fine",
        "/journal?from=yesterday",
    ] {
        let answer = client.get(path);
        assert_eq!(answer.status, 400, "{path}");
        is_sound(path, &answer);
        has_safe_headers(path, &answer);
    }
    let answer = client.post("/strokes", &[]);
    assert_eq!(answer.status, 405);
    is_sound("POST /strokes", &answer);
}

#[test]
fn units_and_light_or_dark_are_kept_and_lead_back_into_the_console_only() {
    let console = Console::with_strokes();
    let client = console.viewer();
    let kn = client.get("/press/P3").text();
    assert!(kn.contains(">kN<"));
    let answer = client.get("/prefer?unit=tonf&back=%2Fpress%2FP3");
    assert_eq!((answer.status, answer.header("location")), (303, "/press/P3"));
    let tonf = client.get("/press/P3").text();
    assert!(tonf.contains("US tonf</span>"), "{tonf}");
    // 2,000 kN over 8.896443230521 kN a short ton-force (32.174049 ft/s² and 0.45359237 kg, both exact by definition).
    assert!(tonf.contains("225 US tonf") || tonf.contains("224.8 US tonf"), "{tonf}");
    client.get("/prefer?theme=dark&back=%2F");
    assert!(client.get("/").text().contains("data-theme=\"dark\""));
    // A page that refuses keeps to it as well.
    assert!(client.get("/nothing").text().contains("data-theme=\"dark\""));
    for back in [
        "//evil.example",
        "https://evil.example",
        "%2F%5Cevil.example",
        "%2F%09%2Fevil.example",
        "/a%0d%0aSet-Cookie:%20x=1",
    ] {
        let answer = client.get(&format!("/prefer?unit=kn&back={back}"));
        assert_eq!((answer.status, answer.header("location")), (303, "/"), "{back}");
    }
}

#[test]
fn a_stroke_page_says_what_replay_found_in_the_same_stroke() {
    let console = Console::with_strokes();
    let held = console.held();
    let (row, outcome) = console.store.stroke(held).unwrap();
    let outcome: serde_json::Value = serde_json::from_str(&outcome).unwrap();
    let page = console.viewer().get(&format!("/stroke/{held}")).text();
    assert!(page.contains(&format!("Stroke {} of press P3", row.stroke)));
    let findings = outcome["findings"].as_array().unwrap();
    assert!(!findings.is_empty());
    for finding in findings {
        for key in ["reason", "says"] {
            let words = finding[key].as_str().unwrap();
            assert!(page.contains(words), "{words} expected in {page}");
        }
    }
    assert!(
        page.contains(&format!("{:.1} kN", row.peak_kn)) || page.contains(&format!("{:.0} kN", row.peak_kn))
    );
}

#[test]
fn a_kept_stroke_given_back_as_a_recording_holds_its_readings_bit_for_bit() {
    let console = Console::with_strokes();
    let held = console.held();
    let answer = console.viewer().get(&format!("/stroke/{held}/recording.csv"));
    assert_eq!(answer.status, 200);
    let path = console.folder.join("back.csv");
    std::fs::write(&path, &answer.bytes).unwrap();
    let mut reader = Reader::open(&path).unwrap();
    let mut rows = Vec::new();
    let mut row = Row::default();
    while reader.next(&mut row).unwrap() {
        rows.push(Row { line: 0, ..row });
    }
    let (stored, _) = console.store.stroke(held).unwrap();
    let kept = console.store.readings(held).unwrap().expect("a held stroke's readings are kept");
    let kept = kept.rows(stored.stroke as u64, stored.coil as u64);
    assert!(rows.len() > 100, "{} rows", rows.len());
    // Texts, because what is missing is NaN on both sides.
    assert_eq!(format!("{rows:?}"), format!("{kept:?}"));
}
