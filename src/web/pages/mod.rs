//! HTML, one file per page; a view struct per template, built from domain values.
//!
//! Every page is complete without JavaScript and carries no inline style or script. Forms post
//! to the page's own address, call the same actions as the API, and answer 303. What it does
//! not do: decide anything. Permission, places and sentences come from the floors below.

use crate::app::App;
use axum::Router;

/// Every route of the pages: method and path, for the table of routes and roles.
pub const ROUTES: &[(&str, &str)] = &[
    ("GET", "/"),
    ("GET", "/c/{c}"),
    ("GET", "/c/{c}/workouts/{w}"),
    ("GET", "/c/{c}/divisions/{d}"),
    ("GET", "/c/{c}/divisions/{d}/workouts/{w}"),
    ("GET", "/c/{c}/athletes/{bib}"),
    ("GET", "/signin"),
    ("POST", "/signin"),
    ("GET", "/signin/link"),
    ("POST", "/signin/link"),
    ("POST", "/signout"),
    ("GET", "/account"),
    ("POST", "/account/password"),
    ("POST", "/account/sessions/{id}/end"),
    ("POST", "/account/tokens"),
    ("POST", "/account/tokens/{id}/revoke"),
    ("GET", "/desk/{c}/{gym}"),
    ("GET", "/desk/{c}/{gym}/{w}/{bib}"),
    ("POST", "/desk/{c}/{gym}/{w}/{bib}"),
    ("POST", "/desk/{c}/{gym}/{w}/{bib}/not-taking-part"),
    ("POST", "/desk/{c}/{gym}/{w}/{bib}/taking-part"),
    ("GET", "/referee"),
    ("GET", "/referee/{c}/{w}/{bib}"),
    ("POST", "/referee/{c}/{w}/{bib}/flag"),
    ("POST", "/referee/{c}/{w}/{bib}/ruling"),
    ("GET", "/static/{name}"),
];

/// The pages and the files they need.
pub fn router() -> Router<App> {
    Router::new()
}
