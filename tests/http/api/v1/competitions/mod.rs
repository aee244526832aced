//! `/api/v1/competitions`.

mod apply;
mod check;
mod entries;
mod many;
mod moves;
mod roster;
mod row_remarks;
mod scores;
mod standings;
mod walk;

use crate::support::{Client, Reply};
use serde_json::{Value, json};

/// The competition that the tests use.
const C: &str = "/api/v1/competitions/saltmarsh";

/// The address of a score.
fn score(workout: &str, bib: u32) -> String {
    format!("{C}/workouts/{workout}/scores/{bib}")
}

/// Sends a first score with an attestation of the gym's judge.
async fn attested(client: &Client, bib: u32, performance: &str, judge: &str) -> Reply {
    let body = json!({ "performance": performance, "attestation": { "judge": judge, "how": "paper_sheet" } });
    client.put(&score("w1", bib)).json(body).await
}

/// The etag of a score's answer.
fn etag(score: &Value) -> String {
    score["etag"].as_str().expect("an etag").to_owned()
}
