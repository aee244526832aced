//! `/healthz`: the process answers. `/readyz`: whether it can be sent requests, and the truth about
//! what stands behind it: the database, whether it takes changes, how far the board is behind it, and whether
//! what is acknowledged is on a second machine. Where nothing can be written it is ready all the same: standings
//! are read, and every other instance on that database would be no better.

use super::problem::{Answer, Problem};
use crate::actions::follow::is_another;
use crate::app::{App, Clock};
use crate::store::{StoreError, Trouble};
use crate::words::Sentence;
use axum::Json;
use axum::extract::State;
use axum::response::IntoResponse;
use jiff::Timestamp;
use serde::Serialize;
use std::time::Duration;

/// How long the board may take to catch up.
const PATIENCE: Duration = Duration::from_secs(1);
/// By how many seconds this machine's clock may differ from the database's before that is worth a word in the
/// log: what is late goes by the one, and at another instance by another.
const CLOCKS: f64 = 60.0;
/// How long the database may take to answer.
const ANSWER: Duration = Duration::from_secs(3);
/// How long a try to write may take: where a commit waits for a standby that is gone it would never end.
const A_TRY: Duration = Duration::from_secs(1);

/// What a service stands on.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Readiness {
    /// Requests can be sent to it: it shows what is there.
    pub ready: bool,
    /// The database answers.
    pub database: bool,
    /// It takes changes: it is no standby, has not been told to take none, its file may be written, and there was room
    /// when something was stored last.
    pub writable: bool,
    /// Records of all logs that the standings had not taken in when asked.
    pub lag_records: Option<u64>,
    /// How old the oldest of them was, in seconds. `None`, of both: the database could not be asked.
    pub lag_seconds: Option<f64>,
    /// Whether a commit waits until a second server has it; `None`: there is no such thing with the
    /// embedded engine.
    pub waits_for_standby: Option<bool>,
    /// By how many seconds this machine's clock is ahead of the database's; `None`: they are one machine.
    pub clock_ahead_seconds: Option<f64>,
}

/// Whether the process answers.
pub async fn show_health() -> &'static str {
    "ok"
}

/// Whether it can be sent requests, and why not.
pub async fn show_readiness(State(app): State<App>) -> Answer {
    let mut found = Readiness::default();
    let (asked, takes_changes) = tokio::join!(
        tokio::time::timeout(ANSWER, ask(&app, &mut found)),
        tokio::time::timeout(A_TRY, app.store.takes_changes()),
    );
    found.writable &= takes_changes.unwrap_or(false);
    if asked.is_err() && !found.database {
        found.database = app.store.is_there().await;
    }
    if found.ready {
        return Ok(Json(found).into_response());
    }
    let not_ready = Problem::unavailable(Sentence::new("not_ready"), 1);
    let not_ready = not_ready.with(|problem| problem.current = serde_json::to_value(&found).ok());
    Err(match asked {
        Ok(Err(why)) => not_ready.because(why),
        _ => not_ready,
    })
}

async fn ask(app: &App, found: &mut Readiness) -> Result<(), StoreError> {
    let heads = match app.store.list_heads().await {
        Err(error) if error.trouble() == Some(Trouble::Busy) => {
            found.database = true;
            return Err(error);
        }
        heads => heads?,
    };
    found.database = true;
    let asked = seconds_since_1970();
    let footing = app.store.footing().await?;
    (found.writable, found.waits_for_standby) = (footing.writable, footing.waits_for_standby);
    found.clock_ahead_seconds = footing.clock.map(|there| ahead((asked, seconds_since_1970()), there));
    // Said, and no more: the clock that is wrong may be the database's, and then all would be.
    if found.clock_ahead_seconds.is_some_and(|ahead| ahead.abs() > CLOCKS) {
        tracing::warn!(ahead = found.clock_ahead_seconds, "this machine's clock differs from the database's");
    }
    let now = app.clock.now();
    let (mut records, mut age) = (0, 0.0_f64);
    for &(competition, seq, _) in &heads {
        let known = app.board.position(competition).unwrap_or(0);
        if known >= seq {
            continue;
        }
        records += seq - known;
        let at = app.store.find_instant(competition, known + 1).await?;
        age = age.max(at.map_or(0.0, |at| seconds(now, at)));
    }
    (found.lag_records, found.lag_seconds) = (Some(records), Some(age));
    for (competition, seq, _) in heads {
        if seq > 0 && !app.board.at_least(competition, seq, PATIENCE).await {
            return Ok(());
        }
    }
    // A database that was put back, or another server that has less: what is shown is not what is there.
    // It is loaded anew in a moment.
    let shown = app.logs.taken_in();
    let is_gone = |(id, seq, root): &(i64, u64, [u8; 32])| {
        shown.get(id).is_some_and(|followed| is_another(*followed, (*seq, *root)))
    };
    // Of one that is being loaded anew nothing is taken in.
    let is_unknown = |(id, seq, _): &(i64, u64, [u8; 32])| *seq > 0 && !shown.contains_key(id);
    if app.store.list_heads().await?.iter().any(|head| is_gone(head) || is_unknown(head)) {
        return Ok(());
    }
    found.ready = true;
    Ok(())
}

/// This machine's clock, whatever the service is told.
fn seconds_since_1970() -> f64 {
    Clock::System.now().as_duration().as_secs_f64()
}

/// By how much a clock that said the one thing before the question and the other after the answer is ahead of
/// one that said `there` in between; as little as can be.
fn ahead((before, after): (f64, f64), there: f64) -> f64 {
    if there < before { before - there } else { (after - there).min(0.0) }
}

/// From `at` to `now`; a log may be ahead of this machine's clock.
fn seconds(now: Timestamp, at: Timestamp) -> f64 {
    now.duration_since(at).as_secs_f64().max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_ahead_by_no_more_than_the_time_between_question_and_answer_leaves_open() {
        let close = |a: f64, b: f64| (a - b).abs() < 1e-9;
        assert!(close(ahead((100.0, 100.2), 100.1), 0.0), "in between");
        assert!(close(ahead((100.0, 100.2), 90.0), 10.0));
        assert!(close(ahead((100.0, 100.2), 130.2), -30.0));
    }
}
