//! `/organise/{c}/lists/{list}`: gyms, entries and judges, and many of them at once from a CSV.
//!
//! What is refused comes back in the form's own field, each row with its reasons, to be mended and
//! sent again there, or taken along as a file. What it does not do: change one entry (`entry` does).

use super::super::form::{Choice, FieldError, Fields};
use super::super::html;
use super::super::imported::{self, Outcome};
use super::super::scope::gym_name;
use super::super::shell::{Link, Shell, words};
use super::super::upload::Upload;
use super::{frame, reader, refused, texts};
use crate::actions::import::{DateOrder, ImportView, Options, Rows, What, import_with, refused_csv};
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::{Failure, Request};
use crate::app::App;
use crate::rules::table::Kind;
use crate::web::api::{MOST_ROWS, csv_file};
use crate::web::extract::{Path, Query};
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{Sentence, put};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

/// Rows shown at most, of the list and of what was refused.
const SHOWN: usize = 100;

#[derive(Template)]
#[template(path = "organise_list.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    csrf: String,
    action: String,
    title: &'static str,
    errors: Vec<FieldError>,
    outcome: Option<Outcome>,
    lead: String,
    more: String,
    /// Of entries: to those under 18 without a guardian's consent, or back to all.
    only: Option<Link>,
    q: String,
    find_hint: String,
    caption: String,
    head: Vec<&'static str>,
    rows: Vec<Row>,
    /// Codes and days stand in the second and the last column: each stays in one line.
    dated: bool,
    columns: String,
    dates: Vec<Choice>,
    text: String,
}

/// A row of the list.
struct Row {
    /// Where it is changed; empty: here alone.
    href: String,
    cells: Vec<String>,
}

impl Row {
    fn here(cells: Vec<String>) -> Self {
        Self { href: String::new(), cells }
    }
}

/// Which list.
#[derive(Clone, Copy, PartialEq, Eq)]
enum List {
    Gyms,
    Entries,
    Judges,
}

impl List {
    fn of(path: &str) -> Answer<Self> {
        match path {
            "gyms" => Ok(Self::Gyms),
            "entries" => Ok(Self::Entries),
            "judges" => Ok(Self::Judges),
            _ => Err(Problem::not_found(Sentence::new("no_such_page"))),
        }
    }

    fn parts(self) -> (&'static str, &'static str, What, Kind) {
        let o = texts();
        match self {
            Self::Gyms => ("gyms", o.gyms, What::Gyms, Kind::Gyms),
            Self::Entries => ("entries", o.entries, What::Entries, Kind::Entries),
            Self::Judges => ("judges", o.judges, What::Judges, Kind::Judges),
        }
    }
}

/// Those whom a page of entries is about.
const NO_CONSENT: &str = "no-consent";

async fn view(app: &App, caller: &Caller, reader: &Reader, list: List, asked: &Fields) -> Answer<View> {
    let (w, o, c) = (words(), texts(), &reader.competition);
    let (path, title, _, kind) = list.parts();
    let (only, query) = (list == List::Entries && asked.get("only") == NO_CONSENT, asked.get("q").to_owned());
    let find = Find { gym: None, q: Some(query.clone()).filter(|q| !q.is_empty()) };
    let (key, head, mut rows) = rows(app, caller, reader, list, &find, only).await?;
    let n = rows.len();
    rows.truncate(SHOWN);
    let (known, needed) = kind.columns();
    let found = match (only, query.is_empty()) {
        (true, _) => o.list_no_consent,
        (false, true) => o.list_lead,
        (false, false) => o.list_found,
    };
    let action = format!("/organise/{}/lists/{path}", c.slug);
    Ok(View {
        shell: frame(caller, reader, &format!("lists/{path}"), title),
        w,
        o,
        csrf: caller.csrf.clone(),
        only: (list == List::Entries).then(|| {
            let others = Link::new(format!("{action}?only={NO_CONSENT}"), o.list_no_consent_link);
            if only { Link::new(&action, o.list_all) } else { others }
        }),
        action,
        title,
        errors: Vec::new(),
        outcome: None,
        lead: match (n, query.is_empty()) {
            (0, _) if only => o.list_no_consent_none.to_owned(),
            (0, true) => o.list_none.to_owned(),
            (0, false) => o.list_none_found.to_owned(),
            _ => put(found, &[("n", &super::number(n as u64))]),
        },
        more: match n > SHOWN {
            true if only => put(o.list_no_consent_more, &[("n", &SHOWN)]),
            true => put(o.list_more, &[("n", &SHOWN)]),
            false => String::new(),
        },
        find_hint: put(
            if list == List::Entries { o.list_find_hint_entries } else { o.list_find_hint },
            &[("key", &key)],
        ),
        caption: put(o.list_caption, &[("what", &title), ("competition", &c.title)]),
        head,
        rows,
        dated: list == List::Judges,
        columns: put(o.list_columns, &[("known", &known.join(", ")), ("needed", &needed.join(", "))]),
        dates: if list == List::Gyms { Vec::new() } else { dates("") },
        text: String::new(),
        q: query,
    })
}

fn dates(now: &str) -> Vec<Choice> {
    let o = texts();
    vec![
        Choice::new("", o.list_dates_ask, now),
        Choice::new("day_first", o.list_dates_day, now),
        Choice::new("month_first", o.list_dates_month, now),
    ]
}

type Shown = (&'static str, Vec<&'static str>, Vec<Row>);

/// What a row is known by, the columns, and the rows that fit.
async fn rows(app: &App, caller: &Caller, reader: &Reader, list: List, find: &Find, no_consent: bool) -> Answer<Shown> {
    let (w, o, c) = (words(), texts(), &reader.competition);
    let (actor, now) = (&caller.actor, caller.received);
    let of = |value: Option<String>| value.unwrap_or_default();
    if list == List::Gyms {
        let rows = lists::gyms(app, actor, now, &c.slug, find).await?.into_iter().map(|g| {
            let contact: Vec<String> =
                [g.contact, g.email, g.phone].into_iter().flatten().filter(|t| !t.is_empty()).collect();
            Row::here(vec![g.name, g.slug, g.country, g.region, contact.join(", ")])
        });
        let head = vec![o.list_name, o.list_slug, w.country, w.region, o.list_contact];
        return Ok((o.list_slug, head, rows.collect()));
    }
    let gyms = lists::gyms(app, actor, now, &c.slug, &Find::default()).await?;
    let gym = |slug: Option<String>| slug.map_or(String::new(), |g| gym_name(&gyms, &g).to_owned());
    if list == List::Judges {
        let rows = lists::judges(app, actor, now, &c.slug, find).await?.into_iter().map(|j| {
            let valid = put(o.list_valid_days, &[("from", &j.valid_from), ("to", &j.valid_to)]);
            Row::here(vec![of(j.name), j.code, gym(j.gym), valid])
        });
        return Ok((o.list_code, vec![o.list_name, o.list_code, w.gym, o.list_valid], rows.collect()));
    }
    let entries = if no_consent {
        lists::without_consent(app, actor, now, &c.slug).await?
    } else {
        lists::entries(app, actor, now, &c.slug, find).await?
    };
    let rows = entries.into_iter().map(|e| {
        let division = super::super::say::division(c, &e.division).to_owned();
        let state = match e.state {
            "withdrawn" => o.state_withdrawn,
            "removed" => o.state_removed,
            "guest" => o.state_guest,
            _ => o.state_active,
        };
        let state = if e.show_name { state.to_owned() } else { format!("{state}, {}", o.list_hidden) };
        let href = format!("/organise/{}/entries/{}", c.slug, e.bib);
        Row { href, cells: vec![e.name, e.bib.to_string(), division, gym(e.gym), state] }
    });
    Ok((w.bib, vec![o.list_name, w.bib, w.division, w.gym, o.list_state], rows.collect()))
}

/// `GET /organise/{c}/lists/{list}`.
pub async fn get_list(
    State(app): State<App>,
    caller: Caller,
    Path((slug, list)): Path<(String, String)>,
    Query(fields): Query<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let list = List::of(&list)?;
    Ok(html(&view(&app, &caller, &reader, list, &fields).await?)?.into_response())
}

/// `POST /organise/{c}/lists/{list}`: takes rows in; `do=download` gives the field's text back as
/// a file instead.
pub async fn post_list(
    State(app): State<App>,
    caller: Caller,
    Path((slug, list)): Path<(String, String)>,
    upload: Result<Upload, Problem>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let list = List::of(&list)?;
    let upload = upload?;
    let (path, _, what, _) = list.parts();
    if upload.fields.get("do") == "download" {
        let text = upload.fields.exact("text").to_owned();
        return Ok(csv_file(text, &format!("{path}-refused.csv")));
    }
    let order = upload.fields.get("dates");
    let typed = if upload.file.is_some() { String::new() } else { upload.fields.exact("text").to_owned() };
    let Some(bytes) = upload.content() else {
        let mut view = view(&app, &caller, &reader, list, &Fields::default()).await?;
        view.errors.push(FieldError::new("file", texts().file_empty));
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&view)?).into_response());
    };
    let options = Options {
        dates: match order {
            "day_first" => DateOrder::DayFirst,
            "month_first" => DateOrder::MonthFirst,
            _ => DateOrder::Ask,
        },
        most: Some(MOST_ROWS),
        ..Options::default()
    };
    let request = Request::at(caller.received);
    let taken = import_with(&app, &caller.actor, &slug, request, what, Rows::Csv(bytes), options).await;
    let mut errors = Vec::new();
    let (status, outcome, text) = match taken {
        Ok(imported) => {
            let text = if imported.rows.is_empty() { String::new() } else { refused_csv(&imported) };
            (StatusCode::OK, Some(Outcome::new(&imported, said(&imported))), text)
        }
        Err(Failure::Refused(crate::rules::ledger::Refusal::Faults(faults))) => {
            errors.extend(faults.iter().map(|f| FieldError::new("text", imported::fault(f))));
            (StatusCode::UNPROCESSABLE_ENTITY, None, typed)
        }
        Err(other) => (refused(other, &[], &mut errors)?, None, typed),
    };
    let mut view = view(&app, &caller, &reader, list, &Fields::default()).await?;
    if !view.dates.is_empty() {
        view.dates = dates(order);
    }
    view.errors = errors;
    view.outcome = outcome;
    view.text = text;
    Ok((status, html(&view)?).into_response())
}

fn said(view: &ImportView) -> String {
    let values: [(&'static str, &dyn std::fmt::Display); 3] =
        [("taken", &view.taken), ("unchanged", &view.unchanged), ("refused", &view.refused)];
    put(texts().list_outcome, &values)
}

#[cfg(test)]
mod tests {
    use super::super::super::imported::RowSaid;
    use super::super::super::samples;
    use super::*;

    fn page(n: u32, outcome: Option<Outcome>) -> String {
        let o = texts();
        let view = View {
            shell: samples::shell("Entries"),
            w: words(),
            o,
            csrf: "x".to_owned(),
            action: "/organise/s/lists/entries".to_owned(),
            title: o.entries,
            errors: vec![FieldError::new("text", samples::HOSTILE), FieldError::new("file", samples::HOSTILE)],
            outcome,
            lead: "3 in all.".to_owned(),
            more: "more".to_owned(),
            only: Some(Link::new("/organise/s/lists/entries?only=no-consent", o.list_no_consent_link)),
            q: samples::HOSTILE.to_owned(),
            find_hint: "Part of a name".to_owned(),
            caption: samples::HOSTILE.to_owned(),
            head: vec![o.list_name, words().bib],
            rows: (0..n)
                .map(|bib| Row {
                    href: "/organise/s/entries/1".to_owned(),
                    cells: vec![samples::BIDI.to_owned(), bib.to_string()],
                })
                .collect(),
            dated: n > 0,
            columns: "Columns".to_owned(),
            dates: dates("day_first"),
            text: format!("bib,name\r\n1,</textarea>{}", samples::HOSTILE),
        };
        view.render().expect("renders")
    }

    #[test]
    fn refused_rows_stand_in_the_field_to_be_mended() {
        let line = |row| RowSaid { row, line: "15".to_owned(), said: vec![samples::HOSTILE.to_owned()] };
        let outcome = Outcome {
            said: "460 taken".to_owned(),
            remarks: vec![samples::HOSTILE.to_owned()],
            refused: (1..=40).map(line).collect(),
            more: "3 more".to_owned(),
            told: (41..=43).map(line).collect(),
            told_more: samples::HOSTILE.to_owned(),
            questions: Vec::new(),
        };
        let page = page(3, Some(outcome));
        samples::assert_sound(&page);
        assert_eq!(page.matches("</textarea>").count(), 1);
        assert!(page.contains("value=\"download\""));
    }

    #[test]
    fn nobody_and_ten_thousand_are_listed() {
        samples::assert_sound(&page(0, None));
        let page = page(10_000, None);
        samples::assert_sound(&page);
        assert!(!page.contains("value=\"download\""));
    }
}
