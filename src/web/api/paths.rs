//! What stands in the paths of the API, and in the headers of its writes, with its documentation.
//! The headers are read in `web/extract`.

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

/// A gym.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfGym {
    /// The competition's slug.
    #[param(example = "saltmarsh")]
    pub competition: String,
    /// The gym's slug.
    #[param(example = "quayside")]
    pub gym: String,
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

/// On what state a write depends.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct Matching {
    /// The `etag` of what the write changes, as it was last read: only that is changed. Or `*`.
    #[param(rename = "If-Match", value_type = String, required = false, example = "\"8812-5f0c1a9be2d3\"")]
    pub if_match: Option<String>,
}

/// That nothing is there yet.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct Absent {
    /// `*`: only where nothing is there yet. Not together with `If-Match`.
    #[param(rename = "If-None-Match", value_type = String, required = false, pattern = r"^\*$", example = "*")]
    pub if_none_match: Option<String>,
}

/// Sent again after an outcome that nobody knows, a write is done once.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct Once {
    /// Any text of your own, a new one for each write: within 48 hours the same request under the
    /// same key gets the first answer again; of a file with many refused rows it may be the counts alone, with a
    /// remark that says so (16 MiB of answers to files are kept of one account).
    #[param(rename = "Idempotency-Key", value_type = String, required = false, 
        pattern = r#"^([!#-+\-./0-9:<-\[\]-~]{1,255}|"([ !#-\[\]-~]|\\["\\]){1,255}")$"#, example = "5f0c1f9e-7a53")]
    pub idempotency_key: Option<String>,
}
