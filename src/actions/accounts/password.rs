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
    if super::common::is_common(&folded) || own || chars.all(|c| Some(c) == first) {
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
    let _turn = app.gate.hash().await?;
    hash_now(app, password).await
}

/// The same for somebody who is signed in and has many made.
pub(super) async fn hash_in_turn(app: &App, password: &str) -> Result<String, AccountError> {
    let _turn = app.gate.hash_in_turn().await?;
    hash_now(app, password).await
}

async fn hash_now(app: &App, password: &str) -> Result<String, AccountError> {
    let (password, salt) = (password.to_owned(), app.keys.bytes());
    aside(move || hash(&password, &salt[..16])).await?
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
    let _turn = app.gate.hash().await?;
    let right = aside(move || verify(&password, &phc)).await?;
    Ok((right && known, old))
}

async fn aside<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, AccountError> {
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
