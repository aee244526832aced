//! The demo's accounts: one to sign in with for each role, with a password made for this run, and
//! a second referee, who decides appeals.

use super::field::{Field, OWN_BIB, OWN_GYM, OWN_JUDGE, Size};
use super::series::SLUG;
use super::story::Cast;
use crate::actions::accounts::{AccountError, NewAccount, add_account};
use crate::app::App;
use crate::rules::access::{Actor, Grant, Role};
use serde::Serialize;
use std::collections::BTreeMap;

/// A way in, as it is printed.
#[derive(Clone, Debug, Serialize)]
pub(super) struct SignIn {
    /// What one may do.
    pub role: &'static str,
    /// With which e-mail.
    pub email: String,
    /// And which password.
    pub password: String,
    /// Of which gym, whose bib, which judge; in a word or two.
    pub about: String,
    /// Gym of the staff.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gym: Option<&'static str>,
    /// Bib of the athlete.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bib: Option<u32>,
    /// Code of the judge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judge: Option<&'static str>,
}

/// Letters of a password: none that is taken for another.
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";

/// Sixteen letters in fours: 80 random bits.
fn password(app: &App) -> String {
    let bytes = app.keys.bytes();
    let letters: Vec<char> = bytes.iter().take(16).map(|b| char::from(LETTERS[usize::from(b % 32)])).collect();
    letters.chunks(4).map(|four| four.iter().collect::<String>()).collect::<Vec<_>>().join("-")
}

/// Adds the accounts; each other gym has staff too, that nobody signs in as.
pub(super) async fn hire(app: &App, field: &Field) -> Result<(Cast, Vec<SignIn>), AccountError> {
    let grant = |role| Grant { role, competition: Some(SLUG.to_owned()), gym: None, bib: None, judge: None };
    let mut sign_ins = Vec::new();
    let mut actors = Vec::new();
    let parts: [(&'static str, Grant, String); 5] = [
        ("organiser", grant(Role::Organiser), String::new()),
        ("referee", grant(Role::Referee), String::new()),
        ("staff", Grant { gym: Some(OWN_GYM.to_owned()), ..grant(Role::Staff) }, format!("of gym {OWN_GYM}")),
        ("judge", Grant { judge: Some(OWN_JUDGE.to_owned()), ..grant(Role::Judge) }, format!("code {OWN_JUDGE}")),
        ("athlete", Grant { bib: Some(OWN_BIB), ..grant(Role::Athlete) }, format!("bib {OWN_BIB}")),
    ];
    for (role, grant, about) in parts {
        let (email, password) = (format!("{role}@saltmarsh.example"), password(app));
        actors.push(add(app, &email, Some(&password), &grant).await?);
        sign_ins.push(SignIn {
            role,
            email,
            password,
            about,
            gym: (role == "staff").then_some(OWN_GYM),
            bib: grant.bib,
            judge: (role == "judge").then_some(OWN_JUDGE),
        });
    }
    let second_referee = add(app, "second-referee@saltmarsh.example", None, &grant(Role::Referee)).await?;
    let mut actors = actors.into_iter();
    let mut next = || actors.next().unwrap_or_default();
    let (organiser, referee) = (next(), next());
    let mut staff = BTreeMap::from([(OWN_GYM.to_owned(), next())]);
    // Of a large field everything comes from one desk.
    let others: &[_] = if field.size == Size::SAMPLE { &field.gyms } else { &[] };
    for gym in others.iter().filter(|g| g.slug != OWN_GYM) {
        let grant = Grant { gym: Some(gym.slug.clone()), ..grant(Role::Staff) };
        staff.insert(gym.slug.clone(), add(app, gym.email.as_deref().unwrap_or_default(), None, &grant).await?);
    }
    let cast = Cast { organiser, referee, second_referee, staff, operator: Actor::operator() };
    Ok((cast, sign_ins))
}

async fn add(app: &App, email: &str, password: Option<&str>, grant: &Grant) -> Result<Actor, AccountError> {
    let new =
        NewAccount { email: email.to_owned(), password: password.map(str::to_owned), grants: vec![grant.clone()] };
    let added = add_account(app, &Actor::operator(), new).await?;
    Ok(Actor { account: Some(added.account), email: email.to_owned(), grants: vec![grant.clone()], operator: false })
}
