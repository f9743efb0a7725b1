//! Wear and strokes left: what the page and the JSON tell of stored strokes whose wear is known.

use std::sync::Arc;

use bolster::console::store::{NewStroke, Store};
use bolster::session::ColumnOutcome;
use bolster::wear::WearReading;
use serde_json::Value;

use crate::client::escaped;
use crate::server::{Console, DIE, PRESS, press_card, stroke};

/// Work gained by dulling edges in a thousand strokes, per cent of the reference's.
const WEAR: f64 = 6.0;
const PER_COIL: u64 = 12;
/// Coils before edges are sharpened, and all of them.
const SHARPENED: u64 = 30;
const COILS: u64 = 80;

/// Numbers between -1 and 1 that look random, the same each time (a linear congruential generator, Knuth's MMIX constants,
/// from memory).
struct Scatter(u64);

impl Scatter {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// A run of strokes on coils that differ, edges dulling all the way, sharpened once.
fn worn(run: i64, coils: u64) -> Vec<NewStroke> {
    let mut scatter = Scatter(20);
    let mut made = Vec::new();
    let mut load_percent = 0.0;
    for n in 0..coils * PER_COIL {
        let coil = n / PER_COIL;
        if n % PER_COIL == 0 {
            load_percent = 2.0 * scatter.next();
        }
        let since = if coil < SHARPENED { n } else { n - SHARPENED * PER_COIL };
        let gained = WEAR * since as f64 / 1000.0;
        let mut one = stroke(PRESS, n + 1, 1000.0 * (1.0 + load_percent / 100.0) + scatter.next());
        one.run = run;
        one.die = Some(DIE.into());
        one.outcome.coil = coil + 1;
        one.outcome.wear = Some(WearReading {
            load_percent: load_percent + 0.02 * scatter.next(),
            work_percent: load_percent + gained + 0.1 * scatter.next(),
            return_percent: 0.3 * gained + 0.1 * scatter.next(),
            lean_percent: None,
            windows: None,
        });
        let share = one.outcome.peak_kn / 4.0;
        one.outcome.columns = press_card()
            .spec
            .columns
            .names()
            .iter()
            .map(|name| ColumnOutcome { name, peak_kn: share, reverse_kn: 0.5 })
            .collect();
        made.push(one);
    }
    made
}

fn console_with(strokes: impl Fn(i64) -> Vec<NewStroke>) -> Console {
    let folder = tempfile::tempdir().unwrap();
    let store = Arc::new(Store::open(folder.path()).unwrap());
    store.put_press(&press_card()).unwrap();
    let run = store.begin_run(PRESS, "numbers made for a test").unwrap();
    store.add_strokes(&strokes(run)).unwrap();
    Console::serve(folder, store, Vec::new())
}

fn quantity<'a>(wear: &'a Value, name: &str) -> &'a Value {
    let all = wear["trend"]["quantities"].as_array().unwrap();
    all.iter().find(|one| one["quantity"] == name).unwrap_or_else(|| panic!("{name} expected in {wear}"))
}

/// The page's row of a quantity.
fn row(page: &str, name: &str) -> String {
    let from = page.split(&format!("data-quantity=\"{name}\"")).nth(1).expect("a row of that quantity");
    from.split("</tr>").next().unwrap().to_owned()
}

#[test]
fn known_wear_is_told_with_its_regrind_and_the_strokes_left() {
    let console = console_with(|run| worn(run, COILS));
    let client = console.viewer();
    let of = format!("press={PRESS}&die={}&quantity=wear-work&limit=12&unit=kn", escaped(DIE));
    let wear = client.get(&format!("/api/wear/{PRESS}?{of}")).json();
    let work = quantity(&wear, "wear-work");
    let slope = &work["per_1000_strokes"];
    assert!(
        slope["low"].as_f64().unwrap() <= WEAR && WEAR <= slope["high"].as_f64().unwrap(),
        "{WEAR} is not in {slope}"
    );
    // What was gained since the regrind, and what is left of 12 % at that pace.
    let gained = WEAR * ((COILS - SHARPENED) * PER_COIL) as f64 / 1000.0;
    let truth = (12.0 - gained) / WEAR * 1000.0;
    let left = &work["strokes_left"];
    assert!(
        left["least"].as_f64().unwrap() <= truth && truth <= left["most"].as_f64().unwrap(),
        "{truth} is not in {left}"
    );
    let changes = wear["trend"]["changes"].as_array().unwrap();
    assert_eq!(changes.len(), 1, "{changes:?}");
    assert_eq!(
        (&changes[0]["kind"], &changes[0]["stroke"]),
        (&"regrind".into(), &(SHARPENED * PER_COIL + 1).into())
    );
    let id = wear["change_ids"][0].as_i64().unwrap();
    assert_eq!(console.store.stroke(id).unwrap().0.stroke as u64, SHARPENED * PER_COIL + 1);

    let page = client.get(&format!("/wear?{of}"));
    assert_eq!(page.status, 200);
    let text = page.text();
    let likely = left["likely"].as_f64().unwrap().round() as u64;
    assert!((1000..10_000).contains(&likely), "{likely}");
    let likely = format!("{},{:03}", likely / 1000, likely % 1000);
    assert!(
        text.contains(&format!(
            "About {likely} strokes left</strong> before work at the reference's load meets"
        )),
        "{text}"
    );
    assert!(text.contains(&format!("<strong>regrind</strong> at <a href=\"/stroke/{id}\">")), "{text}");
    assert!(text.contains("an estimate, no promise") && text.contains("replaces no guard"));
    let row = row(&text, "wear-work");
    for words in ["▲ rises", &format!("about {likely} ("), ">12.0<"] {
        assert!(row.contains(words), "{words:?} expected in {row}");
    }
    // The picture that the page shows is this quantity's, with its limit and its regrind.
    let picture =
        text.split("src=\"").find(|rest| rest.contains("trend.svg")).unwrap().split('"').next().unwrap();
    let svg = client.get(&picture.replace("&amp;", "&"));
    assert_eq!((svg.status, svg.header("content-type")), (200, "image/svg+xml"));
    for words in ["regrind at 361", "limit 12", "strokes left before the limit", "Work at the reference"] {
        assert!(svg.text().contains(words), "{words:?} expected in {}", svg.text());
    }
}

#[test]
fn a_limit_means_the_same_in_every_unit_and_the_cards_own_count_where_none_is_asked_for() {
    let console = console_with(|run| worn(run, COILS));
    let client = console.viewer();
    let wear = client.get(&format!("/api/wear/{PRESS}")).json();
    assert_eq!(wear["die"], DIE, "the die of the newest stroke");
    assert_eq!(quantity(&wear, "peak")["limit"], 2000.0, "the press's rating");
    // 1,000 US tonf; a short ton-force is 8.896443230521 kN (32.174049 ft/s² and 0.45359237 kg, both exact by definition).
    let asked = client.get(&format!("/api/wear/{PRESS}?quantity=peak&limit=1000&unit=tonf")).json();
    let limit = quantity(&asked, "peak")["limit"].as_f64().unwrap();
    assert!((limit - 8_896.443_230_521).abs() < 1e-6, "{limit}");
    let address = format!("/wear?press={PRESS}&quantity=peak&limit=1000&unit=tonf");
    let text = client.get(&address).text();
    assert!(text.contains("name=\"limit\"") && text.contains("value=\"8896.4432\""), "{text}");
    assert!(row(&text, "peak").contains(">8896<"), "{}", row(&text, "peak"));
    client.get("/prefer?unit=tonf&back=%2F");
    let text = client.get(&address).text();
    assert!(text.contains("value=\"1000\"") && text.contains("Peak load, US tonf"), "{text}");
}

#[test]
fn too_few_strokes_are_said_to_be_too_few_and_none_to_be_none() {
    let console = console_with(|run| worn(run, 3));
    let text = console.viewer().get("/wear").text();
    assert!(
        text.contains("Too few strokes to tell wear.") && text.contains("A trend takes 8 coils"),
        "{text}"
    );
    assert!(text.contains("3 coils as marked"), "{text}");
    let wear = console.viewer().get(&format!("/api/wear/{PRESS}")).json();
    assert_eq!(quantity(&wear, "wear-work")["state"], "not-enough");
    let svg = console.viewer().get(&format!("/wear/{PRESS}/trend.svg"));
    assert_eq!(svg.status, 200, "{}", svg.text());

    let console = console_with(|_| Vec::new());
    let client = console.viewer();
    client.get("/wear").says(200, "No stroke is stored: nothing can be told.");
    let wear = client.get(&format!("/api/wear/{PRESS}"));
    assert_eq!((wear.status, &wear.json()["last_id"]), (200, &Value::Null), "{}", wear.text());
    client.get(&format!("/wear/{PRESS}/trend.svg")).says(404, "no strokes are stored");
    client.get(&format!("/health?press={PRESS}")).says(200, "The latest 0 strokes stored");
}

#[test]
fn what_is_not_there_is_refused_and_a_form_sent_with_another_die_shows_what_there_is() {
    let console = console_with(|run| worn(run, 10));
    let client = console.viewer();
    for (path, status) in [
        ("/api/wear/Q9", 404),
        ("/api/wear/P3?die=none", 404),
        ("/api/wear/P3?quantity=mood", 404),
        ("/api/wear/P3?limit=much", 400),
        ("/api/wear/P3?limit=inf", 400),
        ("/wear?press=Q9", 404),
        ("/wear?press=P3&limit=much", 400),
        ("/wear/P3/trend.svg?quantity=mood", 404),
    ] {
        assert_eq!(client.get(path).status, status, "{path}");
    }
    // The die and the quantity that another press had.
    client.get("/wear?press=P3&die=none&quantity=mood&limit=3&unit=kn").says(200, "120 strokes stored");
    // No stroke was made without a die.
    client.get("/wear?press=P3&die=").says(200, "120 strokes stored");
}

#[test]
fn a_press_whose_columns_got_other_names_begins_its_history_anew() {
    let console = console_with(|run| {
        let mut strokes = worn(run, 10);
        let names = bolster_core::press::Columns::LeftRight.names();
        for one in strokes.iter_mut().take(30) {
            one.outcome.columns =
                names.iter().map(|name| ColumnOutcome { name, peak_kn: 500.0, reverse_kn: 0.5 }).collect();
        }
        strokes
    });
    let wear = console.viewer().get(&format!("/api/wear/{PRESS}")).json();
    assert_eq!((&wear["trend"]["strokes"], &wear["first_id"]), (&90.into(), &31.into()));
    console
        .viewer()
        .get("/wear")
        .says(200, "Before them 30 were made while the press's columns had other names");
}

#[test]
fn what_a_faulty_gauge_reads_is_not_counted_as_load_of_the_press() {
    let console = console_with(|run| {
        let mut strokes = worn(run, 2);
        for one in strokes.iter_mut().take(3) {
            // A broken wire reads the end of the range: far more than the press can give.
            one.outcome.reasons = vec!["gauge-open"];
            one.outcome.verdict = "trip";
            one.outcome.peak_kn = 9000.0;
        }
        strokes
    });
    let text = console.viewer().get(&format!("/health?press={PRESS}")).text();
    assert!(text.contains("The latest 24 strokes stored"), "{text}");
    assert!(text.contains("3 with a faulty gauge are not counted"), "{text}");
    let total = text.split(">Total</th>").nth(1).unwrap().split("</tr>").next().unwrap();
    let counts: Vec<f64> = total
        .split("<td class=\"n\">")
        .skip(1)
        .map(|cell| cell.split('<').next().unwrap().parse().unwrap())
        .collect();
    assert_eq!(counts[..6].iter().sum::<f64>(), 21.0, "{counts:?}");
    assert_eq!(counts[5], 0.0, "none over the rating: {counts:?}");
    // 21 strokes at half the rating, each counting 0.5^5.
    assert!((counts[6] - 21.0 * 0.5_f64.powi(5)).abs() < 0.1, "{counts:?}");
}
