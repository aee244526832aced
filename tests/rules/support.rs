//! A small invented competition held as a ledger, and a way to say what people do to it.

use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use tallywright::rules::access::{Actor, ActorRef, Grant, Role};
use tallywright::rules::competition::from_toml;
use tallywright::rules::event::{Event, Record};
use tallywright::rules::ledger::{Asked, Change, Decided, Ledger, Outcome, Precondition, Refusal, Ties};
use tallywright::rules::life::{Attempt, Attest, How, Move, Submit};
use tallywright::rules::performance::RawPerformance;
use tallywright::rules::placement::Placement;
use tallywright::rules::roster::{EntryChange, RawEntry, RawGym, RawJudge};

/// 30 reps a round, ten minutes, in a window of five days.
pub const FILE: &str = r#"
[competition]
slug = "tidewater"
title = "Tidewater Trial"
time_zone = "Europe/Lisbon"
age_date = 2027-01-15
levels = ["prescribed", "scaled"]

[[division]]
slug = "women"
title = "Women"
category = "women"
allow_lower = true

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
divisions = ["women"]
loads = [{ item = "kettlebell", kg = 16, lb = 35 }]

[[workout.prescription]]
divisions = ["women"]
level = "scaled"
loads = [{ item = "kettlebell", kg = 12, lb = 26 }]

[[workout.prescription]]
divisions = ["men"]
loads = [{ item = "kettlebell", kg = 24, lb = 53 }]
"#;

/// When the workout of [`FILE`] opens (Lisbon is at UTC in January).
pub fn opens() -> Timestamp {
    "2027-01-12T19:00:00Z".parse().unwrap()
}

/// … and closes.
pub fn closes() -> Timestamp {
    "2027-01-17T21:00:00Z".parse().unwrap()
}

/// A competition, its log so far, and the time.
pub struct World {
    pub ledger: Ledger,
    pub log: Vec<Record>,
    pub placements: Vec<Placement>,
    pub now: Timestamp,
}

pub fn account(number: i64, grants: Vec<Grant>) -> Actor {
    Actor { account: Some(number), email: format!("a{number}@example.org"), grants, operator: false }
}

pub fn grant(role: Role) -> Grant {
    Grant { role, competition: Some("tidewater".into()), gym: None, bib: None, judge: None }
}

pub fn staff(gym: &str) -> Actor {
    let number = if gym == "quayside" { 10 } else { 11 };
    account(number, vec![Grant { gym: Some(gym.into()), ..grant(Role::Staff) }])
}

pub fn athlete(bib: u32) -> Actor {
    account(100 + i64::from(bib), vec![Grant { bib: Some(bib), ..grant(Role::Athlete) }])
}

pub fn referee(number: i64) -> Actor {
    account(number, vec![grant(Role::Referee)])
}

pub fn organiser() -> Actor {
    account(1, vec![grant(Role::Organiser)])
}

impl World {
    /// Applied, two gyms, three athletes (bibs 1 and 2 of quayside, 3 of hilltop), two judges;
    /// accounts 20 and 21 are referees; the workout has just opened.
    pub fn new() -> Self {
        let now = opens() - SignedDuration::from_hours(24);
        let mut world = Self { ledger: Ledger::default(), log: Vec::new(), placements: Vec::new(), now };
        let raw = Box::new(from_toml(FILE).expect("the file is right"));
        world.ok(&Actor::operator(), Change::Apply { raw, dry_run: false, rescore: false, reason: String::new() });
        for slug in ["quayside", "hilltop"] {
            let gym = RawGym { slug: slug.into(), name: slug.into(), country: "PT".into(), ..RawGym::default() };
            world.ok(&organiser(), Change::SetGym(gym));
        }
        for (bib, name, gym) in
            [(1, "Ana Rocha", "quayside"), (2, "Rita Sousa", "quayside"), (3, "Eva Lima", "hilltop")]
        {
            let entry = RawEntry {
                bib: Some(bib),
                name: name.into(),
                born: "1995-05-05".into(),
                category: "women".into(),
                division: "women".into(),
                gym: gym.into(),
                email: Some(format!("athlete{bib}@example.org")),
                ..RawEntry::default()
            };
            world.ok(&organiser(), Change::SetEntry(entry));
        }
        for (code, email) in [("J-1", "judge1@example.org"), ("J-2", "athlete2@example.org")] {
            let judge = RawJudge {
                code: code.into(),
                name: format!("Judge {code}"),
                valid_from: "2027-01-01".into(),
                valid_to: "2027-12-31".into(),
                email: Some(email.into()),
                ..RawJudge::default()
            };
            world.ok(&organiser(), Change::SetJudge(judge));
        }
        world.ledger.around.referees = BTreeMap::from([(20, Ties::default()), (21, Ties::default())]);
        world.now = opens() + SignedDuration::from_mins(30);
        world
    }

    /// Asks without having seen anything.
    pub fn ask(&mut self, actor: &Actor, change: Change) -> Result<Decided, Refusal> {
        self.ask_with(actor, Precondition::None, change)
    }

    pub fn ask_with(&mut self, actor: &Actor, precondition: Precondition, change: Change) -> Result<Decided, Refusal> {
        let n = u8::try_from(self.log.len() % 251).unwrap();
        let asked = Asked {
            actor: actor.clone(),
            competition: "tidewater".into(),
            received: self.now,
            precondition,
            salt: [n; 32],
            change,
        };
        let decided = self.ledger.decide(&asked, self.now)?;
        for (id, person, _) in &decided.persons {
            self.ledger.persons.insert(*id, person.clone());
        }
        let who = decided.actor.clone().unwrap_or(ActorRef { account: None, role: None });
        for event in decided.events.clone() {
            self.fold(who.clone(), event);
        }
        Ok(decided)
    }

    fn fold(&mut self, actor: ActorRef, event: Event) {
        let record = Record { seq: self.ledger.head.seq + 1, at: self.now, actor, subject: event.subject(), event };
        self.placements.extend(self.ledger.fold(&record).placements);
        self.log.push(record);
    }

    pub fn ok(&mut self, actor: &Actor, change: Change) -> Outcome {
        self.ask(actor, change).expect("allowed").outcome
    }

    /// Does something with bib's score in w1, having seen its newest state.
    pub fn score(&mut self, actor: &Actor, bib: u32, what: Move) -> Result<Decided, Refusal> {
        let seen = self.attempt(bib).map_or(Precondition::None, |a| Precondition::Match(vec![a.tag()]));
        self.ask_with(actor, seen, Change::Score { workout: "w1".into(), bib, what })
    }

    pub fn attempt(&self, bib: u32) -> Option<&Attempt> {
        self.ledger.attempts.get(&("w1".to_owned(), bib)).and_then(|all| all.last())
    }

    pub fn move_entry(&mut self, bib: u32, change: EntryChange) -> Result<Decided, Refusal> {
        self.ask(&organiser(), Change::MoveEntry { bib, change, dry_run: false })
    }

    /// The ledger that the log alone gives: what the verifier compares with.
    #[expect(clippy::wrong_self_convention, reason = "from the log of this world")]
    pub fn from_log(&self) -> Ledger {
        let mut ledger = Ledger::default();
        for record in &self.log {
            let bytes = record.to_bytes();
            let read: Record = serde_json::from_slice(&bytes).expect("records read back");
            assert_eq!(read.to_bytes(), bytes, "records read back to the same bytes");
            ledger.fold(&read);
        }
        ledger
    }
}

pub fn submit(text: &str) -> Submit {
    Submit {
        performance: RawPerformance::Text(text.into()),
        attempt: None,
        level: None,
        performed_at: None,
        gym: None,
        no_reps: None,
        without_no_reps: false,
        video: None,
        attestation: None,
        reason: Some("sheet read again".into()),
        confirm: Vec::new(),
        expect_name: None,
        revise: false,
        row: false,
    }
}

pub fn attested(text: &str) -> Submit {
    Submit { attestation: Some(by_judge("J-1")), ..submit(text) }
}

pub fn by_judge(code: &str) -> Attest {
    Attest { judge: code.into(), how: How::PaperSheet, sheet: None, attempt: None }
}

/// Codes of the faults of a refusal.
pub fn codes(refusal: &Refusal) -> BTreeSet<String> {
    match refusal {
        Refusal::Faults(faults) => faults.iter().map(|f| f.sentence.code.to_string()).collect(),
        Refusal::Ask(questions) => questions.iter().map(|q| q.sentence.code.to_string()).collect(),
        Refusal::Conflict(s, _) | Refusal::NotAllowed(s) | Refusal::NotFound(s) => BTreeSet::from([s.code.to_string()]),
        Refusal::PreconditionRequired(..) => BTreeSet::from(["428".to_owned()]),
        Refusal::PreconditionFailed(_) => BTreeSet::from(["412".to_owned()]),
        Refusal::NotSignedIn => BTreeSet::from(["401".to_owned()]),
    }
}
