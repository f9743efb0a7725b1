//! Changing limits: who may, what becomes of it, and what the journal says afterwards.

use bolster::card::die::{DieCard, Standing};
use bolster::console::store::{EventFilter, EventRow};

use crate::client::{Answer, Client};
use crate::server::{Console, DIE, DIE_PAGE, ENGINEER, OTHER_ENGINEER};

/// The fields of a draft as the page fills them in, some replaced.
pub fn draft_fields(page: &Answer, other: &[(&str, &str)]) -> Vec<(String, String)> {
    let names = [
        "token",
        "version",
        "unit",
        "peak_low",
        "peak_high",
        "reverse_low",
        "reverse_high",
        "work_low",
        "work_high",
    ];
    let mut fields: Vec<(String, String)> =
        names.iter().map(|name| ((*name).to_owned(), value_of(page, name))).collect();
    fields.push(("reason".to_owned(), "no good stroke came near".to_owned()));
    for (key, value) in other {
        match fields.iter_mut().find(|(known, _)| known == key) {
            Some((_, old)) => *old = (*value).to_owned(),
            None => fields.push(((*key).to_owned(), (*value).to_owned())),
        }
    }
    fields
}

fn value_of(page: &Answer, name: &str) -> String {
    let text = page.text();
    let form = text.split("/draft\"").nth(1).expect("the page has a form for a draft");
    let input = form.split("<input").find(|input| input.contains(&format!("name=\"{name}\""))).unwrap();
    input.split("value=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap_or("").to_owned()
}

pub fn post(client: &Client, what: &str, fields: &[(String, String)]) -> Answer {
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(key, value)| (key.as_str(), value.as_str())).collect();
    client.post(&format!("{DIE_PAGE}/{what}"), &fields)
}

pub fn accept_fields(page: &Answer, reason: &str) -> Vec<(String, String)> {
    let one = |name: &str| (name.to_owned(), page.hidden("/accept\"", name));
    vec![one("token"), one("version"), ("reason".to_owned(), reason.to_owned())]
}

fn newest(console: &Console) -> (bolster::console::store::CardRow, DieCard) {
    let row = console.store.newest_card("P3", DIE).unwrap();
    let card = toml::from_str(&row.toml).unwrap();
    (row, card)
}

fn journalled(console: &Console, kind: &str) -> Vec<EventRow> {
    let filter = EventFilter { kind: Some(kind.to_owned()), ..EventFilter::default() };
    console.store.events(&filter, 100).unwrap()
}

#[test]
fn a_change_is_a_draft_until_it_is_accepted_and_both_are_journalled_with_old_new_and_reason() {
    let console = Console::with_strokes();
    let client = console.engineer();
    let page = client.get(DIE_PAGE);
    page.says(200, "No version is accepted: this die holds no press.");
    let answer = post(&client, "draft", &draft_fields(&page, &[("peak_high", "1200")]));
    assert_eq!((answer.status, answer.header("location")), (303, DIE_PAGE), "{}", answer.text());

    let (row, card) = newest(&console);
    assert_eq!((row.version, row.accepted, row.who.as_str()), (2, false, ENGINEER));
    assert_eq!(card.limits.peak_kn.map(|band| band.ends), Some([355.9, 1200.0]));
    assert_eq!(card.standing(), Standing::Draft);
    let events = journalled(&console, "limits-drafted");
    let event = events.first().expect("a draft is journalled");
    assert_eq!(event.who.as_deref(), Some(ENGINEER));
    assert!(event.old.as_deref().unwrap().contains("1150 kN"), "{event:?}");
    assert!(event.new.as_deref().unwrap().contains("1200 kN"), "{event:?}");
    assert_eq!(event.reason.as_deref(), Some("no good stroke came near"));

    let page = client.get(DIE_PAGE);
    page.says(200, "Draft limits, version 2");
    let answer = post(&client, "accept", &accept_fields(&page, "seen against the strokes stored"));
    assert_eq!(answer.status, 303, "{}", answer.text());
    let (row, card) = newest(&console);
    assert_eq!((row.version, row.accepted), (3, true));
    assert_eq!(card.standing(), Standing::Accepted);
    let acceptance = card.acceptance.as_ref().expect("who accepted is in the card");
    assert_eq!(acceptance.by, ENGINEER);
    let events = journalled(&console, "limits-accepted");
    let event = events.first().expect("an acceptance is journalled");
    assert_eq!(event.old.as_deref(), Some("nothing accepted"));
    assert!(event.new.as_deref().unwrap().contains("1200 kN"), "{event:?}");
    assert_eq!(event.reason.as_deref(), Some("seen against the strokes stored"));
    client.get(DIE_PAGE).says(200, "Version 3 is accepted, by A. Engineer");
}

#[test]
fn a_change_in_other_units_is_stored_in_kn() {
    let console = Console::with_strokes();
    let client = console.engineer();
    client.get("/prefer?unit=tonf&back=/");
    let page = client.get(DIE_PAGE);
    page.says(200, "Peak load, US tonf");
    let answer = post(&client, "draft", &draft_fields(&page, &[("peak_low", "40"), ("peak_high", "130")]));
    assert_eq!(answer.status, 303, "{}", answer.text());
    let band = newest(&console).1.limits.peak_kn.unwrap().ends;
    // One US tonf is 8.896443230521 kN: 2,000 lbf, exact by definition.
    assert!(
        (band[0] - 40.0 * 8.896443230521).abs() < 1e-6 && (band[1] - 130.0 * 8.896443230521).abs() < 1e-6,
        "{band:?}"
    );
}

#[test]
fn a_viewer_sees_everything_and_changes_nothing() {
    let console = Console::with_strokes();
    let engineer = console.engineer();
    let page = engineer.get(DIE_PAGE);
    let viewer = console.viewer();
    let shown = viewer.get(DIE_PAGE);
    shown.says(200, "to change or accept limits");
    assert!(!shown.text().contains("<form method=\"post\""), "no form is offered");
    // Not with the engineer's own form either.
    for (what, fields) in [("draft", draft_fields(&page, &[])), ("accept", accept_fields(&page, "why not"))] {
        post(&viewer, what, &fields).says(403, "Only an engineer may change limits");
        viewer.set_cookie("bolster_session", &"0".repeat(64));
        post(&viewer, what, &fields).says(403, "Only an engineer may change limits");
    }
    assert_eq!(newest(&console).0.version, 1);
    assert!(journalled(&console, "limits-drafted").is_empty());
}

#[test]
fn two_engineers_cannot_overwrite_each_other() {
    let console = Console::with_strokes();
    let (one, other) = (console.engineer(), console.signed_in(OTHER_ENGINEER));
    let (page_one, page_other) = (one.get(DIE_PAGE), other.get(DIE_PAGE));
    assert_eq!(post(&one, "draft", &draft_fields(&page_one, &[("peak_high", "1200")])).status, 303);
    let late = post(&other, "draft", &draft_fields(&page_other, &[("peak_high", "900")]));
    late.says(409, "The card was changed meanwhile");
    assert_eq!(newest(&console).1.limits.peak_kn.map(|band| band.ends[1]), Some(1200.0));
    // Nor accept what they have not seen.
    let late = post(&other, "accept", &accept_fields(&page_other, "looks fine"));
    late.says(409, "The card was changed meanwhile");
    assert!(!newest(&console).0.accepted);
    assert_eq!(journalled(&console, "limits-drafted").len(), 1);
    assert!(journalled(&console, "limits-accepted").is_empty());
}

#[test]
fn of_many_changes_at_once_from_one_version_exactly_one_is_stored() {
    let console = Console::with_strokes();
    let clients: Vec<Client> = (0..6).map(|_| console.engineer()).collect();
    let ready: Vec<_> = clients
        .into_iter()
        .enumerate()
        .map(|(n, client)| {
            let page = client.get(DIE_PAGE);
            let fields = draft_fields(&page, &[("peak_high", &format!("{}", 1200 + n))]);
            (client, fields)
        })
        .collect();
    let threads: Vec<_> = ready
        .into_iter()
        .map(|(client, fields)| std::thread::spawn(move || post(&client, "draft", &fields).status))
        .collect();
    let mut statuses: Vec<u16> = threads.into_iter().map(|thread| thread.join().unwrap()).collect();
    statuses.sort_unstable();
    assert_eq!(statuses, [303, 409, 409, 409, 409, 409]);
    assert_eq!(newest(&console).0.version, 2);
    assert_eq!(journalled(&console, "limits-drafted").len(), 1);
}

#[test]
fn a_form_counts_once_and_in_its_own_session_only() {
    let console = Console::with_strokes();
    let (one, other) = (console.engineer(), console.engineer());
    let page = one.get(DIE_PAGE);
    let fields = draft_fields(&page, &[("peak_high", "1200")]);
    post(&other, "draft", &fields).says(403, "nothing was changed");
    assert_eq!(post(&one, "draft", &fields).status, 303);
    // Sent again, by a double click or somebody who listened; also with the new version in it.
    post(&one, "draft", &fields).says(403, "nothing was changed");
    let mut newer = fields;
    newer.iter_mut().find(|(key, _)| key == "version").unwrap().1 = "2".to_owned();
    post(&one, "draft", &newer).says(403, "nothing was changed");
    assert_eq!(newest(&console).0.version, 2);
}

#[test]
fn a_page_of_another_site_cannot_send_the_engineers_form() {
    let console = Console::with_strokes();
    let client = console.engineer();
    let page = client.get(DIE_PAGE);
    let fields = draft_fields(&page, &[("peak_high", "1200")]);
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(key, value)| (key.as_str(), value.as_str())).collect();
    for origin in ["http://evil.example", "null", "http://127.0.0.1:1", "https://127.0.0.1.evil.example"] {
        let answer = client.post_from(&format!("{DIE_PAGE}/draft"), &fields, origin);
        answer.says(403, "A form of another site is not taken");
    }
    assert_eq!(newest(&console).0.version, 1);
    // Refused at the door: the form is still good for who it was made for.
    assert_eq!(client.post(&format!("{DIE_PAGE}/draft"), &fields).status, 303);
}

#[test]
fn a_mistake_in_a_form_is_named_and_the_form_can_be_sent_again_mended() {
    let console = Console::with_strokes();
    let client = console.engineer();
    let page = client.get(DIE_PAGE);
    for (field, value, says) in [
        ("peak_high", "much", "Peak load: a number from 0 on"),
        ("peak_high", "-5", "Peak load: a number from 0 on"),
        ("peak_high", "NaN", "Peak load: a number from 0 on"),
        ("peak_high", "inf", "Peak load: a number from 0 on"),
        ("peak_high", "1e300", "Peak load: a number from 0 on"),
        ("peak_high", "100", "Peak load: the lowest value lies above the highest"),
        ("peak_high", "", "Peak load: give the highest value too"),
        ("reason", "  ", "Say why"),
        ("reason", "two\nlines", "Say why"),
        ("unit", "stone", "Unit"),
    ] {
        let answer = post(&client, "draft", &draft_fields(&page, &[(field, value)]));
        answer.says(400, says);
        assert_eq!(newest(&console).0.version, 1, "{field} {value}");
    }
    assert_eq!(post(&client, "draft", &draft_fields(&page, &[("peak_high", "1200")])).status, 303);
}

#[test]
fn an_accepted_version_is_not_accepted_again() {
    let console = Console::with_strokes();
    let client = console.engineer();
    let page = client.get(DIE_PAGE);
    let spare = client.get(DIE_PAGE);
    assert_eq!(post(&client, "accept", &accept_fields(&page, "seen")).status, 303);
    let mut again = accept_fields(&spare, "seen again");
    again.iter_mut().find(|(key, _)| key == "version").unwrap().1 = "2".to_owned();
    post(&client, "accept", &again).says(409, "accepted already");
    assert_eq!(newest(&console).0.version, 2);
}

#[test]
fn an_acceptance_says_what_its_limits_would_have_stopped_of_the_stored_strokes() {
    let console = Console::with_strokes();
    let client = console.engineer();
    // Every stored stroke peaks above 400 kN: these limits stop all of them.
    let strokes = console.strokes();
    assert!(strokes.iter().all(|row| row.peak_kn > 401.0));
    let page = client.get(DIE_PAGE);
    assert_eq!(
        post(&client, "draft", &draft_fields(&page, &[("peak_low", "1"), ("peak_high", "400")])).status,
        303
    );
    let page = client.get(DIE_PAGE);
    assert_eq!(post(&client, "accept", &accept_fields(&page, "a trial")).status, 303);
    let (_, card) = newest(&console);
    let review = card.current_reviews().next().expect("what was seen is in the card");
    assert_eq!((review.strokes, review.stopped), (strokes.len() as u64, strokes.len() as u64));
}
