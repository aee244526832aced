//! What posting many rows shares: the body's kind, the limits, the outcome as JSON or CSV.

use super::reading::{self, CSV, JSON};
use crate::actions::import::{self, DateOrder, Options, Rows, What, import_once};
use crate::actions::{Request, roster, signed_in};
use crate::app::App;
use crate::web::extract::{Accept, Body, Kind, SentBody};
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use axum::response::IntoResponse;
use http::header;
use serde::Deserialize;
use serde_json::Value;
use utoipa::IntoParams;

/// Most rows over HTTP; more on the command line.
pub const MOST_ROWS: usize = 10_000;

/// What may be said about rows besides them.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct ManyQuery {
    /// Codes of questions answered with yes for every row, with commas between them.
    confirm: Option<String>,
    /// How dates like `03/04/1991` are read: `day_first` or `month_first`; else they are asked
    /// about.
    #[param(inline)]
    dates: Option<Dates>,
}

/// How dates like `03/04/1991` are read.
#[derive(Clone, Copy, Debug, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
enum Dates {
    /// Day, month, year.
    DayFirst,
    /// Month, day, year.
    MonthFirst,
}

impl ManyQuery {
    fn options(self) -> Options {
        let confirm = self.confirm.unwrap_or_default();
        let confirm = confirm.split(',').map(str::trim).filter(|c| !c.is_empty()).map(str::to_owned).collect();
        let dates = match self.dates {
            Some(Dates::DayFirst) => DateOrder::DayFirst,
            Some(Dates::MonthFirst) => DateOrder::MonthFirst,
            None => DateOrder::Ask,
        };
        Options { confirm, dates, most: Some(MOST_ROWS), pass_empty: false }
    }
}

/// What a body of a path that takes one or many holds.
pub enum OneOrMany {
    /// One object.
    One(Value),
    /// Rows.
    Many(Rows),
}

impl OneOrMany {
    /// By the kind of the body, and in JSON by whether it is a list.
    pub fn of(body: &Body) -> Result<Self, Problem> {
        match body.kind {
            Kind::Csv => Ok(Self::Many(Rows::Csv(body.bytes.to_vec()))),
            Kind::Toml => Err(super::wrong_kind("application/json, text/csv")),
            Kind::Json if body.bytes.trim_ascii_start().starts_with(b"[") => {
                Ok(Self::Many(Rows::Json(body.bytes.to_vec())))
            }
            Kind::Json => Ok(Self::One(body.json()?)),
        }
    }
}

/// Adds or changes one gym, entry or judge, from an object, or many, from a list or CSV.
pub async fn add(
    app: &App,
    caller: &Caller,
    accept: &Accept,
    competition: &str,
    sent: Result<SentBody, Problem>,
    what: What,
    query: ManyQuery,
) -> Answer {
    signed_in(&caller.actor)?;
    let (sent, around) = sent?.parts(caller);
    roster::may(app, &caller.actor, competition, &around).await?;
    match OneOrMany::of(&sent)? {
        OneOrMany::One(value) => {
            let written = roster::set_one(app, &caller.actor, competition, around, &what, &value).await?;
            Ok(super::roster_answer(&written))
        }
        OneOrMany::Many(rows) => take(app, caller, accept, competition, around, (what, rows), query).await,
    }
}

/// Takes many rows in and answers with what became of each: always 200, once they can be read.
pub async fn take(
    app: &App,
    caller: &Caller,
    accept: &Accept,
    competition: &str,
    around: Request,
    (what, rows): (What, Rows),
    query: ManyQuery,
) -> Answer {
    let form = accept.best(&[JSON, CSV])?;
    import::may(app, &caller.actor, competition, &around, &what).await?;
    let outcome = import_once(app, &caller.actor, competition, around, what, rows, query.options()).await?;
    let json = |text| ([(header::CONTENT_TYPE, JSON)], text).into_response();
    Ok(if form == CSV { reading::csv(outcome.csv, "refused.csv") } else { json(outcome.json) })
}
