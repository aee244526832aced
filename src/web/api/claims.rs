//! Codes with which athletes claim their entries: made by a gym, used by an athlete.

use super::paths::OfGym;
use super::reading::{CSV, JSON};
use crate::actions::accounts::{self, Claim, Claimed, CodeRow, Slip};
use crate::app::App;
use crate::web::extract::{Accept, Json, Path};
use crate::web::pages::codes;
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::{Caller, cookie};
use axum::extract::State;
use axum::response::{AppendHeaders, IntoResponse};
use http::{StatusCode, header};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list_codes, make_codes)).routes(routes!(claim))
}

/// An entry, and what became of its code.
#[derive(Debug, Serialize, ToSchema)]
pub struct CodeState {
    /// Whose.
    #[schema(value_type = i64, example = 1042)]
    bib: u32,
    /// The name.
    name: String,
    /// When the code that is open was made; null: there is none.
    #[schema(format = DateTime)]
    made_at: Option<String>,
    /// Whether an account has the athlete's role.
    claimed: bool,
}

impl From<CodeRow> for CodeState {
    fn from(row: CodeRow) -> Self {
        let made_at = row.made.map(|at| at.to_string());
        Self { bib: row.bib, name: row.name, made_at, claimed: row.claimed }
    }
}

/// List a gym's entries and what became of their codes.
///
/// For the gym's staff and the organiser. Codes themselves are shown only when they are made.
#[utoipa::path(get, path = "/competitions/{competition}/gyms/{gym}/claim-codes", tag = "accounts", params(OfGym),
    responses((status = 200, description = "By bib.", body = Vec<CodeState>), Problems))]
async fn list_codes(State(app): State<App>, caller: Caller, Path(path): Path<OfGym>) -> Answer {
    let codes = accounts::list_codes(&app, &caller.actor, caller.received, &path.competition, Some(&path.gym)).await?;
    Ok(Json(codes.rows.into_iter().map(CodeState::from).collect::<Vec<_>>()).into_response())
}

/// For whom to make codes.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCodes {
    /// Entries of the gym; left out: all that have no code and were not claimed.
    #[serde(default)]
    #[schema(value_type = Option<Vec<i64>>, example = json!([1042, 1043]))]
    bibs: Option<BTreeSet<u32>>,
}

/// A code, to be handed to an athlete.
#[derive(Debug, Serialize, ToSchema)]
pub struct NewCode {
    /// Whose.
    #[schema(value_type = i64, example = 1042)]
    bib: u32,
    /// The name.
    name: String,
    /// Shown this once. Works once.
    #[schema(example = "CDFG-HJKM")]
    code: String,
}

impl From<Slip> for NewCode {
    fn from(slip: Slip) -> Self {
        Self { bib: slip.bib, name: slip.name, code: slip.code }
    }
}

/// Make codes for a gym's athletes.
///
/// Each takes the place of an older one of the same entry. At most 200 at once: ask again for the
/// rest.
#[utoipa::path(post, path = "/competitions/{competition}/gyms/{gym}/claim-codes", tag = "accounts", params(OfGym),
    request_body = Option<NewCodes>, responses(
    (status = 200, description = "Made; shown this once.", content((Vec<NewCode> = "application/json"), (String = "text/csv"))),
    Problems, WriteProblems))]
async fn make_codes(
    State(app): State<App>,
    caller: Caller,
    accept: Accept,
    Path(path): Path<OfGym>,
    sent: Result<Json<Option<NewCodes>>, Problem>,
) -> Answer {
    // Permission comes before what is sent.
    accounts::list_codes(&app, &caller.actor, caller.received, &path.competition, Some(&path.gym)).await?;
    let form = accept.best(&[JSON, CSV])?;
    let Json(sent) = sent?;
    let sent = sent.unwrap_or_default();
    let (competition, gym) = (&path.competition, &path.gym);
    let (codes, slips) =
        accounts::make_codes(&app, &caller.actor, caller.received, competition, Some(gym), sent.bibs.as_ref()).await?;
    if form == CSV {
        let text = codes::csv(&codes, &slips, &app.config.public_url);
        return Ok(super::csv_file(text, &format!("codes-{competition}-{gym}.csv")));
    }
    Ok(Json(slips.into_iter().map(NewCode::from).collect::<Vec<_>>()).into_response())
}

/// What stands on a slip, and whose account it goes to.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SentClaim {
    /// Slug.
    #[schema(example = "saltmarsh")]
    competition: String,
    /// From the slip.
    #[schema(value_type = i64, minimum = 1, maximum = 9_999_999, example = 1042)]
    bib: u32,
    /// From the slip.
    #[schema(max_length = 40, example = "CDFG-HJKM")]
    code: String,
    /// For who is not signed in: of the account, which is made if there is none.
    #[serde(default)]
    email: Option<String>,
    /// The same.
    #[serde(default)]
    #[schema(max_length = 256)]
    password: Option<String>,
}

/// The role was given.
#[derive(Debug, Serialize, ToSchema)]
pub struct ClaimedView {
    /// Account number.
    account: i64,
}

/// Claim an entry with the bib and code of a slip.
///
/// The account gets the athlete's role for it. What does not fit together is one answer, whichever
/// bibs there are; too many tries are 429. Who was not signed in is afterwards.
#[utoipa::path(post, path = "/claims", tag = "accounts", request_body = SentClaim, responses(
    (status = 200, description = "Claimed.", body = ClaimedView), Problems, WriteProblems))]
async fn claim(State(app): State<App>, caller: Caller, Json(sent): Json<SentClaim>) -> Answer {
    let claim = Claim {
        competition: sent.competition,
        bib: sent.bib,
        code: sent.code,
        email: sent.email.unwrap_or_default(),
        password: sent.password.unwrap_or_default(),
    };
    let done = accounts::claim(&app, &caller.actor, caller.received, &claim, &caller.origin()).await?;
    let Claimed { account, signed_in } = done;
    let cookies = AppendHeaders(signed_in.map(|s| (header::SET_COOKIE, cookie(&app, &s.secret))));
    Ok((StatusCode::OK, cookies, Json(ClaimedView { account })).into_response())
}
