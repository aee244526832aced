//! An athlete's places: in the whole division and in each scope, with what is missing to the next.

use super::say;
use super::scope::gym_name;
use super::shell::{Mark, words};
use super::what_if;
use crate::actions::views::{GapView, GymView, OwnPlace, ScopeView};
use crate::rules::competition::Competition;
use crate::rules::place;
use crate::rules::workout::Workout;
use crate::words::put;

/// The overall in one division or scope.
pub(super) struct Ranking {
    pub(super) href: String,
    pub(super) text: String,
    pub(super) place: Option<Mark>,
    pub(super) of: String,
    pub(super) gap: String,
}

/// A place in one division or scope.
pub(super) struct Placed {
    pub(super) href: String,
    pub(super) text: String,
    pub(super) more: String,
}

/// Division and scope in words: "Women in Quayside Hall".
pub(super) fn among(c: &Competition, gyms: &[GymView], division: &str, scope: &ScopeView) -> String {
    let w = words();
    let division = say::division(c, division);
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

pub(super) fn ranking(c: &Competition, gyms: &[GymView], o: &OwnPlace, bib: u32) -> Ranking {
    let w = words();
    Ranking {
        href: address(c, o, None, bib),
        text: among(c, gyms, &o.division, &o.scope),
        place: o.place.map(|n| Mark::new(n, o.of)),
        of: o.place.map_or(w.no_standing.to_owned(), |_| put(w.of_all, &[("of", &o.of)])),
        gap: gap(o),
    }
}

/// What is missing to the place above, in words.
fn gap(o: &OwnPlace) -> String {
    match &o.gap {
        Some(above) => gap_to(above),
        None if o.place == Some(1) => words().gap_first.to_owned(),
        None => String::new(),
    }
}

/// How far it is to the place above, in a whole sentence.
pub(super) fn gap_to(above: &GapView) -> String {
    let w = words();
    let said = if above.level { w.gap_level } else { w.gap_to };
    put(said, &[("gap", &above.missing), ("ordinal", &(w.ordinal)(above.place.into()))])
}

/// "96.4 %": see [`place::percentile`].
pub(super) fn percentile(own: &OwnPlace) -> Option<String> {
    let tenths = place::percentile(own.place?, own.of)?;
    Some(put(what_if::texts().percentile_said, &[("whole", &(tenths / 10)), ("tenth", &(tenths % 10))]))
}

pub(super) fn placed(c: &Competition, gyms: &[GymView], p: &OwnPlace, x: &Workout, bib: u32) -> Placed {
    let w = words();
    let ordinal = (w.ordinal)(p.place.unwrap_or_default().into());
    let standing = put(w.standing_of, &[("ordinal", &ordinal), ("of", &p.of)]);
    let more = gap(p);
    let more = if more.is_empty() { standing } else { format!("{standing}; {more}") };
    Placed { href: address(c, p, Some(&x.slug), bib), text: among(c, gyms, &p.division, &p.scope), more }
}
