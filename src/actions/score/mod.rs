//! What all moves on a score share, and reading scores: now, their history, rulings, lists.

mod allowed;
mod check;
mod desk;
mod history;
mod late;
mod missing;
pub(in crate::actions) mod show;

pub use allowed::{Allowed, Officiating, allowed, officiating};
pub use check::check;
pub use desk::{DeskQuery, desk};
pub use history::{history, rulings};
pub use late::{Late, correction, late};
pub use missing::{Missing, Progress, missing, names_of, progress};
pub use show::remarks;
pub(super) use show::{Show, notes};

use super::reader::{Reader, shown};
use super::request::stored;
use super::views::{PlaceView, ScoreWithAttempts, Written};
use super::{Failure, Request, ScorePath, signed_in};
use crate::app::App;
use crate::rules::access::{Actor, Denied, Role};
use crate::rules::fault::{Fault, Read, Warning};
use crate::rules::ledger::{self, Change, Outcome, Precondition, Refusal};
use crate::rules::life::{Attempt, Move, State, Submit};
use crate::rules::people::{Entry, EntryState};
use crate::rules::performance;
use crate::rules::workout::Workout;
use crate::store::Answered;
use crate::store::entries::Named;
use crate::words::Sentence;
use jiff::Timestamp;
use std::time::Duration;

/// How long a reader waits for the board to reach a log position.
pub const WAIT: Duration = Duration::from_secs(2);

/// 401, 404 or 403 for those who could not make such a move whatever they sent, before they are
/// told what is wrong with it. `roles`: whose move it is.
pub async fn may(app: &App, actor: &Actor, now: Timestamp, score: &ScorePath, roles: &[Role]) -> Result<(), Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, &score.competition).await?;
    reader.workout(&score.workout)?;
    find_entry(app, &reader, score.bib).await?;
    if actor.operator || roles.iter().any(|role| actor.has(&reader.slug, *role)) {
        return Ok(());
    }
    Err(Denied::NotAllowed.into())
}

/// A submission that was read as a whole. Where something could not be read, and the reader is of those
/// who may send one: that, and all else that the rules say is wrong with it.
pub async fn whole(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    score: &ScorePath,
    roles: &[Role],
    read: Read<Submit>,
) -> Result<Submit, Failure> {
    if read.faults.is_empty() {
        return Ok(read.value);
    }
    may(app, actor, now, score, roles).await?;
    let others = faults(app, actor, now, score, read.value.clone()).await?;
    read.and_others(others).whole().map_err(Failure::faults)
}

/// Everything that the rules say is wrong with a submission, which is not stored.
pub async fn faults(
    app: &App,
    actor: &Actor,
    received: Timestamp,
    score: &ScorePath,
    sent: Submit,
) -> Result<Vec<Fault>, Failure> {
    // What has been seen of the score is not asked for here.
    let what = Move::Submit(Submit { revise: true, ..sent });
    let change = Change::Score { workout: score.workout.clone(), bib: score.bib, what };
    let asked = Request::at(received).asked(app, actor, &score.competition, change);
    let found = app.store.list_faults(&score.competition, &[asked], app.clock.now()).await?;
    Ok(found.into_iter().flatten().collect())
}

/// Makes one move on a score and answers with it and its places afterwards.
pub async fn make_move(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    what: Move,
) -> Result<Written, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, request.received, &score.competition).await?;
    let workout = reader.workout(&score.workout)?.clone();
    let about = Moved {
        number: match &what {
            Move::Submit(sent) => sent.attempt,
            Move::Attest(sent) => sent.attempt,
            _ => None,
        },
        written: match &what {
            Move::Submit(sent) => Some(performance::written(&sent.performance)),
            _ => None,
        },
        seen: request.precondition.clone(),
    };
    let change = Change::Score { workout: score.workout.clone(), bib: score.bib, what };
    let mut answered = match request.ask(app, actor, &score.competition, change).await {
        Ok(answered) => answered,
        Err(failure) => return Err(with_current(app, &reader, &workout, score.bib, failure).await?),
    };
    let entry = match answered.entry.take() {
        Some(entry) => *entry,
        None => stored(find_entry(app, &reader, score.bib).await)?.entry,
    };
    // The answer is out before the board is told, if the process is slow: wait for it. Of a state without this change
    // no places are told.
    let is_shown = app.logs.at_least(reader.id, answered.seq, WAIT).await;
    stored(written(app, &reader, &workout, &entry, answered, (&about, is_shown)).await)
}

/// What was said of which attempt a move is about.
struct Moved {
    number: Option<u32>,
    /// The figures, as they were written.
    written: Option<String>,
    seen: Precondition,
}

impl Moved {
    /// The attempt, where nothing was changed: it is still as it was seen, or as it was sent before.
    fn unchanged<'a>(&self, workout: &Workout, attempts: &'a [Attempt]) -> Option<&'a Attempt> {
        let seen = |a: &Attempt| matches!(&self.seen, Precondition::Match(tags) if tags.contains(&a.tag()));
        let sent =
            |a: &Attempt| self.written.as_ref().is_some_and(|w| [&a.stored.written, &a.stored.text].contains(&w));
        let meant = ledger::meant(workout.attempts, attempts, &self.seen);
        match self.number {
            Some(n) => attempts.iter().find(|a| a.score.attempt == n),
            None if meant.is_some_and(|a| seen(a) || sent(a)) => meant,
            None => attempts.iter().rev().find(|a| sent(a)).or(meant),
        }
    }
}

/// A refused precondition, with the score that its sender should have seen.
async fn with_current(
    app: &App,
    reader: &Reader,
    workout: &Workout,
    bib: u32,
    failure: Failure,
) -> Result<Failure, Failure> {
    let attempt = match &failure {
        Failure::Refused(
            Refusal::PreconditionFailed(Some(attempt)) | Refusal::PreconditionRequired(_, Some(attempt)),
        ) => attempt.as_ref().clone(),
        _ => return Ok(failure),
    };
    let Ok(Named { entry, .. }) = find_entry(app, reader, bib).await else { return Ok(failure) };
    // Who may write here need not see what others wrote before it is published.
    if !reader.sees_scores_of(workout, &entry, attempt.stored.gym.as_deref()) {
        return Ok(failure);
    }
    let show = Show::load(app, reader, workout, &entry, &[&attempt], reader.seq).await?;
    let current = Box::new(show.score(&attempt));
    Ok(match failure {
        Failure::Refused(refusal) => Failure::Stale { refusal, current },
        other => other,
    })
}

async fn written(
    app: &App,
    reader: &Reader,
    workout: &Workout,
    entry: &Entry,
    answered: Answered,
    (about, is_shown): (&Moved, bool),
) -> Result<Written, Failure> {
    let (created, attempt) = match answered.outcome {
        Outcome::Score { created, attempt } => (created, answered.attempts.iter().find(|a| a.score.attempt == attempt)),
        _ => (false, about.unchanged(workout, &answered.attempts)),
    };
    let shown = || ledger::shown(workout.attempts, &answered.attempts);
    let attempt = attempt.or_else(shown).ok_or_else(|| no_score(workout, entry.bib))?;
    let show = Show::load(app, reader, workout, entry, &[attempt], answered.seq).await?;
    let mut view = show.score(attempt);
    let mut warnings = answered.warnings;
    if is_shown {
        warnings.extend(video_of_the_top(app, reader, workout, entry, attempt));
        view.places = Some(places(app, reader, workout, entry.bib));
    }
    view.warnings = remarks(&warnings);
    Ok(Written { created, unchanged: answered.outcome == Outcome::Unchanged, score: view })
}

/// A video is expected of those placed up to `evidence.top` (competition file): the board knows the
/// place, or the place the score would have once attested. Said only to who may see places.
fn video_of_the_top(
    app: &App,
    reader: &Reader,
    workout: &Workout,
    entry: &Entry,
    attempt: &Attempt,
) -> Option<Warning> {
    let top = workout.evidence.top.filter(|_| !workout.evidence.all)?;
    let may_be_placed = attempt.state.placed() || attempt.state == State::Entered;
    let ranked = matches!(entry.state, EntryState::Active | EntryState::Withdrawn);
    if attempt.details.video.is_some() || !may_be_placed || !ranked || !reader.sees_scores(workout, None) {
        return None;
    }
    let (index, key) = (reader.index(workout), attempt.stored.key);
    let place = app.board.would_be(reader.id, &entry.division, index, key, entry.bib).filter(|place| *place <= top)?;
    let sentence = Sentence::new("video_expected_top").with("place", place).with("top", top);
    Some(Warning { pointer: "/video".to_owned(), sentence })
}

/// Places of an entry in a workout, in its division and the combined ones; none that the reader
/// may not see yet.
fn places(app: &App, reader: &Reader, workout: &Workout, bib: u32) -> Vec<PlaceView> {
    let index = reader.index(workout);
    if !reader.sees_scores(workout, None) {
        return Vec::new();
    }
    let places = app.board.places_in(reader.id, index, bib).unwrap_or_default();
    places.into_iter().map(|p| PlaceView { division: p.division, place: p.place, of: count(p.of) }).collect()
}

/// A count for JSON. No division has 2^32 entries.
pub(super) fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// The entry with this bib.
pub(super) async fn find_entry(app: &App, reader: &Reader, bib: u32) -> Result<Named, Failure> {
    let named = app.store.find_entry(reader.id, bib).await?;
    named.ok_or_else(|| Failure::not_found(Sentence::new("no_entry").with("bib", bib)))
}

fn no_score(workout: &Workout, bib: u32) -> Failure {
    Failure::not_found(Sentence::new("no_score").with("workout", shown(&workout.title)).with("bib", bib))
}

/// The attempt that counts, else the latest, with all attempts.
pub async fn read(app: &App, actor: &Actor, now: Timestamp, score: &ScorePath) -> Result<ScoreWithAttempts, Failure> {
    let reader = Reader::find(app, actor, now, &score.competition).await?;
    let workout = reader.workout(&score.workout)?;
    let entry = find_entry(app, &reader, score.bib).await?.entry;
    let attempts = app.store.list_attempts(reader.id, &score.workout, score.bib).await?;
    let attempts: Vec<&Attempt> =
        attempts.iter().filter(|a| reader.sees_scores_of(workout, &entry, a.stored.gym.as_deref())).collect();
    let owned: Vec<Attempt> = attempts.iter().map(|a| (*a).clone()).collect();
    let counting = ledger::shown(workout.attempts, &owned).ok_or_else(|| no_score(workout, score.bib))?;
    let show = Show::load(app, &reader, workout, &entry, &attempts, reader.seq).await?;
    Ok(ScoreWithAttempts {
        score: show.score(counting),
        attempts: attempts.into_iter().map(|a| show.score(a)).collect(),
    })
}
