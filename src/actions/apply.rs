//! Applying a competition file: it creates, or changes what differs, and says what it changed.

use super::request::stored;
use super::score::{WAIT, remarks};
use super::views::{AppliedView, DifferenceView, ReworkedView};
use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::competition::{Difference, RawCompetition};
use crate::rules::event::Reworked;
use crate::rules::ledger::{Change, Outcome};
use crate::words::Sentence;

/// How a file is to be applied.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct How {
    /// Only say what would change.
    pub dry_run: bool,
    /// Work stored scores out again where their meaning changes.
    pub rescore: bool,
    /// Why: needed where something that is published changes. Empty: not said.
    pub reason: String,
}

/// 401 or 403 for those who may not apply a file for `competition`, before it is read.
pub fn may(actor: &Actor, competition: &str) -> Result<(), Failure> {
    permit(actor, Act::Apply { competition })?;
    Ok(())
}

/// Applies a file, all or nothing. `slug`: the competition it is sent to, which must be the
/// file's own; `None`: whichever the file names.
pub async fn apply(
    app: &App,
    actor: &Actor,
    slug: Option<&str>,
    request: Request,
    raw: RawCompetition,
    how: How,
) -> Result<AppliedView, Failure> {
    signed_in(actor)?;
    let named = raw.competition.slug.clone();
    let slug = slug.unwrap_or(&named).to_owned();
    may(actor, &slug)?;
    if slug != named {
        let sentence = Sentence::new("other_slug").with("slug", super::reader::shown(&named)).with("path", &slug);
        return Err(Failure::fault("competition.slug", sentence));
    }
    let change = Change::Apply { raw: Box::new(raw), dry_run: how.dry_run, rescore: how.rescore, reason: how.reason };
    let answered = if how.dry_run {
        request.try_out(app, actor, &slug, change).await?
    } else {
        request.ask(app, actor, &slug, change).await?
    };
    let known = app.store.find_competition(&slug).await.map_err(Failure::from);
    let known = if how.dry_run { known? } else { stored(known)? };
    if let Some(known) = &known {
        app.logs.at_least(known.id, answered.seq, WAIT).await;
    }
    let (created, changes, reworked) = match answered.outcome {
        Outcome::Applied { created, differences, reworked } => (created, differences, reworked),
        _ => (false, Vec::new(), Vec::new()),
    };
    Ok(AppliedView {
        competition: slug,
        created,
        dry_run: how.dry_run,
        changes: changes.iter().map(difference).collect(),
        reworked: reworked.iter().map(self::reworked).collect(),
        warnings: remarks(&answered.warnings),
        etag: known.map_or_else(String::new, |k| k.definition.tag.to_string()),
        log_seq: answered.seq,
    })
}

/// A difference in the form of an answer.
#[must_use]
pub fn difference(difference: &Difference) -> DifferenceView {
    DifferenceView {
        key: difference.key.clone(),
        from: difference.from.clone(),
        to: difference.to.clone(),
        rescore: difference.rescore,
        voids: difference.voids,
        published: difference.published,
    }
}

/// A score worked out again, in the form of an answer.
#[must_use]
pub fn reworked(reworked: &Reworked) -> ReworkedView {
    ReworkedView {
        workout: reworked.score.workout.clone(),
        bib: reworked.score.bib,
        attempt: reworked.score.attempt,
        text: reworked.stored.as_ref().map(|s| s.text.clone()),
        void: reworked.void,
        stale: reworked.stale,
    }
}
