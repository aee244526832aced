//! Passwords: which are taken, and argon2id.
//!
//! Length and commonness decide, no rules of composition (OWASP ASVS 5.0.0 §6.2.1, 6.2.4, 6.2.5,
//! 6.2.9); checked exactly as typed (6.2.8). Parameters: OWASP Password Storage Cheat Sheet,
//! argon2id with 19 MiB, 2 passes, 1 lane.

use super::AccountError;
use crate::app::App;
use crate::words::Sentence;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};

/// Fewest characters.
pub const LEAST: usize = 10;
/// Most characters: keeps hashing bounded.
pub const MOST: usize = 256;
/// Memory in KiB, passes, lanes.
const COST: (u32, u32, u32) = (19_456, 2, 1);
/// How a hash of today's cost begins.
const TODAY: &str = "$argon2id$v=19$m=19456,t=2,p=1$";
/// A hash of nothing that anybody knows, checked where there is no account: the answer takes as
/// long. Salt and tag are arbitrary.
const NOBODY: &str =
    "$argon2id$v=19$m=19456,t=2,p=1$MDEyMzQ1Njc4OWFiY2RlZg$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

/// Passwords that are guessed first, ten characters or longer, folded to lower case. From memory
/// of what such lists hold; shorter ones are refused for their length.
const COMMON: &[&str] = &[
    "0000000000",
    "0123456789",
    "0987654321",
    "1111111111",
    "11111111111",
    "111111111111",
    "1122334455",
    "1212121212",
    "123123123123",
    "1234512345",
    "1234567890",
    "12345678900",
    "12345678901",
    "12345678910",
    "123456789a",
    "123456789q",
    "1234567899",
    "1234567891",
    "123qwe123qwe",
    "1q2w3e4r5t",
    "1q2w3e4r5t6y",
    "1qaz2wsx3edc",
    "1qazxsw23edc",
    "2222222222",
    "3333333333",
    "5555555555",
    "6666666666",
    "7777777777",
    "8888888888",
    "9876543210",
    "9999999999",
    "aaaaaaaaaa",
    "abc123abc123",
    "abcd123456",
    "abcdefghij",
    "abcdefghijk",
    "administrator",
    "alexander1",
    "asdf123456",
    "asdfasdfasdf",
    "asdfghjkl1",
    "asdfghjkl;",
    "asdfghjkl123",
    "baseball123",
    "basketball",
    "basketball1",
    "bismillah1",
    "blink182blink",
    "changeme123",
    "charlie123",
    "chelsea123",
    "chocolate1",
    "christopher",
    "computer123",
    "correcthorsebatterystaple",
    "elizabeth1",
    "football123",
    "forever123",
    "football12",
    "fuckyou123",
    "google1234",
    "helloworld",
    "hello12345",
    "iloveyou12",
    "iloveyou123",
    "iloveyou1234",
    "internet123",
    "jennifer12",
    "letmein123",
    "letmein1234",
    "liverpool1",
    "login12345",
    "manchester",
    "manchester1",
    "master1234",
    "michael123",
    "microsoft1",
    "monkey1234",
    "mypassword",
    "mypassword1",
    "p@ssw0rd123",
    "p@ssword123",
    "passw0rd123",
    "password01",
    "password10",
    "password11",
    "password12",
    "password123",
    "password1234",
    "password12345",
    "password123456",
    "password21",
    "password22",
    "password99",
    "passwordpassword",
    "pa$$word123",
    "pokemon123",
    "princess12",
    "princess123",
    "q1w2e3r4t5",
    "q1w2e3r4t5y6",
    "qazwsxedcrfv",
    "qqww1122qq",
    "qwerqwerqwer",
    "qwert12345",
    "qwerty1234",
    "qwerty12345",
    "qwerty123456",
    "qwertyqwerty",
    "qwertyuiop",
    "qwertyuiop1",
    "qwertyuiop123",
    "qwertyuiop[]",
    "secret1234",
    "spongebob1",
    "starwars123",
    "summer2025",
    "summer2026",
    "sunshine12",
    "sunshine123",
    "superman12",
    "superman123",
    "test123456",
    "testtesttest",
    "trustno1trustno1",
    "unknown123",
    "user123456",
    "welcome123",
    "welcome1234",
    "whatever12",
    "whatever123",
    "winter2025",
    "winter2026",
    "workout123",
    "zaq12wsxcde3",
    "zxcvbnm123",
    "zxcvbnm,./",
    "zzzzzzzzzz",
];

/// Whether this may be a password of the account with this address.
pub(super) fn check(password: &str, email: &str) -> Result<(), Sentence> {
    let length = password.chars().count();
    if length < LEAST {
        return Err(Sentence::new("password_short").with("least", LEAST));
    }
    if length > MOST {
        return Err(Sentence::new("password_long").with("most", MOST));
    }
    let folded = password.to_lowercase();
    let name = email.split('@').next().unwrap_or_default().to_lowercase();
    let own =
        folded == email.to_lowercase() || (name.len() >= 4 && folded.starts_with(&name) && length < name.len() + 6);
    let mut chars = folded.chars();
    let first = chars.next();
    if COMMON.contains(&folded.as_str()) || own || chars.all(|c| Some(c) == first) {
        return Err(Sentence::new("password_common"));
    }
    Ok(())
}

fn hasher() -> Result<Argon2<'static>, AccountError> {
    let (memory, passes, lanes) = COST;
    let params = Params::new(memory, passes, lanes, None).map_err(|e| anyhow::anyhow!("argon2 parameters: {e}"))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

/// The PHC string of `password` under `salt`.
pub fn hash(password: &str, salt: &[u8]) -> Result<String, AccountError> {
    let hash =
        hasher()?.hash_password_with_salt(password.as_bytes(), salt).map_err(|e| anyhow::anyhow!("argon2: {e}"))?;
    Ok(hash.to_string())
}

/// Whether `password` is the one of the PHC string; with the string's own parameters.
#[must_use]
pub fn verify(password: &str, phc: &str) -> bool {
    hasher().is_ok_and(|hasher| hasher.verify_password(password.as_bytes(), phc).is_ok())
}

/// [`hash()`] off the async threads.
pub(super) async fn hash_aside(app: &App, password: &str) -> Result<String, AccountError> {
    let (password, salt) = (password.to_owned(), app.keys.bytes());
    aside(app, move || hash(&password, &salt[..16])).await?
}

/// [`verify`] off the async threads, against nobody's hash where there is none. The second value:
/// whether the hash wants to be made again at today's cost.
pub(super) async fn verify_aside(app: &App, password: &str, phc: Option<&str>) -> Result<(bool, bool), AccountError> {
    if password.chars().count() > MOST {
        return Ok((false, false));
    }
    let (password, known) = (password.to_owned(), phc.is_some());
    let phc = phc.unwrap_or(NOBODY).to_owned();
    let old = !phc.starts_with(TODAY);
    let right = aside(app, move || verify(&password, &phc)).await?;
    Ok((right && known, old))
}

async fn aside<T: Send + 'static>(app: &App, work: impl FnOnce() -> T + Send + 'static) -> Result<T, AccountError> {
    let _turn = app.gate.hashing.acquire().await.map_err(anyhow::Error::new)?;
    tokio::task::spawn_blocking(work).await.map_err(|e| AccountError::Broken(e.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_of_today_begins_as_said_and_verifies() {
        let phc = hash("a long enough one", &[7; 16]).unwrap();
        assert!(phc.starts_with(TODAY), "{phc}");
        assert!(verify("a long enough one", &phc));
        assert!(!verify("a long enough onE", &phc));
        assert!(!verify("a long enough one", "not a hash"));
        assert!(NOBODY.starts_with(TODAY));
    }

    #[test]
    fn short_long_and_common_passwords_are_refused_and_phrases_taken() {
        let code = |p: &str| check(p, "ines@example.org").err().map(|s| s.code.to_string());
        assert_eq!(code("ninechars").as_deref(), Some("password_short"));
        assert_eq!(code(&"ä".repeat(257)).as_deref(), Some("password_long"));
        assert_eq!(code("Password123").as_deref(), Some("password_common"));
        assert_eq!(code("zzzzzzzzzzzzz").as_deref(), Some("password_common"));
        assert_eq!(code("ines@example.org").as_deref(), Some("password_common"));
        assert_eq!(check("inesduarte1", "inesduarte@example.org").unwrap_err().code, "password_common");
        assert_eq!(code("three old oars"), None);
        assert_eq!(code(&"äöü ".repeat(64)), None, "256 characters, more bytes");
    }
}
