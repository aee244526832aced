//! A score as its readers see it: figures, attestation, flag, ruling; its history; working lists.

use crate::rules::performance::PerformanceView;
use jiff::Timestamp;
use serde::Serialize;
use utoipa::ToSchema;

/// The form of [`PerformanceView`], for the API's description: only the members of the workout's
/// format are there.
#[derive(ToSchema)]
#[schema(as = Performance)]
pub struct PerformanceForm {
    /// `amrap`, `for_time`, `max_load`, `max_count` or `intervals`.
    #[schema(example = "amrap")]
    pub format: String,
    /// All reps, of an amrap or of a `for_time` stopped at its cap.
    #[schema(required = false, nullable = false, example = 278)]
    pub total_reps: Option<u64>,
    /// Whole rounds of the repeating block; null inside an unfinished buy-in.
    #[schema(required = false, example = 6)]
    pub rounds: Option<u64>,
    /// Reps of the next round.
    #[schema(required = false, nullable = false, example = 14)]
    pub reps: Option<u64>,
    /// Of a `for_time`: whether it was finished.
    #[schema(required = false, nullable = false)]
    pub finished: Option<bool>,
    /// A finish time, rounded, milliseconds.
    #[schema(required = false, nullable = false)]
    pub time_ms: Option<u64>,
    /// What a `max_load` is ranked by, grams.
    #[schema(required = false, nullable = false)]
    pub grams: Option<u64>,
    /// Each lift in grams; null: missed.
    #[schema(required = false, nullable = false)]
    pub loads: Option<Vec<Option<u64>>>,
    /// A count.
    #[schema(required = false, nullable = false)]
    pub count: Option<u64>,
    /// Of what: `reps`, `calories` or `metres`.
    #[schema(required = false, nullable = false)]
    pub unit: Option<String>,
    /// Each interval: counts, or rounded milliseconds.
    #[schema(required = false, nullable = false)]
    pub intervals: Option<Vec<u64>>,
    /// Their combined figure.
    #[schema(required = false, nullable = false)]
    pub combined: Option<u64>,
    /// The tiebreak time, rounded, milliseconds.
    #[schema(required = false, nullable = false, example = 684_000)]
    pub tiebreak_ms: Option<u64>,
    /// As shown to readers.
    #[schema(example = "6+14 tb 11:24")]
    pub text: String,
    /// As it was sent.
    #[schema(example = "6+14 tb 11:24")]
    pub written: String,
}

/// Something to be told, by code and in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RemarkView {
    /// JSON pointer into what was sent; empty: the whole.
    #[schema(example = "/performance")]
    pub pointer: String,
    /// Stable.
    #[schema(example = "tiebreak_missing")]
    pub code: String,
    /// In words.
    pub message: String,
}

/// A place in a division.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct PlaceView {
    /// Which division.
    #[schema(example = "women")]
    pub division: String,
    /// The place; null: not placed.
    #[schema(example = 12)]
    pub place: Option<u32>,
    /// Among how many placed.
    #[schema(example = 311)]
    pub of: u32,
}

/// Who vouches for the figures.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct AttestationView {
    /// Judge code.
    #[schema(example = "J-0142")]
    pub judge: String,
    /// `signed_in`, `paper_sheet` or `video`.
    #[schema(example = "paper_sheet")]
    pub how: &'static str,
    /// When.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
}

/// An open doubt.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct FlagView {
    /// Why.
    #[schema(example = "range_of_motion")]
    pub reason: &'static str,
    /// In words; for referees, the organiser and the score's own people.
    pub note: Option<String>,
    /// When.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
}

/// A decision, with its public reason.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RulingView {
    /// `stands`, `deduct`, `replace`, `strike` or `restore`.
    #[schema(example = "deduct")]
    pub kind: &'static str,
    /// Public; null: erased.
    pub reason: Option<String>,
    /// When.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
    /// The figures before it, which stay visible.
    #[schema(value_type = PerformanceForm)]
    pub before: PerformanceView,
    /// Whether it decided an appeal.
    pub on_appeal: bool,
}

/// An appeal against a ruling.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct AppealView {
    /// Why; for referees, the organiser and the score's own people.
    pub reason: Option<String>,
    /// When.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
    /// Whether it has been decided.
    pub decided: bool,
}

/// A late correction that waits beside the score.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct WaitingView {
    /// Its figures.
    #[schema(value_type = PerformanceForm)]
    pub performance: PerformanceView,
    /// When it came.
    #[schema(value_type = String, format = DateTime)]
    pub received_at: Timestamp,
    /// Refused by the organiser; may still be admitted.
    pub refused: bool,
}

/// One attempt.
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own, as JSON and pages say it")]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ScoreView {
    /// Which competition.
    #[schema(example = "saltmarsh")]
    pub competition: String,
    /// Which workout.
    #[schema(example = "w1")]
    pub workout: String,
    /// Whose.
    #[schema(example = 1042)]
    pub bib: u32,
    /// From 1.
    #[schema(example = 1)]
    pub attempt: u32,
    /// Revisions so far.
    #[schema(example = 1)]
    pub version: u32,
    /// Names this state of the score, by the log position of its last change and what it then was:
    /// send it as `If-Match`.
    #[schema(example = "8812-5f0c1a9be2d3")]
    pub etag: String,
    /// Log position of its last change.
    #[serde(skip)]
    pub changed_at: u64,
    /// `entered`, `attested`, `flagged`, `withheld`, `amended`, `struck`, `withdrawn` or `late`.
    #[schema(example = "attested")]
    pub state: &'static str,
    /// How the workout was done.
    #[schema(example = "prescribed")]
    pub level: String,
    /// The figures.
    #[schema(value_type = PerformanceForm)]
    pub performance: PerformanceView,
    /// When it was done.
    #[schema(value_type = String, format = DateTime, example = "2027-01-16T10:40:00Z")]
    pub performed_at: Timestamp,
    /// Where it was done.
    #[schema(example = "quayside")]
    pub gym: Option<String>,
    /// When the request was received.
    #[schema(value_type = String, format = DateTime, example = "2027-01-16T11:02:10Z")]
    pub received_at: Timestamp,
    /// How long after `closes` it was received, milliseconds; null: in time.
    pub late_by_ms: Option<u64>,
    /// No-reps called.
    pub no_reps: Option<u32>,
    /// Sheet number.
    pub sheet: Option<String>,
    /// Link to a video; for referees, the organiser and the score's own people.
    pub video: Option<String>,
    /// Who vouches for it.
    pub attestation: Option<AttestationView>,
    /// An attestation that came after `attest_by` and waits.
    pub waiting_attestation: Option<AttestationView>,
    /// A late correction that waits.
    pub waiting: Option<WaitingView>,
    /// A late score that was refused; may still be admitted.
    pub refused: bool,
    /// Only a referee changes its figures.
    pub locked: bool,
    /// Can be attested only with new figures: its prescription changed.
    pub stale: bool,
    /// Corrected upward after `closes`.
    pub upward: bool,
    /// The open doubt.
    pub flag: Option<FlagView>,
    /// The last decision.
    pub ruling: Option<RulingView>,
    /// The appeal against it.
    pub appeal: Option<AppealView>,
    /// Taken, but somebody should know. Only in the answer to a write.
    pub warnings: Vec<RemarkView>,
    /// Places in the workout, by division. Only in the answer to a write, where the standings have it already.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub places: Option<Vec<PlaceView>>,
    /// Log position of this answer.
    #[schema(example = 8812)]
    pub log_seq: u64,
}

/// The attempt that counts (else the latest), with all of them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ScoreWithAttempts {
    /// The attempt that counts, else the latest.
    #[serde(flatten)]
    pub score: ScoreView,
    /// All attempts, in order.
    pub attempts: Vec<ScoreView>,
}

/// What a write to a score did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// There was none of this attempt: 201.
    pub created: bool,
    /// Nothing changed.
    pub unchanged: bool,
    /// The attempt afterwards, with its places.
    pub score: ScoreView,
}

/// What storing a score as sent would do. Nothing is stored.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct CheckView {
    /// Which workout.
    #[schema(example = "w1")]
    pub workout: String,
    /// Whose.
    #[schema(example = 1042)]
    pub bib: u32,
    /// Whether it would be stored as it is: no fault, and no open question.
    pub fits: bool,
    /// The figures as readers would see them; null: they cannot be read.
    #[schema(example = "6+14 tb 11:24")]
    pub text: Option<String>,
    /// Nothing would change: it is stored already.
    pub unchanged: bool,
    /// It would be stored as late, without a place.
    pub late: bool,
    /// To be mended, all at once.
    pub faults: Vec<RemarkView>,
    /// To be answered with yes: send the codes as `confirm`.
    pub questions: Vec<RemarkView>,
    /// It would be taken, but somebody should know.
    pub warnings: Vec<RemarkView>,
    /// The places it would have once it is attested, in its division and the combined ones; none
    /// where it would have none, or where its reader may not see places yet.
    pub places: Vec<PlaceView>,
    /// Log position of this answer.
    #[schema(example = 8812)]
    pub log_seq: u64,
}

/// A statement that an entry takes part, or not, in a workout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct StatedView {
    /// Which workout.
    #[schema(example = "w1")]
    pub workout: String,
    /// Whose.
    #[schema(example = 1042)]
    pub bib: u32,
    /// What is stated now.
    pub not_taking_part: bool,
    /// Log position of this answer.
    pub log_seq: u64,
}

/// One record about a score.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct HistoryItem {
    /// Log position.
    #[schema(example = 8812)]
    pub seq: u64,
    /// When.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
    /// What happened: `submitted`, `detailed`, `attested`, `withdrawn`, `flagged`, `ruled`,
    /// `appealed`, `admitted`, `not_taking_part`, `taking_part`.
    #[schema(example = "submitted")]
    pub action: &'static str,
    /// In which role; null: the command line.
    #[schema(example = "staff")]
    pub role: Option<&'static str>,
    /// Which attempt.
    pub attempt: Option<u32>,
    /// Which revision the figures are.
    pub version: Option<u32>,
    /// The figures, where it set some.
    #[schema(value_type = Option<PerformanceForm>)]
    pub performance: Option<PerformanceView>,
    /// Who vouched, where somebody did.
    pub attestation: Option<AttestationView>,
    /// Reason of a flag.
    pub flag: Option<&'static str>,
    /// Kind of a ruling.
    pub ruling: Option<&'static str>,
    /// The state a ruling led to.
    pub state: Option<&'static str>,
    /// Whether an admission let it in.
    pub admitted: Option<bool>,
    /// Came after the deadline.
    pub late: bool,
    /// A correction upward after `closes`.
    pub upward: bool,
    /// In words, where its reader may see it.
    pub reason: Option<String>,
}

/// All that happened to a score, oldest first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct HistoryView {
    /// Which competition.
    pub competition: String,
    /// Which workout.
    pub workout: String,
    /// Whose.
    pub bib: u32,
    /// Oldest first.
    pub items: Vec<HistoryItem>,
    /// Log position of this answer.
    pub log_seq: u64,
}

/// One decision of a competition.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RulingItem {
    /// Log position.
    pub seq: u64,
    /// When.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
    /// Which workout.
    pub workout: String,
    /// Whose.
    pub bib: u32,
    /// Which attempt.
    pub attempt: u32,
    /// The name, or `Athlete 1042`.
    pub name: String,
    /// `stands`, `deduct`, `replace`, `strike` or `restore`.
    #[schema(example = "deduct")]
    pub kind: &'static str,
    /// The state it led to.
    pub state: &'static str,
    /// The figures from then on; null: they stayed.
    pub text: Option<String>,
    /// Public; null: erased.
    pub reason: Option<String>,
    /// Whether it decided an appeal.
    pub on_appeal: bool,
}

/// All decisions, newest first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RulingsView {
    /// Newest first.
    pub rulings: Vec<RulingItem>,
    /// Log position of this answer.
    pub log_seq: u64,
}

/// One line of a working list: an entry in a workout, with what there is of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct DeskRow {
    /// Whose.
    pub bib: u32,
    /// The name, or `Athlete 1042`.
    pub name: String,
    /// Which division.
    pub division: String,
    /// The entry's gym.
    pub gym: Option<String>,
    /// Whether the entry takes part: `active`, `withdrawn` (takes no scores any more) or `guest`.
    #[schema(example = "active")]
    pub entry_state: &'static str,
    /// A score's state, or without one `missing`, `not_taking_part` (as stated, or as the entry is
    /// withdrawn) or `guest` (nothing is expected of it).
    #[schema(example = "missing")]
    pub state: &'static str,
    /// When it was stated that the entry takes no part; null: that was not stated, or does not hold.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub stated_at: Option<Timestamp>,
    /// The attempt that counts, else the latest.
    pub score: Option<ScoreView>,
    /// Its other attempts, but for those that were taken back.
    pub others: Vec<ScoreView>,
}

/// A working list of one workout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct DeskView {
    /// Which workout.
    pub workout: String,
    /// Of which gym; null: of all.
    pub gym: Option<String>,
    /// When it closes at this gym, extensions among it; of all gyms: as the file says.
    #[schema(value_type = String, format = DateTime)]
    pub closes: Timestamp,
    /// Until when judges may vouch there.
    #[schema(value_type = String, format = DateTime)]
    pub attest_by: Timestamp,
    /// Entries of the gym, and visitors who did the workout in it.
    pub entries: u32,
    /// Those of whom nothing awaits a judge: with a score, or who take no part.
    pub settled: u32,
    /// Attempts that await a judge.
    pub awaiting: u32,
    /// Those without any score or statement.
    pub missing: u32,
    /// Stands for the gym's heats in this workout: another one says that they were changed. Null: there are none,
    /// or they are not the reader's to see.
    #[schema(example = "3-5f0c1a9be2d3")]
    pub heats: Option<String>,
    /// By bib.
    pub rows: Vec<DeskRow>,
    /// Log position of this answer.
    pub log_seq: u64,
}
