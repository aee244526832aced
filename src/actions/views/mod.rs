//! What actions answer with: plain data for JSON, pages and CSV alike, made from domain values.
//!
//! Nothing here decides what a reader may see: [`super::reader`] does, before a view is made.
//! Times are RFC 3339 UTC in JSON; milliseconds, grams and counts are whole numbers.

mod competition;
pub mod names;
mod roster;
mod score;
mod standings;

pub use competition::{
    AppliedView, ChangeView, ChangesView, CompetitionView, DifferenceView, DivisionView, ReworkedView, SummaryView,
    WindowView, WorkoutView,
};
pub use roster::{EntryView, ExtensionView, GymView, JudgeView, MovedView, RosterWritten};
pub use score::{
    AppealView, AttestationView, CheckView, DeskRow, DeskView, FlagView, HistoryItem, HistoryView, PerformanceForm,
    PlaceView, RemarkView, RulingItem, RulingView, RulingsView, ScoreView, ScoreWithAttempts, StatedView, WaitingView,
    Written,
};
pub use standings::{
    EntryStandingView, GapView, OwnPlace, OwnWorkout, PlaceRow, PlacesView, ScopeView, StandingRow, StandingsView,
    WorkoutCell,
};

pub use crate::rules::performance::PerformanceView;
