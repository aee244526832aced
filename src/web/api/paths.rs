//! What stands in the paths of the API, with its documentation.

use crate::actions::ScorePath;
use serde::Deserialize;
use utoipa::IntoParams;

/// A competition.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfCompetition {
    /// Its slug.
    #[param(example = "saltmarsh")]
    pub competition: String,
}

/// An entry.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfEntry {
    /// The competition's slug.
    #[param(example = "saltmarsh")]
    pub competition: String,
    /// The entry's number.
    #[param(value_type = i64, minimum = 1, maximum = 9_999_999, example = 1042)]
    pub bib: u32,
}

/// A workout.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfWorkout {
    /// The competition's slug.
    #[param(example = "saltmarsh")]
    pub competition: String,
    /// The workout's slug.
    #[param(example = "w1")]
    pub workout: String,
}

/// A score.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfScore {
    /// The competition's slug.
    #[param(example = "saltmarsh")]
    pub competition: String,
    /// The workout's slug.
    #[param(example = "w1")]
    pub workout: String,
    /// The entry's number.
    #[param(value_type = i64, minimum = 1, maximum = 9_999_999, example = 1042)]
    pub bib: u32,
}

impl From<OfScore> for ScorePath {
    fn from(path: OfScore) -> Self {
        Self { competition: path.competition, workout: path.workout, bib: path.bib }
    }
}

/// A division.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfDivision {
    /// The competition's slug.
    #[param(example = "saltmarsh")]
    pub competition: String,
    /// The division's slug.
    #[param(example = "women")]
    pub division: String,
}

/// A workout of a division.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfPlaces {
    /// The competition's slug.
    #[param(example = "saltmarsh")]
    pub competition: String,
    /// The division's slug.
    #[param(example = "women")]
    pub division: String,
    /// The workout's slug.
    #[param(example = "w1")]
    pub workout: String,
}
