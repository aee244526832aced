//! What storing a score would do, decided by the same rules on the state as it is. Nothing is
//! stored: the desk asks while somebody types.

use super::show::{self, remarks};
use super::{count, find_entry};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::views::{CheckView, PlaceView, RemarkView};
use crate::actions::{Failure, Request, ScorePath, signed_in};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::event::{Event, ScoreRef};
use crate::rules::fault::{Fault, Question};
use crate::rules::ledger::{self, Change, Decided, Outcome, Refusal};
use crate::rules::life::{Attempt, Details, Move, State, Stored, Submit};
use crate::rules::people::{Entry, EntryState};
use crate::rules::workout::Workout;
use crate::standings::{Cut, Mask, Query, Scope};
use crate::words::Sentence;
use jiff::Timestamp;

/// Checks a score as sent; for those who may enter it. What it does not look at: preconditions.
pub async fn check(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    received: Timestamp,
    sent: Submit,
) -> Result<CheckView, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, received, &score.competition).await?;
    let workout = reader.workout(&score.workout)?;
    let mut view = CheckView {
        workout: workout.slug.clone(),
        bib: score.bib,
        fits: false,
        text: None,
        unchanged: false,
        late: false,
        faults: Vec::new(),
        questions: Vec::new(),
        warnings: Vec::new(),
        places: Vec::new(),
        log_seq: reader.seq,
    };
    let number = sent.attempt;
    let Some(decided) = decide(app, actor, score, received, sent, &mut view).await? else { return Ok(view) };
    view.warnings = remarks(&decided.warnings);
    view.fits = view.questions.is_empty();
    let entry = find_entry(app, &reader, score.bib).await?.entry;
    let submitted = decided.events.iter().find_map(|event| match event {
        Event::Submitted { score, stored, late, .. } => Some((score.attempt, stored.clone(), *late)),
        _ => None,
    });
    let attempts = app.store.list_attempts(reader.id, &workout.slug, score.bib).await?;
    let (number, stored, late) = if let Some(new) = submitted {
        new
    } else {
        // The same figures: nothing changes, or only details do.
        view.unchanged = decided.events.is_empty();
        let touched = match decided.outcome {
            Outcome::Score { attempt, .. } => Some(attempt),
            _ => number,
        };
        let touched = touched.and_then(|n| attempts.iter().find(|a| a.score.attempt == n));
        let Some(now) = touched.or_else(|| ledger::shown(workout.attempts, &attempts)) else { return Ok(view) };
        (now.score.attempt, now.stored.clone(), now.state == State::Late)
    };
    view.text = Some(show::performance(&reader, workout, &entry.division, &stored).text);
    view.late = late;
    if !late && entry.state == EntryState::Active {
        let placed = ledger::counting(workout.attempts, &attempts).is_some();
        let counts = would_count(workout, &attempts, number, stored);
        view.places = places(app, &reader, workout, &entry, &counts, placed);
    }
    Ok(view)
}

/// What would count once a judge vouches for these figures of an attempt: they, or those of another one.
fn would_count(workout: &Workout, attempts: &[Attempt], number: u32, stored: Stored) -> Stored {
    let others = attempts.iter().filter(|a| a.score.attempt != number).cloned();
    let score = ScoreRef { workout: workout.slug.clone(), bib: 0, attempt: number };
    let vouched = Attempt::new(score, 1, 0, State::Attested, stored.clone(), Details::default());
    let mut all: Vec<Attempt> = others.chain([vouched]).collect();
    all.sort_by_key(|a| a.score.attempt);
    ledger::counting(workout.attempts, &all).map_or(stored, |a| a.stored.clone())
}

/// The decision, with all questions answered with yes; `None`: there are faults. Both are noted.
async fn decide(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    received: Timestamp,
    sent: Submit,
    view: &mut CheckView,
) -> Result<Option<Decided>, Failure> {
    // No precondition is needed where stored figures are replaced on purpose.
    let mut sent = Submit { revise: true, ..sent };
    loop {
        let what = Move::Submit(sent.clone());
        let change = Change::Score { workout: score.workout.clone(), bib: score.bib, what };
        let asked = Request::at(received).asked(app, actor, &score.competition, change);
        match app.store.preview(&asked, app.clock.now()).await? {
            Ok(decided) => return Ok(Some(decided)),
            Err(Refusal::Ask(questions)) if view.questions.is_empty() => {
                sent.confirm.extend(questions.iter().map(|q| q.sentence.code.to_string()));
                view.questions =
                    questions.into_iter().map(|Question { pointer, sentence }| said(pointer, &sentence)).collect();
            }
            Err(Refusal::Faults(faults)) => {
                view.faults =
                    faults.into_iter().map(|Fault { pointer, sentence, .. }| said(pointer, &sentence)).collect();
                return Ok(None);
            }
            Err(Refusal::Conflict(sentence, _)) => {
                view.faults = vec![said(String::new(), &sentence)];
                return Ok(None);
            }
            Err(refusal) => return Err(refusal.into()),
        }
    }
}

fn said(pointer: String, sentence: &Sentence) -> RemarkView {
    RemarkView { pointer, code: sentence.code.to_string(), message: language::say(sentence) }
}

/// The places the figures would have, as far as the reader may see places.
fn places(
    app: &App,
    reader: &Reader,
    workout: &Workout,
    entry: &Entry,
    stored: &Stored,
    placed: bool,
) -> Vec<PlaceView> {
    let Some(view) = app.board.view(reader.id).filter(|_| reader.sees_scores(workout, None)) else {
        return Vec::new();
    };
    let index = reader.index(workout);
    let own = |d: &&crate::rules::division::Division| d.slug == entry.division || d.combines.contains(&entry.division);
    let divisions = reader.competition.divisions.iter().filter(own);
    divisions
        .filter_map(|division| {
            let place = view.would_be(&division.slug, index, stored.key, entry.bib)?;
            let query =
                Query { division: division.slug.clone(), scope: Scope::default(), mask: Mask::NONE.with(index) };
            let of = view.places(&query, index, Cut::Rows { from: 1, limit: 1 })?.of;
            Some(PlaceView {
                division: division.slug.clone(),
                place: Some(place),
                of: count(of + usize::from(!placed)),
            })
        })
        .collect()
}
