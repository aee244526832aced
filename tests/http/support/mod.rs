//! A whole service on a database of its own, and people who use it.
//!
//! [`TestApp::new`] has a competition, "saltmarsh": gyms quayside and millpond; women 1042 and 1043
//! and man 1044 of quayside, woman 2001 of millpond; judges J-1 of quayside and J-2 of millpond.
//! Workout w1 runs, w2 is over, w3 is not announced. It is 14 January 2027, noon in UTC. A second
//! competition, "hidden", is the same but private. Helpers that go round HTTP start with `db_`.

mod client;
#[path = "../../support/database.rs"]
#[expect(dead_code, reason = "each test binary uses its own part")]
mod database;

pub use client::{Client, Reply};

use database::Database;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use tallywright::actions::accounts::{self, NewAccount, Origin};
use tallywright::actions::open::{Service, open};
use tallywright::actions::{Request, apply, roster};
use tallywright::app::{App, Clock, Keys};
use tallywright::config::Config;
use tallywright::rules::access::{Actor, Grant, Role};
use tallywright::rules::competition;
use tallywright::rules::roster::{RawEntry, RawGym, RawJudge};

/// The competition that most tests use.
pub const SALTMARSH: &str = "saltmarsh";
/// The private one.
pub const HIDDEN: &str = "hidden";

/// A service of its own.
pub struct TestApp {
    pub app: App,
    router: axum::Router,
    tokens: Mutex<BTreeMap<String, String>>,
    service: Service,
    pub database: Arc<Database>,
}

impl TestApp {
    /// With the competitions, their gyms, entries and judges.
    pub async fn new() -> Self {
        let app = Self::empty().await;
        app.db_competition(SALTMARSH, false).await;
        app.db_competition(HIDDEN, true).await;
        app
    }

    /// Without a competition.
    pub async fn empty() -> Self {
        Self::at("http://127.0.0.1:8080").await
    }

    /// Without a competition, at this address.
    pub async fn at(public_url: &str) -> Self {
        Self::configured(|config| public_url.clone_into(&mut config.public_url)).await
    }

    /// Without a competition, with settings changed by `change`.
    pub async fn configured(change: impl FnOnce(&mut Config)) -> Self {
        Self::on(Arc::new(Database::new()), 7, change).await
    }

    /// A second service on the same database.
    pub async fn beside(&self) -> Self {
        self.beside_configured(|_| ()).await
    }

    /// The same with settings changed by `change`.
    pub async fn beside_configured(&self, change: impl FnOnce(&mut Config)) -> Self {
        Self::on(Arc::clone(&self.database), 8, change).await
    }

    /// Ends it in order, as when its process is told to stop.
    pub async fn stop(self) {
        self.service.close().await;
    }

    /// The same person, with the same sign-in, at this service.
    pub fn as_here(&self, client: &Client) -> Client {
        client.at(self.router.clone())
    }

    async fn on(database: Arc<Database>, seed: u64, change: impl FnOnce(&mut Config)) -> Self {
        let mut config = Config {
            database: database.url.clone(),
            public_url: "http://127.0.0.1:8080".to_owned(),
            lag: jiff::SignedDuration::ZERO,
            ..Config::default()
        };
        change(&mut config);
        let clock = Clock::fixed(noon());
        let service = open(config, clock, Keys::seeded(seed)).await.expect("an empty database opens");
        let app = service.app.clone();
        let router = tallywright::web::router(app.clone());
        Self { app, router, tokens: Mutex::default(), service, database }
    }

    /// The routes, to be served by a listener.
    pub fn router(&self) -> axum::Router {
        self.router.clone()
    }

    /// Moves the clock.
    pub fn set_clock(&self, at: &str) {
        self.app.clock.set(at.parse().expect("an instant"));
    }

    /// A competition with gyms, entries and judges.
    pub async fn db_competition(&self, slug: &str, private: bool) {
        let text = include_str!("../../data/small.toml")
            .replace("slug = \"saltmarsh\"", &format!("slug = \"{slug}\"\nprivate = {private}"));
        self.db_competition_of(slug, &text).await;
    }

    /// The same of another file.
    pub async fn db_competition_of(&self, slug: &str, text: &str) {
        self.db_file(text).await;
        let (by, request) = (Actor::operator(), || Request::at(self.app.clock.now()));
        for (gym, name) in [("quayside", "Quayside Gym"), ("millpond", "Millpond Gym")] {
            let gym = RawGym { slug: gym.into(), name: name.into(), country: "PT".into(), ..RawGym::default() };
            roster::set_gym(&self.app, &by, slug, request(), gym).await.expect("a gym");
        }
        for (bib, name, born, category, gym) in [
            (1042, "Ines Duarte", "1996-04-02", "women", "quayside"),
            (1043, "Rita Alves", "1999-11-20", "women", "quayside"),
            (1044, "Tomás Brito", "1990-02-28", "men", "quayside"),
            (2001, "Noor de Wit", "1988-07-09", "women", "millpond"),
        ] {
            let entry = RawEntry {
                bib: Some(bib),
                name: name.into(),
                born: born.into(),
                category: category.into(),
                division: category.into(),
                gym: gym.into(),
                ..RawEntry::default()
            };
            roster::set_entry(&self.app, &by, slug, request(), entry).await.expect("an entry");
        }
        for (code, name, gym) in [("J-1", "Vera Lopes", "quayside"), ("J-2", "Jan Maas", "millpond")] {
            let judge = RawJudge {
                code: code.into(),
                name: name.into(),
                gym: Some(gym.into()),
                valid_from: "2026-01-01".into(),
                valid_to: "2027-12-31".into(),
                ..RawJudge::default()
            };
            roster::set_judge(&self.app, &by, slug, request(), judge).await.expect("a judge");
        }
    }

    /// The competition of a file, with nobody in it.
    pub async fn db_file(&self, text: &str) {
        let raw = competition::from_toml(text).expect("the file reads");
        let (by, request) = (Actor::operator(), Request::at(self.app.clock.now()));
        let applied = apply::apply(&self.app, &by, None, request, raw, apply::How::default());
        applied.await.expect("the file applies");
    }

    /// Nobody signed in.
    pub fn nobody(&self) -> Client {
        Client::new(self.router.clone())
    }

    /// Organises all competitions.
    pub async fn administrator(&self) -> Client {
        self.somebody("administrator@example.org", &[grant(Role::Organiser, None)]).await
    }

    /// Organises saltmarsh.
    pub async fn organiser(&self) -> Client {
        self.somebody("organiser@example.org", &[grant(Role::Organiser, Some(SALTMARSH))]).await
    }

    /// Flags and rules in saltmarsh.
    pub async fn referee(&self) -> Client {
        self.somebody("referee@example.org", &[grant(Role::Referee, Some(SALTMARSH))]).await
    }

    /// A second referee in saltmarsh.
    pub async fn second_referee(&self) -> Client {
        self.somebody("second-referee@example.org", &[grant(Role::Referee, Some(SALTMARSH))]).await
    }

    /// Staff of a gym in saltmarsh.
    pub async fn staff_of(&self, gym: &str) -> Client {
        let grant = Grant { gym: Some(gym.to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) };
        self.somebody(&format!("staff.{gym}@example.org"), &[grant]).await
    }

    /// A judge in saltmarsh.
    pub async fn judge(&self, code: &str) -> Client {
        let grant = Grant { judge: Some(code.to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
        self.somebody(&format!("{}@example.org", code.to_lowercase()), &[grant]).await
    }

    /// An athlete in saltmarsh.
    pub async fn athlete(&self, bib: u32) -> Client {
        let grant = Grant { bib: Some(bib), ..grant(Role::Athlete, Some(SALTMARSH)) };
        self.somebody(&format!("athlete.{bib}@example.org"), &[grant]).await
    }

    /// Signed in, without a role.
    pub async fn stranger(&self) -> Client {
        self.somebody("stranger@example.org", &[]).await
    }

    /// Somebody with these roles, by token. The account is made once.
    pub async fn somebody(&self, email: &str, grants: &[Grant]) -> Client {
        let known = self.tokens.lock().expect("not poisoned").get(email).cloned();
        let token = if let Some(token) = known {
            token
        } else {
            self.db_account(email, None, grants).await;
            let issued = accounts::issue_token(&self.app, &Actor::operator(), Some(email), "test", 90).await;
            let secret = issued.expect("a token").secret;
            self.tokens.lock().expect("not poisoned").insert(email.to_owned(), secret.clone());
            secret
        };
        self.nobody().of(email).with_token(&token)
    }

    /// The same person in a browser: by cookie, from our own site.
    pub async fn browser(&self, email: &str, grants: &[Grant]) -> Client {
        let (id, _) = self.db_account(email, None, grants).await;
        let secret = accounts::new_link(&self.app, &Actor::operator(), id).await.expect("a link");
        let begun = accounts::sign_in_by_link(&self.app, &secret, None, &Origin::default()).await.expect("a session");
        self.nobody().of(email).with_cookie(&begun.secret)
    }

    /// Somebody, now in a browser; nobody stays nobody.
    pub async fn in_browser(&self, client: &Client) -> Client {
        if client.email.is_empty() { self.nobody() } else { self.browser(&client.email, &[]).await }
    }

    /// An account: its number and, when new and without password, the secret of its link.
    pub async fn db_account(&self, email: &str, password: Option<&str>, grants: &[Grant]) -> (i64, Option<String>) {
        let new =
            NewAccount { email: email.to_owned(), password: password.map(str::to_owned), grants: grants.to_vec() };
        let added = accounts::add_account(&self.app, &Actor::operator(), new).await.expect("an account");
        (added.account, added.link)
    }
}

impl TestApp {
    /// An account under an address that nobody has vouched for: its number.
    pub async fn db_unconfirmed(&self, email: &str, phc: &str) -> i64 {
        let (id, _) = self.db_account(email, None, &[]).await;
        let mut raw = self.database.raw().await;
        let unconfirmed = format!("UPDATE accounts SET confirmed = 0, password_hash = '{phc}' WHERE id = {id}");
        raw.run(&unconfirmed).await.expect("an account");
        raw.run(&format!("DELETE FROM links WHERE account = {id}")).await.expect("no link");
        raw.close().await;
        id
    }
}

/// 14 January 2027, noon in UTC.
pub fn noon() -> Timestamp {
    "2027-01-14T12:00:00Z".parse().expect("an instant")
}

/// A role, in a competition or in all.
pub fn grant(role: Role, competition: Option<&str>) -> Grant {
    Grant { role, competition: competition.map(str::to_owned), gym: None, bib: None, judge: None }
}
