//! Codes with which athletes get the role for their entry: the gym hands them out on slips.
//!
//! A code is short, for it is typed from paper: guessing is throttled by bib and by address, only an
//! argon2id hash is kept, and the work is the same where there is no such bib. It holds until the
//! last workout's attestations are over, works once, and a new one takes its place. Who has used one and sends
//! it again, as the answer was lost, is signed in by their e-mail and password. An account that
//! is made with one has an address that nobody vouched for: see [`super::add_account`] for what
//! becomes of it when its owner is invited.

use super::gate::{pass, pass_at};
use super::password::{MOST, check, hash_aside, hash_in_turn, verify_aside};
use super::sign_in::Begun;
use super::{AccountError, Origin, SignedIn, fault, fold};
use crate::actions::lists::{self, Find};
use crate::actions::reader::{Reader, shown};
use crate::actions::{Failure, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Grant, Permit, Role, permit};
use crate::rules::competition::Competition;
use crate::rules::fault::Fault;
use crate::rules::ledger::Refusal;
use crate::rules::people::{EntryState, check_email};
use crate::store::StoreError;
use crate::store::competitions::Known;
use crate::store::ways_in::{Owner, UsedClaim};
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::BTreeSet;

/// What codes are made of: no vowels, so that no words come up, and nothing that is taken for
/// something else on paper (0 and O, 1 and I, 2 and Z, 5 and S, 8 and B, U and V).
const ALPHABET: &[u8; 21] = b"CDFGHJKMNPQRTWXY34679";
/// Characters of a code: 21^8 is more than 2^35.
const LENGTH: usize = 8;
/// Characters of one as it is typed, with strokes and spaces, at most.
const LONGEST_CODE: usize = 40;
/// Codes made by one request at most: each costs the work of a password.
pub const MOST_CODES: usize = 200;

/// A gym's entries and their codes.
#[derive(Clone, Debug)]
pub struct Codes {
    /// Who reads, and what.
    pub reader: Reader,
    /// The gym's name; `None`: of those who have no gym.
    pub gym: Option<String>,
    /// Until when codes hold; `None`: no workout says, or one does that is not announced to who asks.
    pub until: Option<Timestamp>,
    /// By bib; those who are removed or erased are left out.
    pub rows: Vec<CodeRow>,
    permit: Permit,
}

/// An entry, and what became of its code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CodeRow {
    /// Whose.
    pub bib: u32,
    /// The name.
    pub name: String,
    /// Division slug.
    pub division: String,
    /// When the code that is open was made.
    pub made: Option<Timestamp>,
    /// Whether an account has the athlete's role.
    pub claimed: bool,
}

/// A code, to be handed to an athlete. Shown once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Slip {
    /// Whose.
    pub bib: u32,
    /// The name.
    pub name: String,
    /// As it is printed, in two halves.
    pub code: String,
}

/// What an athlete sends.
#[derive(Clone, Debug, Default)]
pub struct Claim {
    /// Competition slug.
    pub competition: String,
    /// From the slip.
    pub bib: u32,
    /// From the slip.
    pub code: String,
    /// For who is not signed in: of the account, new or not.
    pub email: String,
    /// The same.
    pub password: String,
}

/// An athlete has the role for an entry.
#[derive(Clone, Debug)]
pub struct Claimed {
    /// Account number.
    pub account: i64,
    /// For who was not signed in.
    pub signed_in: Option<SignedIn>,
}

/// A gym's entries, and what became of their codes; for its staff and the organiser. Of those who have
/// no gym (`None`): for the organiser.
///
/// # Errors
/// 401 and 403; not found: the competition, the gym.
pub async fn list_codes(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    gym: Option<&str>,
) -> Result<Codes, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let competition = reader.slug.as_str();
    let permit = match gym {
        Some(gym) => permit(actor, Act::HandOutCodes { competition, gym })?,
        None => permit(actor, Act::Organise { competition })?,
    };
    let known = match gym {
        None => None,
        Some(slug) => match app.store.find_gym(reader.id, slug).await? {
            Some(known) => Some(known.name),
            None => return Err(Failure::not_found(Sentence::new("no_gym").with("gym", shown(slug)))),
        },
    };
    let find = Find { gym: gym.map(str::to_owned), q: None };
    let entries = lists::entries(app, actor, now, competition, &find).await?;
    let open = app.store.list_claims(&permit, reader.id).await?;
    let grants = app.store.list_grants_in(&reader.slug).await?;
    let claimed: BTreeSet<u32> =
        grants.iter().filter(|g| g.grant.role == Role::Athlete).filter_map(|g| g.grant.bib).collect();
    let removed = crate::actions::views::names::entry_state(EntryState::Removed);
    let of_gym = entries.into_iter().filter(|e| e.state != removed && e.gym.as_deref() == gym);
    let rows = of_gym.map(|e| CodeRow {
        made: open.get(&e.bib).copied(),
        claimed: claimed.contains(&e.bib),
        bib: e.bib,
        name: e.name,
        division: e.division,
    });
    let rows = rows.collect();
    let announced = reader.competition.workouts.iter().all(|w| reader.sees(w));
    let until = last_instant(&reader.competition).filter(|_| announced);
    Ok(Codes { until, gym: known, rows, permit, reader })
}

/// Makes codes for these entries of the gym (`None`: all that have none and were not claimed), each
/// in the place of an older one; at most [`MOST_CODES`], the lowest bibs first.
///
/// # Errors
/// As [`list_codes`]; a bib that is not of the gym; a competition that is over.
pub async fn make_codes(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    gym: Option<&str>,
    bibs: Option<&BTreeSet<u32>>,
) -> Result<(Codes, Vec<Slip>), Failure> {
    let codes = list_codes(app, actor, now, competition, gym).await?;
    if last_instant(&codes.reader.competition).is_some_and(|until| now >= until) {
        return Err(Refusal::Conflict(Sentence::new("codes_over"), Vec::new()).into());
    }
    let strange = bibs.into_iter().flatten().filter(|bib| !codes.rows.iter().any(|r| r.bib == **bib));
    let faults: Vec<Fault> =
        strange.map(|bib| Fault::new("/bibs", Sentence::new("code_not_of_gym").with("bib", bib))).collect();
    if !faults.is_empty() {
        return Err(Failure::faults(faults));
    }
    let wanted = |row: &&CodeRow| match bibs {
        Some(bibs) => bibs.contains(&row.bib),
        None => !row.claimed && row.made.is_none(),
    };
    let (mut slips, mut hashes) = (Vec::new(), Vec::new());
    for row in codes.rows.iter().filter(wanted).take(MOST_CODES) {
        let code = draw(app);
        let hash = hash_in_turn(app, &code).await.map_err(|e| Failure::Broken(e.into()))?;
        hashes.push((row.bib, hash));
        let (first, last) = code.split_at(LENGTH / 2);
        slips.push(Slip { bib: row.bib, name: row.name.clone(), code: format!("{first}-{last}") });
    }
    app.store.keep_claims(&codes.permit, codes.reader.id, hashes, now).await?;
    Ok((codes, slips))
}

/// A fresh code: each character of the alphabet as likely as any other.
fn draw(app: &App) -> String {
    let mut code = String::with_capacity(LENGTH);
    let even = u8::MAX - u8::MAX % 21;
    while code.len() < LENGTH {
        let fit = app.keys.bytes().into_iter().filter(|byte| *byte < even);
        code.extend(fit.take(LENGTH - code.len()).map(|byte| char::from(ALPHABET[usize::from(byte % 21)])));
    }
    code
}

/// A code as it was typed: case, spaces and strokes make no difference.
fn typed(code: &str) -> String {
    let kept = code.chars().filter(|c| !c.is_whitespace() && !matches!(c, '-' | '\u{2010}'..='\u{2015}'));
    kept.flat_map(char::to_uppercase).collect()
}

/// When everything of a competition is in.
fn last_instant(competition: &Competition) -> Option<Timestamp> {
    competition.workouts.iter().map(|w| w.window.attest_by).max()
}

/// Gives the athlete's role for an entry to whoever sends its bib and code: to the account they are
/// signed in with, to one whose e-mail and password they send, or to a new one.
///
/// # Errors
/// One sentence for every bib and code that do not fit together, there or not; what is wrong with
/// e-mail and password; too many tries.
pub async fn claim(
    app: &App,
    by: &Actor,
    now: Timestamp,
    claim: &Claim,
    from: &Origin,
) -> Result<Claimed, AccountError> {
    let email = if by.account.is_some() { String::new() } else { checked_email(claim)? };
    fits(claim)?;
    // No address has a space in it: these keys never meet those of accounts.
    let key = format!("claim {} {}", claim.competition, claim.bib);
    pass(app, Some(&key), from.address).await?;
    let done = match by_code(app, by, now, claim, &email, from).await? {
        Some(done) => Some(done),
        None => again(app, by, claim, &email, from).await?,
    };
    done.ok_or_else(|| {
        tracing::info!(target: "sign_in", outcome = "wrong", by = "code");
        fault("/code", Sentence::new("wrong_code"))
    })
}

/// The same by a code that is open; `None`: it is not the one of this bib.
async fn by_code(
    app: &App,
    by: &Actor,
    now: Timestamp,
    claim: &Claim,
    email: &str,
    from: &Origin,
) -> Result<Option<Claimed>, AccountError> {
    let found = app.store.find_competition(&claim.competition).await?.filter(|known| takes_claims(known, now));
    let hash = match &found {
        Some(known) => app.store.find_claim(known.id, claim.bib).await?,
        None => None,
    };
    let (right, _) = verify_aside(app, &typed(&claim.code), hash.as_deref()).await?;
    let (Some(known), Some(hash)) = (found.filter(|_| right), hash) else { return Ok(None) };
    let existing = match by.account {
        Some(account) => Some((account, None)),
        None => by_password(app, email, &claim.password, from).await?,
    };
    if existing.is_none() {
        check(&claim.password, email).map_err(|sentence| fault("/password", sentence))?;
    }
    let phc = if existing.is_none() { Some(hash_aside(app, &claim.password).await?) } else { None };
    let (folded_email, password_hash) = (fold(email), phc.unwrap_or_default());
    let owner = match &existing {
        Some((account, verified)) => Owner::Known { account: *account, verified: verified.as_deref() },
        None => Owner::New { email, folded_email: &folded_email, password_hash: &password_hash },
    };
    let grant = athlete(&known.slug, claim.bib);
    let used = UsedClaim { competition: known.id, bib: claim.bib, hash: &hash };
    let new = if by.account.is_some() { None } else { Some(Begun::new(app, from)) };
    let session = new.as_ref().map(Begun::session);
    match app.store.use_claim(used, owner, &grant, session, now).await {
        Ok(account) => Ok(account.map(|account| Claimed { account, signed_in: new.map(|new| new.of(account)) })),
        Err(StoreError::Taken) => Err(AccountError::WrongSignIn),
        Err(error) => Err(error.into()),
    }
}

/// Whoever has the entry already by the account they are signed in with, or whose e-mail and password they
/// send: the code was used by themselves, and the answer was lost. `None`: they have it not. As much work
/// whether there is such an account or not, and as many tries as at signing in.
async fn again(
    app: &App,
    by: &Actor,
    claim: &Claim,
    email: &str,
    from: &Origin,
) -> Result<Option<Claimed>, AccountError> {
    if let Some(account) = by.account {
        let has = by.is_athlete(&claim.competition, claim.bib);
        return Ok(has.then_some(Claimed { account, signed_in: None }));
    }
    let folded = fold(email);
    pass_at(app, &folded, from.address).await?;
    let account = app.store.find_account_by_email(&folded).await?;
    let phc = account.as_ref().and_then(|a| a.password_hash.as_deref());
    let (right, _) = verify_aside(app, &claim.password, phc).await?;
    let Some(account) = account.filter(|_| right) else { return Ok(None) };
    let grants = app.store.list_grants_of(account.id).await?;
    let own = athlete(&claim.competition, claim.bib);
    if !grants.iter().any(|g| g.grant == own) {
        return Ok(None);
    }
    let new = Begun::new(app, from);
    let verified = account.password_hash.as_deref().unwrap_or_default();
    let begun = app.store.sign_in_by_password(account.id, verified, None, new.session(), new.now()).await?;
    Ok(begun.then(|| Claimed { account: account.id, signed_in: Some(new.of(account.id)) }))
}

fn athlete(competition: &str, bib: u32) -> Grant {
    Grant { role: Role::Athlete, competition: Some(competition.to_owned()), gym: None, bib: Some(bib), judge: None }
}

fn takes_claims(known: &Known, now: Timestamp) -> bool {
    last_instant(&known.definition.competition).is_none_or(|until| now < until)
}

/// What is wrong with e-mail and password as such, before anything is looked up.
fn checked_email(claim: &Claim) -> Result<String, AccountError> {
    let mut faults = Vec::new();
    let email = check_email(&claim.email).unwrap_or_else(|sentence| {
        faults.push(Fault::new("/email", sentence));
        String::new()
    });
    if email.is_empty() && faults.is_empty() {
        faults.push(Fault::new("/email", Sentence::new("claim_needs_email")));
    }
    if claim.password.is_empty() {
        faults.push(Fault::new("/password", Sentence::new("claim_needs_password")));
    }
    if faults.is_empty() { Ok(email) } else { Err(Refusal::Faults(faults).into()) }
}

/// Whether nothing is longer than it can be: said also to those of whom neither e-mail nor password is needed.
fn fits(claim: &Claim) -> Result<(), AccountError> {
    let mut faults = Vec::new();
    if !claim.email.is_empty()
        && let Err(sentence) = check_email(&claim.email)
    {
        faults.push(Fault::new("/email", sentence));
    }
    if claim.password.chars().count() > MOST {
        faults.push(Fault::new("/password", Sentence::new("password_long").with("most", MOST)));
    }
    if claim.code.chars().count() > LONGEST_CODE {
        faults.push(Fault::new("/code", Sentence::new("wrong_code")));
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::Faults(faults).into()) }
}

/// The account of this address, when the password is its own, and the hash that says so; `None`: there is
/// no such account.
async fn by_password(
    app: &App,
    email: &str,
    password: &str,
    from: &Origin,
) -> Result<Option<(i64, Option<String>)>, AccountError> {
    let folded = fold(email);
    pass_at(app, &folded, from.address).await?;
    let Some(account) = app.store.find_account_by_email(&folded).await? else { return Ok(None) };
    let (right, _) = verify_aside(app, password, account.password_hash.as_deref()).await?;
    if right { Ok(Some((account.id, account.password_hash))) } else { Err(AccountError::WrongSignIn) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_read_however_it_is_typed() {
        assert_eq!(typed(" cdfg-hj km "), "CDFGHJKM");
        assert_eq!(typed("CDFG\u{2013}HJKM"), "CDFGHJKM");
    }

    #[test]
    fn no_character_of_a_code_is_taken_for_another() {
        for group in ["0O", "1IL", "2Z", "5S", "8B", "UV"] {
            let there = group.bytes().filter(|c| ALPHABET.contains(c)).count();
            assert!(there <= 1, "{group}");
        }
        assert!(!ALPHABET.iter().any(|c| b"AEIOU".contains(c)));
    }
}
