//! A database of its own ([`database`]), a clock that stands, and a small invented
//! competition with ways to say what is asked of it.

#[path = "../support/database.rs"]
#[expect(dead_code, reason = "each test binary uses its own part")]
pub mod database;

use database::{Database, Raw};
use futures_util::TryStreamExt;
use jiff::Timestamp;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tallywright::app::Clock;
use tallywright::rules::access::{Act, Actor, Grant, Permit, Role, permit};
use tallywright::rules::competition::{RawCompetition, from_toml};
use tallywright::rules::ledger::{Asked, Change, Precondition};
use tallywright::rules::life::{Attempt, Attest, How, Move, Submit};
use tallywright::rules::performance::RawPerformance;
use tallywright::rules::placement::Placement;
use tallywright::rules::roster::{RawEntry, RawGym, RawJudge};
use tallywright::store::accounts::{Added, NewAccount};
use tallywright::store::placements::Block;
use tallywright::store::{Answered, Committed, Idempotency, Store, WriteError, Writer};

/// The account with this address, there or new; its number.
pub async fn account(store: &Store, email: &str, password_hash: Option<&str>) -> i64 {
    let folded_email = &email.to_lowercase();
    let new = NewAccount { email, folded_email, password_hash, grants: &[], link: None };
    match store.add_account(new, noon(), |_| false).await.expect("an account") {
        Added::Done { account, .. } => account,
        Added::OutOfReach => panic!("{email} is not confirmed"),
    }
}

/// 30 reps a round; and a best lift.
pub const FILE: &str = r#"
[competition]
slug = "saltmarsh"
title = "Saltmarsh Series"
time_zone = "Europe/Lisbon"
age_date = 2027-01-15
levels = ["prescribed", "scaled"]

[[division]]
slug = "women"
title = "Women"
category = "women"

[[division]]
slug = "men"
title = "Men"
category = "men"

[[workout]]
slug = "w1"
title = "Workout 1"
format = "amrap"
cap = "10:00"
opens = "2027-01-12T19:00"
closes = "2027-01-17T21:00"
attest_by = "2027-01-18T21:00"
stations = [{ movement = "kettlebell swing", reps = 20 }, { movement = "box step-over", reps = 10 }]
repeat = "round"

[[workout.prescription]]
divisions = ["women", "men"]

[[workout]]
slug = "w2"
title = "Workout 2"
format = "max_load"
lifts = ["front squat"]
opens = "2027-01-12T19:00"
closes = "2027-01-17T21:00"
attest_by = "2027-01-18T21:00"

[[workout.prescription]]
divisions = ["women", "men"]
"#;

/// A store, its writer, and what was told after each commit.
pub struct Place {
    pub store: Store,
    pub writer: Writer,
    pub clock: Clock,
    pub told: Arc<Mutex<Vec<Committed>>>,
    pub database: Database,
}

impl Place {
    /// An empty database.
    pub async fn new() -> Self {
        Self::on(Database::new()).await
    }

    /// This database.
    pub async fn on(database: Database) -> Self {
        let clock = Clock::fixed(noon());
        let store = Store::open(&database.url).await.unwrap();
        let told = Arc::new(Mutex::new(Vec::new()));
        let writer = start(&store, &clock, &told);
        Self { store, writer, clock, told, database }
    }

    /// With the competition, two gyms, a judge each, and `entries` entries, women and men in turn,
    /// in the two gyms in turn: bib 1 is a woman of quayside, bib 2 a man of milltown.
    pub async fn with_entries(entries: u32) -> Self {
        Self::new().await.filled(entries).await
    }

    /// The same on what is there.
    pub async fn filled(self, entries: u32) -> Self {
        let mut asked = vec![apply(FILE)];
        for (gym, judge) in [("quayside", "J-1"), ("milltown", "J-2")] {
            asked.push(ask(Change::SetGym(RawGym {
                slug: gym.to_owned(),
                name: gym.to_owned(),
                country: "PT".to_owned(),
                contact: Some(format!("Keeper of {gym}")),
                email: Some(format!("{gym}@example.org")),
                ..RawGym::default()
            })));
            asked.push(ask(Change::SetJudge(RawJudge {
                code: judge.to_owned(),
                name: format!("Judge of {gym}"),
                gym: Some(gym.to_owned()),
                valid_from: "2026-01-01".to_owned(),
                valid_to: "2027-12-31".to_owned(),
                email: None,
            })));
        }
        asked.extend((1..=entries).map(|bib| ask(Change::SetEntry(entry(bib)))));
        for answer in self.writer.submit_many(asked).await {
            answer.unwrap();
        }
        self
    }

    /// A second store on the same database, as another process has it.
    pub async fn open_again(&self) -> Store {
        Store::open(&self.database.url).await.unwrap()
    }

    /// A writer of its own on that.
    pub async fn second_writer(&self) -> Writer {
        start(&self.open_again().await, &self.clock, &Arc::default())
    }

    /// A connection that has everything in hand, until it says ROLLBACK.
    pub async fn held(&self) -> Raw {
        let mut raw = self.raw().await;
        let hold =
            if self.database.is_served() { "BEGIN; SELECT * FROM competitions FOR UPDATE" } else { "BEGIN IMMEDIATE" };
        raw.run(hold).await.unwrap();
        raw
    }

    /// A connection that goes round everything.
    pub async fn raw(&self) -> Raw {
        self.database.raw().await
    }

    /// A file beside the database.
    pub fn file(&self, name: &str) -> std::path::PathBuf {
        self.database.beside(name)
    }

    /// Rows of placements after one log position up to another.
    pub async fn placements(&self, after: u64, upto: u64) -> Vec<Placement> {
        let blocks: Vec<Block> = self.store.placements(self.id().await, after, upto).try_collect().await.unwrap();
        blocks.into_iter().flat_map(|block| block.placements).collect()
    }

    /// The competition's number.
    pub async fn id(&self) -> i64 {
        self.store.find_competition("saltmarsh").await.unwrap().unwrap().id
    }

    /// One change.
    pub async fn submit(&self, asked: Asked) -> Result<Answered, WriteError> {
        self.writer.submit(asked, None).await
    }

    /// One change, asked for again as long as it is sent away, which is not for long.
    pub async fn in_a_moment(&self, asked: Asked) {
        let began = Instant::now();
        while let Err(error) = self.submit(asked.clone()).await {
            assert!(matches!(error, WriteError::Busy) && began.elapsed() < Duration::from_secs(10), "{error}");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Enters and attests a first score.
    pub async fn attested(&self, bib: u32, performance: &str) -> Attempt {
        let answer = self.submit(score("w1", bib, performance, true)).await.unwrap();
        answer.attempts.into_iter().next().unwrap()
    }

    /// The first difference that `log verify` finds, said.
    pub async fn difference(&self) -> Option<String> {
        let found = self.store.verify(Some("saltmarsh")).await.unwrap();
        assert_eq!(found.len(), 1);
        found[0].difference.as_ref().map(|d| d.say(tallywright::words::Lang::En))
    }
}

fn start(store: &Store, clock: &Clock, told: &Arc<Mutex<Vec<Committed>>>) -> Writer {
    let told = Arc::clone(told);
    Writer::start(store.clone(), clock.clone(), move |one| told.lock().unwrap().push(one.clone()))
}

/// Where the clock stands, and when everything is received: both windows are open.
pub fn noon() -> Timestamp {
    "2027-01-13T12:00:00Z".parse().unwrap()
}

/// Who may do anything.
pub fn operator() -> Actor {
    Actor::operator()
}

/// Somebody on the staff of both gyms, with an account.
pub fn staff(account: i64) -> Actor {
    let grant = |gym: &str| Grant {
        role: Role::Staff,
        competition: Some("saltmarsh".to_owned()),
        gym: Some(gym.to_owned()),
        bib: None,
        judge: None,
    };
    Actor { account: Some(account), grants: vec![grant("quayside"), grant("milltown")], ..Actor::default() }
}

/// A permit to read everything.
pub fn reader() -> Permit {
    permit(&operator(), Act::ReadLog { competition: "saltmarsh" }).unwrap()
}

/// Asked by the operator, on whatever state there is.
pub fn ask(change: Change) -> Asked {
    ask_by(operator(), change)
}

pub fn ask_by(actor: Actor, change: Change) -> Asked {
    Asked {
        actor,
        competition: "saltmarsh".to_owned(),
        received: noon(),
        precondition: Precondition::None,
        salt: [7; 32],
        change,
    }
}

pub fn file(text: &str) -> RawCompetition {
    from_toml(text).unwrap()
}

pub fn apply(text: &str) -> Asked {
    ask(Change::Apply { raw: Box::new(file(text)), dry_run: false, rescore: false, reason: "put right".to_owned() })
}

pub fn entry(bib: u32) -> RawEntry {
    let woman = bib % 2 == 1;
    RawEntry {
        bib: Some(bib),
        name: format!("Person {bib}"),
        born: "1990-05-01".to_owned(),
        category: if woman { "women" } else { "men" }.to_owned(),
        division: if woman { "women" } else { "men" }.to_owned(),
        gym: if woman { "quayside" } else { "milltown" }.to_owned(),
        email: Some(format!("person{bib}@example.org")),
        ..RawEntry::default()
    }
}

pub fn submit(performance: &str) -> Submit {
    Submit {
        performance: RawPerformance::Text(performance.to_owned()),
        attempt: None,
        level: None,
        performed_at: Some("2027-01-13T09:00:00Z".parse().unwrap()),
        gym: None,
        no_reps: None,
        without_no_reps: false,
        video: None,
        attestation: None,
        reason: None,
        confirm: Vec::new(),
        expect_name: None,
        revise: false,
        row: false,
    }
}

pub fn attest(bib: u32) -> Attest {
    let judge = if bib % 2 == 1 { "J-1" } else { "J-2" };
    Attest { judge: judge.to_owned(), how: How::PaperSheet, sheet: Some(format!("S{bib}")), attempt: None }
}

pub fn score(workout: &str, bib: u32, performance: &str, attested: bool) -> Asked {
    let sent = Submit { attestation: attested.then(|| attest(bib)), ..submit(performance) };
    moved(workout, bib, Move::Submit(sent))
}

pub fn moved(workout: &str, bib: u32, what: Move) -> Asked {
    ask(Change::Score { workout: workout.to_owned(), bib, what })
}

pub fn key(account: i64, key: &str, body: &str) -> Idempotency {
    use sha2::Digest;
    Idempotency {
        account,
        key: key.to_owned(),
        method: "PUT".to_owned(),
        path: "/api/v1/x".to_owned(),
        body_digest: sha2::Sha256::digest(body).into(),
    }
}
