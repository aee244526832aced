//! HTML, one file per page; a view struct per template, built from domain values.
//!
//! Every page is complete without JavaScript and carries no inline style or script. Forms post
//! to the page's own address, call the same actions as the API, and answer 303. What it does
//! not do: decide anything. Permission, places and sentences come from the floors below.

mod account;
mod apart;
mod api;
mod appeal;
mod athlete;
mod calendar;
mod changes;
mod claim;
pub(super) mod codes;
mod competition;
mod desk;
mod device;
mod ended;
mod find;
pub mod forgotten;
mod form;
mod heats;
mod heats_late;
mod heats_paper;
mod heats_typed;
mod history;
mod home;
mod imported;
mod judge;
mod late_said;
mod markdown;
mod moves;
mod organise;
mod own_places;
mod own_score;
mod places;
mod plot;
pub mod problem;
mod proposals;
mod referee;
mod review;
mod rules_said;
#[cfg(test)]
pub(super) mod samples;
mod say;
mod scheme_said;
mod scope;
mod score;
mod score_about;
mod score_values;
mod sheet;
mod sheet_layout;
mod sheet_said;
mod shell;
mod signin;
mod standings;
mod take_back;
mod taking_part;
pub mod typed;
mod upload;
mod vouching;
mod wall;
mod what_if;
mod workout;

use super::problem::{Answer, Problem};
use super::{assets, language};
use crate::app::App;
use axum::Router;
use axum::middleware::from_fn;
use axum::response::Html;
use axum::routing::{get, post};

/// A whole page.
pub type Page = Html<String>;

/// Renders a view.
fn html(view: &impl askama::Template) -> Answer<Page> {
    view.render().map(|page| Html(apart::elements(page))).map_err(Problem::internal)
}

/// Every route of the pages: method and path, for the table of routes and roles.
pub const ROUTES: &[(&str, &str)] = &[
    ("GET", "/"),
    ("GET", "/c/{c}"),
    ("GET", "/c/{c}/calendar.ics"),
    ("GET", "/c/{c}/workouts/{w}"),
    ("GET", "/c/{c}/workouts/{w}/sheet"),
    ("GET", "/c/{c}/divisions/{d}"),
    ("GET", "/c/{c}/divisions/{d}/workouts/{w}"),
    ("GET", "/c/{c}/athletes/{bib}"),
    ("GET", "/c/{c}/athletes/{bib}/workouts/{w}"),
    ("POST", "/c/{c}/athletes/{bib}/workouts/{w}"),
    ("POST", "/c/{c}/athletes/{bib}/workouts/{w}/withdrawal"),
    ("POST", "/c/{c}/athletes/{bib}/workouts/{w}/appeal"),
    ("GET", "/signin"),
    ("POST", "/signin"),
    ("GET", "/signin/link"),
    ("POST", "/signin/link"),
    ("GET", "/signin/forgotten"),
    ("POST", "/signin/forgotten"),
    ("GET", "/claim"),
    ("POST", "/claim"),
    ("POST", "/signout"),
    ("GET", "/account"),
    ("POST", "/account/password"),
    ("POST", "/account/sessions/{id}/end"),
    ("POST", "/account/tokens"),
    ("POST", "/account/tokens/{id}/revoke"),
    ("GET", "/account/data.json"),
    ("POST", "/account/name"),
    ("POST", "/account/erase"),
    ("GET", "/desk/{c}/{gym}"),
    ("GET", "/desk/{c}/{gym}/codes"),
    ("POST", "/desk/{c}/{gym}/codes"),
    ("GET", "/desk/{c}/{gym}/proposals"),
    ("POST", "/desk/{c}/{gym}/proposals"),
    ("POST", "/desk/{c}/{gym}/proposals/{id}/withdraw"),
    ("GET", "/desk/{c}/{gym}/heats/{w}"),
    ("POST", "/desk/{c}/{gym}/heats/{w}"),
    ("GET", "/desk/{c}/{gym}/heats/{w}/paper"),
    ("GET", "/desk/{c}/{gym}/wall"),
    ("GET", "/desk/{c}/{gym}/receipt"),
    ("GET", "/desk/{c}/{gym}/missing"),
    ("GET", "/desk/{c}/{gym}/file"),
    ("POST", "/desk/{c}/{gym}/file"),
    ("GET", "/desk/{c}/{gym}/scores.csv"),
    ("POST", "/desk/{c}/{gym}/{w}/attestation"),
    ("GET", "/desk/{c}/{gym}/{w}/{bib}"),
    ("POST", "/desk/{c}/{gym}/{w}/{bib}"),
    ("POST", "/desk/{c}/{gym}/{w}/{bib}/withdrawal"),
    ("POST", "/desk/{c}/{gym}/{w}/{bib}/not-taking-part"),
    ("POST", "/desk/{c}/{gym}/{w}/{bib}/taking-part"),
    ("GET", "/judge/{c}"),
    ("POST", "/judge/{c}/{w}/attestation"),
    ("GET", "/referee"),
    ("GET", "/referee/{c}/{w}/{bib}"),
    ("POST", "/referee/{c}/{w}/{bib}/flag"),
    ("POST", "/referee/{c}/{w}/{bib}/ruling"),
    ("GET", "/organise"),
    ("GET", "/new-competition"),
    ("POST", "/new-competition"),
    ("GET", "/new-competition/example.toml"),
    ("GET", "/organise/{c}"),
    ("POST", "/organise/{c}/late"),
    ("POST", "/organise/{c}/late/{w}/{bib}"),
    ("POST", "/organise/{c}/extensions"),
    ("POST", "/organise/{c}/erase"),
    ("GET", "/organise/{c}/missing"),
    ("GET", "/organise/{c}/missing.csv"),
    ("GET", "/organise/{c}/competition.toml"),
    ("GET", "/organise/{c}/file"),
    ("POST", "/organise/{c}/file"),
    ("GET", "/organise/{c}/lists/{list}"),
    ("POST", "/organise/{c}/lists/{list}"),
    ("GET", "/organise/{c}/entries/{bib}"),
    ("POST", "/organise/{c}/entries/{bib}"),
    ("GET", "/organise/{c}/codes"),
    ("POST", "/organise/{c}/codes"),
    ("GET", "/organise/{c}/proposals"),
    ("POST", "/organise/{c}/proposals"),
    ("GET", "/organise/{c}/people"),
    ("POST", "/organise/{c}/people"),
    ("POST", "/organise/{c}/people/invite"),
    ("POST", "/organise/{c}/people/{id}/remove"),
    ("POST", "/organise/{c}/people/{id}/link"),
    ("GET", "/api"),
    ("GET", "/static/{name}"),
];

/// The pages and the files they need.
pub fn router() -> Router<App> {
    Router::new()
        .route("/", get(home::get_home))
        .route("/c/{c}", get(competition::get_competition))
        .route("/c/{c}/calendar.ics", get(calendar::get_calendar))
        .route("/c/{c}/workouts/{w}", get(workout::get_workout))
        .route("/c/{c}/workouts/{w}/sheet", get(sheet::get_sheet))
        .route("/c/{c}/divisions/{d}", get(standings::get_standings))
        .route("/c/{c}/divisions/{d}/workouts/{w}", get(places::get_places))
        .route("/c/{c}/athletes/{bib}", get(athlete::get_athlete))
        .route("/c/{c}/athletes/{bib}/workouts/{w}", get(own_score::get_own).post(own_score::post_own))
        .route("/c/{c}/athletes/{bib}/workouts/{w}/withdrawal", post(own_score::post_own_withdrawal))
        .route("/c/{c}/athletes/{bib}/workouts/{w}/appeal", post(appeal::post_appeal))
        .route("/signin", get(signin::get_signin).post(signin::post_signin))
        .route("/signin/link", get(signin::get_link).post(signin::post_link))
        .route("/signin/forgotten", get(forgotten::get_forgotten).post(forgotten::post_forgotten))
        .route("/claim", get(claim::get_claim).post(claim::post_claim))
        .route("/signout", post(signin::post_signout))
        .route("/account", get(account::get_account))
        .route("/account/password", post(account::post_password))
        .route("/account/sessions/{id}/end", post(account::post_end_session))
        .route("/account/tokens", post(account::post_token))
        .route("/account/tokens/{id}/revoke", post(account::post_revoke))
        .route("/account/data.json", get(account::get_data).layer(from_fn(language::data)))
        .route("/account/name", post(account::post_name))
        .route("/account/erase", post(account::post_erase))
        .route("/desk/{c}/{gym}", get(desk::get_desk))
        .route("/desk/{c}/{gym}/codes", get(codes::get_codes).post(codes::post_codes))
        .route("/desk/{c}/{gym}/proposals", get(proposals::get_proposals).post(proposals::post_proposals))
        .route("/desk/{c}/{gym}/proposals/{id}/withdraw", post(proposals::post_withdraw))
        .route("/desk/{c}/{gym}/heats/{w}", get(heats::get_heats).post(heats::post_heats))
        .route("/desk/{c}/{gym}/heats/{w}/paper", get(heats_paper::get_heats_paper))
        .route("/desk/{c}/{gym}/wall", get(wall::get_wall))
        .route("/desk/{c}/{gym}/receipt", get(desk::get_receipt))
        .route("/desk/{c}/{gym}/missing", get(desk::get_missing))
        .route("/desk/{c}/{gym}/file", get(desk::get_file).post(desk::post_file))
        .route("/desk/{c}/{gym}/scores.csv", get(desk::get_csv))
        .route("/desk/{c}/{gym}/{w}/attestation", post(desk::post_attestation))
        .route("/desk/{c}/{gym}/{w}/{bib}", get(score::get_score).post(score::post_score))
        .route("/desk/{c}/{gym}/{w}/{bib}/withdrawal", post(take_back::post_withdrawal))
        .route("/desk/{c}/{gym}/{w}/{bib}/not-taking-part", post(taking_part::post_not_taking_part))
        .route("/desk/{c}/{gym}/{w}/{bib}/taking-part", post(taking_part::post_taking_part))
        .route("/judge/{c}", get(judge::get_judge))
        .route("/judge/{c}/{w}/attestation", post(judge::post_attestation))
        .route("/referee", get(referee::get_referee))
        .route("/referee/{c}/{w}/{bib}", get(review::get_review))
        .route("/referee/{c}/{w}/{bib}/flag", post(review::post_flag))
        .route("/referee/{c}/{w}/{bib}/ruling", post(review::post_ruling))
        .route("/organise", get(organise::get_all))
        .route("/new-competition", get(organise::create::get_new).post(organise::create::post_new))
        .route("/new-competition/example.toml", get(organise::create::get_example))
        .route("/organise/{c}", get(organise::overview::get_overview))
        .route("/organise/{c}/late/{w}/{bib}", post(organise::late::post_late))
        .route("/organise/{c}/late", post(organise::late::post_many))
        .route("/organise/{c}/extensions", post(organise::overview::post_extension))
        .route("/organise/{c}/erase", post(organise::erase::post_erase))
        .route("/organise/{c}/missing", get(organise::missing::get_missing))
        .route("/organise/{c}/competition.toml", get(organise::file::get_toml).layer(from_fn(language::data)))
        .route("/organise/{c}/missing.csv", get(organise::missing::get_missing_csv).layer(from_fn(language::data)))
        .route("/organise/{c}/file", get(organise::file::get_file).post(organise::file::post_file))
        .route(
            "/organise/{c}/proposals",
            get(organise::proposals::get_proposals).post(organise::proposals::post_proposals),
        )
        .route("/organise/{c}/entries/{bib}", get(organise::entry::get_entry).post(organise::entry::post_entry))
        .route("/organise/{c}/codes", get(codes::get_codes_without).post(codes::post_codes_without))
        .route("/organise/{c}/people", get(organise::people::get_people).post(organise::give::post_role))
        .route("/organise/{c}/people/invite", post(organise::people::post_invite))
        .route("/organise/{c}/people/{id}/remove", post(organise::people::post_remove))
        .route("/organise/{c}/people/{id}/link", post(organise::people::post_link))
        .route("/organise/{c}/lists/{list}", get(organise::lists::get_list).post(organise::lists::post_list))
        .route("/api", get(api::get_api))
        .route("/static/{name}", get(assets::get_asset))
        .layer(from_fn(language::page))
}
