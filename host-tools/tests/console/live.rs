//! Strokes as they come: in order, each once, whatever happens to the connection.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rand::RngExt as _;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;

use crate::client::Follower;
use crate::server::{Console, stroke};

const PATIENCE: Duration = Duration::from_secs(20);
const SEED: u64 = 20_261_125;

#[test]
fn a_page_gets_every_stroke_after_the_one_it_has_and_no_other() {
    let console = Console::with_strokes();
    let ids: Vec<i64> = console.strokes().iter().map(|row| row.id).collect();
    let from = ids[ids.len() / 2];
    let mut page = Follower::new(console.address, &format!("/live?after={from}"), None).unwrap();
    let event = page.next(PATIENCE).expect("the strokes it has not");
    assert_eq!(event.strokes(), ids.iter().copied().filter(|id| *id > from).collect::<Vec<_>>());
    assert_eq!(event.id, *ids.last().unwrap());
    // A page that has all of them gets the next ones only.
    console.store.add_strokes(&[stroke("P3", 900, 500.0), stroke("P3", 901, 501.0)]).unwrap();
    let last = ids.last().unwrap();
    assert_eq!(page.next(PATIENCE).expect("the new ones").strokes(), [last + 1, last + 2]);
}

#[test]
fn an_event_brings_the_figures_and_the_reasons_in_words() {
    let console = Console::with_strokes();
    let held = console.held();
    let mut page = Follower::new(console.address, &format!("/live?after={}", held - 1), None).unwrap();
    let event = page.next(PATIENCE).unwrap();
    let strokes: serde_json::Value = serde_json::from_str(&event.data).unwrap();
    let first = &strokes[0];
    let (row, _) = console.store.stroke(held).unwrap();
    assert_eq!(first["verdict"], row.verdict);
    assert_eq!(first["peak_kn"].as_f64(), Some(row.peak_kn));
    assert!(!first["says"].as_str().unwrap().is_empty());
}

#[test]
fn a_page_of_one_press_gets_that_presss_strokes_only() {
    let console = Console::with_strokes();
    let newest = console.strokes().last().unwrap().id;
    let mut page = Follower::new(console.address, &format!("/live?press=P4&after={newest}"), None).unwrap();
    let list: Vec<_> = (0..20).map(|n| stroke(if n % 5 == 0 { "P4" } else { "P3" }, n, 100.0)).collect();
    console.store.add_strokes(&list).unwrap();
    let got = page.next(PATIENCE).unwrap().strokes();
    assert_eq!(got, [1, 6, 11, 16].map(|n| newest + n));
}

#[test]
fn a_page_is_told_when_its_feed_ends_or_is_judged_by_another_card() {
    let console = Console::with_strokes();
    let page = console.viewer().get("/press/P3").text();
    let stamp =
        page.split("data-feeds=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap().to_owned();
    let mut page = Follower::new(console.address, &format!("/live?feeds={stamp}"), None).unwrap();
    // Nothing is said while nothing changes.
    assert!(page.next(Duration::from_secs(3)).is_none());
    console.app.feeds[0].lock().unwrap().version = Some(2);
    let event = page.next(PATIENCE).expect("word of the change");
    assert_eq!(event.name, "feeds");
    assert_ne!(event.data, stamp);
    let again = console.viewer().get("/press/P3").text();
    assert!(again.contains(&format!("data-feeds=\"{}\"", event.data)), "the page made anew knows it");
}

#[test]
fn more_strokes_than_one_event_takes_come_in_several() {
    let console = Console::with_strokes();
    let newest = console.strokes().last().unwrap().id;
    let list: Vec<_> = (0..1700).map(|n| stroke("P3", n, 100.0)).collect();
    console.store.add_strokes(&list).unwrap();
    let mut page = Follower::new(console.address, &format!("/live?after={newest}"), None).unwrap();
    let mut got = Vec::new();
    while got.len() < list.len() {
        let event = page.next(PATIENCE).expect("the rest");
        let strokes = event.strokes();
        assert!(strokes.len() <= 500);
        assert_eq!(Some(event.id), strokes.last().copied());
        got.extend(strokes);
    }
    assert_eq!(got, (newest + 1..=newest + 1700).collect::<Vec<_>>());
}

/// Connections broken at random moments; each next one names the last event it had, as a browser does.
#[test]
fn connections_lost_again_and_again_lose_no_stroke_and_bring_none_twice() {
    println!("seed {SEED}");
    let console = Console::with_strokes();
    let newest = console.strokes().last().unwrap().id;
    let (store, over) = (Arc::clone(&console.store), Arc::new(AtomicBool::new(false)));
    let told = Arc::clone(&over);
    let writer = std::thread::spawn(move || {
        let mut random = ChaCha8Rng::seed_from_u64(SEED);
        let mut number = 0;
        for _ in 0..120 {
            let some: Vec<_> =
                (0..random.random_range(1..40)).map(|n| stroke("P3", number + n, 100.0)).collect();
            number += some.len() as u64;
            store.add_strokes(&some).unwrap();
            std::thread::sleep(Duration::from_millis(random.random_range(0..30)));
        }
        told.store(true, Ordering::Release);
        number
    });
    let mut random = ChaCha8Rng::seed_from_u64(SEED + 1);
    let mut got: Vec<i64> = Vec::new();
    let mut connections = 0;
    loop {
        let ended = over.load(Ordering::Acquire);
        let last = got.last().copied();
        // The first connection begins where the page was made; the address of a browser's next ones stays the same.
        let mut page = Follower::new(console.address, &format!("/live?after={newest}"), last).unwrap();
        connections += 1;
        let events = if ended { usize::MAX } else { random.random_range(0..3) };
        for _ in 0..events {
            let patience = if ended { Duration::from_millis(1500) } else { PATIENCE };
            match page.next(patience) {
                Some(event) => got.extend(event.strokes()),
                None => break,
            }
        }
        if ended {
            break;
        }
        std::thread::sleep(Duration::from_millis(random.random_range(0..60)));
    }
    let made = writer.join().unwrap() as i64;
    assert!(connections > 10, "{connections} connections");
    assert_eq!(got, (newest + 1..=newest + made).collect::<Vec<_>>());
}

#[test]
fn pages_that_follow_are_counted_and_bounded_and_leave_room_when_they_go() {
    let console = Console::with_strokes();
    let pages: Vec<Follower> =
        (0..256).map(|_| Follower::new(console.address, "/live", None).unwrap()).collect();
    assert!(pages.iter().all(|page| page.status == 200));
    assert_eq!(console.app.followers.count(), 256);
    assert_eq!(Follower::new(console.address, "/live", None).unwrap().status, 503);
    // Who took them all gives them up to others, the oldest first.
    let mut pages = pages;
    let other = Follower::from(console.address, "/live", None, Some("192.0.2.9")).unwrap();
    assert_eq!((other.status, console.app.followers.count()), (200, 256));
    assert!(pages[0].next(Duration::from_secs(5)).is_none(), "its stream ends");
    console.store.add_strokes(&[stroke("P3", 0, 100.0)]).unwrap();
    assert!(pages[1].next(Duration::from_secs(60)).is_some(), "the others go on");
    drop(other);
    // The rest of the console is as before.
    assert_eq!(console.viewer().get("/strokes").status, 200);
    drop(pages);
    // A page that has gone is noticed when something is sent to it.
    for number in 0..200 {
        console.store.add_strokes(&[stroke("P3", number, 100.0)]).unwrap();
        std::thread::sleep(Duration::from_millis(50));
        if console.app.followers.count() == 0 {
            return;
        }
    }
    panic!("{} pages are still counted", console.app.followers.count());
}
