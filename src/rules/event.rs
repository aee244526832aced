//! What the log remembers: one [`Event`] a change, and the exact bytes that are hashed.
//!
//! Bodies hold no personal data: people are a number and a commitment, free text about people is
//! a [`NoteRef`]. Fields are only ever added, with defaults: a log must stay readable for ever.

use super::access::ActorRef;
use super::competition::RawCompetition;
use super::life::{Attestation, Details, FlagReason, Ruled, Stored};
use super::people::{Entry, Gym, Judge, fold_name};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// Free text that stands apart from the log: what the log has of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct NoteRef {
    /// Number within the competition, from 1.
    pub id: u64,
    /// Hex SHA-256 of salt and text.
    pub commitment: String,
}

/// A score named: workout, bib, attempt.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct ScoreRef {
    /// Workout slug.
    pub workout: String,
    /// Bib.
    pub bib: u32,
    /// From 1.
    pub attempt: u32,
}

/// A stored score worked out again, or moved with its entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reworked {
    /// Which.
    pub score: ScoreRef,
    /// Its figures now; `None`: as they were.
    pub stored: Option<Stored>,
    /// Whether its attestation is void from here on (state `entered`).
    pub void: bool,
    /// Whether it can be attested only with new figures.
    pub stale: bool,
    /// The correction that waits beside it, worked out again; `None`: as it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waiting: Option<Stored>,
    /// The figures from before its ruling, worked out again; `None`: as they were.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Stored>,
}

/// What of an entry was put right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Amended {
    /// The name.
    Name,
    /// The e-mail.
    Email,
    /// Whether a guardian has consented.
    Consent,
    /// Everybody may read the name from here on.
    Shown,
    /// Nobody else may any more.
    Hidden,
}

/// Everything that can happen in a competition.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "action", content = "body", rename_all = "snake_case")]
#[expect(missing_docs, reason = "named by their own words; fields are documented where they are defined")]
pub enum Event {
    /// A competition file was applied.
    Applied {
        definition: Box<RawCompetition>,
        reworked: Vec<Reworked>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reason: Option<NoteRef>,
    },
    /// A gym was added or changed.
    GymSet { gym: Gym },
    /// An entry was added or its facts changed.
    EntrySet { entry: Entry },
    /// A judge was added or changed.
    JudgeSet { judge: Judge },
    /// An entry's division, gym or state was changed.
    EntryMoved { entry: Entry, reason: NoteRef, reworked: Vec<Reworked> },
    /// What is known of an entry was put right, or its name hidden or shown. Never what it was before.
    EntryAmended { entry: Entry, what: Vec<Amended> },
    /// Windows of a workout were moved for a gym or a region.
    Extended { extension: Extension, reason: NoteRef },
    /// A first score, a new attempt or new figures.
    Submitted {
        score: ScoreRef,
        version: u32,
        stored: Stored,
        details: Details,
        reason: Option<NoteRef>,
        late: bool,
        upward: bool,
    },
    /// Only sheet, note, no-reps or video changed.
    Detailed { score: ScoreRef, details: Details },
    /// A judge vouches for it. `waiting`: came after `attest_by`.
    Attested { score: ScoreRef, attestation: Attestation, waiting: bool },
    /// Taken back by the athlete or the gym.
    Withdrawn { score: ScoreRef },
    /// The gym states that an entry takes no part in a workout.
    NotTakingPart { workout: String, bib: u32 },
    /// … and takes that back.
    TakingPart { workout: String, bib: u32 },
    /// A referee doubts it. `withheld`: and takes it off the places.
    Flagged { score: ScoreRef, reason: FlagReason, note: Option<NoteRef>, withheld: bool },
    /// A referee's answer; `on_appeal`: to an appeal.
    Ruled { score: ScoreRef, ruling: Ruled, reason: NoteRef, on_appeal: bool },
    /// The ruling is appealed.
    Appealed { score: ScoreRef, reason: NoteRef },
    /// A late score, correction or attestation is let in, or not.
    Admitted { score: ScoreRef, admitted: bool, reason: NoteRef },
    /// A person's facts were erased.
    Erased { person: u64 },
}

/// Later windows for one gym or region.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Extension {
    /// Workout slug.
    pub workout: String,
    /// For this gym …
    pub gym: Option<String>,
    /// … or this region.
    pub region: Option<String>,
    /// The new `closes`.
    pub closes: Timestamp,
    /// The new `attest_by`.
    pub attest_by: Timestamp,
    /// With the file's own times: what they had been given before is taken back, and the file's times
    /// hold whatever becomes of it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub taken_back: bool,
}

impl Extension {
    /// Whether both are for the same gym or region.
    #[must_use]
    pub fn for_the_same(&self, other: &Self) -> bool {
        let region = |e: &Self| e.region.as_deref().map(fold_name);
        self.workout == other.workout && self.gym == other.gym && region(self) == region(other)
    }
}

/// One record of a competition's log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// From 1, without gaps.
    pub seq: u64,
    /// Never going back.
    pub at: Timestamp,
    /// Who.
    pub actor: ActorRef,
    /// What it is about: `w1/1042`, `entry/1042`, `gym/quayside`, `judge/J-0142`, `competition`.
    pub subject: String,
    /// What happened.
    #[serde(flatten)]
    pub event: Event,
}

impl Record {
    /// The exact bytes that are stored and hashed.
    ///
    /// # Panics
    /// Never: records are plain data, which always serialises.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("records are plain data")
    }
}

impl Event {
    /// What it is about, as [`Record::subject`].
    #[must_use]
    pub fn subject(&self) -> String {
        match self {
            Self::Applied { .. } => "competition".to_owned(),
            Self::GymSet { gym } => format!("gym/{}", gym.slug),
            Self::EntrySet { entry } | Self::EntryMoved { entry, .. } | Self::EntryAmended { entry, .. } => {
                format!("entry/{}", entry.bib)
            }
            Self::JudgeSet { judge } => format!("judge/{}", judge.code),
            Self::Extended { extension, .. } => format!("workout/{}", extension.workout),
            Self::NotTakingPart { workout, bib } | Self::TakingPart { workout, bib } => {
                format!("score/{workout}/{bib}")
            }
            Self::Erased { person } => format!("person/{person}"),
            Self::Submitted { score, .. }
            | Self::Detailed { score, .. }
            | Self::Attested { score, .. }
            | Self::Withdrawn { score }
            | Self::Flagged { score, .. }
            | Self::Ruled { score, .. }
            | Self::Appealed { score, .. }
            | Self::Admitted { score, .. } => format!("score/{}/{}", score.workout, score.bib),
        }
    }

    /// The texts that it has commitments of, and the bib they are about.
    #[must_use]
    pub fn notes(&self) -> (Option<u32>, Vec<&NoteRef>) {
        match self {
            Self::EntryMoved { entry, reason, .. } => (Some(entry.bib), vec![reason]),
            Self::Extended { reason, .. } => (None, vec![reason]),
            Self::Applied { reason, .. } => (None, reason.iter().collect()),
            Self::Submitted { score, details, reason, .. } => {
                (Some(score.bib), details.video.iter().chain(reason).collect())
            }
            Self::Detailed { score, details } => (Some(score.bib), details.video.iter().collect()),
            Self::Flagged { score, note, .. } => (Some(score.bib), note.iter().collect()),
            Self::Ruled { score, reason, .. }
            | Self::Appealed { score, reason }
            | Self::Admitted { score, reason, .. } => (Some(score.bib), vec![reason]),
            Self::GymSet { .. }
            | Self::EntrySet { .. }
            | Self::EntryAmended { .. }
            | Self::JudgeSet { .. }
            | Self::Attested { .. }
            | Self::Withdrawn { .. }
            | Self::NotTakingPart { .. }
            | Self::TakingPart { .. }
            | Self::Erased { .. } => (None, Vec::new()),
        }
    }

    /// The event's name, as in the record's `action`.
    #[must_use]
    pub fn action(&self) -> &'static str {
        match self {
            Self::Applied { .. } => "applied",
            Self::GymSet { .. } => "gym_set",
            Self::EntrySet { .. } => "entry_set",
            Self::JudgeSet { .. } => "judge_set",
            Self::EntryMoved { .. } => "entry_moved",
            Self::EntryAmended { .. } => "entry_amended",
            Self::Extended { .. } => "extended",
            Self::Submitted { .. } => "submitted",
            Self::Detailed { .. } => "detailed",
            Self::Attested { .. } => "attested",
            Self::Withdrawn { .. } => "withdrawn",
            Self::NotTakingPart { .. } => "not_taking_part",
            Self::TakingPart { .. } => "taking_part",
            Self::Flagged { .. } => "flagged",
            Self::Ruled { .. } => "ruled",
            Self::Appealed { .. } => "appealed",
            Self::Admitted { .. } => "admitted",
            Self::Erased { .. } => "erased",
        }
    }
}
