//! Who may sign in, with which form, and for how long a guess is listened to.

use std::time::{Duration, Instant};

use bolster::console::auth;
use bolster::console::store::Store;

use crate::client::Client;
use crate::killed::Program;
use crate::server::{Console, DIE_PAGE, ENGINEER, OTHER_ENGINEER, PASSWORD};

fn try_in(client: &Client, name: &str, password: &str) -> u16 {
    client.post("/sign-in", &[("name", name), ("password", password)]).status
}

#[test]
fn only_name_and_password_together_sign_in_and_the_journal_says_who() {
    let console = Console::with_strokes();
    let client = console.viewer();
    assert_eq!(try_in(&client, ENGINEER, "wrong horse battery"), 403);
    assert_eq!(try_in(&client, "C. Nobody", PASSWORD), 403);
    assert_eq!(try_in(&client, "", ""), 403);
    assert_eq!(client.cookie("bolster_session"), None);
    assert_eq!(try_in(&client, ENGINEER, PASSWORD), 303);
    assert!(client.get("/dies").text().contains(ENGINEER));
    client.get("/journal?kind=signed-in").says(200, "signed in as engineer");
}

#[test]
fn the_sessions_cookie_is_out_of_reach_of_scripts_and_other_sites() {
    let console = Console::with_strokes();
    let client = console.viewer();
    let answer = client.post("/sign-in", &[("name", ENGINEER), ("password", PASSWORD)]);
    let cookie = answer.header("set-cookie");
    for must in ["HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(must), "{cookie}");
    }
    // 256 random bits as hex digits: nothing to be guessed.
    assert_eq!(client.cookie("bolster_session").unwrap().len(), 64);
    let forwarded = [("content-type", "application/x-www-form-urlencoded"), ("x-forwarded-proto", "https")];
    let body =
        format!("name={}&password={}", crate::client::escaped(ENGINEER), crate::client::escaped(PASSWORD));
    let answer = client.send(hyper::Method::POST, "/sign-in", &forwarded, body.into_bytes());
    assert!(answer.header("set-cookie").contains("Secure"), "{}", answer.header("set-cookie"));
}

#[test]
fn signing_out_ends_the_session_and_needs_its_own_form() {
    let console = Console::with_strokes();
    let client = console.engineer();
    let secret = client.cookie("bolster_session").unwrap();
    assert_eq!(client.post("/sign-out", &[("token", "0")]).status, 403);
    let token = client.get("/sign-in").hidden("/sign-out", "token");
    assert_eq!(client.post("/sign-out", &[("token", &token)]).status, 303);
    // The secret of a session that has ended opens nothing, whoever kept it.
    client.set_cookie("bolster_session", &secret);
    assert!(!client.get("/dies").text().contains(ENGINEER));
}

/// As [`try_in`], from an address that a reverse proxy says it asks for.
fn try_from(client: &Client, from: &str, password: &str) -> crate::client::Answer {
    let headers = [("content-type", "application/x-www-form-urlencoded"), ("x-forwarded-for", from)];
    let fields =
        format!("name={}&password={}", crate::client::escaped(ENGINEER), crate::client::escaped(password));
    client.send(hyper::Method::POST, "/sign-in", &headers, fields.into_bytes())
}

#[test]
fn a_stranger_who_guesses_locks_himself_out_and_not_the_engineer() {
    let console = Console::with_strokes();
    let client = console.viewer();
    for _ in 0..10 {
        assert_eq!(try_from(&client, "192.0.2.1", "guess after guess").status, 403);
    }
    try_from(&client, "192.0.2.1", PASSWORD)
        .says(429, "Too many wrong passwords for this name from your address");
    // What stands before the proxy's own word anybody may have written.
    assert_eq!(try_from(&client, "192.0.2.2, 192.0.2.1", PASSWORD).status, 429);
    assert_eq!(try_from(&client, "192.0.2.2", PASSWORD).status, 303);
}

#[test]
fn a_proxy_that_was_not_named_is_not_believed_and_takes_nothing_from_the_machine_itself() {
    let folder = tempfile::tempdir().unwrap();
    Store::open(folder.path()).unwrap().put_engineer(ENGINEER, &auth::hash(PASSWORD).unwrap()).unwrap();
    let program = Program::start(folder.path(), &[]);
    let address = program.address(Instant::now() + Duration::from_secs(30)).expect("it listens");
    let client = Client::new(address);
    for n in 0..10 {
        assert_eq!(try_from(&client, &format!("192.0.2.{n}"), "guess after guess").status, 403);
    }
    try_from(&client, "192.0.2.77", PASSWORD)
        .says(429, "Too many wrong passwords for this name from your address");
    assert_eq!(try_in(&client, ENGINEER, PASSWORD), 303, "at the machine itself");
    drop(program);
    // Named, its word counts.
    let program = Program::start(folder.path(), &["--proxy", "127.0.0.1"]);
    let address = program.address(Instant::now() + Duration::from_secs(30)).expect("it listens");
    let client = Client::new(address);
    for _ in 0..10 {
        assert_eq!(try_from(&client, "192.0.2.1", "guess after guess").status, 403);
    }
    assert_eq!(try_from(&client, "192.0.2.1", PASSWORD).status, 429);
    assert_eq!(try_from(&client, "192.0.2.2", PASSWORD).status, 303);
}

#[test]
fn a_stranger_with_many_addresses_guesses_slowly_and_known_places_stay_open() {
    let console = Console::with_strokes();
    let client = console.viewer();
    assert_eq!(try_from(&client, "198.51.100.1", PASSWORD).status, 303);
    let tried =
        (0..60).filter(|n| try_from(&client, &format!("192.0.2.{n}"), "guess after guess").status == 403);
    // Twenty at once, one a minute after that; a slow test machine may take a few minutes for these.
    let tried = tried.count();
    assert!((20..=25).contains(&tried), "{tried} guesses were tried");
    try_from(&client, "203.0.113.5", PASSWORD).says(429, "Somebody is guessing this name's password");
    assert_eq!(
        try_from(&client, "198.51.100.1", PASSWORD).status,
        303,
        "where the engineer signed in before"
    );
    assert_eq!(try_in(&client, ENGINEER, PASSWORD), 303, "at the machine itself");
    let told = client.get("/journal?kind=guesses-stopped").text();
    assert_eq!(told.matches("too many passwords for").count(), 1, "{told}");
}

#[test]
fn after_ten_wrong_passwords_a_name_is_not_tried_for_a_while_and_other_names_are() {
    let console = Console::with_strokes();
    let client = console.viewer();
    for _ in 0..10 {
        assert_eq!(try_in(&client, ENGINEER, "guess after guess"), 403);
    }
    assert_eq!(try_in(&client, ENGINEER, "guess after guess"), 429);
    assert_eq!(try_in(&client, ENGINEER, PASSWORD), 429, "not even the right one");
    assert_eq!(try_in(&client, OTHER_ENGINEER, PASSWORD), 303);
    // Who looks after the console can see that somebody tried.
    client.get("/journal?kind=guesses-stopped").says(200, ENGINEER);
}

#[test]
fn a_restart_signs_everybody_out() {
    let console = Console::with_strokes();
    let secret = console.engineer().cookie("bolster_session").unwrap();
    let again = Console::with_strokes();
    let client = again.viewer();
    client.set_cookie("bolster_session", &secret);
    assert!(client.get(DIE_PAGE).text().contains("to change or accept limits"));
}
