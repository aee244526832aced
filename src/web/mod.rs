//! HTTP: who is asking, what they may see, JSON and pages. Writes no SQL.
//!
//! [`router`] is the whole service. Every answer goes through the same layers: request id and
//! time of arrival, one log line, panics caught, load shed, time limits, compression, headers.

pub mod api;
pub mod extract;
pub mod pages;
pub mod problem;
pub mod session;

use crate::app::App;

/// The whole service: API, pages, health and metrics behind the common layers.
pub fn router(app: App) -> axum::Router {
    let _ = app;
    todo!()
}
