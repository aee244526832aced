//! Standings of a division, and where one entry stands.

use super::paths::{OfDivision, OfEntry};
use super::reading::{self, CSV, JSON};
use super::whole::{self, Parts};
use crate::actions::Failure;
use crate::actions::standings::{self, Desk, InParts, StandingsQuery};
use crate::actions::views::{EntryStandingView, ScopeView, StandingRow, StandingsView};
use crate::app::App;
use crate::rules::fault::Fault;
use crate::rules::place::Running;
use crate::rules::table;
use crate::standings::Ranked;
use crate::web::extract::{Accept, Path, Query};
use crate::web::problem::{Answer, Problems};
use crate::web::session::Caller;
use crate::web::shared::Shared;
use crate::words::Sentence;
use axum::extract::State;
use http::{HeaderMap, Uri};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// Most rows of a page.
const MOST: u32 = 500;
/// Rows of a page where nobody says.
const USUAL: u32 = 100;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(get_standings)).routes(routes!(get_entry_standing))
}

/// With or without the running workouts.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RunningParam {
    /// They count.
    With,
    /// They do not.
    Without,
}

/// Which part of which standings.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct PageQuery {
    /// Among entries of this gym.
    gym: Option<String>,
    /// Among entries of this region.
    region: Option<String>,
    /// Among entries of this country, ISO 3166-1 alpha-2.
    country: Option<String>,
    /// With or without running workouts; left out: as the competition says.
    #[param(inline)]
    running: Option<RunningParam>,
    /// As of this log position. One state of the past is made at a time: 503 means to ask again, also where it
    /// takes longer than a request may; then it is there.
    #[param(value_type = Option<i64>, minimum = 1)]
    as_of: Option<u64>,
    /// This state or a newer one: waits up to 2 s, then 503.
    #[param(value_type = Option<i64>, minimum = 0)]
    at_least: Option<u64>,
    /// Number of the first row, from 1.
    #[param(value_type = Option<i64>, minimum = 1, maximum = 4_294_967_295_i64, default = 1)]
    from: Option<u32>,
    /// How many rows.
    #[param(value_type = Option<i64>, minimum = 1, maximum = 500, default = 100)]
    limit: Option<u32>,
    /// The page that holds this bib, instead of `from`.
    #[param(value_type = Option<i64>, minimum = 1, maximum = 9_999_999)]
    bib: Option<u32>,
}

impl PageQuery {
    /// What is asked for; all rows where `whole`.
    pub(super) fn read(self, whole: bool) -> Result<StandingsQuery, Failure> {
        let mut faults = Vec::new();
        let mut range = |name: &'static str, value: Option<u32>, most: u32| {
            if value.is_some_and(|n| !(1..=most).contains(&n)) {
                let sentence = Sentence::new("member_whole").with("member", name).with("least", 1).with("most", most);
                faults.push(Fault::new(format!("/{name}"), sentence));
            }
        };
        range("from", self.from, u32::MAX);
        range("limit", self.limit, MOST);
        if !faults.is_empty() {
            return Err(Failure::faults(faults));
        }
        Ok(StandingsQuery {
            scope: ScopeView { gym: self.gym, region: self.region, country: self.country },
            running: self.running.map(|r| match r {
                RunningParam::With => Running::With,
                RunningParam::Without => Running::Without,
            }),
            as_of: self.as_of,
            at_least: self.at_least,
            from: self.from.filter(|_| !whole),
            limit: if whole { None } else { Some(self.limit.unwrap_or(USUAL)) },
            bib: self.bib.filter(|_| !whole),
        })
    }
}

/// The overall result of a division.
///
/// With `Accept: text/csv` the whole division from one state. `log_seq` says which state a page
/// shows: if it changed between pages, start again.
#[utoipa::path(get, path = "/competitions/{competition}/divisions/{division}/standings", tag = "standings",
    params(OfDivision, PageQuery),
    responses((status = 200, description = "A page.", content((StandingsView = "application/json"), (String = "text/csv"))),
        (status = 304, description = "As you have it."), Problems))]
async fn get_standings(
    State(app): State<App>,
    caller: Caller,
    accept: Accept,
    Path(path): Path<OfDivision>,
    Query(query): Query<PageQuery>,
    uri: Uri,
    headers: HeaderMap,
) -> Answer {
    let form = accept.best(&[JSON, CSV])?;
    let query = query.read(form == CSV)?;
    let OfDivision { competition, division } = path;
    let desk = Desk::open(&app, &caller.actor, caller.received, &competition, &query).await?;
    let shared = Shared::of(&app, desk.reader()).steady(&app, desk.reader());
    let tag = reading::tag(&desk.stamp(&app, &division).await?, &uri, form, &caller, &headers);
    if reading::has(&headers, &tag) {
        return Ok(reading::unchanged(&caller, &tag));
    }
    if form == CSV {
        let parts = StandingsCsv { rows: desk.standings_in_parts(&app, &division)?, begun: false };
        let file = reading::csv(whole::body(&app, parts).await?, &format!("{competition}-{division}.csv"));
        return Ok(reading::kept(file, &caller, Some(&tag)));
    }
    let view = desk.standings(&app, &division, &query).await?;
    Ok(shared.says(&caller, reading::json(&view, &caller, Some(&tag))))
}

/// Standings as CSV: one row an entry, two columns a workout.
struct StandingsCsv {
    rows: InParts<Ranked>,
    begun: bool,
}

impl Parts for StandingsCsv {
    async fn next(&mut self) -> Result<Option<String>, Failure> {
        let view = self.rows.next().await?;
        let some = |n: Option<u64>| n.map_or_else(String::new, |n| n.to_string());
        let row = |row: &StandingRow| {
            let mut cells = vec![
                some(row.standing.map(u64::from)),
                row.bib.to_string(),
                row.name.clone(),
                row.gym.clone().unwrap_or_default(),
                row.country.clone(),
                some(row.points),
            ];
            for cell in &row.workouts {
                cells.push(some(cell.place.map(u64::from)));
                cells.push(cell.text.clone().unwrap_or_default());
            }
            cells.push(view.log_seq.to_string());
            cells
        };
        let rows = table::write_on(view.rows.iter().map(row));
        if std::mem::replace(&mut self.begun, true) {
            return Ok((!rows.is_empty()).then_some(rows));
        }
        let workouts = self.rows.workouts().flat_map(|w| [format!("{w}_place"), format!("{w}_performance")]);
        let mut headers: Vec<String> =
            ["standing", "bib", "name", "gym", "country", "points"].map(str::to_owned).into_iter().collect();
        headers.extend(workouts);
        headers.push("log_seq".to_owned());
        let headers: Vec<&str> = headers.iter().map(String::as_str).collect();
        Ok(Some(table::write(&headers, Vec::<Vec<String>>::new()) + &rows))
    }
}

/// Which state.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct AtLeast {
    /// This state or a newer one: waits up to 2 s, then 503.
    #[param(value_type = Option<i64>, minimum = 0)]
    at_least: Option<u64>,
}

/// Where one entry stands, in every workout and scope, with the gap to the next place.
#[utoipa::path(get, path = "/competitions/{competition}/entries/{bib}/standing", tag = "standings",
    params(OfEntry, AtLeast),
    responses((status = 200, description = "Its places.", body = EntryStandingView), Problems))]
async fn get_entry_standing(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfEntry>,
    Query(query): Query<AtLeast>,
) -> Answer {
    let OfEntry { competition, bib } = path;
    let query = StandingsQuery { at_least: query.at_least, ..StandingsQuery::default() };
    let desk = Desk::open(&app, &caller.actor, caller.received, &competition, &query).await?;
    let shared = Shared::of(&app, desk.reader()).steady(&app, desk.reader());
    let view = standings::entry_in(&app, &desk, bib).await?;
    Ok(shared.says(&caller, reading::json(&view, &caller, None)))
}
