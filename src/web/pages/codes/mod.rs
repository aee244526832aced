//! `/desk/{c}/{gym}/codes`: codes for a gym's athletes, as slips to print or as CSV, and
//! `/organise/{c}/codes`: for those who have no gym. Codes are shown
//! in the answer that makes them, and never again.

mod round;

use self::round::{Next, Round};
use super::form::{FieldError, Fields};
use super::shell::{Dated, Link, Shell, When, words};
use super::{html, say};
use crate::actions::accounts::{self, CodeRow, Codes, MOST_CODES, Slip};
use crate::actions::{Failure, language};
use crate::app::App;
use crate::rules::ledger::Refusal;
use crate::rules::people::fold_name;
use crate::rules::table;
use crate::web::api::csv_file;
use crate::web::extract::{Path, Query};
use crate::web::once::{self, Shown};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::claims::Claims;
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::{HeaderMap, StatusCode};
use std::collections::BTreeSet;

/// Entries shown at most.
const SHOWN: usize = 250;

#[derive(Template)]
#[template(path = "codes.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    t: &'static Claims,
    csrf: String,
    action: String,
    title: String,
    /// Whether codes have ended, and no new ones are made.
    over: bool,
    until: Option<Dated>,
    caption: String,
    o: &'static Organise,
    q: String,
    /// Whether some do not stand here.
    more: Option<String>,
    /// Whether nobody is entered at all.
    nobody: bool,
    rows: Vec<RowView>,
    /// As a file, as was ticked.
    as_csv: bool,
    /// Where some have a code that they have not used: what to do if its slip is lost.
    lost: Option<String>,
    /// When this page was made.
    shown: String,
    /// Where new ones for all are under way: the next of them.
    next: Option<Next>,
    errors: Vec<FieldError>,
}

/// An entry.
struct RowView {
    bib: u32,
    name: String,
    division: String,
    state: String,
    ticked: bool,
}

#[derive(Template)]
#[template(path = "slips.html")]
struct SlipsView {
    shell: Shell,
    w: &'static Pages,
    t: &'static Claims,
    back: String,
    competition: String,
    gym: String,
    where_to: String,
    until: Option<Dated>,
    more: Option<String>,
    csrf: String,
    action: String,
    next: Option<Next>,
    slips: Vec<Slip>,
}

fn texts() -> &'static Claims {
    words::claims(language::reader())
}

/// Where a code is typed in.
pub(super) fn claim_address(public_url: &str, competition: &str) -> String {
    format!("{public_url}/claim?c={competition}")
}

/// Whose codes they are: of a gym, or of those without one.
#[derive(Clone, Copy)]
struct Whose<'a> {
    competition: &'a str,
    gym: Option<&'a str>,
}

impl Whose<'_> {
    /// The page from which this one is reached.
    fn above(&self) -> String {
        match self.gym {
            Some(gym) => format!("/desk/{}/{gym}", self.competition),
            None => format!("/organise/{}", self.competition),
        }
    }

    fn here(&self) -> String {
        format!("{}/codes", self.above())
    }
}

/// The gym's name, or that there is none.
fn called(codes: &Codes) -> &str {
    codes.gym.as_deref().unwrap_or(words().no_gym)
}

/// What the page above is called.
fn above(codes: &Codes) -> &str {
    codes.gym.as_deref().unwrap_or(words::organise(language::reader()).nav)
}

/// `fields` is what was asked for, or sent and not done.
fn view(caller: &Caller, codes: &Codes, whose: Whose<'_>, fields: &Fields, errors: Vec<FieldError>) -> View {
    let (t, c) = (texts(), &codes.reader.competition);
    let title = codes.gym.as_ref().map_or(t.title_without.to_owned(), |gym| put(t.title, &[("gym", gym)]));
    // What was ticked before they ended stays on the page.
    let over = errors.is_empty() && codes.until.is_some_and(|until| codes.reader.now >= until);
    let q = fields.get("q");
    let (folded, picked) = (fold_name(q), picked(fields));
    let fits = |row: &&CodeRow| fold_name(&row.name).contains(&folded) || row.bib.to_string() == folded;
    let found = codes.rows.iter().filter(fits).count();
    let rows = codes.rows.iter().filter(fits).take(SHOWN).map(|row| RowView {
        bib: row.bib,
        division: say::division(c, &row.division).to_owned(),
        state: match row.made {
            Some(at) => put(t.state_made, &[("at", &When::new(at, &c.time_zone).said())]),
            None if row.claimed => t.state_claimed.to_owned(),
            None => t.state_none.to_owned(),
        },
        name: row.name.clone(),
        ticked: picked.contains(&row.bib),
    });
    View {
        shell: Shell::new(caller, whose.here(), &title).below([
            Link::new(format!("/c/{}", c.slug), &c.title),
            Link::new(whose.above(), above(codes)),
            Link::new("", t.link),
        ]),
        w: words(),
        t,
        csrf: caller.csrf.clone(),
        action: whose.here(),
        over,
        until: codes.until.map(|at| Dated::new(if over { t.ended } else { t.until }, at, &c.time_zone)),
        caption: codes.gym.as_ref().map_or(t.caption_without.to_owned(), |gym| put(t.caption, &[("gym", gym)])),
        o: words::organise(language::reader()),
        q: q.to_owned(),
        more: (found > SHOWN).then(|| put(words::organise(language::reader()).list_more, &[("n", &SHOWN)])),
        nobody: codes.rows.is_empty(),
        rows: rows.collect(),
        as_csv: fields.ticked("as"),
        lost: codes
            .rows
            .iter()
            .any(|r| r.made.is_some() && !r.claimed)
            .then(|| put(t.lost_about, &[("n", &MOST_CODES)])),
        shown: caller.received.as_microsecond().to_string(),
        next: Round::read(fields).filter(|_| !over).and_then(|round| round.next(&codes.rows)),
        title,
        errors,
    }
}

/// `GET /desk/{c}/{gym}/codes`.
pub async fn get_codes(
    State(app): State<App>,
    caller: Caller,
    Path((competition, gym)): Path<(String, String)>,
    headers: HeaderMap,
    Query(fields): Query<Fields>,
) -> Answer {
    show(&app, &caller, Whose { competition: &competition, gym: Some(&gym) }, &headers, &fields).await
}

/// `GET /organise/{c}/codes`: of those who have no gym.
pub async fn get_codes_without(
    State(app): State<App>,
    caller: Caller,
    Path(competition): Path<String>,
    headers: HeaderMap,
    Query(fields): Query<Fields>,
) -> Answer {
    show(&app, &caller, Whose { competition: &competition, gym: None }, &headers, &fields).await
}

/// The page; straight after codes were made, their slips, once.
async fn show(app: &App, caller: &Caller, whose: Whose<'_>, headers: &HeaderMap, fields: &Fields) -> Answer {
    let codes = accounts::list_codes(app, &caller.actor, caller.received, whose.competition, whose.gym).await?;
    if let Some((shown, gone)) = once::take(app, caller, headers, &whose.here(), fields.get(once::FIELD)) {
        let name = |bib: u32| codes.rows.iter().find(|r| r.bib == bib).map_or(String::new(), |r| r.name.clone());
        let slips = shown.codes.into_iter().map(|(bib, code)| Slip { bib, name: name(bib), code }).collect();
        let round = Round::read(fields);
        let page = html(&slips_view(caller, &codes, slips, (whose, round), &app.config.public_url))?;
        return Ok((gone, page).into_response());
    }
    Ok(html(&view(caller, &codes, whose, fields, Vec::new()))?.into_response())
}

/// `POST /desk/{c}/{gym}/codes`: `for` is `picked` (boxes `bib-N`), `rest`, `unused` or `next` (of a round of
/// `unused`); `as` is `csv`, else slips.
pub async fn post_codes(
    State(app): State<App>,
    caller: Caller,
    Path((competition, gym)): Path<(String, String)>,
    Form(fields): Form<Fields>,
) -> Answer {
    make(&app, &caller, Whose { competition: &competition, gym: Some(&gym) }, &fields).await
}

/// `POST /organise/{c}/codes`.
pub async fn post_codes_without(
    State(app): State<App>,
    caller: Caller,
    Path(competition): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    make(&app, &caller, Whose { competition: &competition, gym: None }, &fields).await
}

/// Those whose box was ticked.
fn picked(fields: &Fields) -> BTreeSet<u32> {
    fields.rests("bib-").iter().filter_map(|bib| bib.parse().ok()).collect()
}

async fn make(app: &App, caller: &Caller, whose: Whose<'_>, fields: &Fields) -> Answer {
    let Whose { competition, gym } = whose;
    let (rest, as_csv) = (fields.get("for") == "rest", fields.get("as") == "csv");
    let before = accounts::list_codes(app, &caller.actor, caller.received, competition, gym).await?;
    let round = Round::asked(caller, fields);
    let picked = round.map_or_else(|| picked(fields), |round| round.chosen(&before.rows));
    let back = |status: StatusCode, at: &str, text: String, fields: &Fields| {
        let errors = vec![FieldError::new(at, text)];
        Ok((status, html(&view(caller, &before, whose, fields, errors))?).into_response())
    };
    let again = |status: StatusCode, text: String| back(status, "", text, fields);
    // Whoever goes on is to have the slips of all that this round has made so far.
    if let Some((since, now)) = round.and_then(|round| round.passed(&before.rows)) {
        return back(StatusCode::CONFLICT, "", put(texts().unused_since, &[("n", &since)]), &now.fields());
    }
    if !rest && picked.is_empty() {
        let said = match round {
            Some(_) if before.rows.iter().any(|row| !row.claimed) => texts().unused_all_new,
            Some(_) => texts().nobody_unused,
            None => texts().nobody_picked,
        };
        return again(StatusCode::UNPROCESSABLE_ENTITY, said.to_owned());
    }
    if fields.get("for") == "unused" && !fields.ticked("sure") {
        return back(StatusCode::UNPROCESSABLE_ENTITY, "sure", texts().unused_not_sure.to_owned(), fields);
    }
    let bibs = Some(&picked).filter(|_| !rest);
    let made = accounts::make_codes(app, &caller.actor, caller.received, competition, gym, bibs).await;
    let (codes, slips) = match made {
        Ok(made) => made,
        Err(Failure::Refused(Refusal::Conflict(sentence, _))) => {
            return again(StatusCode::CONFLICT, language::say(&sentence));
        }
        Err(other) => return Err(other.into()),
    };
    if slips.is_empty() {
        return again(StatusCode::UNPROCESSABLE_ENTITY, texts().nobody_left.to_owned());
    }
    if as_csv {
        // No page says it: the name does.
        let lack = |row: &&CodeRow| round.map_or(rest && row.made.is_none(), |round| round.lacks(row));
        let left = before.rows.iter().filter(|row| !row.claimed).filter(lack).count().saturating_sub(slips.len());
        let more = if left > 0 { format!("-{left}-more") } else { String::new() };
        let text = csv(&codes, &slips, &app.config.public_url);
        return Ok(csv_file(text, &format!("codes-{competition}-{}{more}.csv", gym.unwrap_or("no-gym"))));
    }
    // Loading the page again must not make codes that end those just printed.
    let shown = Shown { codes: slips.iter().map(|s| (s.bib, s.code.clone())).collect(), ..Shown::default() };
    let tail = round.map_or(String::new(), |round| round.made_at(caller.received).tail());
    Ok(once::lead_with(app, caller, &whose.here(), &tail, "", shown))
}

/// A row a code, for a mail merge or a label printer.
pub(in crate::web) fn csv(codes: &Codes, slips: &[Slip], public_url: &str) -> String {
    let address = claim_address(public_url, &codes.reader.slug);
    let until = codes.until.map_or_else(String::new, |at| at.to_string());
    let rows =
        slips.iter().map(|s| vec![s.bib.to_string(), s.name.clone(), s.code.clone(), address.clone(), until.clone()]);
    table::write(&["bib", "name", "code", "address", "until"], rows)
}

fn slips_view(
    caller: &Caller,
    codes: &Codes,
    slips: Vec<Slip>,
    (whose, round): (Whose<'_>, Option<Round>),
    public_url: &str,
) -> SlipsView {
    let (t, c) = (texts(), &codes.reader.competition);
    let next = round.and_then(|round| round.next(&codes.rows));
    SlipsView {
        shell: Shell::new(caller, whose.here(), t.slips_title).below([
            Link::new(format!("/c/{}", c.slug), &c.title),
            Link::new(whose.above(), above(codes)),
            Link::new(whose.here(), t.link),
            Link::new("", t.slips_title),
        ]),
        w: words(),
        t,
        back: format!("{}{}", whose.here(), next.as_ref().map_or(String::new(), |next| next.round.tail())),
        competition: c.title.clone(),
        gym: called(codes).to_owned(),
        where_to: put(t.slip_where, &[("url", &claim_address(public_url, &c.slug))]),
        until: codes.until.map(|at| Dated::new(t.slip_until, at, &c.time_zone)),
        more: if round.is_some() { None } else { more(&codes.rows, slips.len()) },
        csrf: caller.csrf.clone(),
        action: whose.here(),
        next,
        slips,
    }
}

/// What is left to be made, where not all could be made at once. `rows` are as they are now: those on the
/// slips have their code.
fn more(rows: &[CodeRow], slips: usize) -> Option<String> {
    let left = rows.iter().filter(|r| !r.claimed && r.made.is_none()).count();
    (slips >= MOST_CODES && left > 0).then(|| put(texts().slips_more, &[("n", &left)]))
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn a_slip_holds_what_the_athlete_needs_and_any_name() {
        let slip = |bib| Slip { bib, name: samples::HOSTILE.to_owned(), code: "CDFG-HJKM".to_owned() };
        let page = |n| {
            let view = SlipsView {
                shell: samples::shell("Slips"),
                w: words(),
                t: texts(),
                back: "/desk/s/q/codes".to_owned(),
                competition: samples::LONG.to_owned(),
                gym: samples::BIDI.to_owned(),
                where_to: "Go to https://scores.example/claim?c=s".to_owned(),
                until: Some(Dated::plain("Works once, until Sunday")),
                more: Some("10 more".to_owned()),
                csrf: "x".to_owned(),
                action: "/desk/s/q/codes".to_owned(),
                next: Some(Next::sample()),
                slips: (1..=n).map(slip).collect(),
            };
            view.render().expect("renders")
        };
        let two = page(2);
        samples::assert_sound(&two);
        assert_eq!(two.matches("CDFG-HJKM").count(), 2);
        samples::assert_sound(&page(0));
    }

    #[test]
    fn slips_say_how_many_are_left_to_be_made_after_them() {
        let said = |n| more(&round::sample(n), MOST_CODES);
        assert_eq!(said(200), None);
        assert_eq!(said(201), Some(put(texts().slips_more, &[("n", &1)])));
        assert_eq!(said(500), Some(put(texts().slips_more, &[("n", &300)])));
        assert_eq!(more(&round::sample(500), 3), None, "three that were ticked");
    }

    #[test]
    fn the_list_says_of_each_what_became_of_the_code() {
        let page = |n| {
            let row = |bib| RowView {
                bib,
                name: samples::HOSTILE.to_owned(),
                division: samples::BIDI.to_owned(),
                state: texts().state_none.to_owned(),
                ticked: bib == 1,
            };
            let view = View {
                shell: samples::shell("Codes"),
                w: words(),
                t: texts(),
                csrf: "x".to_owned(),
                action: "/desk/s/q/codes".to_owned(),
                title: samples::LONG.to_owned(),
                until: Some(Dated::plain(samples::HOSTILE)),
                caption: samples::HOSTILE.to_owned(),
                o: words::organise(language::reader()),
                q: samples::HOSTILE.to_owned(),
                more: Some(samples::HOSTILE.to_owned()),
                nobody: n == 0,
                rows: (1..=n).map(row).collect(),
                over: n == 0,
                as_csv: true,
                lost: Some(samples::HOSTILE.to_owned()),
                shown: "7".to_owned(),
                next: (n > 0).then(Next::sample),
                errors: vec![FieldError::new("", samples::HOSTILE)],
            };
            view.render().expect("renders")
        };
        samples::assert_sound(&page(3));
        samples::assert_sound(&page(0));
        samples::assert_sound(&page(10_000));
    }
}
