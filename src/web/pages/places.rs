//! `/c/{c}/divisions/{d}/workouts/{w}`: where am I in one workout, and how far is the next place?

use super::form::Fields;
use super::plot::{self, PlotView};
use super::scope::{self, Asked, Found, Pager, ScopeForm, gym_name};
use super::shell::{Dated, Link, Mark, Shell, encoded, words};
use super::standings::{as_of, label, views};
use super::{html, say};
use crate::actions::directory;
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::standings::Desk;
use crate::actions::times::Times;
use crate::actions::views::{GymView, PlaceRow, PlacesView};
use crate::app::App;
use crate::rules::competition::Competition;
use crate::rules::workout::{Task, Workout};
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::web::shared::Shared;
use crate::words::en::pages::Pages;
use crate::words::en::plot::Plot;
use crate::words::{apart, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

#[derive(Template)]
#[template(path = "places.html")]
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
    own: Option<Row>,
    rows: Vec<Row>,
    pager: Pager,
    none: Dated,
    /// Where nobody may be listed yet: what the reader may see all the same, and where it is made.
    own_gyms: Vec<Link>,
    t: &'static Plot,
    plot: Option<PlotView>,
    /// Whether this reader may see the results.
    open: bool,
    rules_href: String,
    as_of: String,
}

/// One entry.
struct Row {
    id: String,
    place: Option<Mark>,
    /// Why there is no place.
    why: &'static str,
    /// What the entry is, where that is why.
    entry: &'static str,
    /// "3 share it"; empty: nobody else.
    share: String,
    label: &'static str,
    href: String,
    name: String,
    bib: u32,
    gym: String,
    country: String,
    unscoped: String,
    text: String,
    /// What stands there where there is no score.
    none: &'static str,
    level: String,
    state: String,
    gap: String,
}

fn texts() -> &'static Plot {
    crate::words::plot(language::reader())
}

/// `GET /c/{c}/divisions/{d}/workouts/{w}`.
pub async fn get_places(
    State(app): State<App>,
    caller: Caller,
    Path((slug, division, workout)): Path<(String, String, String)>,
    Query(fields): Query<Fields>,
) -> Answer<Response> {
    let asked = Asked::read(&fields);
    let desk = Desk::open(&app, &caller.actor, caller.received, &slug, &asked.page()).await?;
    let reader = desk.reader();
    let shared = Shared::of(&app, reader);
    let x = reader.workout(&workout)?;
    let here = format!("/c/{slug}/divisions/{division}/workouts/{workout}");
    let gyms = directory::gyms(&app, reader).await?;
    let hidden = desk.unpublished(&division, x)?;
    let (form, asked) = match &hidden {
        Some(_) => (ScopeForm::default(), asked),
        None => match scope::form(&app, &desk, &division, asked, &here, Some(x), &gyms).await? {
            Found::Form(shown) => *shown,
            Found::There(address) => return Ok(Redirect::to(&address).into_response()),
        },
    };
    let (page, open) = match hidden {
        Some(nothing) => (nothing, false),
        None => (desk.places(&app, &division, &workout, &asked.page()).await?, true),
    };
    let own = scope::own_bib(reader).filter(|_| open);
    let pin = asked.bib.filter(|_| open).or(own);
    let pinned = match pin.filter(|bib| page.rows.iter().all(|r| r.bib != *bib)) {
        Some(bib) => scope::found(desk.places(&app, &division, &workout, &asked.row_of(bib)).await)?
            .and_then(|page| page.rows.into_iter().find(|r| r.bib == bib)),
        None => None,
    };
    let spread = if open { Some(desk.spread(&division, &workout, pin)?) } else { None };
    let ended = super::ended::ended(&app, reader, None).await?;
    let times = Times::of_entries(&app, reader).await?;
    let base = format!("/c/{slug}");
    let (w, c) = (words(), &reader.competition);
    let row = |r: &PlaceRow| row((reader, &times), &gyms, &asked, &page, r, own);
    let title = say::division(c, &division);
    let to = page.from as usize + page.rows.len().saturating_sub(1);
    let lead = if asked.narrowed() { w.places_lead_scoped } else { w.places_lead };
    let view = View {
        shell: Shell::new(
            &caller,
            asked.address(&here, asked.from, asked.bib),
            format!("{} · {}", apart(&x.title), apart(title)),
        )
        .below([
            Link::new(&base, &c.title),
            Link::new(format!("{base}/divisions/{division}"), title),
            Link::new("", &x.title),
        ]),
        w,
        title: format!("{title}: {}", x.title),
        lead: put(
            lead,
            &[("of", &(words().number)(page.of.into())), ("entries", &(words().number)(page.entries.into()))],
        ),
        views: views(reader, &division, Some(&workout)),
        scope: form,
        caption: put(
            w.places_caption,
            &[
                ("workout", &x.title),
                ("division", &title),
                ("from", &page.from),
                ("to", &to),
                ("entries", &page.entries),
            ],
        ),
        own: pinned.as_ref().map(|r| Row { id: String::new(), ..row(r) }),
        rows: page.rows.iter().map(row).collect(),
        pager: Pager::new(&asked, &here, page.from, page.rows.len(), page.entries),
        none: none(reader, x, open),
        own_gyms: if open { Vec::new() } else { own_gyms(reader, x, &here, &gyms) },
        t: texts(),
        plot: spread.filter(|s| s.of > 0).map(|s| plot::view(c, task(c, &division, x), &s, own)),
        open,
        rules_href: format!("{base}#rules"),
        ended,
        as_of: as_of(reader, page.log_seq),
    };
    Ok(shared.says(&caller, html(&view).into_response()))
}

/// Why nobody is listed.
fn none(reader: &Reader, x: &Workout, open: bool) -> Dated {
    let w = words();
    if open {
        return Dated::plain(w.places_none);
    }
    Dated::new(w.places_hidden, x.window.closes, &reader.competition.time_zone)
}

/// The gyms whose results the reader may see before the others', each with its desk.
fn own_gyms(reader: &Reader, x: &Workout, here: &str, gyms: &[GymView]) -> Vec<Link> {
    let (w, slug) = (words(), &reader.slug);
    let own = gyms.iter().filter(|gym| reader.sees_scores(x, Some(&gym.slug)));
    let both = own.flat_map(|gym| {
        let named = |template| put(template, &[("gym", &gym.name)]);
        let results = Link::new(format!("{here}?gym={}", encoded(&gym.slug)), named(w.places_own_gym));
        [results, Link::new(format!("/desk/{}/{}", encoded(slug), encoded(&gym.slug)), named(w.desk_title))]
    });
    both.collect()
}

/// What results of a division are said by: of a combined one, its first part's.
fn task<'a>(c: &'a Competition, division: &'a str, x: &'a Workout) -> &'a Task {
    let parts =
        c.division(division).map(|d| if d.combines.is_empty() { vec![&d.slug] } else { d.combines.iter().collect() });
    let levels = || (0_u8..).zip(&c.levels).map(|(n, _)| n);
    let mut all = parts.into_iter().flatten().flat_map(|d| levels().filter_map(|l| c.prescription(&x.slug, d, l)));
    all.next().map_or(&x.task, |p| &p.task)
}

fn row(
    (reader, times): (&Reader, &Times),
    gyms: &[GymView],
    asked: &Asked,
    page: &PlacesView,
    r: &PlaceRow,
    own: Option<u32>,
) -> Row {
    let (w, c) = (words(), &reader.competition);
    let whose = (r.gym.as_deref(), &*r.region);
    // Only what is out of the ordinary is said: a level below the division's own.
    let parts = c.division(&page.division).into_iter().flat_map(|d| d.combines.iter().chain([&d.slug]));
    let mut usual = parts.filter_map(|d| c.division(d)).filter(|d| d.combines.is_empty()).map(|d| usize::from(d.level));
    let level = r.level.as_deref().filter(|_| c.levels.len() > 1 && r.text.is_some());
    let level = level.filter(|l| !usual.any(|n| c.levels.get(n).is_some_and(|usual| usual.slug == *l)));
    let unscoped = r.unscoped_place.filter(|_| asked.narrowed());
    Row {
        id: format!("b{}", r.bib),
        place: r.place.map(|n| Mark::new(n, page.of)),
        why: w.no_place,
        entry: if r.place.is_none() { say::entry(r.entry_state) } else { "" },
        share: if r.shared > 1 { put(w.share, &[("n", &r.shared)]) } else { String::new() },
        label: label(r.bib, own, asked),
        href: format!("/c/{}/athletes/{}", c.slug, r.bib),
        name: r.name.clone(),
        bib: r.bib,
        gym: r.gym.as_deref().map_or(String::new(), |g| gym_name(gyms, g).to_owned()),
        country: r.country.clone(),
        unscoped: unscoped.map_or(String::new(), |n| put(w.in_all, &[("ordinal", &(w.ordinal)(n.into()))])),
        text: r.text.clone().unwrap_or_default(),
        none: if r.state.is_none() { say::no_score(times, c.workout(&page.workout), whose, reader.now) } else { "" },
        level: level.map_or(String::new(), |l| say::level(c, l).to_owned()),
        state: match (&r.text, r.state) {
            (Some(_), state) => say::remarkable(state),
            (None, Some(state)) => say::public(state).to_owned(),
            (None, None) => String::new(),
        },
        gap: match (&r.next, r.place) {
            (Some(next), _) => next.missing.clone(),
            (None, Some(1)) => w.gap_first.to_owned(),
            (None, _) => String::new(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn a_row(bib: u32, place: Option<u32>, name: &str) -> Row {
        Row {
            id: format!("b{bib}"),
            place: place.map(|n| Mark::new(n, 3)),
            why: words().no_place,
            entry: say::entry("withdrawn"),
            share: place.map_or(String::new(), |_| "2 share it".to_owned()),
            label: "",
            href: format!("/c/s/athletes/{bib}"),
            name: name.to_owned(),
            bib,
            gym: samples::BIDI.to_owned(),
            country: String::new(),
            unscoped: "5th in the whole division".to_owned(),
            text: "148 reps".to_owned(),
            none: words().no_score,
            level: samples::HOSTILE.to_owned(),
            state: words().state_amended.to_owned(),
            gap: "3 reps".to_owned(),
        }
    }

    fn page(rows: Vec<Row>, plot: Option<PlotView>) -> String {
        View {
            shell: samples::shell("Workout 1"),
            w: words(),
            title: samples::HOSTILE.to_owned(),
            lead: "2 of 3 have a place.".to_owned(),
            views: vec![Link::new("/o", words().overall), Link::new("", samples::LONG)],
            scope: ScopeForm::default(),
            caption: samples::HOSTILE.to_owned(),
            own: None,
            rows,
            pager: Pager::default(),
            none: Dated::plain(words().places_none),
            own_gyms: vec![Link::new("/desk/s/g", samples::HOSTILE)],
            t: texts(),
            plot,
            open: true,
            rules_href: "/c/s#rules".to_owned(),
            ended: Some(Dated::plain(samples::HOSTILE)),
            as_of: "State 8812".to_owned(),
        }
        .render()
        .expect("renders")
    }

    #[test]
    fn shared_places_and_gaps_are_said_in_words() {
        let page = page(
            vec![a_row(1, Some(1), samples::LONG), a_row(2, Some(1), samples::BIDI), a_row(3, None, samples::HOSTILE)],
            None,
        );
        samples::assert_sound(&page);
        assert_eq!(page.matches("2 share it").count(), 2);
        assert!(page.contains("3 reps") && page.contains(words().no_place));
    }

    #[test]
    fn a_workout_without_scores_says_so() {
        let page = page(Vec::new(), None);
        samples::assert_sound(&page);
        assert!(page.contains(words().places_none));
    }
}
