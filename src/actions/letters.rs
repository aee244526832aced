//! What letters say, in the reader's language: sign-ins that somebody is given, and the way to a new
//! password; and who reads what became of them. What it does not do: send them ([`super::mail`] does), or
//! make the links in them.

use super::mail::{Letter, Outcome};
use super::{Failure, language};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::competition::Competition;
use crate::store::letters::Listed;
use crate::words::{self, put_plain};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::time::Duration;

/// How long an answer waits for a letter to be taken.
const MOMENT: Duration = Duration::from_secs(3);

/// A link to sign in by, and until when it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// The whole address; whoever has it signs in by it.
    pub address: String,
    /// When it ends.
    pub until: Timestamp,
}

impl Link {
    /// With the secret of a one-time link.
    #[must_use]
    pub fn new(app: &App, secret: &str, until: Timestamp) -> Self {
        Self { address: format!("{}/signin/link?code={secret}", app.config.public_url), until }
    }

    fn until_in(&self, zone: &TimeZone) -> String {
        let until = (words::pages(language::reader()).date)(&self.until.to_zoned_datetime(zone.clone()));
        format!("{until} ({})", zone.iana_name().unwrap_or("UTC"))
    }
}

/// The letter to a gym's contact.
#[must_use]
pub fn gym(c: &Competition, gym: &str, contact: &str, email: String, link: &Link) -> Letter {
    let l = words::letters(language::reader());
    let text = put_plain(
        l.gym_text,
        &[
            ("name", &contact),
            ("gym", &gym),
            ("competition", &c.title),
            ("link", &link.address),
            ("until", &link.until_in(&c.time_zone)),
        ],
    );
    Letter { competition: c.slug.clone(), to: email, subject: put_plain(l.subject, &[("competition", &c.title)]), text }
}

/// The letter to somebody who has a role: in this competition, or in several or all.
#[must_use]
pub fn sign_in(app: &App, competition: Option<&Competition>, email: &str, link: &Link) -> Letter {
    let l = words::letters(language::reader());
    let (slug, subject, text) = match competition {
        Some(c) => {
            let until = link.until_in(&c.time_zone);
            let values: [(_, &dyn std::fmt::Display); 3] =
                [("competition", &c.title), ("link", &link.address), ("until", &until)];
            (c.slug.clone(), put_plain(l.subject, &[("competition", &c.title)]), put_plain(l.text, &values))
        }
        None => (String::new(), l.service_subject.to_owned(), of_service(app, l.service_text, link)),
    };
    Letter { competition: slug, to: email.to_owned(), subject, text }
}

/// The letter to somebody who has forgotten their password.
#[must_use]
pub fn forgotten(app: &App, email: &str, link: &Link) -> Letter {
    let l = words::letters(language::reader());
    let (subject, text) = (l.forgotten_subject.to_owned(), of_service(app, l.forgotten_text, link));
    Letter { competition: String::new(), to: email.to_owned(), subject, text }
}

/// A text about no competition: its times are in UTC, and say so.
fn of_service(app: &App, text: &str, link: &Link) -> String {
    let until = link.until_in(&TimeZone::UTC);
    put_plain(text, &[("service", &app.config.public_url), ("link", &link.address), ("until", &until)])
}

/// What became of a letter, as far as a moment shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The outcome.
    pub outcome: Outcome,
    /// Whether the list of its competition's letters has it for certain.
    pub listed: bool,
}

/// Hands a letter over, and says what became of it; `None`: there is no mail server.
pub async fn send(app: &App, letter: Letter) -> Option<Told> {
    let handed = app.post.send(letter).await?;
    let listed = handed.is_listed();
    Some(Told { outcome: handed.outcome(MOMENT).await, listed })
}

/// The letters about a competition, newest first, whichever service sent them; for the organiser.
pub async fn list(app: &App, actor: &Actor, competition: &str) -> Result<Vec<Listed>, Failure> {
    let permit = permit(actor, Act::Organise { competition })?;
    Ok(app.store.list_letters(&permit, competition, app.clock.now()).await?)
}
