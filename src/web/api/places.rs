//! Places of one workout in a division.

use super::paths::OfPlaces;
use super::reading::{self, CSV, JSON};
use super::standings::PageQuery;
use super::whole::{self, Parts};
use crate::actions::Failure;
use crate::actions::standings::{Desk, InParts, PlacesOf};
use crate::actions::views::PlacesView;
use crate::app::App;
use crate::rules::table;
use crate::web::extract::{Accept, Path, Query};
use crate::web::problem::{Answer, Problems};
use crate::web::session::Caller;
use crate::web::shared::Shared;
use axum::extract::State;
use http::{HeaderMap, Uri};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(get_places))
}

/// The places of one workout in a division.
///
/// With `Accept: text/csv` the whole division from one state.
#[utoipa::path(get, path = "/competitions/{competition}/divisions/{division}/workouts/{workout}/places", tag = "standings",
    params(OfPlaces, PageQuery),
    responses((status = 200, description = "A page.", content((PlacesView = "application/json"), (String = "text/csv"))),
        (status = 304, description = "As you have it."), Problems))]
async fn get_places(
    State(app): State<App>,
    caller: Caller,
    accept: Accept,
    Path(path): Path<OfPlaces>,
    Query(query): Query<PageQuery>,
    uri: Uri,
    headers: HeaderMap,
) -> Answer {
    let form = accept.best(&[JSON, CSV])?;
    let query = query.read(form == CSV)?;
    let OfPlaces { competition, division, workout } = path;
    let desk = Desk::open(&app, &caller.actor, caller.received, &competition, &query).await?;
    let shared = Shared::of(&app, desk.reader()).steady(&app, desk.reader());
    // What may not be seen is 404 before it is 304.
    desk.published(&workout)?;
    let tag = reading::tag(&desk.stamp(&app, &division).await?, &uri, form, &caller, &headers);
    if reading::has(&headers, &tag) {
        return Ok(reading::unchanged(&caller, &tag));
    }
    if form == CSV {
        let parts = PlacesCsv { rows: desk.places_in_parts(&app, &division, &workout)?, begun: false };
        let file = reading::csv(whole::body(&app, parts).await?, &format!("{competition}-{division}-{workout}.csv"));
        return Ok(reading::kept(file, &caller, Some(&tag)));
    }
    let view = desk.places(&app, &division, &workout, &query).await?;
    Ok(shared.says(&caller, reading::json(&view, &caller, Some(&tag))))
}

struct PlacesCsv {
    rows: InParts<PlacesOf>,
    begun: bool,
}

impl Parts for PlacesCsv {
    async fn next(&mut self) -> Result<Option<String>, Failure> {
        let view = self.rows.next().await?;
        let rows = view.rows.iter().map(|row| {
            vec![
                row.place.map_or_else(String::new, |p| p.to_string()),
                row.bib.to_string(),
                row.name.clone(),
                row.gym.clone().unwrap_or_default(),
                row.country.clone(),
                row.text.clone().unwrap_or_default(),
                row.level.clone().unwrap_or_default(),
                row.state.unwrap_or_default().to_owned(),
                view.log_seq.to_string(),
            ]
        });
        if std::mem::replace(&mut self.begun, true) {
            return Ok(Some(table::write_on(rows)).filter(|rows| !rows.is_empty()));
        }
        let headers = ["place", "bib", "name", "gym", "country", "performance", "level", "state", "log_seq"];
        Ok(Some(table::write(&headers, rows)))
    }
}
