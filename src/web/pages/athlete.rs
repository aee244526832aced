//! `/c/{c}/athletes/{bib}`: why this place?

use super::history::{self, Line};
use super::scope::gym_name;
use super::shell::{Link, Mark, Shell, When, words};
use super::standings::as_of;
use super::{Page, html, say};
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::views::{EntryStandingView, EntryView, GymView, OwnPlace, ScoreView};
use crate::actions::{ScorePath, score, standings};
use crate::app::App;
use crate::rules::access::Role;
use crate::rules::competition::Competition;
use crate::rules::workout::Workout;
use crate::web::extract::Path;
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::Noun;
use crate::words::en::pages::Pages;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use http::StatusCode;

#[derive(Template)]
#[template(path = "athlete.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    name: String,
    /// Label, value, link (empty: none).
    facts: Vec<(&'static str, String, String)>,
    overall: Vec<Ranking>,
    workouts: Vec<WorkoutView>,
    as_of: String,
}

/// The overall in one division or scope.
struct Ranking {
    href: String,
    text: String,
    place: Option<Mark>,
    of: String,
    gap: String,
}

struct WorkoutView {
    id: String,
    href: String,
    title: String,
    attempts: Vec<Attempt>,
    none: String,
    history: Vec<Line>,
    history_title: String,
    actions: Vec<Link>,
}

struct Attempt {
    label: String,
    text: String,
    state: &'static str,
    places: Vec<Placed>,
    facts: Vec<(&'static str, String)>,
}

/// A place in one division or scope.
struct Placed {
    href: String,
    text: String,
    more: String,
}

/// `GET /c/{c}/athletes/{bib}`.
pub async fn get_athlete(
    State(app): State<App>,
    caller: Caller,
    Path((slug, bib)): Path<(String, u32)>,
) -> Answer<Page> {
    let (actor, now) = (&caller.actor, caller.received);
    let reader = Reader::find(&app, actor, now, &slug).await?;
    let entry = lists::entry(&app, actor, now, &slug, bib).await?;
    let gyms = lists::gyms(&app, actor, now, &slug, &Find::default()).await?;
    let standing = found(standings::entry_standing(&app, actor, now, &slug, bib, None).await)?;
    let mut workouts = Vec::new();
    for x in reader.workouts() {
        workouts.push(workout(&app, &reader, &gyms, &entry, x, standing.as_ref()).await?);
    }
    let c = &reader.competition;
    let base = format!("/c/{slug}");
    let division = say::division(c, &entry.division);
    html(&View {
        shell: Shell::new(&caller, format!("{base}/athletes/{bib}"), format!("{} · {}", entry.name, c.title)).below([
            Link::new(&base, &c.title),
            Link::new(format!("{base}/divisions/{}", entry.division), division),
            Link::new("", &entry.name),
        ]),
        w: words(),
        facts: facts(c, &gyms, &entry),
        overall: standing.iter().flat_map(|s| &s.overall).map(|o| ranking(c, &gyms, o, bib)).collect(),
        as_of: as_of(&reader, standing.as_ref().map_or(reader.seq, |s| s.log_seq)),
        name: entry.name,
        workouts,
    })
}

/// What is not there is no problem here: nobody has a score before they enter one.
fn found<T>(result: Result<T, crate::actions::Failure>) -> Answer<Option<T>> {
    match result.map_err(Problem::from) {
        Ok(value) => Ok(Some(value)),
        Err(problem) if problem.status == StatusCode::NOT_FOUND => Ok(None),
        Err(problem) => Err(problem),
    }
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

/// Division and scope in words: "Women in Quayside Hall".
fn among(c: &Competition, gyms: &[GymView], place: &OwnPlace) -> String {
    let w = words();
    let division = say::division(c, &place.division);
    let scope = &place.scope;
    let inside = match (&scope.gym, &scope.region, &scope.country) {
        (Some(gym), ..) => gym_name(gyms, gym),
        (_, Some(name), _) | (_, _, Some(name)) => name,
        _ => return division.to_owned(),
    };
    put(w.ranking_in, &[("division", &division), ("name", &inside)])
}

/// The page that holds this bib, in the same scope.
fn address(c: &Competition, place: &OwnPlace, workout: Option<&str>, bib: u32) -> String {
    let mut page = format!("/c/{}/divisions/{}", c.slug, place.division);
    if let Some(workout) = workout {
        page = format!("{page}/workouts/{workout}");
    }
    let asked = super::scope::Asked { scope: place.scope.clone(), ..super::scope::Asked::default() };
    asked.address(&page, None, Some(bib)) + &super::scope::anchor(bib)
}

fn ranking(c: &Competition, gyms: &[GymView], o: &OwnPlace, bib: u32) -> Ranking {
    let w = words();
    Ranking {
        href: address(c, o, None, bib),
        text: among(c, gyms, o),
        place: o.place.map(|n| Mark::new(n, o.of)),
        of: o.place.map_or(w.no_standing.to_owned(), |_| put(w.of_all, &[("of", &o.of)])),
        gap: gap(o),
    }
}

/// What is missing to the place above, in words.
fn gap(o: &OwnPlace) -> String {
    let w = words();
    match &o.gap {
        Some(g) => put(w.gap_to, &[("gap", &g.missing), ("ordinal", &(w.ordinal)(g.place.into()))]),
        None if o.place == Some(1) => w.gap_first.to_owned(),
        None => String::new(),
    }
}

async fn workout(
    app: &App,
    reader: &Reader,
    gyms: &[GymView],
    entry: &EntryView,
    x: &Workout,
    standing: Option<&EntryStandingView>,
) -> Answer<WorkoutView> {
    let w = words();
    let (actor, now, c) = (&reader.actor, reader.now, &reader.competition);
    let path = ScorePath { competition: c.slug.clone(), workout: x.slug.clone(), bib: entry.bib };
    let read = found(score::read(app, actor, now, &path).await)?;
    let happened = found(score::history(app, actor, now, &path).await)?;
    let places: Vec<Placed> =
        standing.and_then(|s| s.workouts.iter().find(|o| o.workout == x.slug)).map_or(Vec::new(), |own| {
            own.places.iter().filter(|p| p.place.is_some()).map(|p| placed(c, gyms, p, x, entry.bib)).collect()
        });
    let single = read.as_ref().is_none_or(|r| r.attempts.len() == 1);
    let attempts = read.as_ref().map_or(Vec::new(), |r| {
        let counts = |a: &ScoreView| a.attempt == r.score.attempt;
        let one = |a: &ScoreView| attempt(c, gyms, entry, a, single, counts(a));
        r.attempts.iter().map(one).collect()
    });
    // The places are those of the attempt that counts.
    let attempts = with_places(attempts, places, read.as_ref().map_or(1, |r| r.score.attempt as usize));
    let history = happened.as_ref().map_or(Vec::new(), |h| history::lines(h, &c.time_zone));
    let none = if reader.sees_scores(x, entry.gym.as_deref()) || reader.is_own(entry.bib) {
        w.no_score.to_owned()
    } else {
        put(w.places_hidden, &[("at", &When::new(x.window.closes, &c.time_zone).text)])
    };
    Ok(WorkoutView {
        id: format!("w-{}", x.slug),
        href: format!("/c/{}/workouts/{}", c.slug, x.slug),
        title: x.title.clone(),
        attempts,
        none,
        history_title: put(w.history_of, &[("n", &(w.count)(history.len() as u64, Noun::Change))]),
        history,
        actions: actions(reader, entry, x, read.is_some()),
    })
}

/// Puts the places beside the attempt that counts (from 1).
fn with_places(mut attempts: Vec<Attempt>, places: Vec<Placed>, counts: usize) -> Vec<Attempt> {
    let at = counts.saturating_sub(1).min(attempts.len().saturating_sub(1));
    if let Some(attempt) = attempts.get_mut(at) {
        attempt.places = places;
    }
    attempts
}

fn placed(c: &Competition, gyms: &[GymView], p: &OwnPlace, x: &Workout, bib: u32) -> Placed {
    let w = words();
    let ordinal = (w.ordinal)(p.place.unwrap_or_default().into());
    let standing = put(w.standing_of, &[("ordinal", &ordinal), ("of", &p.of)]);
    let more = gap(p);
    let more = if more.is_empty() { standing } else { format!("{standing}; {more}") };
    Placed { href: address(c, p, Some(&x.slug), bib), text: among(c, gyms, p), more }
}

fn attempt(c: &Competition, gyms: &[GymView], entry: &EntryView, a: &ScoreView, single: bool, counts: bool) -> Attempt {
    let w = words();
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
        facts: score_facts(c, gyms, entry.gym.as_deref(), a),
    }
}

/// What is known of an attempt besides its figures.
pub(super) fn score_facts(
    c: &Competition,
    gyms: &[GymView],
    home: Option<&str>,
    a: &ScoreView,
) -> Vec<(&'static str, String)> {
    let w = words();
    let at = |t| When::new(t, &c.time_zone).text;
    let mut rows = Vec::new();
    if c.levels.len() > 1 {
        rows.push((w.level_of, say::level(c, &a.level).to_owned()));
    }
    if !a.performance.written.trim().eq_ignore_ascii_case(&a.performance.text) {
        rows.push((w.written, a.performance.written.clone()));
    }
    if let Some(attestation) = &a.attestation {
        let sheet = a.sheet.as_ref().map_or(String::new(), |s| format!(", {} {s}", w.sheet));
        rows.push((w.judge, format!("{}, {}{sheet}", attestation.judge, say::how(attestation.how))));
    }
    if let Some(n) = a.no_reps {
        rows.push((w.no_reps, n.to_string()));
    }
    rows.push((w.performed_at, at(a.performed_at)));
    if let Some(gym) = a.gym.as_deref().filter(|g| Some(*g) != home) {
        rows.push((w.done_in, gym_name(gyms, gym).to_owned()));
    }
    rows.push((w.received_at, at(a.received_at)));
    if let Some(flag) = &a.flag {
        rows.push((w.state_flagged, say::doubt(flag.reason).to_owned()));
    }
    if let Some(ruling) = &a.ruling {
        rows.push((w.ruling, say::ruling(ruling.kind).to_owned()));
        rows.push((w.before_ruling, ruling.before.text.clone()));
        rows.push((w.reason, ruling.reason.clone().unwrap_or_default()));
    }
    if a.appeal.as_ref().is_some_and(|appeal| !appeal.decided) {
        rows.push((w.appeal, w.appeal_open.to_owned()));
    }
    rows
}

/// What this reader may do with the score.
fn actions(reader: &Reader, entry: &EntryView, x: &Workout, there: bool) -> Vec<Link> {
    let (w, c) = (words(), &reader.slug);
    let here = |g: &&crate::rules::access::Grant| g.competition.as_ref().is_none_or(|at| at == c);
    let mut found = Vec::new();
    let grants = || reader.actor.grants.iter().filter(here);
    let desk = entry.gym.as_ref().filter(|gym| {
        grants().any(|g| (g.role == Role::Staff && g.gym.as_ref() == Some(gym)) || g.role == Role::Organiser)
            || reader.is_own(entry.bib)
    });
    if let Some(gym) = desk.filter(|_| reader.now >= x.window.opens) {
        found.push(Link::new(format!("/desk/{c}/{gym}/{}/{}", x.slug, entry.bib), w.enter_score));
    }
    if there && grants().any(|g| g.role == Role::Referee) {
        found.push(Link::new(format!("/referee/{c}/{}/{}", x.slug, entry.bib), w.referee_this));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn view(workouts: Vec<WorkoutView>) -> View {
        View {
            shell: samples::shell(samples::HOSTILE),
            w: words(),
            name: samples::HOSTILE.to_owned(),
            facts: vec![
                (words().bib, "1042".to_owned(), String::new()),
                (words().gym, samples::BIDI.to_owned(), "/c/s/divisions/women?gym=g".to_owned()),
            ],
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
            as_of: "State 8812".to_owned(),
        }
    }

    fn a_workout(id: &str, attempts: Vec<Attempt>, history: Vec<Line>) -> WorkoutView {
        WorkoutView {
            id: id.to_owned(),
            href: "/c/s/workouts/w1".to_owned(),
            title: samples::BIDI.to_owned(),
            attempts,
            none: words().no_score.to_owned(),
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
            facts: vec![(words().reason, samples::HOSTILE.to_owned())],
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
        let attempts = with_places(vec![attempt("Attempt 1"), attempt("Attempt 2: counts now")], vec![placed], 2);
        assert!(attempts[0].places.is_empty() && attempts[1].places.len() == 1);
        let page = view(vec![a_workout("w-w1", attempts, vec![line]), a_workout("w-w2", Vec::new(), Vec::new())])
            .render()
            .expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("12th of 311; 3 reps to 11th") && page.contains(words().no_score));
    }

    #[test]
    fn an_athlete_without_scores_has_a_page() {
        let page = View { overall: Vec::new(), ..view(Vec::new()) }.render().expect("renders");
        samples::assert_sound(&page);
    }
}
