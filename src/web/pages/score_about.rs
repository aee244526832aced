//! What the form of a score is about: read once, for showing it and for storing it.

use super::competition::{time_left, time_said};
use super::form::Fields;
use super::own_score::NO_GYM;
use super::shell::{Dated, Left, When, encoded, words};
use crate::actions::ScorePath;
use crate::actions::lists;
use crate::actions::reader::Reader;
use crate::actions::score::{self, Allowed, DeskQuery};
use crate::actions::times::Times;
use crate::actions::views::{EntryView, ScoreView};
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::workout::{Task, Workout};
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::put;
use http::StatusCode;

/// Where the form is.
pub(super) type Place = (String, String, String, u32);

/// What the form is about, read once for showing and for storing.
pub(super) struct About {
    /// The competition, as this reader sees it.
    pub(super) reader: Reader,
    pub(super) path: ScorePath,
    /// At whose desk; [`NO_GYM`]: at none.
    pub(super) gym: String,
    pub(super) entry: EntryView,
    /// The attempt that was asked for, else the one that counts, else the latest.
    pub(super) now: Option<ScoreView>,
    /// The other attempts, but for those that were taken back.
    pub(super) others: Vec<ScoreView>,
    /// The highest number of an attempt; 0: there is none.
    pub(super) latest: u32,
    /// The desk's word for it: `missing`, `not_taking_part`, or a state.
    pub(super) state: &'static str,
    pub(super) own: bool,
    /// What this reader may do here.
    pub(super) allowed: Allowed,
}

impl About {
    /// Of the attempt that `fields` name, if they name one.
    pub(super) async fn read(
        app: &App,
        caller: &Caller,
        (slug, gym, workout, bib): Place,
        fields: &Fields,
    ) -> Answer<Self> {
        let (actor, at) = (&caller.actor, caller.received);
        let reader = Reader::find(app, actor, at, &slug).await?;
        let own = reader.is_own(bib);
        if !own {
            permit(actor, Act::ReadDesk { competition: &slug, gym: Some(&*gym).filter(|gym| *gym != NO_GYM) })?;
        }
        reader.workout(&workout)?;
        let entry = lists::entry(app, actor, at, &slug, bib).await?;
        let path = ScorePath { competition: slug, workout, bib };
        let (shown, attempts) = match score::read(app, actor, at, &path).await.map_err(Problem::from) {
            Ok(read) => (Some(read.score), read.attempts),
            Err(problem) if problem.status == StatusCode::NOT_FOUND => (None, Vec::new()),
            Err(problem) => return Err(problem),
        };
        let latest = attempts.iter().map(|a| a.attempt).max().unwrap_or(0);
        let asked = attempts.iter().find(|a| Some(a.attempt) == attempt(fields)).cloned();
        let now = asked.or(shown);
        let this = now.as_ref().map(|a| a.attempt);
        let others = attempts.into_iter().filter(|a| Some(a.attempt) != this && a.state != "withdrawn").collect();
        let mut state = now.as_ref().map_or("missing", |s| s.state);
        let home = !own && entry.gym.as_deref() == Some(gym.as_str());
        // Of a score that was taken back the list knows what was stated since.
        if home && matches!(state, "missing" | "withdrawn") {
            let query = DeskQuery { gym: Some(gym.clone()), state: None };
            let list = score::desk(app, actor, at, &path.competition, &path.workout, query).await?;
            state = list.rows.iter().find(|r| r.bib == bib).map_or(state, |r| r.state);
        }
        let allowed = score::allowed(app, &reader, bib, Some(&*gym).filter(|gym| *gym != NO_GYM)).await?;
        Ok(Self { reader, path, gym, entry, now, others, latest, state, own, allowed })
    }

    pub(super) fn workout(&self) -> Answer<&Workout> {
        Ok(self.reader.workout(&self.path.workout)?)
    }

    /// Why there is no form, where there is none.
    pub(super) fn closed(&self) -> Option<&'static str> {
        let w = words();
        let locked = self.now.as_ref().is_some_and(|s| s.locked);
        let not_yours = || (!self.allowed.enter).then_some(w.score_not_yours);
        locked.then_some(w.score_locked).or_else(not_yours).or_else(|| self.is_out().then_some(w.score_entry_out))
    }

    /// Whether the entry takes no scores any more.
    pub(super) fn is_out(&self) -> bool {
        matches!(self.entry.state, "withdrawn" | "removed")
    }

    /// How long there is, for who types the own score; a desk says it for all of its scores.
    pub(super) async fn time(&self, app: &App) -> Answer<Option<Time>> {
        if !self.own {
            return Ok(None);
        }
        let (w, x, now) = (words(), self.workout()?, self.reader.now);
        let times = Times::of(app, &self.reader).await?;
        let window = times.window_of(x, self.entry.gym.as_deref(), &self.entry.region);
        let grace = || Left::new(now, window.grace_ends, w.desk_grace_left);
        let over = || Left { text: w.desk_over.to_owned(), ..Left::default() };
        Ok(Some(Time {
            left: time_left(&window, now).or_else(grace).unwrap_or_else(over),
            when: time_said(&window, now, &self.reader.competition, None),
        }))
    }

    /// What is said beside the field of when it was done.
    pub(super) fn performed_hint(&self) -> String {
        let (w, c) = (words(), &self.reader.competition);
        let zone = &c.time_zone_name;
        match &self.now {
            None => put(w.performed_hint, &[("zone", zone)]),
            Some(now) => {
                let at = When::new(now.performed_at, &c.time_zone).text;
                put(w.performed_hint_stored, &[("zone", zone), ("at", &at)])
            }
        }
    }

    pub(super) fn here(&self) -> String {
        let ScorePath { competition, workout, bib } = &self.path;
        if self.gym == NO_GYM {
            return format!("/c/{competition}/athletes/{bib}/workouts/{workout}");
        }
        format!("{}/{workout}/{bib}", self.desk())
    }

    pub(super) fn desk(&self) -> String {
        format!("/desk/{}/{}", self.path.competition, self.gym)
    }

    /// Where to go afterwards.
    pub(super) fn back(&self) -> String {
        if self.own || self.gym == NO_GYM {
            format!("/c/{}/athletes/{}", self.path.competition, self.path.bib)
        } else {
            self.desk()
        }
    }

    /// The levels at which this entry may score, and that of the score now.
    pub(super) fn levels(&self) -> (Vec<(u8, String, String)>, String) {
        let c = &self.reader.competition;
        let own = c.division(&self.entry.division).map_or(0, |d| d.level);
        let fits = |n: u8| c.prescription(&self.path.workout, &self.entry.division, n).is_some();
        let all = (0u8..).zip(&c.levels).filter(|(n, _)| fits(*n));
        let all: Vec<_> = all.map(|(n, l)| (n, l.slug.clone(), l.title.clone())).collect();
        let default = all.iter().find(|(n, ..)| *n == own).or(all.first()).map_or(String::new(), |l| l.1.clone());
        (all, self.now.as_ref().map_or(default, |s| s.level.clone()))
    }

    /// What a performance at a level is validated against.
    pub(super) fn task<'a>(&'a self, x: &'a Workout, level: &str) -> &'a Task {
        let c = &self.reader.competition;
        let index = self.levels().0.iter().find(|(_, slug, _)| slug == level).map_or(0, |l| l.0);
        c.prescription(&self.path.workout, &self.entry.division, index).map_or(&x.task, |p| &p.task)
    }
}

/// How long there is.
pub(super) struct Time {
    /// Until it opens, closes, or takes no first scores any more; or that it is over.
    pub(super) left: Left,
    /// When that is; `None`: it has closed.
    pub(super) when: Option<Dated>,
}

/// The attempt that a form, or an address, is about; `None`: it does not say.
pub(super) fn attempt(fields: &Fields) -> Option<u32> {
    fields.get("attempt").parse().ok()
}

/// Whether the form was of somebody in a heat: it says apart who vouches at the desk, maybe nobody.
pub(super) fn in_heat(fields: &Fields) -> bool {
    fields.0.iter().any(|(name, _)| name == "desk_judge")
}

/// Who vouches for what is saved at the desk. Who judged one lane does not judge the next: then the
/// desk goes on with whom it had.
pub(super) fn desk_judge(fields: &Fields) -> String {
    fields.get(if in_heat(fields) { "desk_judge" } else { "judge" }).to_owned()
}

/// The page that says what was stored, of which attempt; `was_out`: that they take no part was taken back by it.
pub(super) fn after(about: &About, fields: &Fields, attempt: Option<u32>, was_out: bool) -> String {
    let out = if was_out { "&was_out=yes" } else { "" };
    // Of one that is the only one it need not be said.
    let attempt = attempt.filter(|n| *n > 1 || about.latest > 1);
    if about.own {
        let which = attempt.map_or(String::new(), |n| format!("&attempt={n}"));
        return format!("{0}?saved={1}{which}{out}#w-{1}", about.back(), about.path.workout);
    }
    let which = attempt.map_or(String::new(), |n| format!("/{n}"));
    let judge = encoded(&desk_judge(fields));
    let how = encoded(fields.get("how"));
    let ScorePath { workout, bib, .. } = &about.path;
    format!("{}?saved={workout}/{bib}{which}&judge={judge}&how={how}{out}#saved", about.desk())
}
