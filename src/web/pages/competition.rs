//! `/c/{c}`: how does this work?

use super::home::{Soon, running};
use super::shell::{Dated, Left, Link, Shell, When, words};
use super::{html, rules_said};
use crate::actions::directory;
use crate::actions::reader::Reader;
use crate::actions::times::Times;
use crate::app::App;
use crate::rules::access::Role;
use crate::rules::competition::Competition;
use crate::rules::division::{Category, Division};
use crate::rules::window::Window;
use crate::rules::workout::Workout;
use crate::web::extract::Path;
use crate::web::language;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::web::shared::Shared;
use crate::words::en::pages::Pages;
use crate::words::{apart, organise, put};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use jiff::Timestamp;
use jiff::tz::TimeZone;

#[derive(Template)]
#[template(path = "competition.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    title: String,
    /// What is said once everything has closed.
    ended: Option<Dated>,
    zone: String,
    size: String,
    running: Vec<Soon>,
    desks: Vec<Link>,
    workouts: Vec<WorkoutLine>,
    calendar: String,
    divisions: Vec<DivisionLine>,
    /// Which day ages are counted on; empty where no division asks for an age.
    ages: String,
    rules: Vec<String>,
}

struct WorkoutLine {
    href: String,
    title: String,
    state: &'static str,
    format: String,
    left: Option<Left>,
    opens: When,
    closes: When,
    session: Option<String>,
    /// What is said of more time.
    more: Dated,
}

struct DivisionLine {
    href: String,
    title: String,
    who: String,
    level: String,
    entries: String,
}

/// `GET /c/{c}`.
pub async fn get_competition(State(app): State<App>, caller: Caller, Path(slug): Path<String>) -> Answer {
    let reader = Reader::find(&app, &caller.actor, caller.received, &slug).await?;
    let shared = Shared::of(&app, &reader);
    let c = &reader.competition;
    let counts = app.board.counts(reader.id).unwrap_or_default();
    let times = Times::of(&app, &reader).await?;
    let entries = |d: &Division| counts.iter().find(|n| n.division == d.slug).map_or(0, |n| n.entries as u64);
    let page = html(&View {
        shell: Shell::new(&caller, format!("/c/{slug}"), apart(&c.title)).below([Link::new("", &c.title)]),
        w: words(),
        title: c.title.clone(),
        zone: c.time_zone_name.clone(),
        size: super::home::size(&app, &reader),
        running: running(&reader, &times),
        ended: super::ended::ended(&app, &reader, None).await?,
        desks: desks(&app, &reader).await?,
        workouts: reader.workouts().map(|x| workout_line(&reader, &times, x)).collect(),
        // A calendar neither keeps cookies nor says what its owner reads.
        calendar: format!("/c/{slug}/calendar.ics{}", language::query()),
        divisions: c.divisions.iter().map(|d| division_line(c, d, entries(d))).collect(),
        ages: ages(c),
        rules: rules_said::overall(c, |x| reader.sees(x)),
    })?;
    Ok(shared.says(&caller, page.into_response()))
}

/// Where this reader works in the competition.
async fn desks(app: &App, reader: &Reader) -> Answer<Vec<Link>> {
    let (w, c) = (words(), &reader.competition.slug);
    let here = |g: &&crate::rules::access::Grant| g.competition.as_ref().is_none_or(|at| at == c);
    let grants: Vec<_> = reader.actor.grants.iter().filter(here).collect();
    let staff: Vec<&String> = grants.iter().filter(|g| g.role == Role::Staff).filter_map(|g| g.gym.as_ref()).collect();
    let mut found = Vec::new();
    if !staff.is_empty() {
        let gyms = directory::gyms(app, reader).await?;
        for gym in gyms.iter().filter(|g| staff.contains(&&g.slug)) {
            found.push(Link::new(format!("/desk/{c}/{}", gym.slug), put(w.desk_of, &[("gym", &gym.name)])));
        }
    }
    for bib in grants.iter().filter_map(|g| g.bib) {
        found.push(Link::new(format!("/c/{c}/athletes/{bib}"), w.your_page));
    }
    if grants.iter().any(|g| matches!(g.role, Role::Referee | Role::Organiser)) {
        found.push(Link::new("/referee", w.nav_referee));
    }
    Ok(found)
}

fn workout_line(reader: &Reader, times: &Times, x: &Workout) -> WorkoutLine {
    let (c, window) = (&reader.competition, times.window(x));
    WorkoutLine {
        href: format!("/c/{}/workouts/{}", c.slug, x.slug),
        title: x.title.clone(),
        state: phase(&window, reader.now),
        format: rules_said::format(&x.task),
        left: time_left(&window, reader.now),
        opens: When::new(window.opens, &c.time_zone),
        closes: When::new(window.closes, &c.time_zone),
        more: more_time(reader, times, x).unwrap_or_default(),
        session: one_effort(reader, x),
    }
}

/// With which other workouts it is done in one effort, as far as the reader knows of them.
pub(super) fn one_effort(reader: &Reader, x: &Workout) -> Option<String> {
    let same = |o: &&Workout| x.session.is_some() && o.session == x.session && o.slug != x.slug;
    let others: Vec<String> = reader.workouts().filter(same).map(|o| apart(&o.title)).collect();
    (!others.is_empty()).then(|| put(words().session_with, &[("others", &others.join(", "))]))
}

/// That the reader has more time for a workout, or that others have; `None`: nobody.
pub(super) fn more_time(reader: &Reader, times: &Times, x: &Workout) -> Option<Dated> {
    let (w, c, now) = (words(), &reader.competition, reader.now);
    let own = times.window(x);
    if own.closes > x.window.closes && now < own.closes {
        return Some(Dated::new(w.more_time_own, x.window.closes, &c.time_zone));
    }
    times.others(x, now).map(|at| Dated::new(w.more_time_others, at, &c.time_zone))
}

/// Where a workout is in its window.
pub(super) fn phase(window: &Window, now: Timestamp) -> &'static str {
    let w = words();
    if now < window.announce {
        w.window_not_yet
    } else if now < window.opens {
        w.window_announced
    } else if now < window.closes {
        w.window_open
    } else {
        w.window_closed
    }
}

/// "closes in 3 h 12 min", "opens in 2 days"; nothing once it has closed.
pub(super) fn time_left(window: &Window, now: Timestamp) -> Option<Left> {
    let w = words();
    let (at, say) = if now < window.opens { (window.opens, w.opens_in) } else { (window.closes, w.closes_in) };
    Left::new(now, at, say)
}

/// When the window opens, or from then on when it closes, with the zones it is said in; `None`: it has closed.
pub(super) fn time_said(window: &Window, now: Timestamp, c: &Competition, own: Option<&TimeZone>) -> Option<Dated> {
    let (at, say) = if now < window.opens {
        (window.opens, organise(crate::actions::language::reader()).not_open)
    } else {
        (window.closes, words().desk_words.closes)
    };
    (now < at).then(|| Dated::at_place(say, at, &c.time_zone, own))
}

fn division_line(c: &Competition, d: &Division, entries: u64) -> DivisionLine {
    let (who, level) = division_said(c, d);
    DivisionLine {
        href: format!("/c/{}/divisions/{}", c.slug, d.slug),
        title: d.title.clone(),
        who,
        level,
        entries: (words().number)(entries),
    }
}

/// Who is in a division, and at which level it is done.
pub(super) fn division_said(c: &Competition, d: &Division) -> (String, String) {
    let w = words();
    let level = c.levels.get(usize::from(d.level)).map_or("", |l| l.title.as_str());
    let lower = d.allow_lower && usize::from(d.level) + 1 < c.levels.len();
    let who = if d.combines.is_empty() {
        who(d)
    } else {
        let titles: Vec<String> = d.combines.iter().map(|s| apart(super::say::division(c, s))).collect();
        let together = put(w.combines, &[("titles", &titles.join(", "))]);
        if d.mixed { format!("{together}. {}", w.mixed) } else { together }
    };
    let level = match (d.combines.is_empty(), lower) {
        (false, _) => String::new(),
        (true, true) => put(w.level_lower_too, &[("level", &level)]),
        (true, false) => apart(level),
    };
    (who, level)
}

/// The day ages are counted on, where a division asks for an age.
pub(super) fn ages(c: &Competition) -> String {
    let asks = c.divisions.iter().any(|d| d.from_age.is_some() || d.to_age.is_some());
    if !asks {
        return String::new();
    }
    put(words().ages_on, &[("date", &(words().day)(c.age_date))])
}

/// "Women, 18 to 39 years".
fn who(d: &Division) -> String {
    let w = words();
    let who = match d.category {
        Category::Women => w.women,
        Category::Men => w.men,
        Category::Any => w.anybody,
    };
    match (d.from_age, d.to_age) {
        (Some(from), Some(to)) => put(w.ages_from_to, &[("whom", &who), ("from", &from), ("to", &to)]),
        (Some(from), None) => put(w.ages_from, &[("whom", &who), ("from", &from)]),
        (None, Some(to)) => put(w.ages_to, &[("whom", &who), ("to", &to)]),
        (None, None) => who.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn workouts_divisions_and_rules_stand_on_one_page() {
        let page = View {
            shell: samples::shell(samples::HOSTILE),
            w: words(),
            title: samples::HOSTILE.to_owned(),
            zone: "Europe/Lisbon".to_owned(),
            size: "3 athletes".to_owned(),
            ended: Some(Dated::plain(samples::HOSTILE)),
            running: Vec::new(),
            desks: vec![Link::new("/desk/s/g", samples::BIDI)],
            calendar: "/c/s/calendar.ics".to_owned(),
            workouts: vec![WorkoutLine {
                href: "/c/s/workouts/w1".to_owned(),
                title: samples::LONG.to_owned(),
                state: words().window_open,
                format: "For time, at most 9:00".to_owned(),
                left: Some(samples::left("closes in 2 h")),
                opens: samples::when(),
                closes: samples::when(),
                session: Some("One effort with Workout 2".to_owned()),
                more: Dated::plain("You were given more time."),
            }],
            divisions: vec![DivisionLine {
                href: "/c/s/divisions/women".to_owned(),
                title: samples::BIDI.to_owned(),
                who: "Women, 18 to 39 years".to_owned(),
                level: "prescribed".to_owned(),
                entries: "1,204".to_owned(),
            }],
            ages: "Ages are counted in full years on 15 January 2027.".to_owned(),
            rules: vec!["Places are added up.".to_owned()],
        }
        .render()
        .expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains(">closes in 2 h</span></strong>"));
    }

    #[test]
    fn ages_are_said_as_they_are_bounded() {
        let division = |from_age, to_age| Division {
            slug: "d".to_owned(),
            title: "D".to_owned(),
            category: Category::Women,
            from_age,
            to_age,
            level: 0,
            allow_lower: false,
            combines: Vec::new(),
            mixed: false,
        };
        assert_eq!(who(&division(Some(18), Some(39))), "Women, 18 to 39 years");
        assert_eq!(who(&division(Some(60), None)), "Women, 60 years and older");
        assert_eq!(who(&division(None, Some(17))), "Women, up to 17 years");
        assert_eq!(who(&division(None, None)), "Women");
    }
}
