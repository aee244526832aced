//! A competition as its log tells it: changes are decided on it, records are folded into it.
//!
//! The writer loads the part of a [`Ledger`] that a group of changes touches, asks
//! [`Ledger::decide`] for each, folds what was accepted with [`Ledger::fold`], and writes the
//! rows that [`Effects`] names. `log verify` folds the whole log into an empty ledger and
//! compares. There is no second way.

mod amend;
mod apply;
mod attest;
mod case;
mod entries;
mod erase;
mod extend;
mod faults;
mod fold;
mod meant;
mod notes;
mod referee;
mod statements;
mod submit;
mod touches;

pub use attest::state_words;
pub use case::{counting, shown};
pub use meant::meant;
pub use notes::{LONGEST_NOTE, commitment as note_commitment};
pub use referee::APPEAL_WITHIN;
pub use statements::{awaiting, withdrawal_ends};

use super::access::Actor;
use super::competition::{Competition, Difference, RawCompetition};
use super::event::{Event, Extension, Reworked};
use super::fault::{Fault, Question, Warning};
use super::life::{Attempt, Move};
use super::people::{Entry, Gym, Judge, Person};
use super::placement::Placement;
use super::quantity::Grams;
use super::roster::{EntryChange, EntryFacts, RawEntry, RawGym, RawJudge};
use super::tag::Tag;
use crate::words::Sentence;
use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

/// Counters of a competition's head row, all from the log.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Head {
    /// Sequence of the last record; 0: none.
    pub seq: u64,
    /// Instant of the last record, microseconds.
    pub at: i64,
    /// Highest bib given out.
    pub last_bib: u32,
    /// Highest person number given out.
    pub last_person: u64,
    /// Highest note number given out.
    pub last_note: u64,
}

/// Sheets and judges in use around a score, for its warnings.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Around {
    /// Heaviest stored for (workout, division, level), where there are at least ten.
    pub heaviest: HashMap<(String, String, u8), Grams>,
    /// (workout, sheet) → (gym performed in, bib) that have it.
    pub sheets: HashMap<(String, String), BTreeSet<(String, u32)>>,
    /// Judge code → (workout, bib, `performed_at`) of others around those asked about: the last by then and the first
    /// after it, at the least.
    pub judging: HashMap<String, Vec<(String, u32, Timestamp)>>,
    /// (judge code, bib) held by one and the same account.
    pub same_account: BTreeSet<(String, u32)>,
    /// Accounts that are referees of the competition, with what binds them.
    pub referees: BTreeMap<i64, Ties>,
    /// The same of accounts that ask to referee without being one.
    pub others: BTreeMap<i64, Ties>,
}

/// What binds an account to gyms and entries of a competition.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ties {
    /// Gyms it belongs to (as staff, as an athlete) or moved from in this competition.
    pub gyms: BTreeSet<String>,
    /// Its own bibs.
    pub bibs: BTreeSet<u32>,
}

/// The state of one competition, or the part of it that a group of changes touches.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    /// Counters.
    pub head: Head,
    /// Log position at which the file in force was applied.
    pub definition_seq: u64,
    /// The file in force; `None`: no competition yet.
    pub definition: Option<(Arc<RawCompetition>, Arc<Competition>)>,
    /// By slug.
    pub gyms: BTreeMap<String, Gym>,
    /// By bib.
    pub entries: BTreeMap<u32, Entry>,
    /// Person number → bib, of the same.
    pub bibs: HashMap<u64, u32>,
    /// By code.
    pub judges: BTreeMap<String, Judge>,
    /// Personal facts by person number; erased ones are absent. Not from the log.
    pub persons: HashMap<u64, Person>,
    /// (folded name, birth) → bib, for entries sent without a bib.
    pub by_name: HashMap<(String, Option<Date>), u32>,
    /// (workout, bib) → attempts in order.
    pub attempts: BTreeMap<(String, u32), Vec<Attempt>>,
    /// (workout, bib) of those who take no part → when that was stated.
    pub not_taking_part: BTreeMap<(String, u32), Timestamp>,
    /// Extensions in force, oldest first; the last that fits holds.
    pub extensions: Vec<Extension>,
    /// Texts of the video notes of the attempts loaded, by note number. Not from the log.
    pub videos: HashMap<u64, String>,
    /// What is around the scores touched.
    pub around: Around,
}

/// What is asked of the state the caller has seen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Precondition {
    /// Nothing sent.
    #[default]
    None,
    /// `If-None-Match: *`.
    Absent,
    /// `If-Match: *`.
    Any,
    /// `If-Match: "8812-5f0c1a9be2d3"`: one of these states. Weak or unreadable tags never match
    /// and are left out.
    Match(Vec<Tag>),
}

impl Precondition {
    /// What the hidden field of a form says; `None`: it is empty. What is no tag matches nothing.
    #[must_use]
    pub fn of_field(text: &str) -> Option<Self> {
        (!text.is_empty()).then(|| Self::Match(text.parse().into_iter().collect()))
    }
}

/// A change to one competition, as somebody asks for it.
#[derive(Clone, Debug, PartialEq)]
#[expect(clippy::large_enum_variant, reason = "scores are by far the most: a box for each costs more than it saves")]
pub enum Change {
    /// Apply a competition file.
    Apply {
        /// The file.
        raw: Box<RawCompetition>,
        /// Only say what would change.
        dry_run: bool,
        /// Work stored scores out again where their meaning changes.
        rescore: bool,
        /// Why: needed where something that is published changes, and everybody reads it. Empty: none.
        reason: String,
    },
    /// Add or change a gym.
    SetGym(RawGym),
    /// Add or change an entry.
    SetEntry(RawEntry),
    /// Add or change a judge.
    SetJudge(RawJudge),
    /// Change an entry's division, gym or state.
    MoveEntry {
        /// Whose.
        bib: u32,
        /// What.
        change: EntryChange,
        /// Only say what would happen to each score.
        dry_run: bool,
    },
    /// Put right who an entry is, or hide or show its name.
    AmendEntry {
        /// Whose.
        bib: u32,
        /// What.
        facts: EntryFacts,
    },
    /// Something with a score.
    Score {
        /// Workout slug.
        workout: String,
        /// Whose.
        bib: u32,
        /// What.
        what: Move,
    },
    /// Take the personal facts of somebody away for good, with all notes about their entry.
    Erase(Whose),
    /// Move a workout's windows for a gym or a region.
    Extend {
        /// What.
        extension: Extension,
        /// Why.
        reason: String,
    },
}

/// Whose personal facts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Whose {
    /// Of the entry with this bib.
    Entry(u32),
    /// Of the judge with this code.
    Judge(String),
    /// Of the contact of this gym.
    Contact(String),
    /// Of the contact of this gym, where it is the same person: of the same name and address.
    ContactToo(String, Box<Whose>),
}

/// A change with everything its decision depends on.
#[derive(Clone, Debug)]
pub struct Asked {
    /// Who.
    pub actor: Actor,
    /// Competition slug.
    pub competition: String,
    /// When the request's head was read.
    pub received: Timestamp,
    /// What state the caller has seen.
    pub precondition: Precondition,
    /// Random bytes for commitments.
    pub salt: [u8; 32],
    /// What.
    pub change: Change,
}

/// What was decided: records to append and personal facts to keep apart.
#[derive(Clone, Debug, Default)]
pub struct Decided {
    /// In order; none: nothing changes.
    pub events: Vec<Event>,
    /// In whose name.
    pub actor: Option<super::access::ActorRef>,
    /// Person number, facts, salt.
    pub persons: Vec<(u64, Person, [u8; 32])>,
    /// Note number, text, salt, and the bib it is about.
    pub notes: Vec<(u64, String, [u8; 32], Option<u32>)>,
    /// What the caller is told.
    pub outcome: Outcome,
    /// Remarks.
    pub warnings: Vec<Warning>,
}

/// What the caller is told. Kept as JSON to be told again.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub enum Outcome {
    /// Nothing changed.
    #[default]
    Unchanged,
    /// A score was touched; `created`: there was none of this attempt.
    Score {
        /// 201 rather than 200.
        created: bool,
        /// Which attempt, to be read after the fold.
        attempt: u32,
    },
    /// A gym, entry or judge.
    Roster {
        /// 201 rather than 200.
        created: bool,
        /// Slug, bib or code.
        id: String,
    },
    /// A file was, or would be, applied.
    Applied {
        /// There was no such competition.
        created: bool,
        /// What changes.
        differences: Vec<Difference>,
        /// Scores worked out again.
        reworked: Vec<Reworked>,
    },
    /// An entry was, or would be, moved.
    Moved {
        /// What happens to each score.
        reworked: Vec<Reworked>,
    },
    /// A statement about an entry was made or taken back.
    Stated,
}

/// Why nothing happens.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// 401.
    NotSignedIn,
    /// 403.
    NotAllowed(Sentence),
    /// 404.
    NotFound(Sentence),
    /// 409: a move the state does not allow, or a change that needs `rescore`.
    Conflict(Sentence, Vec<Difference>),
    /// 428.
    PreconditionRequired(Sentence, Option<Box<Attempt>>),
    /// 412, with what is there now.
    PreconditionFailed(Option<Box<Attempt>>),
    /// 422: faults, all at once.
    Faults(Vec<Fault>),
    /// 422: questions to be answered with yes.
    Ask(Vec<Question>),
}

/// A table row that a record changed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "each is the key of the row in the ledger")]
pub enum RowKey {
    Definition,
    Gym(String),
    Entry(u32),
    Judge(String),
    Attempt {
        workout: String,
        bib: u32,
        attempt: u32,
    },
    /// Present in the ledger's set: insert; absent: delete.
    NotTakingPart {
        workout: String,
        bib: u32,
    },
    /// Index into the ledger's extensions.
    Extension(usize),
    /// To be deleted with all notes about its entry.
    Person(u64),
}

/// What folding a record did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Effects {
    /// Rows to write, from the ledger.
    pub rows: Vec<RowKey>,
    /// What it did to the places.
    pub placements: Vec<Placement>,
}

/// A sheet that comes with a score.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct SheetSent {
    /// Workout slug.
    pub workout: String,
    /// Its number.
    pub sheet: String,
    /// Whose score.
    pub bib: u32,
    /// Where it was done, as far as that is said.
    pub gym: Option<String>,
}

/// Which parts of a ledger a change needs loaded.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Touches {
    /// Gyms by slug.
    pub gyms: BTreeSet<String>,
    /// Entries (with their persons) by bib; also by the athletes' own bibs of `referees`.
    pub bibs: BTreeSet<u32>,
    /// Entries by folded name and birth, for those sent without a bib.
    pub names: BTreeSet<(String, Option<Date>)>,
    /// Judges (with their persons) by code.
    pub judges: BTreeSet<String>,
    /// Attempts and statements of (workout, bib).
    pub scores: BTreeSet<(String, u32)>,
    /// Video links of the attempts of these (workout, bib).
    pub videos: BTreeSet<(String, u32)>,
    /// All attempts of these bibs.
    pub all_scores_of: BTreeSet<u32>,
    /// All attempts of the competition with their entries (a file is applied over stored scores).
    pub everything: bool,
    /// Sheets that come with scores: who else has them in the same gym.
    pub sheets: BTreeSet<SheetSent>,
    /// Whom a judge counted beside (workout, bib) at this instant, or when its attempts were performed.
    pub judging: BTreeSet<(String, String, u32, Timestamp)>,
    /// (judge, bib) to look up in [`Around::same_account`].
    pub same_account: BTreeSet<(String, u32)>,
    /// Heaviest of every division and level of these workouts (`max_load` only).
    pub heaviest: BTreeSet<String>,
    /// All referees of the competition with their ties, and this account's ties even if it is
    /// none (then in [`Around::others`]).
    pub referees: Option<Option<i64>>,
}

impl Ledger {
    /// The tag of the file in force; `None`: there is none.
    #[must_use]
    pub fn definition_tag(&self) -> Option<Tag> {
        self.definition.as_ref().map(|(raw, _)| Tag::of(self.definition_seq, &**raw))
    }

    /// Decides one change on this state. Never changes it.
    pub fn decide(&self, asked: &Asked, now: Timestamp) -> Result<Decided, Refusal> {
        match &asked.change {
            Change::Apply { raw, dry_run, rescore, reason } => {
                apply::apply(self, asked, raw, &apply::How { dry_run: *dry_run, rescore: *rescore, reason })
            }
            Change::SetGym(raw) => entries::set_gym(self, asked, raw),
            Change::SetEntry(raw) => entries::set_entry(self, asked, raw),
            Change::SetJudge(raw) => entries::set_judge(self, asked, raw),
            Change::MoveEntry { bib, change, dry_run } => entries::move_entry(self, asked, *bib, change, *dry_run),
            Change::AmendEntry { bib, facts } => amend::amend(self, asked, *bib, facts),
            Change::Erase(whose) => erase::erase(self, asked, whose),
            Change::Extend { extension, reason } => extend::extend(self, asked, extension, reason),
            Change::Score { workout, bib, what } => {
                let case = case::Case::find(self, asked, now, workout, *bib)?;
                match what {
                    Move::Submit(sent) => submit::submit(&case, sent),
                    Move::Attest(sent) => attest::attest_stored(&case, sent),
                    Move::Withdraw => statements::withdraw(&case),
                    Move::NotTakingPart => statements::taking_part(&case, true),
                    Move::TakingPart => statements::taking_part(&case, false),
                    Move::Flag { reason, note, withhold } => referee::flag(&case, *reason, note, *withhold),
                    Move::Rule { decision, reason, on_appeal } => referee::rule(&case, decision, reason, *on_appeal),
                    Move::Appeal { reason } => referee::appeal(&case, reason),
                    Move::Admit { admit, reason } => statements::admit(&case, *admit, reason),
                }
            }
        }
    }
}
