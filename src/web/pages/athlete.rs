//! `/c/{c}/athletes/{bib}`: why this place?

use super::appeal::{self, Again, AppealForm};
use super::ended::ended;
use super::form::Fields;
use super::history::{self, Line};
use super::own_places::{Placed, Ranking, percentile, placed, ranking};
use super::scope::{found, gym_name};
use super::shell::{Dated, Link, Shell, words};
use super::standings::as_of;
use super::what_if::{self, WhatIfBox};
use super::{html, own_score, say};
use crate::actions::amend;
use crate::actions::reader::Reader;
use crate::actions::times::Times;
use crate::actions::views::{EntryStandingView, EntryView, GymView, ScopeView, ScoreView};
use crate::actions::{ScorePath, score, standings};
use crate::actions::{directory, lists};
use crate::app::App;
use crate::rules::access::Role;
use crate::rules::competition::Competition;
use crate::rules::workout::Workout;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::web::shared::Shared;
use crate::words::en::appeal::AppealWords;
use crate::words::en::pages::Pages;
use crate::words::en::what_if::WhatIf;
use crate::words::{apart, put};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

#[derive(Template)]
#[template(path = "athlete.html")]
pub(super) struct View {
    shell: Shell,
    w: &'static Pages,
    t: &'static WhatIf,
    a: &'static AppealWords,
    csrf: String,
    name: String,
    /// Label, value, link (empty: none).
    facts: Vec<(&'static str, String, String)>,
    ended: Option<Dated>,
    overall: Vec<Ranking>,
    what_if: Option<WhatIfBox>,
    workouts: Vec<WorkoutView>,
    /// What was put right about the entry: never what it was before.
    history: Vec<Line>,
    history_title: String,
    percentiles: bool,
    as_of: String,
}

struct WorkoutView {
    id: String,
    href: String,
    title: String,
    attempts: Vec<Attempt>,
    none: Dated,
    /// What was just done.
    done: Vec<String>,
    appeal: Option<AppealForm>,
    history: Vec<Line>,
    history_title: String,
    actions: Vec<Link>,
}

struct Attempt {
    label: String,
    text: String,
    state: &'static str,
    places: Vec<Placed>,
    /// Whether a percentile is among the facts.
    percentile: bool,
    facts: Vec<(&'static str, Dated)>,
}

/// `GET /c/{c}/athletes/{bib}`, with `workout`, `level` and `performance` another result to try.
pub async fn get_athlete(
    State(app): State<App>,
    caller: Caller,
    Path((slug, bib)): Path<(String, u32)>,
    Query(fields): Query<Fields>,
) -> Answer {
    let shared = Shared::of(&app, &Reader::find(&app, &caller.actor, caller.received, &slug).await?);
    let (view, status) = page(&app, &caller, &slug, bib, &fields, None).await?;
    Ok(shared.says(&caller, (status, html(&view)?).into_response()))
}

/// The page and its status. `again`: an appeal that was not taken.
pub(super) async fn page(
    app: &App,
    caller: &Caller,
    slug: &str,
    bib: u32,
    fields: &Fields,
    again: Option<Again>,
) -> Answer<(View, StatusCode)> {
    let (actor, now) = (&caller.actor, caller.received);
    let reader = Reader::find(app, actor, now, slug).await?;
    let entry = lists::entry(app, actor, now, slug, bib).await?;
    let gyms = directory::gyms(app, &reader).await?;
    let standing = found(standings::entry_standing(app, actor, now, slug, bib, None).await)?;
    let allowed = score::allowed(app, &reader, bib, entry.gym.as_deref()).await?;
    let times = Times::of(app, &reader).await?;
    let standing_now = standing.as_ref();
    let about = About { reader: &reader, gyms: &gyms, entry: &entry, standing: standing_now, times, again, allowed };
    let ended = ended(app, &reader, Some((entry.gym.as_deref(), &entry.region))).await?;
    let mut workouts = Vec::new();
    for x in reader.workouts() {
        workouts.push(about.workout(app, x, fields).await?);
    }
    let (what_if, status) = match what_if::read(app, &reader, &gyms, &entry, fields).await? {
        Some((made, status)) => (Some(made), status),
        None => (None, StatusCode::OK),
    };
    let c = &reader.competition;
    let amended = amend::history(app, &reader, bib, entry.gym.as_deref()).await?;
    let history = history::of_entry(&amended, &c.time_zone);
    let base = format!("/c/{slug}");
    let division = say::division(c, &entry.division);
    let view = View {
        shell: Shell::new(
            caller,
            format!("{base}/athletes/{bib}"),
            format!("{} · {}", apart(&entry.name), apart(&c.title)),
        )
        .below([
            Link::new(&base, &c.title),
            Link::new(format!("{base}/divisions/{}", entry.division), division),
            Link::new("", &entry.name),
        ]),
        w: words(),
        t: what_if::texts(),
        a: appeal::texts(),
        csrf: caller.csrf.clone(),
        ended,
        facts: facts(c, &gyms, &entry),
        overall: standing.iter().flat_map(|s| &s.overall).map(|o| ranking(c, &gyms, o, bib)).collect(),
        percentiles: workouts.iter().any(|x| x.attempts.iter().any(|a| a.percentile)),
        as_of: as_of(&reader, standing.as_ref().map_or(reader.seq, |s| s.log_seq)),
        name: entry.name.clone(),
        history_title: history::title(&history),
        history,
        what_if,
        workouts,
    };
    Ok((view, status))
}

fn facts(c: &Competition, gyms: &[GymView], entry: &EntryView) -> Vec<(&'static str, String, String)> {
    let w = words();
    let base = format!("/c/{}/divisions/{}", c.slug, entry.division);
    let plain = String::new;
    let mut rows = vec![
        (w.bib, entry.bib.to_string(), plain()),
        (w.division, say::division(c, &entry.division).to_owned(), base.clone()),
    ];
    match &entry.gym {
        Some(gym) => rows.push((w.gym, gym_name(gyms, gym).to_owned(), format!("{base}?gym={gym}"))),
        None => rows.push((w.gym, w.no_gym.to_owned(), plain())),
    }
    for (label, value) in [(w.region, &entry.region), (w.country, &entry.country)] {
        if !value.is_empty() {
            rows.push((label, value.clone(), plain()));
        }
    }
    let state = match entry.state {
        "withdrawn" => w.entry_withdrawn,
        "removed" => w.entry_removed,
        "guest" => w.entry_guest,
        _ => return rows,
    };
    rows.push((w.takes_part, state.to_owned(), plain()));
    rows
}

/// All that a workout's section is made of.
struct About<'a> {
    reader: &'a Reader,
    gyms: &'a [GymView],
    entry: &'a EntryView,
    standing: Option<&'a EntryStandingView>,
    times: Times,
    again: Option<Again>,
    allowed: score::Allowed,
}

impl About<'_> {
    async fn workout(&self, app: &App, x: &Workout, fields: &Fields) -> Answer<WorkoutView> {
        let (w, reader, entry, gyms) = (words(), self.reader, self.entry, self.gyms);
        let (actor, now, c) = (&reader.actor, reader.now, &reader.competition);
        let path = ScorePath { competition: c.slug.clone(), workout: x.slug.clone(), bib: entry.bib };
        let read = found(score::read(app, actor, now, &path).await)?;
        let happened = found(score::history(app, actor, now, &path).await)?;
        let own = self.standing.and_then(|s| s.workouts.iter().find(|o| o.workout == x.slug));
        let single = read.as_ref().is_none_or(|r| r.attempts.len() == 1);
        let mut attempts = read.as_ref().map_or(Vec::new(), |r| {
            let counts = |a: &ScoreView| a.attempt == r.score.attempt;
            let one = |a: &ScoreView| attempt(reader, gyms, entry, a, single, counts(a));
            r.attempts.iter().map(one).collect()
        });
        let counts = read.as_ref().and_then(|r| r.attempts.iter().position(|a| a.attempt == r.score.attempt));
        // The places are those of the attempt that counts.
        if let (Some(attempt), Some(own)) = (counts.and_then(|at| attempts.get_mut(at)), own) {
            let placed = own.places.iter().filter(|p| p.place.is_some()).map(|p| placed(c, gyms, p, x, entry.bib));
            attempt.places = placed.collect();
            let whole = own.places.iter().find(|p| p.division == entry.division && p.scope == ScopeView::default());
            if let Some(said) = whole.and_then(percentile) {
                attempt.facts.insert(0, (what_if::texts().percentile, Dated::plain(said)));
                attempt.percentile = true;
            }
        }
        let history = happened.as_ref().map_or(Vec::new(), |h| history::lines(h, &c.time_zone));
        let none = if reader.sees_scores(x, entry.gym.as_deref()) || reader.is_own(entry.bib) {
            let own = self.times.window_of(x, entry.gym.as_deref(), &entry.region);
            Dated::plain(say::none(own.closed(now)))
        } else {
            Dated::new(w.places_hidden, x.window.closes, &c.time_zone)
        };
        let ruled = read.as_ref().and_then(|r| r.attempts.iter().rev().find(|a| a.ruling.is_some()));
        let appeal = match ruled {
            Some(score) => appeal::form(app, reader, score, self.again.as_ref()).await?,
            None => None,
        };
        Ok(WorkoutView {
            id: format!("w-{}", x.slug),
            href: format!("/c/{}/workouts/{}", c.slug, x.slug),
            title: x.title.clone(),
            attempts,
            none,
            done: own_score::done(fields, (c, &x.slug), read.as_ref(), happened.as_ref()),
            appeal,
            history_title: history::title(&history),
            history,
            actions: actions(reader, entry, x, read.is_some(), self.allowed.enter),
        })
    }
}

fn attempt(reader: &Reader, gyms: &[GymView], entry: &EntryView, a: &ScoreView, single: bool, counts: bool) -> Attempt {
    let w = words();
    let mut facts = score_facts(&reader.competition, gyms, entry.gym.as_deref(), a);
    facts.extend(appeal::facts(reader, a));
    let label = put(w.attempt_n, &[("n", &a.attempt)]);
    Attempt {
        label: match (single, counts) {
            (true, _) => String::new(),
            (false, true) => format!("{label}: {}", w.counts_now),
            (false, false) => label,
        },
        text: a.performance.text.clone(),
        state: say::state(a.state, a.refused),
        places: Vec::new(),
        percentile: false,
        facts,
    }
}

/// What is known of an attempt besides its figures.
pub(super) fn score_facts(
    c: &Competition,
    gyms: &[GymView],
    home: Option<&str>,
    a: &ScoreView,
) -> Vec<(&'static str, Dated)> {
    let w = words();
    let at = |t| Dated::new("{at}", t, &c.time_zone);
    let own = |text: &str| Dated::plain(apart(text));
    let mut rows = Vec::new();
    if c.levels.len() > 1 {
        rows.push((w.level_of, own(say::level(c, &a.level))));
    }
    if !a.performance.written.trim().eq_ignore_ascii_case(&a.performance.text) {
        rows.push((w.written, own(&a.performance.written)));
    }
    if let Some(attestation) = &a.attestation {
        let sheet = a.sheet.as_ref().map_or(String::new(), |s| format!(", {} {}", w.sheet, apart(s)));
        rows.push((
            w.judge,
            Dated::plain(format!("{}, {}{sheet}", apart(&attestation.judge), say::how(attestation.how))),
        ));
    }
    if let Some(n) = a.no_reps {
        rows.push((w.no_reps, Dated::plain(n.to_string())));
    }
    rows.push((w.performed_at, at(a.performed_at)));
    if let Some(gym) = a.gym.as_deref().filter(|g| Some(*g) != home) {
        rows.push((w.done_in, own(gym_name(gyms, gym))));
    }
    rows.push((w.received_at, at(a.received_at)));
    if let Some(flag) = &a.flag {
        rows.push((w.state_flagged, Dated::plain(say::doubt(flag.reason))));
    }
    if let Some(ruling) = &a.ruling {
        rows.push((w.ruling, Dated::plain(say::ruling(ruling.kind))));
        rows.push((w.before_ruling, own(&ruling.before.text)));
        rows.push((w.reason, own(ruling.reason.as_deref().unwrap_or_default())));
    }
    rows
}

/// What this reader may do with the score.
fn actions(reader: &Reader, entry: &EntryView, x: &Workout, there: bool, enter: bool) -> Vec<Link> {
    let (w, c) = (words(), &reader.slug);
    let mut found = Vec::new();
    if enter && reader.now >= x.window.opens {
        let href = match &entry.gym {
            Some(gym) => format!("/desk/{c}/{gym}/{}/{}", x.slug, entry.bib),
            None => format!("/c/{c}/athletes/{}/workouts/{}", entry.bib, x.slug),
        };
        found.push(Link::new(href, w.enter_score));
    }
    if there && reader.actor.has(c, Role::Referee) {
        found.push(Link::new(format!("/referee/{c}/{}/{}", x.slug, entry.bib), w.referee_this));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::form::{Choice, FieldError};
    use super::super::samples;
    use super::super::shell::Mark;
    use super::super::what_if::{Found, Row};
    use super::*;

    fn view(workouts: Vec<WorkoutView>) -> View {
        View {
            shell: samples::shell(samples::HOSTILE),
            w: words(),
            t: what_if::texts(),
            a: appeal::texts(),
            csrf: "x".to_owned(),
            what_if: Some(a_box()),
            percentiles: true,
            name: samples::HOSTILE.to_owned(),
            facts: vec![
                (words().bib, "1042".to_owned(), String::new()),
                (words().gym, samples::BIDI.to_owned(), "/c/s/divisions/women?gym=g".to_owned()),
            ],
            ended: Some(Dated::plain(samples::HOSTILE)),
            overall: vec![
                Ranking {
                    href: "/c/s/divisions/women".to_owned(),
                    text: samples::LONG.to_owned(),
                    place: Some(Mark::new(12, 311)),
                    of: "of 311".to_owned(),
                    gap: "1 point to 11th".to_owned(),
                },
                Ranking {
                    href: "/c/s/divisions/all".to_owned(),
                    text: "All".to_owned(),
                    place: None,
                    of: words().no_standing.to_owned(),
                    gap: String::new(),
                },
            ],
            workouts,
            history_title: String::new(),
            history: Vec::new(),
            as_of: "State 8812".to_owned(),
        }
    }

    fn a_box() -> WhatIfBox {
        WhatIfBox {
            action: "/c/s/athletes/1042".to_owned(),
            workouts: vec![Choice::new("w1", samples::HOSTILE, "w1")],
            levels: vec![Choice::new("a", samples::BIDI, "a"), Choice::new("b", samples::LONG, "a")],
            performance: samples::HOSTILE.to_owned(),
            hint: "6+14".to_owned(),
            errors: vec![
                FieldError::new("performance", samples::HOSTILE),
                FieldError::new("workout", samples::HOSTILE),
                FieldError::new("level", samples::HOSTILE),
            ],
            found: Some(Found {
                title: samples::HOSTILE.to_owned(),
                caption: samples::HOSTILE.to_owned(),
                lines: vec![samples::HOSTILE.to_owned()],
                rows: vec![Row { among: samples::BIDI.to_owned(), ..Row::default() }],
            }),
        }
    }

    fn an_appeal(id: &str) -> AppealForm {
        AppealForm {
            action: "/c/s/athletes/1042/workouts/w1/appeal".to_owned(),
            etag: "8812".to_owned(),
            id: format!("appeal-{id}"),
            reason: samples::HOSTILE.to_owned(),
            until: Dated::plain("Possible until then."),
            errors: vec![FieldError::new(format!("appeal-{id}"), samples::HOSTILE)],
        }
    }

    fn a_workout(id: &str, attempts: Vec<Attempt>, history: Vec<Line>) -> WorkoutView {
        WorkoutView {
            id: id.to_owned(),
            href: "/c/s/workouts/w1".to_owned(),
            title: samples::BIDI.to_owned(),
            attempts,
            none: Dated::plain(words().no_score),
            done: vec![samples::HOSTILE.to_owned()],
            appeal: Some(an_appeal(id)),
            history,
            history_title: "History: 2 changes".to_owned(),
            actions: vec![Link::new("/desk/s/g/w1/1042", words().enter_score)],
        }
    }

    #[test]
    fn every_workout_says_its_figures_its_place_and_what_happened() {
        let attempt = |label: &str| Attempt {
            label: label.to_owned(),
            text: "6+14 tb 11:24".to_owned(),
            state: words().state_amended,
            places: Vec::new(),
            percentile: true,
            facts: vec![(words().reason, Dated::plain(samples::HOSTILE))],
        };
        let line = Line {
            what: "Ruling: reps deducted".to_owned(),
            at: samples::when(),
            by: "by Referee".to_owned(),
            figures: "6+12".to_owned(),
            reason: samples::HOSTILE.to_owned(),
        };
        let placed = Placed {
            href: "/x".to_owned(),
            text: samples::LONG.to_owned(),
            more: "12th of 311; 3 reps to 11th".to_owned(),
        };
        let counts = Attempt { places: vec![placed], ..attempt("Attempt 2: counts now") };
        let attempts = vec![attempt("Attempt 1"), counts];
        let page = view(vec![a_workout("w-w1", attempts, vec![line]), a_workout("w-w2", Vec::new(), Vec::new())])
            .render()
            .expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("12th of 311; 3 reps to 11th") && page.contains(words().no_score));
    }

    #[test]
    fn an_athlete_without_scores_has_a_page() {
        let page = View { overall: Vec::new(), what_if: None, percentiles: false, ..view(Vec::new()) }
            .render()
            .expect("renders");
        samples::assert_sound(&page);
    }
}
