//! Pages of standings and of places, and where one entry stands.

use super::PlaceView;
use serde::Serialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// Among whom places are worked out; all null: the whole division.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct ScopeView {
    /// One gym.
    pub gym: Option<String>,
    /// One region.
    pub region: Option<String>,
    /// One country, ISO 3166-1 alpha-2.
    pub country: Option<String>,
}

/// A page of the overall result of a division.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct StandingsView {
    /// Which division.
    #[schema(example = "women")]
    pub division: String,
    /// Among whom.
    pub scope: ScopeView,
    /// Whether running workouts count: `with` or `without`.
    #[schema(example = "with")]
    pub running: &'static str,
    /// Log position of the last change to the division: which state this is. Changes elsewhere
    /// leave it as it is.
    #[schema(example = 8812)]
    pub log_seq: u64,
    /// Entries with a standing.
    #[schema(example = 311)]
    pub of: u32,
    /// All entries listed.
    #[schema(example = 340)]
    pub entries: u32,
    /// Number of the first row, from 1.
    #[schema(example = 1)]
    pub from: u32,
    /// In order.
    pub rows: Vec<StandingRow>,
}

/// One entry in the overall result.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct StandingRow {
    /// Position overall; null: none.
    #[schema(example = 1)]
    pub standing: Option<u32>,
    /// Whose.
    #[schema(example = 1042)]
    pub bib: u32,
    /// The name, or `Athlete 1042`.
    #[schema(example = "Ines Duarte")]
    pub name: String,
    /// Its gym, if any.
    #[schema(example = "quayside")]
    pub gym: Option<String>,
    /// Its country; empty: none.
    #[schema(example = "PT")]
    pub country: String,
    /// What the entry is: `active`, `withdrawn` or `guest`.
    #[schema(example = "active")]
    pub entry_state: &'static str,
    /// Its region, for pages: whose window holds for it. Empty: none.
    #[serde(skip)]
    pub region: Arc<str>,
    /// Sum of counted points; null without a standing.
    #[schema(example = 7)]
    pub points: Option<u64>,
    /// Position in the whole division.
    #[schema(example = 1)]
    pub unscoped_standing: Option<u32>,
    /// To the next better standing; null: first, or no standing.
    pub next: Option<GapView>,
    /// Each workout that counts, in file order.
    pub workouts: Vec<WorkoutCell>,
}

/// What one workout gives to an entry's overall result.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct WorkoutCell {
    /// Which workout.
    #[schema(example = "w1")]
    pub workout: String,
    /// The place, or the one used in the sum where there is no placed score; null where the
    /// workout does not count yet, and for guests.
    #[schema(example = 2)]
    pub place: Option<u32>,
    /// What it gives, times the workout's weight.
    #[schema(example = 2)]
    pub points: Option<u64>,
    /// The figures; null: no placed score.
    #[schema(example = "6+14 tb 11:24")]
    pub text: Option<String>,
    /// The score's state; null: none.
    #[schema(example = "attested")]
    pub state: Option<&'static str>,
    /// Whether it is in the sum (not left out as one of the worst).
    pub counted: bool,
}

/// A page of the places of one workout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct PlacesView {
    /// Which division.
    #[schema(example = "women")]
    pub division: String,
    /// Which workout.
    #[schema(example = "w1")]
    pub workout: String,
    /// Among whom.
    pub scope: ScopeView,
    /// Log position of the last change to the division: which state this is. Changes elsewhere
    /// leave it as it is.
    pub log_seq: u64,
    /// Entries with a place.
    pub of: u32,
    /// All entries listed.
    pub entries: u32,
    /// Number of the first row, from 1.
    pub from: u32,
    /// In order.
    pub rows: Vec<PlaceRow>,
}

/// One entry in one workout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct PlaceRow {
    /// The place; null: none.
    pub place: Option<u32>,
    /// How many share it; 0 without a place.
    pub shared: u32,
    /// Whose.
    pub bib: u32,
    /// The name, or `Athlete 1042`.
    pub name: String,
    /// Its gym, if any.
    pub gym: Option<String>,
    /// Its country; empty: none.
    pub country: String,
    /// What the entry is: `active`, `withdrawn` or `guest`.
    #[schema(example = "active")]
    pub entry_state: &'static str,
    /// Its region, for pages: whose window holds for it. Empty: none.
    #[serde(skip)]
    pub region: Arc<str>,
    /// The figures; null: no placed score.
    pub text: Option<String>,
    /// The score's state; null: none.
    pub state: Option<&'static str>,
    /// How the workout was done.
    pub level: Option<String>,
    /// The place in the whole division.
    pub unscoped_place: Option<u32>,
    /// To the next better place; null: first, or no place.
    pub next: Option<GapView>,
}

/// How far it is to the next better place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct GapView {
    /// The place above.
    pub place: u32,
    /// The figures there; null: overall.
    pub text: Option<String>,
    /// Who has it; of several the lowest bib.
    pub bib: u32,
    /// What is missing, in the workout's own unit; overall in points.
    #[schema(example = "3 reps")]
    pub missing: String,
    /// Overall, where the points are equal and single places decide; for pages, which say it in a sentence.
    #[serde(skip)]
    pub level: bool,
}

/// One place of an entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct OwnPlace {
    /// Which division, and among whom inside it.
    pub division: String,
    /// Among whom.
    pub scope: ScopeView,
    /// The place; null: none.
    pub place: Option<u32>,
    /// Among how many placed.
    pub of: u32,
    /// To the next better place; null: first, or no place.
    pub gap: Option<GapView>,
}

/// One workout of an entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct OwnWorkout {
    /// Which workout.
    pub workout: String,
    /// The figures; null: no placed score.
    pub text: Option<String>,
    /// The score's state; null: none.
    pub state: Option<&'static str>,
    /// In every scope.
    pub places: Vec<OwnPlace>,
}

/// Where one entry stands, in every workout and scope.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct EntryStandingView {
    /// Whose.
    pub bib: u32,
    /// The name, or `Athlete 1042`.
    pub name: String,
    /// Its division.
    pub division: String,
    /// Log position it shows.
    pub log_seq: u64,
    /// Overall, in every scope.
    pub overall: Vec<OwnPlace>,
    /// In file order.
    pub workouts: Vec<OwnWorkout>,
}

impl From<&OwnPlace> for PlaceView {
    fn from(own: &OwnPlace) -> Self {
        Self { division: own.division.clone(), place: own.place, of: own.of }
    }
}
