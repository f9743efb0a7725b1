//! The engineer's role: passwords, sessions, and tokens that make each form good for one use.

use std::collections::{HashMap, VecDeque};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use sha2::{Digest as _, Sha256};

use super::guesses::{Guesses, Wait};
use super::peer::Peer;

/// Longest time a session lasts, and longest without a request.
const LASTS: Duration = Duration::from_secs(12 * 3600);
const IDLE: Duration = Duration::from_secs(1800);
/// Sessions at a time, and forms a session may have open.
const MOST_SESSIONS: usize = 256;
const MOST_FORMS: usize = 64;
/// Shortest password accepted, characters.
pub const SHORTEST_PASSWORD: usize = 10;
/// Longest password accepted, bytes: hashing more would be a way to keep the console busy.
pub const LONGEST_PASSWORD: usize = 1024;

/// Name of the session's cookie.
pub const COOKIE: &str = "bolster_session";

/// Why a password was refused or could not be hashed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum AuthError {
    /// Too short or too long.
    #[error("a password has {SHORTEST_PASSWORD} characters or more and {LONGEST_PASSWORD} bytes at most")]
    Length,
    /// The machine's random numbers or memory.
    #[error("the password could not be hashed; is memory short?")]
    Hash,
    /// Too many wrong ones from there.
    #[error("too many wrong passwords for this name from your address; wait a quarter of an hour")]
    TooMany,
    /// Too many wrong ones from all addresses together.
    #[error(
        "somebody is guessing this name's password, so one a minute is tried; try again in a minute, or sign in on the machine that runs the console or where you signed in before"
    )]
    Slow,
    /// Name or password.
    #[error("name and password do not go together")]
    Wrong,
    /// Name or password, and for a while no more are tried.
    #[error(
        "name and password do not go together; no more are tried for this name from your address, wait a quarter of an hour"
    )]
    LastGuess,
    /// Too many sessions.
    #[error("too many people are signed in")]
    Full,
}

/// Hash of a new password (Argon2id with the crate's usual cost, a random salt), as text.
///
/// # Errors
/// [`AuthError`] for a password too short or too long.
pub fn hash(password: &str) -> Result<String, AuthError> {
    if password.chars().count() < SHORTEST_PASSWORD || password.len() > LONGEST_PASSWORD {
        return Err(AuthError::Length);
    }
    let hash = Argon2::default().hash_password(password.as_bytes()).map_err(|_| AuthError::Hash)?;
    Ok(hash.to_string())
}

fn verify(password: &str, hash: &str) -> bool {
    let Ok(hash) = PasswordHash::new(hash) else { return false };
    Argon2::default().verify_password(password.as_bytes(), &hash).is_ok()
}

/// A random secret of 256 bits as hex digits.
fn secret() -> Result<String, AuthError> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).map_err(|_| AuthError::Hash)?;
    Ok(hex(&bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Secrets are looked up by their hash: how long a look-up takes tells nothing about them.
fn key(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

struct Session {
    name: String,
    began: Instant,
    seen: Instant,
    forms: VecDeque<[u8; 32]>,
}

impl Session {
    fn is_over(&self, now: Instant) -> bool {
        now.duration_since(self.began) > LASTS || now.duration_since(self.seen) > IDLE
    }
}

/// Who is signed in. Kept in memory only: a restart signs everybody out.
#[derive(Default)]
pub struct Sessions {
    open: Mutex<HashMap<[u8; 32], Session>>,
    guesses: Mutex<Guesses>,
}

impl Sessions {
    /// Checks a password that came `from` somewhere against the stored hash; takes as long for a name that is not known. Gives
    /// the new session's secret.
    ///
    /// # Errors
    /// [`AuthError`] for a wrong name or password, after too many wrong ones, or with too many sessions.
    pub fn sign_in(
        &self,
        name: &str,
        password: &str,
        hash: Option<&str>,
        from: Peer,
    ) -> Result<String, AuthError> {
        let now = Instant::now();
        match self.guesses().wait(name, from, now) {
            Some(Wait::Here) => return Err(AuthError::TooMany),
            Some(Wait::Everywhere) => return Err(AuthError::Slow),
            None => {}
        }
        // The hash of no password: something to check names against that do not exist.
        const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";
        let fits = password.len() <= LONGEST_PASSWORD && verify(password, hash.unwrap_or(NOBODY));
        if !fits || hash.is_none() {
            let last = self.guesses().wrong(name, hash.is_some(), from, now);
            return Err(if last { AuthError::LastGuess } else { AuthError::Wrong });
        }
        self.guesses().right(name, from, now);
        let secret = secret()?;
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|_, session| !session.is_over(now));
        if open.len() >= MOST_SESSIONS {
            return Err(AuthError::Full);
        }
        let session = Session { name: name.to_owned(), began: now, seen: now, forms: VecDeque::new() };
        open.insert(key(&secret), session);
        Ok(secret)
    }

    fn guesses(&self) -> MutexGuard<'_, Guesses> {
        self.guesses.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether it is to be journalled now that no more passwords are tried for this person: once a while.
    #[must_use]
    pub fn is_to_be_told(&self, name: &str) -> bool {
        self.guesses().is_to_be_told(name, Instant::now())
    }

    fn with<T>(&self, secret: &str, work: impl FnOnce(&mut Session) -> T) -> Option<T> {
        let now = Instant::now();
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let session = open.get_mut(&key(secret)).filter(|session| !session.is_over(now))?;
        session.seen = now;
        Some(work(session))
    }

    /// Name of the engineer whose session this is.
    #[must_use]
    pub fn name(&self, secret: &str) -> Option<String> {
        self.with(secret, |session| session.name.clone())
    }

    /// A token for a form of this session, good for one use.
    #[must_use]
    pub fn form_token(&self, session: &str) -> Option<String> {
        let token = secret().ok()?;
        self.with(session, |session| {
            if session.forms.len() >= MOST_FORMS {
                session.forms.pop_front();
            }
            session.forms.push_back(key(&token));
        })?;
        Some(token)
    }

    /// Uses a form's token up; false for one that is not this session's or was used before.
    #[must_use]
    pub fn use_token(&self, session: &str, token: &str) -> bool {
        let wanted = key(token);
        self.with(session, |session| {
            let at = session.forms.iter().position(|known| *known == wanted);
            at.and_then(|at| session.forms.remove(at)).is_some()
        })
        .unwrap_or(false)
    }

    /// Ends a session.
    pub fn sign_out(&self, secret: &str) {
        self.open.lock().unwrap_or_else(PoisonError::into_inner).remove(&key(secret));
    }
}

impl std::fmt::Debug for Sessions {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Sessions").finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::super::guesses::MOST_WRONG;
    use super::*;

    fn here() -> Peer {
        Peer::of(std::net::Ipv4Addr::LOCALHOST.into())
    }

    const PASSWORD: &str = "a long enough one";

    #[test]
    fn a_password_opens_a_session_and_a_wrong_one_or_an_unknown_name_does_not() {
        let sessions = Sessions::default();
        let stored = hash(PASSWORD).unwrap();
        assert!(stored.starts_with("$argon2id$"), "{stored}");
        assert_eq!(sessions.sign_in("A", "another password", Some(&stored), here()), Err(AuthError::Wrong));
        assert_eq!(sessions.sign_in("B", PASSWORD, None, here()), Err(AuthError::Wrong));
        let secret = sessions.sign_in("A", PASSWORD, Some(&stored), here()).unwrap();
        assert_eq!(sessions.name(&secret).as_deref(), Some("A"));
        sessions.sign_out(&secret);
        assert_eq!(sessions.name(&secret), None);
    }

    #[test]
    fn a_forms_token_is_good_once_and_only_in_its_session() {
        let sessions = Sessions::default();
        let stored = hash(PASSWORD).unwrap();
        let one = sessions.sign_in("A", PASSWORD, Some(&stored), here()).unwrap();
        let other = sessions.sign_in("A", PASSWORD, Some(&stored), here()).unwrap();
        let token = sessions.form_token(&one).unwrap();
        assert!(!sessions.use_token(&other, &token));
        assert!(sessions.use_token(&one, &token));
        assert!(!sessions.use_token(&one, &token));
    }

    #[test]
    fn a_session_is_over_after_its_time_or_half_an_hour_without_a_request_and_its_forms_with_it() {
        let sessions = Sessions::default();
        let stored = hash(PASSWORD).unwrap();
        let past = Duration::from_secs(1);
        for (began, seen, is_over) in [
            (LASTS - past, Duration::ZERO, false),
            (LASTS + past, Duration::ZERO, true),
            (Duration::ZERO, IDLE - past, false),
            (Duration::ZERO, IDLE + past, true),
        ] {
            let secret = sessions.sign_in("A", PASSWORD, Some(&stored), here()).unwrap();
            let token = sessions.form_token(&secret).unwrap();
            let now = Instant::now();
            if let Some(session) = sessions.open.lock().unwrap().get_mut(&key(&secret)) {
                (session.began, session.seen) = (now - began, now - seen);
            }
            assert_eq!(sessions.name(&secret).is_none(), is_over, "{began:?} {seen:?}");
            assert_eq!(sessions.form_token(&secret).is_none(), is_over, "{began:?} {seen:?}");
            assert_eq!(sessions.use_token(&secret, &token), !is_over, "{began:?} {seen:?}");
        }
        // Such as are over make room for the next who signs in.
        sessions.sign_in("A", PASSWORD, Some(&stored), here()).unwrap();
        assert_eq!(sessions.open.lock().unwrap().len(), 3);
    }

    #[test]
    fn of_more_forms_than_a_session_may_have_open_the_oldest_is_good_no_more() {
        let sessions = Sessions::default();
        let secret = sessions.sign_in("A", PASSWORD, Some(&hash(PASSWORD).unwrap()), here()).unwrap();
        let tokens: Vec<String> = (0..=MOST_FORMS).map(|_| sessions.form_token(&secret).unwrap()).collect();
        assert!(!sessions.use_token(&secret, &tokens[0]));
        assert!(tokens[1..].iter().all(|token| sessions.use_token(&secret, token)));
    }

    #[test]
    fn after_ten_wrong_passwords_even_the_right_one_is_not_tried() {
        let sessions = Sessions::default();
        let stored = hash(PASSWORD).unwrap();
        for _ in 1..MOST_WRONG {
            assert_eq!(sessions.sign_in("A", "wrong", Some(&stored), here()), Err(AuthError::Wrong));
        }
        assert_eq!(sessions.sign_in("A", "wrong", Some(&stored), here()), Err(AuthError::LastGuess));
        assert_eq!(sessions.sign_in("A", PASSWORD, Some(&stored), here()), Err(AuthError::TooMany));
    }

    #[test]
    fn short_and_endless_passwords_are_refused() {
        assert_eq!(hash("short"), Err(AuthError::Length));
        assert_eq!(hash(&"x".repeat(LONGEST_PASSWORD + 1)), Err(AuthError::Length));
    }
}
