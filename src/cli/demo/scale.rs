//! A field of any size: the sheets of every workout, day by day, as one desk that gathers them all
//! sends them in. What only happens to some, and by hand (late scores, moves, doubts, rulings), is
//! the sample's alone.

use super::field::Field;
use super::series::{Calendar, SLUG, WORKOUTS};
use super::sheets::{Numbers, csv, lines_of_day};
use super::story::{FILE, Told, count};
use crate::actions::Request;
use crate::actions::import::{Rows, What, import};
use crate::app::{App, Clock};
use crate::rules::access::Actor;
use anyhow::anyhow;
use jiff::Timestamp;
use std::sync::Arc;
use tokio::sync::mpsc;

/// A file of one workout.
struct File {
    workout: &'static str,
    /// When its last sheet came in.
    received: Timestamp,
    csv: String,
    rows: usize,
}

/// Sends the sheets of the first `workouts` in, in the order of their days. `step` hears how many
/// rows are in.
pub(super) async fn tell(
    app: &App,
    clock: &Clock,
    calendar: &Calendar,
    field: Field,
    workouts: usize,
    now: Timestamp,
    mut step: impl FnMut(usize),
) -> anyhow::Result<Told> {
    // The next file is written while the one before is taken in.
    let (send, mut files) = mpsc::channel(2);
    let (field, calendar) = (Arc::new(field), calendar.clone());
    let write = tokio::task::spawn_blocking(move || write(&field, &calendar, workouts, now, &send));
    let (mut told, mut done) = (Told::default(), 0);
    while let Some(File { workout, received, csv, rows }) = files.recv().await {
        clock.set(received);
        let what = What::Scores { workout: Some(workout.to_owned()) };
        let rows_of_it = Rows::Csv(csv.into_bytes());
        let view = import(app, &Actor::operator(), SLUG, Request::at(received), what, rows_of_it)
            .await
            .map_err(|failure| anyhow!("a file of {workout} is refused: {failure:?}"))?;
        count(&view, workout, &mut told);
        done += rows;
        step(done);
    }
    write.await??;
    Ok(told)
}

/// Writes the files; ends early when nobody takes them any more.
fn write(
    field: &Field,
    calendar: &Calendar,
    workouts: usize,
    now: Timestamp,
    send: &mpsc::Sender<File>,
) -> anyhow::Result<()> {
    for workout in WORKOUTS.into_iter().take(workouts) {
        let (opens, closes) = calendar.window(workout);
        let mut numbers = Numbers::default();
        for day in opens..closes {
            let lines = lines_of_day(workout, day, field, calendar, now, &mut numbers)?;
            for lines in lines.chunks(FILE) {
                let some: Vec<_> = lines.iter().collect();
                let received = lines.iter().map(|line| line.received).max().unwrap_or(now);
                let file = File { workout, received, csv: csv(&some)?, rows: some.len() };
                if send.blocking_send(file).is_err() {
                    return Ok(());
                }
            }
        }
    }
    Ok(())
}
