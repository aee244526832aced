//! Later windows of a workout for one gym or region: a power cut, a storm.

use super::reader::Reader;
use super::views::{ExtensionView, names};
use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::event::{Event, Extension};
use crate::rules::fault::Fault;
use crate::rules::ledger::Change;
use jiff::Timestamp;

/// Records of one workout that are read at most.
const MOST: u32 = 1_000;

/// Moves a workout's windows for a gym or a region, with a reason.
pub async fn extend(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    extension: Extension,
    reason: String,
) -> Result<ExtensionView, Failure> {
    let reader = super::roster::may(app, actor, competition, &request).await?;
    reader.workout(&extension.workout)?;
    let change = Change::Extend { extension: extension.clone(), reason };
    let answered = request.ask(app, actor, competition, change).await?;
    Ok(ExtensionView {
        workout: extension.workout,
        gym: extension.gym,
        region: extension.region,
        closes: extension.closes,
        attest_by: extension.attest_by,
        log_seq: answered.seq,
    })
}

/// Everything that is wrong with more time of which an end could not be read (`None`), besides that.
///
/// # Errors
/// As [`extend`].
pub async fn faults(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    wanted: Unread,
    reason: String,
) -> Result<Vec<Fault>, Failure> {
    let reader = super::roster::may(app, actor, competition, &request).await?;
    let window = reader.workout(&wanted.workout)?.window;
    let closes = wanted.closes.unwrap_or(window.closes);
    let attest_by = wanted.attest_by.unwrap_or_else(|| closes.max(window.attest_by));
    let Unread { workout, gym, region, .. } = wanted;
    let extension = Extension { workout, gym, region, closes, attest_by, taken_back: false };
    let asked = request.asked(app, actor, competition, Change::Extend { extension, reason });
    let found = app.store.list_faults(competition, &[asked], app.clock.now()).await?;
    // Of what was put in for the others nothing is said.
    let read = |fault: &Fault| match fault.pointer.as_str() {
        "/closes" => wanted.closes.is_some(),
        "/attest_by" => wanted.attest_by.is_some(),
        _ => true,
    };
    Ok(found.into_iter().flatten().filter(read).collect())
}

/// More time as it was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unread {
    /// Workout slug.
    pub workout: String,
    /// For this gym.
    pub gym: Option<String>,
    /// For this region.
    pub region: Option<String>,
    /// `None`: it could not be read.
    pub closes: Option<Timestamp>,
    /// `None`: it could not be read.
    pub attest_by: Option<Timestamp>,
}

/// An extension with what is told of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Extended {
    /// What.
    pub extension: Extension,
    /// Why; `None`: erased.
    pub reason: Option<String>,
    /// When it was made.
    pub at: Timestamp,
    /// In which role; `None`: the command line.
    pub role: Option<&'static str>,
}

/// The extensions of a competition with their reasons, newest first; for the organiser.
pub async fn list(app: &App, actor: &Actor, now: Timestamp, competition: &str) -> Result<Vec<Extended>, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let permit = permit(actor, Act::Organise { competition: &reader.slug })?;
    let mut records = Vec::new();
    for workout in reader.workouts() {
        let subject = format!("workout/{}", workout.slug);
        for stored in app.store.list_history(reader.id, &subject, 0, MOST).await? {
            let record = stored.record()?;
            if let Event::Extended { extension, reason } = record.event {
                records.push((record.seq, record.at, record.actor.role, extension, reason));
            }
        }
    }
    records.sort_by_key(|(seq, ..)| std::cmp::Reverse(*seq));
    let ids: Vec<u64> = records.iter().map(|(.., reason)| reason.id).collect();
    let notes = if ids.is_empty() {
        std::collections::HashMap::new()
    } else {
        app.store.list_notes(&permit, reader.id, &ids).await?
    };
    let extended = records.into_iter().map(|(_, at, role, extension, reason)| Extended {
        extension,
        reason: notes.get(&reason.id).cloned(),
        at,
        role: role.map(names::role),
    });
    Ok(extended.collect())
}
