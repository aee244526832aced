//! The states of a score and its legal moves.
//!
//! An [`Attempt`] is what is known of one attempt; a [`Move`] is what somebody wants;
//! [`crate::rules::ledger`] decides one on the other. Nothing is ever deleted: the history is
//! the log.

use super::event::{NoteRef, ScoreRef};
use super::order::Key;
use super::performance::RawPerformance;
use super::tag::Tag;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// Where a score stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Stored, awaiting a judge. Not placed.
    Entered,
    /// Vouched for by a judge. Placed.
    Attested,
    /// Being checked by a referee. Placed.
    Flagged,
    /// Taken off the places until a ruling.
    Withheld,
    /// Figures by a referee's ruling. Placed.
    Amended,
    /// Struck by a ruling. Not placed.
    Struck,
    /// Taken back. Not placed.
    Withdrawn,
    /// Came after the deadline; waits for the organiser, or was refused. Not placed.
    Late,
}

impl State {
    /// Whether a score in this state has a place.
    #[must_use]
    pub fn placed(self) -> bool {
        matches!(self, Self::Attested | Self::Flagged | Self::Amended)
    }

    /// As in JSON and the tables.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Entered => "entered",
            Self::Attested => "attested",
            Self::Flagged => "flagged",
            Self::Withheld => "withheld",
            Self::Amended => "amended",
            Self::Struck => "struck",
            Self::Withdrawn => "withdrawn",
            Self::Late => "late",
        }
    }
}

/// Figures as stored: what an attestation vouches for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stored {
    /// Index in the competition's levels.
    pub level: u8,
    /// As sent.
    pub written: String,
    /// Canonical written form: reads back to the same performance.
    pub text: String,
    /// Its order.
    pub key: Key,
    /// When it was done.
    pub performed_at: Timestamp,
    /// Where it was done.
    pub gym: Option<String>,
    /// When the request's head was read.
    pub received_at: Timestamp,
    /// Hex digest of the prescription it was validated against.
    pub prescription: String,
    /// Account that sent it; `None`: the command line.
    pub by: Option<i64>,
}

/// What may change without voiding an attestation.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Details {
    /// No-reps called.
    pub no_reps: Option<u32>,
    /// Sheet number.
    pub sheet: Option<String>,
    /// Link to a video; stands apart, as it shows a person.
    pub video: Option<NoteRef>,
}

/// How an attestation was given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// The judge was signed in.
    SignedIn,
    /// Signed on a paper sheet.
    PaperSheet,
    /// Counted from a video.
    Video,
}

/// A qualified judge's statement that exactly this performance was counted to the standard.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Attestation {
    /// Judge code.
    pub judge: String,
    /// How it was given.
    pub how: How,
    /// Hex SHA-256 of what it vouches for ([`digest`]).
    pub digest: String,
    /// Account that recorded it; `None`: the command line.
    pub by: Option<i64>,
    /// When.
    pub at: Timestamp,
}

/// Why a referee doubts a score.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum FlagReason {
    Count,
    RangeOfMotion,
    Equipment,
    Tiebreak,
    Timing,
    Evidence,
    Identity,
    Other,
}

/// An open or answered doubt.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flag {
    /// Why.
    pub reason: FlagReason,
    /// In words.
    pub note: Option<NoteRef>,
    /// Account of the referee.
    pub by: Option<i64>,
    /// When.
    pub at: Timestamp,
    /// Log position.
    pub seq: u64,
    /// The state to return to.
    pub before: State,
}

/// What a ruling decides, as asked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[expect(missing_docs, reason = "rules.md section 8")]
pub enum Decision {
    /// As before the flag.
    Stands,
    /// Takes reps off; seconds instead of reps for a finish time without a published rate.
    Deduct { reps: Option<u64>, seconds: Option<u64>, tiebreak: Option<String>, no_tiebreak: bool },
    /// Puts other figures.
    Replace { performance: RawPerformance, level: Option<String> },
    /// Off for good.
    Strike,
    /// On appeal: gives back figures and state from before the ruling.
    Restore,
}

/// The kind of a ruling.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "rules.md section 8")]
pub enum RulingKind {
    Stands,
    Deduct,
    Replace,
    Strike,
    Restore,
}

/// What a ruling decided, as worked out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ruled {
    /// Which kind.
    pub kind: RulingKind,
    /// The state from here on.
    pub state: State,
    /// The new figures, a revision by the referee; `None`: the figures stay.
    pub stored: Option<Stored>,
    /// Revision number when `stored` is given, else the current one.
    pub version: u32,
}

/// The last ruling on an attempt.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ruling {
    /// Which kind.
    pub kind: RulingKind,
    /// In words; public.
    pub reason: NoteRef,
    /// Account of who decided.
    pub by: Option<i64>,
    /// When.
    pub at: Timestamp,
    /// Log position.
    pub seq: u64,
    /// State before the flag and the ruling.
    pub before_state: State,
    /// Figures before it.
    pub before: Stored,
    /// Attestation before it.
    pub before_attestation: Option<Attestation>,
    /// Decided an appeal: final.
    pub on_appeal: bool,
}

/// An appeal against the ruling.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Appeal {
    /// Why.
    pub reason: NoteRef,
    /// Account.
    pub by: Option<i64>,
    /// When.
    pub at: Timestamp,
    /// Whether it has been decided.
    pub decided: bool,
}

/// A correction that came late and waits beside the score.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Waiting {
    /// The figures.
    pub stored: Stored,
    /// Their details.
    pub details: Details,
    /// Refused by the organiser.
    pub refused: bool,
}

/// All that is known of one attempt now. What is not there takes no room in a table of millions.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own; none excludes another")]
pub struct Attempt {
    /// Which.
    pub score: ScoreRef,
    /// Revisions so far.
    pub version: u32,
    /// Log position of the last change of any kind.
    pub etag: u64,
    /// Where it stands.
    pub state: State,
    /// The figures that count now.
    pub stored: Stored,
    /// Sheet, no-reps, video.
    pub details: Details,
    /// Valid for exactly these figures.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attestation: Option<Attestation>,
    /// An attestation that came after `attest_by`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waiting_attestation: Option<Attestation>,
    /// A late correction.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waiting: Option<Waiting>,
    /// For `Late`: refused by the organiser; may still be admitted.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub refused: bool,
    /// The open flag.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flag: Option<Flag>,
    /// The last ruling.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ruling: Option<Ruling>,
    /// The appeal against it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub appeal: Option<Appeal>,
    /// Only a referee changes figures: an open flag, or any ruling but `stands`.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub locked: bool,
    /// Can be attested only with new figures: its prescription changed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub stale: bool,
    /// A correction upward after `closes`: for the referees.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub upward: bool,
    /// Accounts that flagged or ruled on it, in turn.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub officials: Vec<i64>,
}

impl Attempt {
    /// An attempt as its first submission makes it.
    #[must_use]
    pub fn new(score: ScoreRef, version: u32, etag: u64, state: State, stored: Stored, details: Details) -> Self {
        Self {
            score,
            version,
            etag,
            state,
            stored,
            details,
            attestation: None,
            waiting_attestation: None,
            waiting: None,
            refused: false,
            flag: None,
            ruling: None,
            appeal: None,
            locked: false,
            stale: false,
            upward: false,
            officials: Vec::new(),
        }
    }

    /// The tag of this state, by which a change says what it has seen.
    #[must_use]
    pub fn tag(&self) -> Tag {
        Tag::of(self.etag, self)
    }

    /// The key it is placed by, if it is placed.
    #[must_use]
    pub fn placed_key(&self) -> Option<Key> {
        self.state.placed().then_some(self.stored.key)
    }
}

/// What somebody wants with a score.
#[derive(Clone, Debug, PartialEq, Eq)]
#[expect(
    clippy::large_enum_variant,
    reason = "submissions are by far the most: a box for each costs more than it saves"
)]
pub enum Move {
    /// Store a first score, new figures or details.
    Submit(Submit),
    /// Vouch for it.
    Attest(Attest),
    /// Take it back.
    Withdraw,
    /// State that the entry takes no part.
    NotTakingPart,
    /// Take that back.
    TakingPart,
    /// Doubt it.
    Flag {
        /// Why.
        reason: FlagReason,
        /// In words.
        note: String,
        /// Take it off the places too.
        withhold: bool,
    },
    /// Answer the doubt, or an appeal.
    Rule {
        /// What.
        decision: Decision,
        /// Public.
        reason: String,
        /// Decides the appeal.
        on_appeal: bool,
    },
    /// Appeal the ruling.
    Appeal {
        /// Why.
        reason: String,
    },
    /// Let a late score, correction or attestation in, or not.
    Admit {
        /// In or not.
        admit: bool,
        /// Why.
        reason: String,
    },
}

/// A score as sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Submit {
    /// What was done.
    pub performance: RawPerformance,
    /// Default: the attempt whose state was seen, else the one that counts, else the latest, else 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attempt: Option<u32>,
    /// Level slug; default: the division's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<String>,
    /// Default: receipt, or `closes` − 1 s if that is earlier.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub performed_at: Option<Timestamp>,
    /// Where; default: the entry's gym.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gym: Option<String>,
    /// No-reps called.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_reps: Option<u32>,
    /// The count of no-reps that is stored is taken away; without it, none here leaves it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub without_no_reps: bool,
    /// Link to a video; empty takes the one that is stored away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub video: Option<String>,
    /// Attested in the same request.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attestation: Option<Attest>,
    /// Why; compulsory for a correction upward after `closes`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Codes of questions answered with yes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub confirm: Vec<String>,
    /// For rows of a file: a name that must match the bib's.
    #[serde(skip)]
    pub expect_name: Option<String>,
    /// For rows of a file: the current etag stands in for `If-Match`.
    #[serde(skip)]
    pub revise: bool,
    /// For rows of a file: same figures are unchanged, other figures without `revise` are refused.
    #[serde(skip)]
    pub row: bool,
}

/// An attestation as sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Attest {
    /// Judge code.
    pub judge: String,
    /// How it was given.
    pub how: How,
    /// Sheet number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// Which attempt; default: the one whose state was seen, else the one that counts, else the latest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attempt: Option<u32>,
}

/// What an attestation vouches for: hex SHA-256 of competition, workout, bib, attempt, level,
/// figures with tiebreak, `performed_at`, gym and prescription, as JSON in that order.
///
/// # Panics
/// Never: what it vouches for is plain data, which always serialises.
#[must_use]
pub fn digest(competition: &str, score: &ScoreRef, stored: &Stored) -> String {
    use sha2::Digest;
    let bytes = serde_json::to_vec(&(
        competition,
        &score.workout,
        score.bib,
        score.attempt,
        stored.level,
        &stored.text,
        stored.performed_at.as_microsecond(),
        &stored.gym,
        &stored.prescription,
    ))
    .expect("plain data");
    hex::encode(sha2::Sha256::digest(&bytes))
}
