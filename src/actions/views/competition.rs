//! A competition as its readers see it, and what applying a file did.

use jiff::Timestamp;
use serde::Serialize;
use utoipa::ToSchema;

/// One line of the list of competitions.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct SummaryView {
    /// Its name in addresses.
    #[schema(example = "saltmarsh")]
    pub slug: String,
    /// For people.
    #[schema(example = "Saltmarsh Winter Series")]
    pub title: String,
    /// IANA zone of its dates.
    #[schema(example = "Europe/Lisbon")]
    pub time_zone: String,
    /// Hidden from those without a role.
    pub private: bool,
    /// Its announced workouts.
    pub workouts: Vec<WindowView>,
}

/// A competition, with divisions and the workouts its reader may see.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct CompetitionView {
    /// Its name in addresses.
    #[schema(example = "saltmarsh")]
    pub slug: String,
    /// For people.
    #[schema(example = "Saltmarsh Winter Series")]
    pub title: String,
    /// IANA zone of its dates.
    #[schema(example = "Europe/Lisbon")]
    pub time_zone: String,
    /// The day ages are counted on.
    #[schema(value_type = String, format = Date, example = "2027-01-15")]
    pub age_date: jiff::civil::Date,
    /// Highest first.
    #[schema(example = json!(["prescribed", "scaled"]))]
    pub levels: Vec<String>,
    /// Hidden from those without a role.
    pub private: bool,
    /// Names the file in force: send it as `If-Match` to change exactly this file.
    #[schema(example = "1-5f0c1a9be2d3")]
    pub etag: String,
    /// Log position of this answer.
    pub log_seq: u64,
    /// In file order.
    pub divisions: Vec<DivisionView>,
    /// In file order.
    pub workouts: Vec<WorkoutView>,
}

/// Who is ranked against whom.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct DivisionView {
    /// Its name in addresses.
    #[schema(example = "women")]
    pub slug: String,
    /// For people.
    pub title: String,
    /// `women`, `men` or `any`.
    #[schema(example = "women")]
    pub category: &'static str,
    /// Youngest, in full years on the age date.
    pub from_age: Option<u16>,
    /// Oldest.
    pub to_age: Option<u16>,
    /// Its own level.
    #[schema(example = "prescribed")]
    pub level: String,
    /// Whether lower levels may be scored.
    pub allow_lower: bool,
    /// The plain divisions it ranks together; empty: it is one.
    pub combines: Vec<String>,
    /// A combined division whose counts differ.
    pub mixed: bool,
}

/// The window of a workout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct WindowView {
    /// Which workout.
    #[schema(example = "w1")]
    pub workout: String,
    /// For people.
    pub title: String,
    /// Performances from here on.
    #[schema(value_type = String, format = DateTime, example = "2027-01-12T19:00:00Z")]
    pub opens: Timestamp,
    /// Performances before this.
    #[schema(value_type = String, format = DateTime, example = "2027-01-17T21:00:00Z")]
    pub closes: Timestamp,
    /// `announced`, `running` or `closed`, at the time of the answer.
    #[schema(example = "running")]
    pub phase: &'static str,
}

/// An announced workout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct WorkoutView {
    /// Its name in addresses.
    #[schema(example = "w1")]
    pub slug: String,
    /// For people.
    pub title: String,
    /// Workouts of one session are scored from the same effort.
    pub session: Option<String>,
    /// `amrap`, `for_time`, `max_load`, `max_count` or `intervals`.
    #[schema(example = "amrap")]
    pub format: &'static str,
    /// The time allowed, milliseconds.
    #[schema(example = 720_000)]
    pub cap_ms: Option<u64>,
    /// From here on others than the organiser see it.
    #[schema(value_type = String, format = DateTime)]
    pub announce: Timestamp,
    /// Performances from here on.
    #[schema(value_type = String, format = DateTime)]
    pub opens: Timestamp,
    /// Performances before this.
    #[schema(value_type = String, format = DateTime)]
    pub closes: Timestamp,
    /// First scores are received before this.
    #[schema(value_type = String, format = DateTime)]
    pub grace_ends: Timestamp,
    /// Corrections by staff and attestations are received before this.
    #[schema(value_type = String, format = DateTime)]
    pub attest_by: Timestamp,
    /// `announced`, `running` or `closed`, at the time of the answer.
    pub phase: &'static str,
    /// `live` or `at_close`.
    pub publish: &'static str,
    /// `best`, `last` or `one`.
    pub attempts: &'static str,
    /// Multiplies its points.
    pub weight: u32,
    /// Markdown: the standards of movement.
    pub standards: String,
    /// The same in other languages, by language tag.
    pub standards_in: std::collections::BTreeMap<String, String>,
}

/// What applying a file did, or would do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct AppliedView {
    /// Which competition.
    #[schema(example = "saltmarsh")]
    pub competition: String,
    /// There was none before.
    pub created: bool,
    /// Nothing was stored: `dry_run` was asked for.
    pub dry_run: bool,
    /// What changes; empty: nothing.
    pub changes: Vec<DifferenceView>,
    /// Stored scores worked out again.
    pub reworked: Vec<ReworkedView>,
    /// Taken, but somebody should know.
    pub warnings: Vec<super::RemarkView>,
    /// Names the file in force.
    pub etag: String,
    /// Log position of this answer.
    pub log_seq: u64,
}

/// One difference between two competition files.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct DifferenceView {
    /// Which key of the file.
    #[schema(example = "workout.w1.cap")]
    pub key: String,
    /// Before; null where it is added.
    pub from: Option<String>,
    /// After; null where it is removed.
    pub to: Option<String>,
    /// Alters the meaning of stored scores: needs `rescore`.
    pub rescore: bool,
    /// Attestations of the workout's scores become void.
    pub voids: bool,
    /// Changes what was published: needs a `reason`, which everybody reads.
    pub published: bool,
}

/// What was changed of a workout since it was announced.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ChangesView {
    /// One for each applied file that changed something, the newest first.
    pub items: Vec<ChangeView>,
}

/// What one applied file changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ChangeView {
    /// When it was applied.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
    /// At which position of the log.
    #[schema(example = 8812)]
    pub log_seq: u64,
    /// The organiser's reason; null: nobody was asked then.
    #[schema(example = "The men's bells were mistyped.")]
    pub reason: Option<String>,
    /// Of the workout, then of what holds for all.
    pub changes: Vec<DifferenceView>,
}

/// What happens to a stored score when its file or its entry changes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ReworkedView {
    /// Which workout.
    pub workout: String,
    /// Whose.
    pub bib: u32,
    /// Which attempt.
    pub attempt: u32,
    /// The figures from here on; null: as they were.
    pub text: Option<String>,
    /// The attestation is void.
    pub void: bool,
    /// Attested again only with new figures.
    pub stale: bool,
}
