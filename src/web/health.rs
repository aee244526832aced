//! `/healthz`: the process answers. `/readyz`: the database does too, and the board has taken in
//! what was committed.

use super::problem::{Answer, Problem};
use crate::app::App;
use crate::words::Sentence;
use axum::extract::State;
use axum::response::IntoResponse;
use std::time::Duration;

/// How long the board may take to catch up.
const PATIENCE: Duration = Duration::from_secs(1);

/// Whether the process answers.
pub async fn show_health() -> &'static str {
    "ok"
}

/// Whether it can be sent requests.
pub async fn show_readiness(State(app): State<App>) -> Answer {
    let not_ready = || Problem::unavailable(Sentence::new("not_ready"), 1);
    let heads = app.store.heads().await.map_err(|source| not_ready().because(source))?;
    for (competition, seq) in heads {
        if seq > 0 && !app.board.at_least(competition, seq, PATIENCE).await {
            return Err(not_ready());
        }
    }
    Ok("ready".into_response())
}
