//! `/desk/{c}/{gym}/wall`: the gym's screen. Public: a screen that hangs in a gym for a month is not
//! signed in, and what it shows anybody may see. It says who is on the floor once a heat has begun,
//! not who will be. Updated by `static/wall.js` where it runs, which asks only for what changed,
//! else by the browser; both can be stopped.

use super::competition::{time_left, time_said};
use super::ended::ended;
use super::form::Fields;
use super::shell::{Dated, Left, Link, Shell, own_zone, words};
use super::{html, say};
use crate::actions::language;
use crate::actions::views::{PlaceRow, StandingRow};
use crate::actions::wall::{self as action, Shown};
use crate::app::App;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::en::wall::Wall;
use crate::words::{put, wall};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::{HeaderMap, StatusCode, header};
use sha2::{Digest, Sha256};
use std::cmp::Reverse;
use std::collections::{BTreeMap, HashMap};

#[derive(Template)]
#[template(path = "wall.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    t: &'static Wall,
    title: String,
    left: Option<Left>,
    when: Option<Dated>,
    ended: Option<Dated>,
    tabs: Vec<Link>,
    heat: Option<HeatView>,
    points: bool,
    sections: Vec<Section>,
    none: Dated,
    still: bool,
    still_href: String,
    go_href: String,
}

/// Who is on the floor.
struct HeatView {
    title: String,
    caption: String,
    lanes: Vec<(String, String)>,
}

/// A division, or a heat.
struct Section {
    title: String,
    rows: Vec<Row>,
    more: String,
}

/// One entry.
struct Row {
    place: String,
    name: String,
    text: String,
    /// Where the section is not of one.
    division: String,
    state: String,
}

fn texts() -> &'static Wall {
    wall(language::reader())
}

/// `GET /desk/{c}/{gym}/wall`.
pub async fn get_wall(
    State(app): State<App>,
    caller: Caller,
    Path((slug, gym)): Path<(String, String)>,
    Query(fields): Query<Fields>,
    headers: HeaderMap,
) -> Answer {
    let found = action::read(&app, &caller.actor, caller.received, &slug, &gym, fields.get("show")).await?;
    let ended = ended(&app, &found.reader, Some((Some(&found.gym.slug), &found.gym.region))).await?;
    let view = view(&caller, &found, fields.get("by") == "heat", fields.ticked("still"), ended);
    let now = view.shell.now.clone();
    let left = view.left.as_ref().map(|l| format!(">{}<", l.text));
    let page = html(&view)?;
    // Equal but for the clock, which the screen keeps itself: nothing to send again.
    let plain = left.map_or_else(|| page.0.clone(), |left| page.0.replacen(&left, "><", 1));
    let digest = Sha256::digest(plain.replace(&now, ""));
    let tag = format!("W/\"{}\"", &hex::encode(digest)[..24]);
    let tags = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|v| v.to_str().ok());
    let kept = [(header::ETAG, tag.clone()), (header::CACHE_CONTROL, "private, no-cache".to_owned())];
    if tags.flat_map(|v| v.split(',')).any(|v| v.trim() == tag) {
        return Ok((StatusCode::NOT_MODIFIED, kept).into_response());
    }
    Ok((kept, page).into_response())
}

fn view(caller: &Caller, found: &action::Wall, by_heat: bool, still: bool, ended: Option<Dated>) -> View {
    let (t, reader, gym) = (texts(), &found.reader, &found.gym);
    let c = &reader.competition;
    let x = found.workout.as_deref().and_then(|w| c.workout(w));
    let base = format!("/desk/{}/{}/wall", c.slug, gym.slug);
    let by_heat = by_heat && has_heats(found);
    let here = match (&found.workout, found.workouts.first()) {
        (Some(shown), _) if by_heat => format!("{base}?show={shown}&by=heat"),
        (Some(shown), Some(first)) if shown == first => base.clone(),
        (Some(shown), _) => format!("{base}?show={shown}"),
        (None, _) => format!("{base}?show=overall"),
    };
    let what = x.map_or(t.overall, |x| &x.title);
    let title = put(t.title, &[("gym", &gym.name), ("workout", &what)]);
    let sections = match &found.shown {
        Shown::Workout(divisions) if by_heat => heats(divisions, &found.heats),
        Shown::Workout(divisions) => sections(divisions, |r| place_row(r, &found.heats)),
        Shown::Overall(divisions) => sections(divisions, standing_row),
        Shown::Hidden => Vec::new(),
    };
    let none = match (&found.shown, x) {
        (Shown::Hidden, Some(x)) => Dated::new(t.hidden, x.window.closes, &c.time_zone),
        _ if found.workouts.is_empty() => Dated::plain(t.nothing_open),
        _ => Dated::plain(t.nothing),
    };
    let heat = found.heat.first().map(|(first, _)| HeatView {
        title: put(t.heat, &[("n", &first.heat)]),
        caption: put(t.heat_caption, &[("n", &first.heat)]),
        lanes: found.heat.iter().map(|(p, name)| (put(t.lane, &[("n", &p.lane)]), name.clone())).collect(),
    });
    View {
        shell: Shell::new(caller, here.clone(), &title)
            .below([Link::new(format!("/c/{}", c.slug), &c.title), Link::new("", &title)]),
        w: words(),
        t,
        left: found.window.as_ref().and_then(|window| time_left(window, reader.now)),
        when: found
            .window
            .as_ref()
            .and_then(|window| time_said(window, reader.now, c, own_zone(&gym.time_zone).as_ref())),
        ended,
        tabs: tabs(found, &base, by_heat),
        heat,
        points: x.is_none(),
        none: if sections.is_empty() { none } else { Dated::default() },
        sections,
        still,
        still_href: format!("{here}{}still=yes", if here.contains('?') { '&' } else { '?' }),
        go_href: here,
        title,
    }
}

/// What else the screen can show; the one that is shown is no link.
fn tabs(found: &action::Wall, base: &str, by_heat: bool) -> Vec<Link> {
    let c = &found.reader.competition;
    let unless = |shown: bool, href: String| if shown { String::new() } else { href };
    let one = |slug: &String| {
        let shown = found.workout.as_ref() == Some(slug) && !by_heat;
        Link::new(unless(shown, format!("{base}?show={slug}")), c.workout(slug).map_or("", |x| &x.title))
    };
    let overall = unless(found.workout.is_none(), format!("{base}?show=overall"));
    let heats = found.workout.iter().filter(|_| has_heats(found));
    let heats = heats.map(|x| Link::new(unless(by_heat, format!("{base}?show={x}&by=heat")), texts().by_heat));
    found.workouts.iter().map(one).chain([Link::new(overall, texts().overall)]).chain(heats).collect()
}

/// Whether there is something to be shown by heat.
fn has_heats(found: &action::Wall) -> bool {
    matches!(found.shown, Shown::Workout(_)) && !found.heats.is_empty()
}

/// By heat, the one that started last first: what somebody from the floor looks for.
fn heats(divisions: &[(String, Vec<PlaceRow>, u32)], heats: &HashMap<u32, u32>) -> Vec<Section> {
    let (t, h) = (texts(), crate::words::heats(language::reader()));
    let mut by: BTreeMap<Option<Reverse<u32>>, Vec<Row>> = BTreeMap::new();
    for (division, row) in divisions.iter().flat_map(|(title, rows, _)| rows.iter().map(move |row| (title, row))) {
        let shown = Row { division: division.clone(), ..place_row(row, &HashMap::new()) };
        by.entry(heats.get(&row.bib).copied().map(Reverse)).or_default().push(shown);
    }
    let in_none = by.remove(&None);
    let title = |heat| put(h.heat, &[("n", &heat)]);
    let in_heats = by.into_iter().filter_map(|(heat, rows)| Some((title(heat?.0), rows)));
    let more = divisions.iter().map(|(.., n)| n).sum::<u32>();
    let mut all: Vec<Section> = in_heats
        .chain(in_none.map(|rows| (t.no_heat.to_owned(), rows)))
        .map(|(title, rows)| Section { title, rows, more: String::new() })
        .collect();
    if let Some(last) = all.last_mut().filter(|_| more > 0) {
        last.more = put(t.more, &[("n", &more)]);
    }
    all
}

fn sections<T>(divisions: &[(String, Vec<T>, u32)], row: impl Fn(&T) -> Row) -> Vec<Section> {
    let more = |n: u32| if n == 0 { String::new() } else { put(texts().more, &[("n", &n)]) };
    divisions
        .iter()
        .map(|(title, rows, n)| Section { title: title.clone(), rows: rows.iter().map(&row).collect(), more: more(*n) })
        .collect()
}

fn place_row(r: &PlaceRow, heats: &HashMap<u32, u32>) -> Row {
    let w = words();
    let heat =
        heats.get(&r.bib).map_or(String::new(), |n| put(crate::words::heats(language::reader()).heat, &[("n", n)]));
    let state = say::remarkable(r.state);
    Row {
        place: r.unscoped_place.or(r.place).map_or(String::new(), |n| (w.ordinal)(n.into())),
        name: r.name.clone(),
        text: r.text.clone().unwrap_or_default(),
        division: String::new(),
        state: if state.is_empty() { heat } else { state },
    }
}

fn standing_row(r: &StandingRow) -> Row {
    let w = words();
    Row {
        place: r.unscoped_standing.or(r.standing).map_or(String::new(), |n| (w.ordinal)(n.into())),
        name: r.name.clone(),
        text: r.points.map_or(String::new(), w.number),
        division: String::new(),
        state: String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn page(sections: Vec<Section>, still: bool) -> String {
        View {
            shell: samples::shell("Wall"),
            w: words(),
            t: texts(),
            title: samples::HOSTILE.to_owned(),
            left: Some(samples::left("closes in 2 h")),
            when: Some(Dated { at: Some(samples::when()), ..Dated::plain("Closes ") }),
            ended: Some(Dated::plain(samples::HOSTILE)),
            tabs: vec![Link::new("", samples::LONG), Link::new("/x?show=overall", "Overall")],
            heat: Some(HeatView {
                title: "On the floor: heat 3".to_owned(),
                caption: "Lanes of heat 3".to_owned(),
                lanes: vec![("Lane 1".to_owned(), samples::BIDI.to_owned())],
            }),
            points: false,
            none: Dated::plain(texts().nothing),
            sections,
            still,
            still_href: "/x?still=yes".to_owned(),
            go_href: "/x".to_owned(),
        }
        .render()
        .expect("renders")
    }

    #[test]
    fn names_of_any_kind_stand_on_the_wall() {
        let row = |name: &str| Row {
            place: "12th".to_owned(),
            name: name.to_owned(),
            text: "6+14 tb 11:24".to_owned(),
            division: samples::HOSTILE.to_owned(),
            state: "Heat 3".to_owned(),
        };
        let rows = [samples::HOSTILE, samples::BIDI, samples::LONG].map(row).into();
        let page = page(vec![Section { title: samples::HOSTILE.to_owned(), rows, more: "4 more".to_owned() }], false);
        samples::assert_sound(&page);
        assert!(page.contains("http-equiv=\"refresh\"") && page.contains("still=yes"));
    }

    #[test]
    fn a_wall_that_is_stopped_does_not_load_itself_again() {
        let page = page(Vec::new(), true);
        samples::assert_sound(&page);
        assert!(!page.contains("http-equiv=\"refresh\"") && page.contains(texts().nothing));
    }
}
