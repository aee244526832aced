//! `/c/{c}/divisions/{d}`: where am I, overall?

use super::form::Fields;
use super::own_places::gap_to;
use super::scope::{self, Asked, Found, Pager, ScopeForm, gym_name};
use super::shell::{Dated, Link, Mark, Shell, When, words};
use super::{html, say};
use crate::actions::directory;
use crate::actions::reader::Reader;
use crate::actions::standings::Desk;
use crate::actions::times::Times;
use crate::actions::views::{GymView, StandingRow, StandingsView, WorkoutCell};
use crate::app::App;
use crate::rules::place::Points;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::web::shared::Shared;
use crate::words::Noun;
use crate::words::en::pages::Pages;
use crate::words::{apart, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use std::collections::HashMap;

#[derive(Template)]
#[template(path = "standings.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    title: String,
    /// What is said once everything has closed.
    ended: Option<Dated>,
    lead: String,
    views: Vec<Link>,
    scope: ScopeForm,
    caption: String,
    columns: Vec<Column>,
    own: Option<Row>,
    rows: Vec<Row>,
    pager: Pager,
    any_uncounted: bool,
    rules_href: String,
    as_of: String,
}

struct Column {
    href: String,
    text: String,
    running: bool,
}

/// One entry.
struct Row {
    /// Of the element; empty for the pinned copy.
    id: String,
    place: Option<Mark>,
    /// Why there is no place.
    why: &'static str,
    /// What the entry is, where that is why.
    entry: &'static str,
    /// "You", "Found"; empty: neither.
    label: &'static str,
    href: String,
    name: String,
    bib: u32,
    gym: String,
    country: String,
    unscoped: String,
    points: String,
    /// "2 points to 11th", in the row that is looked for.
    gap: String,
    cells: Vec<Cell>,
}

struct Cell {
    text: String,
    none: &'static str,
    /// The place, and where it is on the division's bar.
    mark: Option<Mark>,
    /// What counts in its stead.
    place: String,
    counted: bool,
    state: String,
}

/// What is known besides the rows.
struct Told {
    /// Of every gym.
    times: Times,
    /// How many have a place in each workout that is shown.
    placed: HashMap<String, u32>,
}

/// `GET /c/{c}/divisions/{d}`.
pub async fn get_standings(
    State(app): State<App>,
    caller: Caller,
    Path((slug, division)): Path<(String, String)>,
    Query(fields): Query<Fields>,
) -> Answer<Response> {
    let asked = Asked::read(&fields);
    let desk = Desk::open(&app, &caller.actor, caller.received, &slug, &asked.page()).await?;
    let reader = desk.reader();
    let shared = Shared::of(&app, reader);
    let here = format!("/c/{slug}/divisions/{division}");
    let gyms = directory::gyms(&app, reader).await?;
    let (form, asked) = match scope::form(&app, &desk, &division, asked, &here, None, &gyms).await? {
        Found::Form(shown) => *shown,
        Found::There(address) => return Ok(Redirect::to(&address).into_response()),
    };
    let page = desk.standings(&app, &division, &asked.page()).await?;
    let own = scope::own_bib(reader);
    let pin = asked.bib.or(own);
    let pinned = match pin.filter(|bib| page.rows.iter().all(|r| r.bib != *bib)) {
        Some(bib) => {
            let found = desk.standings(&app, &division, &asked.row_of(bib)).await;
            scope::found(found)?.and_then(|page| page.rows.into_iter().find(|r| r.bib == bib))
        }
        None => None,
    };
    let ended = super::ended::ended(&app, reader, None).await?;
    let shown = page.rows.iter().chain(&pinned).next().map_or([].as_slice(), |r| r.workouts.as_slice());
    let placed = shown.iter().map(|x| (x.workout.clone(), desk.placed(&division, &x.workout))).collect();
    let told = Told { times: Times::of_entries(&app, reader).await?, placed };
    let view = view(reader, &told, &asked, &caller, &gyms, form, &page, own, pinned, ended);
    Ok(shared.says(&caller, html(&view).into_response()))
}

#[expect(clippy::too_many_arguments, reason = "everything the page shows, read by its handler")]
fn view(
    reader: &Reader,
    told: &Told,
    asked: &Asked,
    caller: &Caller,
    gyms: &[GymView],
    scope: ScopeForm,
    page: &StandingsView,
    own: Option<u32>,
    pinned: Option<StandingRow>,
    ended: Option<Dated>,
) -> View {
    let (w, c) = (words(), &reader.competition);
    let base = format!("/c/{}", c.slug);
    let here = format!("{base}/divisions/{}", page.division);
    let title = say::division(c, &page.division).to_owned();
    let to = page.from as usize + page.rows.len().saturating_sub(1);
    let lead = if asked.narrowed() { w.standings_lead_scoped } else { w.standings_lead };
    let rows: Vec<Row> = page.rows.iter().map(|r| row((reader, told), gyms, asked, page, r, own)).collect();
    View {
        shell: Shell::new(
            caller,
            asked.address(&here, asked.from, asked.bib),
            format!("{} · {}", apart(&title), apart(&c.title)),
        )
        .below([Link::new(&base, &c.title), Link::new("", &title)]),
        w,
        lead: put(
            lead,
            &[("of", &(words().number)(page.of.into())), ("entries", &(words().number)(page.entries.into()))],
        ),
        views: views(reader, &page.division, None),
        scope,
        caption: put(
            w.standings_caption,
            &[
                ("division", &title),
                ("competition", &c.title),
                ("from", &page.from),
                ("to", &to),
                ("entries", &page.entries),
            ],
        ),
        columns: columns(reader, page, &here),
        own: pinned.map(|r| Row { id: String::new(), ..row((reader, told), gyms, asked, page, &r, own) }),
        any_uncounted: page.rows.iter().flat_map(|r| &r.workouts).any(|x| !x.counted && x.text.is_some()),
        pager: Pager::new(asked, &here, page.from, page.rows.len(), page.entries),
        rules_href: format!("{base}#rules"),
        ended,
        as_of: as_of(reader, page.log_seq),
        rows,
        title,
    }
}

/// The overall and each workout's places; the one that is shown is no link.
pub(super) fn views(reader: &Reader, division: &str, shown: Option<&str>) -> Vec<Link> {
    let base = format!("/c/{}/divisions/{division}", reader.competition.slug);
    let overall = Link::new(if shown.is_some() { base.clone() } else { String::new() }, words().overall);
    let one = |slug: &str, title: &str| {
        let href = if shown == Some(slug) { String::new() } else { format!("{base}/workouts/{slug}") };
        Link::new(href, title)
    };
    std::iter::once(overall).chain(reader.workouts().map(|x| one(&x.slug, &x.title))).collect()
}

/// "State 8812 of the competition's log, shown …".
pub(super) fn as_of(reader: &Reader, seq: u64) -> String {
    let at = When::new(reader.now, &reader.competition.time_zone).said();
    put(words().as_of, &[("seq", &seq), ("at", &at)])
}

fn columns(reader: &Reader, page: &StandingsView, here: &str) -> Vec<Column> {
    let shown: Vec<&str> =
        page.rows.first().map_or(Vec::new(), |r| r.workouts.iter().map(|x| x.workout.as_str()).collect());
    reader
        .workouts()
        .filter(|x| shown.contains(&x.slug.as_str()))
        .map(|x| Column {
            href: format!("{here}/workouts/{}", x.slug),
            text: x.title.clone(),
            running: x.window.opens <= reader.now && reader.now < x.window.closes,
        })
        .collect()
}

fn row(
    (reader, told): (&Reader, &Told),
    gyms: &[GymView],
    asked: &Asked,
    page: &StandingsView,
    r: &StandingRow,
    own: Option<u32>,
) -> Row {
    let (w, c) = (words(), &reader.competition);
    let unscoped = r.unscoped_standing.filter(|_| asked.narrowed());
    Row {
        id: format!("b{}", r.bib),
        place: r.standing.map(|n| Mark::new(n, page.of)),
        why: w.no_standing,
        entry: if r.standing.is_none() { say::entry(r.entry_state) } else { "" },
        label: label(r.bib, own, asked),
        href: format!("/c/{}/athletes/{}", c.slug, r.bib),
        name: r.name.clone(),
        bib: r.bib,
        gym: r.gym.as_deref().map_or(String::new(), |g| gym_name(gyms, g).to_owned()),
        country: r.country.clone(),
        unscoped: unscoped.map_or(String::new(), |n| put(w.in_all, &[("ordinal", &(w.ordinal)(n.into()))])),
        points: r.points.map_or(String::new(), words().number),
        gap: match (&r.next, r.standing) {
            _ if label(r.bib, own, asked).is_empty() => String::new(),
            (Some(next), _) => gap_to(next),
            (None, Some(1)) => w.gap_first.to_owned(),
            (None, _) => String::new(),
        },
        cells: r.workouts.iter().map(|x| cell(reader, told, (r.gym.as_deref(), &r.region), x)).collect(),
    }
}

/// Whose row it is: the reader's own, or the one looked for.
pub(super) fn label(bib: u32, own: Option<u32>, asked: &Asked) -> &'static str {
    let w = words();
    if own == Some(bib) {
        w.you
    } else if asked.bib == Some(bib) {
        w.found
    } else {
        ""
    }
}

fn cell(reader: &Reader, told: &Told, whose: (Option<&str>, &str), x: &WorkoutCell) -> Cell {
    let (w, c) = (words(), &reader.competition);
    let place = x.place.map_or(String::new(), |n| {
        let ordinal = (w.ordinal)(n.into());
        if x.text.is_some() { ordinal } else { put(w.place_counts_as, &[("ordinal", &ordinal)]) }
    });
    let weighs = c.workout(&x.workout).is_some_and(|x| x.weight > 1);
    let points = match x.points.filter(|_| weighs || matches!(c.overall.points, Points::Table { .. })) {
        Some(points) => format!(" · {}", (w.count)(points, Noun::Point)),
        None => String::new(),
    };
    let place = format!("{place}{points}");
    let of = told.placed.get(&x.workout).copied().unwrap_or_default();
    let mark = x.place.filter(|_| x.text.is_some()).map(|n| Mark { text: place.clone(), ..Mark::new(n, of) });
    Cell {
        text: x.text.clone().unwrap_or_default(),
        none: if x.state.is_none() { say::no_score(&told.times, c.workout(&x.workout), whose, reader.now) } else { "" },
        place: if mark.is_some() { String::new() } else { place },
        mark,
        counted: x.counted,
        state: match (&x.text, x.state) {
            (Some(_), state) => say::remarkable(state),
            (None, Some(state)) => say::public(state).to_owned(),
            (None, None) => String::new(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn a_row(bib: u32, standing: Option<u32>, name: &str, label: &'static str) -> Row {
        Row {
            id: format!("b{bib}"),
            place: standing.map(|n| Mark::new(n, 3)),
            why: words().no_standing,
            entry: say::entry("guest"),
            label,
            href: format!("/c/s/athletes/{bib}"),
            name: name.to_owned(),
            bib,
            gym: samples::HOSTILE.to_owned(),
            country: "PT".to_owned(),
            unscoped: String::new(),
            points: "7".to_owned(),
            gap: if label.is_empty() { String::new() } else { "2 points to 1st".to_owned() },
            cells: vec![
                Cell {
                    text: "6+14 tb 11:24".to_owned(),
                    none: "",
                    place: String::new(),
                    mark: Some(Mark::new(2, 3)),
                    counted: false,
                    state: words().state_flagged.to_owned(),
                },
                Cell {
                    text: String::new(),
                    none: words().no_score,
                    place: "counts as 4th".to_owned(),
                    mark: None,
                    counted: true,
                    state: String::new(),
                },
            ],
        }
    }

    fn page(rows: Vec<Row>, own: Option<Row>) -> String {
        View {
            shell: samples::shell("Women"),
            w: words(),
            title: samples::HOSTILE.to_owned(),
            lead: "2 of 3 have a standing.".to_owned(),
            views: vec![Link::new("", words().overall), Link::new("/c/s/divisions/women/workouts/w1", samples::BIDI)],
            scope: ScopeForm {
                action: "/c/s/divisions/women".to_owned(),
                q: samples::HOSTILE.to_owned(),
                find_text: Some(format!("Several fit “{}”.", samples::HOSTILE)),
                found: vec![Link::new("/x", samples::BIDI)],
                narrowed: true,
                selects: Vec::new(),
            },
            caption: samples::HOSTILE.to_owned(),
            columns: vec![
                Column { href: "/w1".to_owned(), text: samples::LONG.to_owned(), running: true },
                Column { href: "/w2".to_owned(), text: samples::HOSTILE.to_owned(), running: false },
            ],
            own,
            rows,
            pager: Pager::new(&Asked::default(), "/c/s/divisions/women", 1, 3, 340),
            any_uncounted: true,
            rules_href: "/c/s#rules".to_owned(),
            ended: Some(Dated::plain(samples::HOSTILE)),
            as_of: "State 8812".to_owned(),
        }
        .render()
        .expect("renders")
    }

    #[test]
    fn ties_long_bidi_and_hostile_names_and_no_standing() {
        let rows = vec![
            a_row(1, Some(1), samples::LONG, ""),
            a_row(2, Some(1), samples::BIDI, words().you),
            a_row(3, None, samples::HOSTILE, ""),
        ];
        let page = page(rows, None);
        samples::assert_sound(&page);
        assert_eq!(page.matches("1st<svg").count(), 2);
        // A workout's place is on the bar too, where there is one.
        assert_eq!((page.matches("2nd<svg").count(), page.matches("counts as 4th<svg").count()), (3, 0));
        assert!(page.contains(words().no_standing) && page.contains(words().state_flagged));
        assert!(page.contains("<span class=\"uncounted\">6+14 tb 11:24</span>"));
    }

    #[test]
    fn an_empty_division_says_so() {
        let page = page(Vec::new(), None);
        samples::assert_sound(&page);
        assert!(page.contains(words().standings_none) && !page.contains("<table"));
    }

    #[test]
    fn the_own_row_is_pinned_above_the_others() {
        let own = Row { id: String::new(), ..a_row(2, Some(300), samples::BIDI, words().you) };
        let page = page(vec![a_row(1, Some(1), "Ines Duarte", "")], Some(own));
        samples::assert_sound(&page);
        assert!(page.contains("2 points to 1st"));
        assert!(page.find("300th").expect("own") < page.find("Ines Duarte").expect("first"));
    }
}
