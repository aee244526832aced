//! `/`: what is on?

use super::competition::more_time;
use super::ended;
use super::shell::{Dated, Left, Link, Shell, When, words};
use super::{Page, html};
use crate::actions::over;
use crate::actions::reader::Reader;
use crate::actions::times::Times;
use crate::app::App;
use crate::rules::workout::Workout;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::Noun;
use crate::words::en::pages::Pages;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use jiff::Timestamp;

#[derive(Template)]
#[template(path = "home.html")]
struct Home {
    shell: Shell,
    w: &'static Pages,
    competitions: Vec<Line>,
}

/// One competition.
struct Line {
    href: String,
    title: String,
    zone: String,
    size: String,
    running: Vec<Soon>,
    /// Workouts that are closed for the reader and open for others.
    more: Vec<More>,
    next: Option<Soon>,
    /// What is said where nothing is open.
    state: Dated,
    divisions: Vec<Link>,
}

/// A workout, and who has more time for it.
struct More {
    href: String,
    title: String,
    text: Dated,
}

/// A workout, and what happens with it next.
pub(super) struct Soon {
    pub(super) href: String,
    pub(super) title: String,
    pub(super) left: Left,
    pub(super) at: When,
    /// What is said of more time; empty: nothing.
    pub(super) more: Dated,
}

/// `GET /`.
pub async fn get_home(State(app): State<App>, caller: Caller) -> Answer<Page> {
    let w = words();
    let found = crate::actions::competitions::list(&app, &caller.actor, caller.received).await?;
    let mut readers = Vec::with_capacity(found.len());
    for c in found {
        readers.push(Reader::find(&app, &caller.actor, caller.received, &c.slug).await?);
    }
    let over = over::all(&app, &readers).await?;
    let times = Times::of_all(&app, &readers).await?;
    let said = readers.iter().zip(over).map(|(reader, over)| (reader, over.map(|over| ended::said(reader, over))));
    let competitions = said.zip(&times).map(|((reader, over), times)| line(&app, reader, times, over)).collect();
    html(&Home { shell: Shell::new(&caller, "/", w.home_title), w, competitions })
}

/// A competition as this reader sees it.
fn line(app: &App, reader: &Reader, times: &Times, over: Option<Dated>) -> Line {
    let (c, now) = (&reader.competition, reader.now);
    let base = format!("/c/{}", c.slug);
    let running = running(reader, times);
    let closed = reader.workouts().filter(|x| times.window(x).closed(now));
    let more = closed.filter_map(|x| {
        let text = more_time(reader, times, x)?;
        Some(More { href: format!("{base}/workouts/{}", x.slug), title: x.title.clone(), text })
    });
    // Where all is over for everybody else, that is said once.
    let more = if over.is_some() { Vec::new() } else { more.collect() };
    let next = reader
        .workouts()
        .filter(|x| x.window.opens > now)
        .min_by_key(|x| x.window.opens)
        .and_then(|x| soon(reader, times, x, x.window.opens, words().opens_in));
    Line {
        href: base.clone(),
        title: c.title.clone(),
        zone: c.time_zone_name.clone(),
        size: size(app, reader),
        running,
        more,
        next,
        state: over.unwrap_or_else(|| Dated::plain(words().nothing_running)),
        divisions: c.divisions.iter().map(|d| Link::new(format!("{base}/divisions/{}", d.slug), &d.title)).collect(),
    }
}

/// The workouts that are open now for the reader, with the time to their close.
pub(super) fn running(reader: &Reader, times: &Times) -> Vec<Soon> {
    let open = reader.workouts().filter(|x| x.window.opens <= reader.now);
    open.filter_map(|x| soon(reader, times, x, times.window(x).closes, words().closes_in)).collect()
}

/// What happens next with a workout; nothing when that has passed.
fn soon(reader: &Reader, times: &Times, x: &Workout, at: Timestamp, say: &'static str) -> Option<Soon> {
    let c = &reader.competition;
    Left::new(reader.now, at, say).map(|left| Soon {
        href: format!("/c/{}/workouts/{}", c.slug, x.slug),
        title: x.title.clone(),
        left,
        at: When::new(at, &c.time_zone),
        more: more_time(reader, times, x).unwrap_or_default(),
    })
}

/// "2,400 athletes in 8 divisions, 4 workouts".
pub(super) fn size(app: &App, reader: &Reader) -> String {
    let (w, c) = (words(), &reader.competition);
    let plain: Vec<&str> = c.divisions.iter().filter(|d| d.combines.is_empty()).map(|d| d.slug.as_str()).collect();
    let counts = app.board.counts(reader.id).unwrap_or_default();
    let athletes: usize = counts.iter().filter(|d| plain.contains(&d.division.as_str())).map(|d| d.entries).sum();
    let said = |n: usize, noun| (w.count)(n as u64, noun);
    put(
        w.size,
        &[
            ("athletes", &said(athletes, Noun::Athlete)),
            ("in_divisions", &said(c.divisions.len(), Noun::Division)),
            ("in_workouts", &said(reader.workouts().count(), Noun::Workout)),
        ],
    )
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::samples;
    use super::*;

    fn page(competitions: Vec<Line>) -> String {
        Home { shell: samples::shell("Competitions"), w: words(), competitions }.render().expect("renders")
    }

    #[test]
    fn nothing_on_says_what_to_do() {
        assert!(page(Vec::new()).contains("No competition here yet."));
    }

    #[test]
    fn the_running_workout_and_the_time_left_come_first() {
        let soon = |title: &str| Soon {
            href: "/c/s/workouts/w1".to_owned(),
            title: title.to_owned(),
            left: samples::left("closes in 3 h 12 min"),
            at: samples::when(),
            more: Dated::plain(samples::BIDI),
        };
        let line = Line {
            href: "/c/s".to_owned(),
            title: samples::HOSTILE.to_owned(),
            zone: "Europe/Lisbon".to_owned(),
            size: "2,400 athletes".to_owned(),
            running: vec![soon(samples::BIDI)],
            more: vec![More {
                href: "/c/s/workouts/w2".to_owned(),
                title: samples::HOSTILE.to_owned(),
                text: Dated::plain(samples::HOSTILE),
            }],
            next: Some(soon("not shown")),
            state: Dated::plain(samples::HOSTILE),
            divisions: vec![Link::new("/c/s/divisions/women", samples::LONG)],
        };
        let page = page(vec![line]);
        samples::assert_sound(&page);
        assert!(page.contains("running now, <span data-until=\"2027-01-17T21:00:00Z\" data-say=\"closes in {left}\">closes in 3 h 12 min</span>"));
        assert!(!page.contains("not shown"));
    }
}
