//! Among whom, which rows, and finding somebody: what the pages of standings share.

use super::find;
use super::form::{self, Choice, Fields};
use super::shell::{Link, encoded, words};
use crate::actions::Failure;
use crate::actions::reader::Reader;
use crate::actions::standings::{Desk, StandingsQuery};
use crate::actions::views::{GymView, ScopeView};
use crate::app::App;
use crate::rules::access::Role;
use crate::rules::place::Running;
use crate::rules::workout::Workout;
use crate::web::problem::{Answer, Problem};
use crate::words::put;
use std::collections::BTreeSet;

/// Rows on a page.
pub const ROWS: u32 = 50;

/// From so many gyms on one is named by typing: nobody picks from such a list, and every page would carry
/// it.
const MANY_GYMS: usize = 200;

/// What a reader asked for, from the query of the address. What cannot be read is left out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// Among whom.
    pub scope: ScopeView,
    /// With or without open workouts.
    pub running: Option<Running>,
    /// First row.
    pub from: Option<u32>,
    /// Whose row is pinned; without `from` also the page that holds it.
    pub bib: Option<u32>,
    /// A state of the past.
    pub as_of: Option<u64>,
    /// Who is looked for.
    pub q: String,
}

impl Asked {
    /// From the query of the address.
    #[must_use]
    pub fn read(fields: &Fields) -> Self {
        Self {
            scope: ScopeView {
                gym: fields.find("gym"),
                region: fields.find("region"),
                country: fields.find("country"),
            },
            running: match fields.get("running") {
                "with" => Some(Running::With),
                "without" => Some(Running::Without),
                _ => None,
            },
            from: fields.get("from").parse().ok(),
            bib: form::bib(fields.get("bib")),
            as_of: fields.get("as_of").parse().ok(),
            q: fields.get("q").chars().take(100).collect(),
        }
    }

    /// For the action: a page.
    #[must_use]
    pub fn page(&self) -> StandingsQuery {
        let bib = self.bib.filter(|_| self.from.is_none());
        let from = if bib.is_some() { None } else { Some(self.from.unwrap_or(1).max(1)) };
        StandingsQuery {
            scope: self.scope.clone(),
            running: self.running,
            as_of: self.as_of,
            at_least: None,
            from,
            limit: Some(ROWS),
            bib,
        }
    }

    /// For the action: one row, that of a bib.
    #[must_use]
    pub fn row_of(&self, bib: u32) -> StandingsQuery {
        StandingsQuery { from: None, limit: Some(1), bib: Some(bib), ..self.page() }
    }

    /// Whether fewer than all of the division are asked for.
    #[must_use]
    pub fn narrowed(&self) -> bool {
        self.scope != ScopeView::default()
    }

    /// Whether fewer than all of now are asked for.
    #[must_use]
    pub fn partial(&self) -> bool {
        self.narrowed() || self.as_of.is_some()
    }

    /// The same address with another first row or bib.
    #[must_use]
    pub fn address(&self, action: &str, from: Option<u32>, bib: Option<u32>) -> String {
        let running = self.running.map(|r| match r {
            Running::With => "with".to_owned(),
            Running::Without => "without".to_owned(),
        });
        let members = [
            ("gym", self.scope.gym.clone()),
            ("region", self.scope.region.clone()),
            ("country", self.scope.country.clone()),
            ("running", running),
            ("as_of", self.as_of.map(|n| n.to_string())),
            ("from", from.map(|n| n.to_string())),
            ("bib", bib.map(|n| n.to_string())),
        ];
        let said: Vec<String> =
            members.into_iter().filter_map(|(n, v)| v.map(|v| format!("{n}={}", encoded(&v)))).collect();
        if said.is_empty() { action.to_owned() } else { format!("{action}?{}", said.join("&")) }
    }
}

/// The form above the table.
#[derive(Clone, Debug, Default)]
pub struct ScopeForm {
    /// The page's own address.
    pub action: String,
    /// Who was looked for.
    pub q: String,
    /// Gym, region, country, open workouts.
    pub selects: Vec<Select>,
    /// Whether fewer than all are shown.
    pub narrowed: bool,
    /// What the search came to, when not to one.
    pub find_text: Option<String>,
    /// Several to choose from.
    pub found: Vec<Link>,
}

impl ScopeForm {
    /// Whether there is anything to choose.
    #[must_use]
    pub fn has_choice(&self) -> bool {
        self.selects.iter().any(Select::has_choice)
    }
}

/// One list to choose from.
#[derive(Clone, Debug)]
pub struct Select {
    /// Of the field.
    pub name: &'static str,
    /// For people.
    pub label: &'static str,
    /// The first is "all".
    pub options: Vec<Choice>,
    /// What stands in the field where there are too many to choose from.
    pub typed: Option<String>,
}

impl Select {
    /// Whether there is anything to choose.
    #[must_use]
    pub fn has_choice(&self) -> bool {
        self.options.len() > 1 || self.typed.is_some()
    }
}

/// What a form comes to.
pub enum Found {
    /// The form, with what a search came to, and what is shown below it.
    Form(Box<(ScopeForm, Asked)>),
    /// One athlete, or one gym: the page is there.
    There(String),
}

/// The form, with what a search came to; or where the one is that it came to. `workout`: whose places they
/// are, else they are standings.
pub async fn form(
    app: &App,
    desk: &Desk,
    division: &str,
    asked: Asked,
    action: &str,
    workout: Option<&Workout>,
    gyms: &[GymView],
) -> Answer<Found> {
    let reader = desk.reader();
    let running = reader.workouts().any(|x| x.window.opens <= reader.now && reader.now < x.window.closes);
    let form = ScopeForm {
        action: action.to_owned(),
        q: asked.q.clone(),
        selects: selects(&asked, gyms, workout.is_none() && running),
        narrowed: asked.partial() || asked.running.is_some(),
        ..ScopeForm::default()
    };
    let whole = workout.is_none_or(|x| reader.sees_scores(x, None));
    find::find(app, desk, find::Page { division, action, whole }, asked, gyms, form).await
}

/// `#b1042`.
#[must_use]
pub fn anchor(bib: u32) -> String {
    format!("#b{bib}")
}

fn selects(asked: &Asked, gyms: &[GymView], with_running: bool) -> Vec<Select> {
    let w = words();
    let list = |name, label, all: &str, now: &Option<String>, values: Vec<(String, String)>| {
        let now = now.as_deref().unwrap_or_default();
        let first = std::iter::once(Choice::new("", all, now));
        let options = first.chain(values.into_iter().map(|(v, t)| Choice::new(v, t, now))).collect();
        Select { name, label, options, typed: None }
    };
    let distinct = |of: fn(&GymView) -> &String| -> Vec<(String, String)> {
        let values: BTreeSet<&String> = gyms.iter().map(of).filter(|v| !v.is_empty()).collect();
        values.into_iter().map(|v| (v.clone(), v.clone())).collect()
    };
    let gym = if gyms.len() < MANY_GYMS {
        let mut by_name: Vec<(String, String)> = gyms.iter().map(|g| (g.slug.clone(), g.name.clone())).collect();
        by_name.sort_by(|a, b| a.1.cmp(&b.1));
        list("gym", w.scope_gym, w.scope_every_gym, &asked.scope.gym, by_name)
    } else {
        // A name that several have would be asked for again: of those the one in addresses.
        let name = |gym: &GymView| {
            let namesakes = gyms.iter().filter(|other| other.name == gym.name).count();
            if namesakes == 1 { gym.name.clone() } else { gym.slug.clone() }
        };
        let chosen = asked.scope.gym.as_deref();
        let typed = chosen.map_or(String::new(), |slug| find_gym(gyms, slug).map_or(slug.to_owned(), name));
        Select { name: "gym", label: w.scope_gym, options: Vec::new(), typed: Some(typed) }
    };
    let mut all = vec![
        gym,
        list("region", w.scope_region, w.scope_every_region, &asked.scope.region, distinct(|g| &g.region)),
        list("country", w.scope_country, w.scope_every_country, &asked.scope.country, distinct(|g| &g.country)),
    ];
    if with_running {
        let now = match asked.running {
            Some(Running::Without) => "without",
            _ => "with",
        };
        all.push(Select {
            name: "running",
            label: w.scope_running,
            options: vec![
                Choice::new("with", w.scope_running_with, now),
                Choice::new("without", w.scope_running_without, now),
            ],
            typed: None,
        });
    }
    all
}

/// A gym by its slug; they stand in the order of their slugs.
pub(super) fn find_gym<'a>(gyms: &'a [GymView], slug: &str) -> Option<&'a GymView> {
    gyms.binary_search_by(|gym| gym.slug.as_str().cmp(slug)).ok().and_then(|at| gyms.get(at))
}

/// A gym's name; its slug where it is unknown.
#[must_use]
pub fn gym_name<'a>(gyms: &'a [GymView], slug: &'a str) -> &'a str {
    find_gym(gyms, slug).map_or(slug, |gym| &gym.name)
}

/// What is not there is no problem for a pinned row: whoever it is, they are not listed here.
pub fn found<T>(result: Result<T, Failure>) -> Answer<Option<T>> {
    match result.map_err(Problem::from) {
        Ok(value) => Ok(Some(value)),
        Err(problem) if problem.status == http::StatusCode::NOT_FOUND => Ok(None),
        Err(problem) => Err(problem),
    }
}

/// The reader's own bib in a competition, if it has one.
#[must_use]
pub fn own_bib(reader: &Reader) -> Option<u32> {
    let here = |c: &Option<String>| c.as_deref().is_none_or(|c| c == reader.competition.slug);
    reader.actor.grants.iter().filter(|g| g.role == Role::Athlete && here(&g.competition)).find_map(|g| g.bib)
}

/// Which rows are shown, and the way to the others.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pager {
    /// "Rows 51 to 100 of 340".
    pub text: String,
    /// Not on the first page.
    pub first: Option<String>,
    /// The page before.
    pub previous: Option<String>,
    /// The page after.
    pub next: Option<String>,
    /// Not on the last page.
    pub last: Option<String>,
}

impl Pager {
    /// From the rows shown.
    #[must_use]
    pub fn new(asked: &Asked, action: &str, from: u32, rows: usize, entries: u32) -> Self {
        Self::at(|row| asked.address(action, Some(row), asked.bib), from, rows, entries)
    }

    /// The same with addresses made otherwise: that of the page whose first row is the given one.
    #[must_use]
    pub fn at(at: impl Fn(u32) -> String, from: u32, rows: usize, entries: u32) -> Self {
        let to = from.saturating_add(u32::try_from(rows).unwrap_or(u32::MAX)).saturating_sub(1);
        let last = entries.saturating_sub(1) / ROWS * ROWS + 1;
        let (earlier, later) = (from > 1, rows > 0 && to < entries);
        Self {
            text: put(words().pager_rows, &[("from", &from), ("to", &to), ("entries", &entries)]),
            first: earlier.then(|| at(1)),
            previous: earlier.then(|| at(from.saturating_sub(ROWS).max(1))),
            next: later.then(|| at(to + 1)),
            last: later.then(|| at(last.max(to + 1).min(entries))),
        }
    }

    /// Whether there is more than what is shown.
    #[must_use]
    pub fn needed(&self) -> bool {
        self.first.is_some() || self.next.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(query: &[(&str, &str)]) -> Fields {
        Fields(query.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect())
    }

    #[test]
    fn what_cannot_be_read_is_left_out_and_the_rest_comes_back_in_the_address() {
        let asked = Asked::read(&fields(&[("gym", "a&b"), ("from", "x"), ("running", "without"), ("q", " Ines ")]));
        assert_eq!((asked.from, asked.q.as_str()), (None, "Ines"));
        assert_eq!(asked.address("/p", Some(51), None), "/p?gym=a%26b&running=without&from=51");
    }

    #[test]
    fn the_pager_leads_to_all_rows_and_never_past_them() {
        let asked = Asked::default();
        let first = Pager::new(&asked, "/p", 1, 50, 120);
        assert_eq!(
            (first.first, first.next.as_deref(), first.last.as_deref()),
            (None, Some("/p?from=51"), Some("/p?from=101"))
        );
        let last = Pager::new(&asked, "/p", 101, 20, 120);
        assert_eq!((last.previous.as_deref(), last.next), (Some("/p?from=51"), None));
        assert!(!Pager::new(&asked, "/p", 1, 50, 50).needed());
        assert!(!Pager::new(&asked, "/p", 1, 0, 0).needed());
    }
}
