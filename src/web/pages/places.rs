//! `/c/{c}/divisions/{d}/workouts/{w}`: where am I in one workout, and how far is the next place?

use super::form::Fields;
use super::scope::{self, Asked, Pager, ScopeForm, anchor, gym_name};
use super::shell::{Link, Mark, Shell, When, words};
use super::standings::{as_of, label, views};
use super::{html, say};
use crate::actions::language;
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::standings as action;
use crate::actions::views::{GymView, PlaceRow, PlacesView};
use crate::app::App;
use crate::rules::order;
use crate::rules::quantity::LoadUnit;
use crate::rules::workout::Workout;
use crate::standings::{Cut, Mask, Query as BoardQuery, Scope};
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use std::collections::HashMap;

#[derive(Template)]
#[template(path = "places.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    title: String,
    lead: String,
    views: Vec<Link>,
    scope: ScopeForm,
    caption: String,
    own: Option<Row>,
    rows: Vec<Row>,
    pager: Pager,
    none: String,
    rules_href: String,
    as_of: String,
}

/// One entry.
struct Row {
    id: String,
    place: Option<Mark>,
    /// Why there is no place.
    why: &'static str,
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
    level: String,
    state: String,
    gap: String,
}

/// What the board knows of a row beyond its place.
struct Beside {
    place: u32,
    shared: u32,
    gap: String,
    /// Done at the division's own level.
    ordinary: bool,
}

/// `GET /c/{c}/divisions/{d}/workouts/{w}`.
pub async fn get_places(
    State(app): State<App>,
    caller: Caller,
    Path((slug, division, workout)): Path<(String, String, String)>,
    Query(fields): Query<Fields>,
) -> Answer<Response> {
    let reader = Reader::find(&app, &caller.actor, caller.received, &slug).await?;
    let x = reader.workout(&workout)?;
    let asked = Asked::read(&fields);
    let here = format!("/c/{slug}/divisions/{division}/workouts/{workout}");
    let gyms = lists::gyms(&app, &caller.actor, caller.received, &slug, &Find::default()).await?;
    let form = match scope::form(&app, &reader, &division, &asked, &here, false, &gyms).await? {
        Ok(form) => form,
        Err(bib) => return Ok(Redirect::to(&(asked.address(&here, None, Some(bib)) + &anchor(bib))).into_response()),
    };
    let read = |query| {
        let (app, actor, slug, division, workout) = (&app, &caller.actor, &slug, &division, &workout);
        async move { action::places(app, actor, caller.received, slug, division, workout, &query).await }
    };
    let page = read(asked.page()).await?;
    let own = scope::own_bib(&reader);
    let pinned = match own.filter(|bib| page.rows.iter().all(|r| r.bib != *bib)) {
        Some(bib) => read(asked.row_of(bib)).await?.rows.into_iter().find(|r| r.bib == bib),
        None => None,
    };
    let beside = beside(&app, &reader, x, &asked, &page, pinned.as_ref());
    let base = format!("/c/{slug}");
    let (w, c) = (words(), &reader.competition);
    let row = |r: &PlaceRow| row(&reader, &gyms, &asked, page.of, r, beside.get(&r.bib), own);
    let title = say::division(c, &division);
    let to = page.from as usize + page.rows.len().saturating_sub(1);
    let lead = if asked.narrowed() { w.places_lead_scoped } else { w.places_lead };
    let view = View {
        shell: Shell::new(&caller, asked.address(&here, asked.from, asked.bib), format!("{} · {title}", x.title))
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
        views: views(&reader, &division, Some(&workout)),
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
        none: none(&reader, x),
        rules_href: format!("{base}#rules"),
        as_of: as_of(&reader, page.log_seq),
    };
    Ok(html(&view).into_response())
}

/// Why nobody is listed.
fn none(reader: &Reader, x: &Workout) -> String {
    let w = words();
    if reader.sees_scores(x, None) {
        return w.places_none.to_owned();
    }
    let at = When::new(x.window.closes, &reader.competition.time_zone).text;
    put(w.places_hidden, &[("at", &at)])
}

/// Shared places and gaps from the board's current state; nothing for a state of the past.
fn beside(
    app: &App,
    reader: &Reader,
    x: &Workout,
    asked: &Asked,
    page: &PlacesView,
    pinned: Option<&PlaceRow>,
) -> HashMap<u32, Beside> {
    let c = &reader.competition;
    let index = c.workouts.iter().position(|o| o.slug == x.slug);
    let (Some(index), None, Some(view)) = (index, asked.as_of, app.board.view(reader.id)) else {
        return HashMap::new();
    };
    let among = Scope {
        gym: asked.scope.gym.clone(),
        region: asked.scope.region.clone(),
        country: asked.scope.country.clone(),
    };
    let query = BoardQuery { division: page.division.clone(), scope: among, mask: Mask::ALL };
    let cut = Cut::Rows { from: page.from as usize, limit: page.rows.len() };
    let one = pinned.and_then(|r| view.places(&query, index, Cut::Holding { bib: r.bib, limit: 1 }));
    let rows = view.places(&query, index, cut).into_iter().chain(one).flat_map(|p| p.rows);
    rows.filter_map(|r| {
        let (taken, score) = (r.place?, r.score?);
        let gap = match (r.next, score.key) {
            (Some(next), Some(own)) => {
                let task = c.prescription(&x.slug, &r.athlete.division, score.level).map_or(&x.task, |p| &p.task);
                let unit = if score.text.contains("lb") { LoadUnit::Lb } else { LoadUnit::Kg };
                order::gap(task, next.key, own, unit).say(language::reader())
            }
            _ => words().gap_first.to_owned(),
        };
        let ordinary = c.division(&r.athlete.division).is_some_and(|d| d.level == score.level);
        Some((r.athlete.bib, Beside { place: taken, shared: r.shared, gap, ordinary }))
    })
    .collect()
}

fn row(
    reader: &Reader,
    gyms: &[GymView],
    asked: &Asked,
    of: u32,
    r: &PlaceRow,
    beside: Option<&Beside>,
    own: Option<u32>,
) -> Row {
    let (w, c) = (words(), &reader.competition);
    let beside = beside.filter(|b| Some(b.place) == r.place);
    // Only what is out of the ordinary is said: a level below the division's own.
    let said = c.levels.len() > 1 && r.text.is_some() && beside.is_none_or(|b| !b.ordinary);
    let level = r.level.as_deref().filter(|_| said);
    let unscoped = r.unscoped_place.filter(|_| asked.narrowed());
    Row {
        id: format!("b{}", r.bib),
        place: r.place.map(|n| Mark::new(n, of)),
        why: w.no_place,
        share: beside.filter(|b| b.shared > 1).map_or(String::new(), |b| put(w.share, &[("n", &b.shared)])),
        label: label(r.bib, own, asked),
        href: format!("/c/{}/athletes/{}", c.slug, r.bib),
        name: r.name.clone(),
        bib: r.bib,
        gym: r.gym.as_deref().map_or(String::new(), |g| gym_name(gyms, g).to_owned()),
        country: r.country.clone(),
        unscoped: unscoped.map_or(String::new(), |n| put(w.in_all, &[("ordinal", &(w.ordinal)(n.into()))])),
        text: r.text.clone().unwrap_or_default(),
        level: level.map_or(String::new(), |l| say::level(c, l).to_owned()),
        state: match (&r.text, r.state) {
            (Some(_), state) => say::remarkable(state),
            (None, state) => say::state(state.unwrap_or_default(), false).to_owned(),
        },
        gap: beside.map_or(String::new(), |b| b.gap.clone()),
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
            share: place.map_or(String::new(), |_| "2 share it".to_owned()),
            label: "",
            href: format!("/c/s/athletes/{bib}"),
            name: name.to_owned(),
            bib,
            gym: samples::BIDI.to_owned(),
            country: String::new(),
            unscoped: "5th in the whole division".to_owned(),
            text: "148 reps".to_owned(),
            level: samples::HOSTILE.to_owned(),
            state: words().state_amended.to_owned(),
            gap: "3 reps".to_owned(),
        }
    }

    fn page(rows: Vec<Row>) -> String {
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
            none: words().places_none.to_owned(),
            rules_href: "/c/s#rules".to_owned(),
            as_of: "State 8812".to_owned(),
        }
        .render()
        .expect("renders")
    }

    #[test]
    fn shared_places_and_gaps_are_said_in_words() {
        let page = page(vec![
            a_row(1, Some(1), samples::LONG),
            a_row(2, Some(1), samples::BIDI),
            a_row(3, None, samples::HOSTILE),
        ]);
        samples::assert_sound(&page);
        assert_eq!(page.matches("2 share it").count(), 2);
        assert!(page.contains("3 reps") && page.contains(words().no_place));
    }

    #[test]
    fn a_workout_without_scores_says_so() {
        let page = page(Vec::new());
        samples::assert_sound(&page);
        assert!(page.contains(words().places_none));
    }
}
