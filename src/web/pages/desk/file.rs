//! `/desk/{c}/{gym}/file`: many results at once from a CSV, and `…/scores.csv`: a gym's results of one
//! workout for a spreadsheet, which can be filled in and sent back.

use super::Desk;
use crate::actions::Failure;
use crate::actions::Request;
use crate::actions::import::{ImportView, Options, Rows, What, import_with, refused_csv};
use crate::actions::language;
use crate::actions::score::{self, DeskQuery};
use crate::actions::views::{DeskRow, ScoreView};
use crate::app::App;
use crate::rules::ledger::Refusal;
use crate::rules::performance;
use crate::rules::table::{self, GIVEN_BACK, Kind};
use crate::rules::workout::Workout;
use crate::web::api::{MOST_ROWS, csv_file};
use crate::web::extract::{Path, Query};
use crate::web::once;
use crate::web::pages::form::{Choice, FieldError, Fields};
use crate::web::pages::imported::{self, Outcome, QuestionSaid};
use crate::web::pages::shell::{Link, Shell, encoded, words};
use crate::web::pages::upload::Upload;
use crate::web::pages::{html, late_said, say};
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::en::desk_file::DeskFile;
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::{HeaderMap, StatusCode};

/// Columns of the file that goes out; those from `state` on are passed over when it comes back.
const COLUMNS: [&str; 13] = [
    "bib",
    "name",
    "performance",
    "level",
    "judge",
    "sheet",
    "no_reps",
    "gym",
    "attempt",
    "revise",
    "state",
    "received_at",
    "remark",
];

#[derive(Template)]
#[template(path = "desk_file.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    f: &'static DeskFile,
    csrf: String,
    action: String,
    back: String,
    title: String,
    /// Whether this reader may send scores.
    enters: bool,
    errors: Vec<FieldError>,
    outcome: Option<Outcome>,
    /// What is asked about refused rows.
    questions: Vec<QuestionSaid>,
    /// Questions answered with yes this time, by code: they go along with what is sent next, as rows may be asked
    /// something else now.
    held: Vec<(&'static str, &'static str)>,
    out: Vec<Link>,
    workouts: Vec<Choice>,
    columns: String,
    text: String,
}

fn texts() -> &'static DeskFile {
    words::desk_file(language::reader())
}

/// Those that scores can be entered for, the running one first.
fn open(desk: &Desk) -> Vec<&Workout> {
    desk.windows().into_iter().filter(|(_, own)| own.opened(desk.reader.now)).map(|(x, _)| x).collect()
}

fn view(desk: &Desk, caller: &Caller, chosen: &str) -> View {
    let (w, f, c) = (words(), texts(), &desk.reader.competition);
    let title = put(f.title, &[("gym", &desk.gym.name)]);
    let (known, _) = Kind::Scores.columns();
    let known: Vec<&str> = known.iter().copied().filter(|column| !GIVEN_BACK.contains(column)).collect();
    let o = words::organise(language::reader());
    let workouts = open(desk);
    let csv = |x: &&Workout| {
        let href = format!("{}/scores.csv?workout={}", desk.base, encoded(&x.slug));
        Link::new(href, put(f.out_link, &[("workout", &x.title)]))
    };
    View {
        shell: Shell::new(caller, format!("{}/file", desk.base), &title).below([
            Link::new(format!("/c/{}", c.slug), &c.title),
            Link::new(&desk.base, put(w.desk_title, &[("gym", &desk.gym.name)])),
            Link::new("", &title),
        ]),
        w,
        o,
        f,
        csrf: caller.csrf.clone(),
        action: format!("{}/file", desk.base),
        back: desk.base.clone(),
        title,
        enters: caller.actor.is_staff_of(&c.slug, &desk.gym.slug),
        errors: Vec::new(),
        outcome: None,
        questions: Vec::new(),
        held: Vec::new(),
        out: workouts.iter().map(csv).collect(),
        workouts: workouts.iter().map(|x| Choice::new(&x.slug, &x.title, chosen)).collect(),
        columns: put(o.list_columns, &[("known", &known.join(", ")), ("needed", &"bib, performance")]),
        text: String::new(),
    }
}

/// `GET /desk/{c}/{gym}/file`; after a file of which every row was taken, with what became of it.
pub async fn get_file(
    State(app): State<App>,
    caller: Caller,
    headers: HeaderMap,
    Path((slug, gym)): Path<(String, String)>,
    Query(fields): Query<Fields>,
) -> Answer {
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    let mut page = view(&desk, &caller, fields.get("workout"));
    let Some((shown, gone)) = once::take(&app, &caller, &headers, &page.action, fields.get(once::FIELD)) else {
        return Ok(html(&page)?.into_response());
    };
    let workouts = page.workouts.into_iter().map(|o| Choice { chosen: o.value == shown.whose, ..o });
    page.workouts = workouts.collect();
    page.outcome = Some(Outcome::of_shown(shown));
    Ok((gone, html(&page)?).into_response())
}

/// `POST /desk/{c}/{gym}/file`: takes rows in; `do=download` gives the field's text back as a file.
pub async fn post_file(
    State(app): State<App>,
    caller: Caller,
    Path((slug, gym)): Path<(String, String)>,
    upload: Result<Upload, Problem>,
) -> Answer {
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    let upload = upload?;
    let workout = upload.fields.get("workout");
    if upload.fields.get("do") == "download" {
        return Ok(csv_file(upload.fields.exact("text").to_owned(), &format!("{gym}-{workout}-refused.csv")));
    }
    let mut page = view(&desk, &caller, workout);
    page.text = if upload.file.is_some() { String::new() } else { upload.fields.exact("text").to_owned() };
    let Some(bytes) = upload.content() else {
        page.errors.push(FieldError::new("file", words::organise(language::reader()).file_empty));
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&page)?).into_response());
    };
    desk.reader.workout(workout)?;
    let confirm = performance::answers(&upload.fields.rests("confirm-"));
    let options = Options { confirm: confirm.clone(), most: Some(MOST_ROWS), pass_empty: true, ..Options::default() };
    let what = What::Scores { workout: Some(workout.to_owned()) };
    let request = Request::at(caller.received);
    let status = match import_with(&app, &caller.actor, &slug, request, what, Rows::Csv(bytes), options).await {
        Ok(view) => {
            let mut outcome = outcome(&view);
            if view.rows.is_empty() {
                // Loading the page again sends nothing again.
                if let Some(led) = once::lead_whole(&app, &caller, &page.action, &outcome.shown(workout)) {
                    return Ok(led);
                }
                page.text.clear();
            } else {
                page.text = refused_csv(&view);
                page.questions = std::mem::take(&mut outcome.questions);
                page.held = held(&confirm, &page.questions);
            }
            page.outcome = Some(outcome);
            StatusCode::OK
        }
        Err(Failure::Refused(Refusal::Faults(faults)) | Failure::Unreadable(faults)) => {
            page.errors.extend(faults.iter().map(|f| FieldError::new("text", imported::fault(f))));
            page.held = held(&confirm, &[]);
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Err(other) => return Err(other.into()),
    };
    Ok((status, html(&page)?).into_response())
}

/// What was answered with yes and is not asked again.
fn held(confirm: &[String], asked: &[QuestionSaid]) -> Vec<(&'static str, &'static str)> {
    let f = texts();
    let all = [
        ("spreadsheet_time", f.held_spreadsheet_time),
        ("time_without_colon", f.held_time_without_colon),
        ("total_as_rounds", f.held_total_as_rounds),
        ("tiebreak_pace", f.held_tiebreak_pace),
        ("kg_or_lb", f.held_kg_or_lb),
    ];
    let is_held = |code: &str| confirm.iter().any(|yes| yes == code) && asked.iter().all(|q| q.code != code);
    all.into_iter().filter(|(code, _)| is_held(code)).collect()
}

fn outcome(view: &ImportView) -> Outcome {
    let f = texts();
    let values: [(&'static str, &dyn std::fmt::Display); 3] =
        [("taken", &view.taken), ("unchanged", &view.unchanged), ("refused", &view.refused)];
    let mut outcome = Outcome::new(view, put(f.outcome, &values));
    match view.empty {
        0 => {}
        1 => outcome.remarks.push(f.empty_one.to_owned()),
        n => outcome.remarks.push(put(f.empty, &[("n", &n)])),
    }
    if !outcome.questions.is_empty() {
        outcome.remarks.push(f.asked_below.to_owned());
    }
    outcome
}

/// `GET /desk/{c}/{gym}/scores.csv?workout=`.
pub async fn get_csv(
    State(app): State<App>,
    caller: Caller,
    Path((slug, gym)): Path<(String, String)>,
    Query(fields): Query<Fields>,
) -> Answer {
    Desk::open(&app, &caller, &slug, &gym).await?;
    let workout = fields.get("workout");
    let query = DeskQuery { gym: Some(gym.clone()), state: None };
    let list = score::desk(&app, &caller.actor, caller.received, &slug, workout, query).await?;
    let text = table::write(&COLUMNS, list.rows.iter().flat_map(rows));
    Ok(csv_file(text, &format!("{gym}-{}.csv", list.workout)))
}

/// An entry with the attempt that counts, then each other attempt.
fn rows(r: &DeskRow) -> impl Iterator<Item = Vec<String>> {
    // Taken back: nothing is stored that could be sent again unchanged.
    let score = r.score.as_ref().filter(|s| s.state != "withdrawn");
    std::iter::once(row(r, r.state, score)).chain(r.others.iter().map(|score| row(r, score.state, Some(score))))
}

fn row(r: &DeskRow, state: &str, score: Option<&ScoreView>) -> Vec<String> {
    let of = |text: Option<&String>| text.cloned().unwrap_or_default();
    vec![
        r.bib.to_string(),
        r.name.clone(),
        score.map_or(String::new(), |s| s.performance.text.clone()),
        score.map_or(String::new(), |s| s.level.clone()),
        of(score.and_then(|s| s.attestation.as_ref()).map(|a| &a.judge)),
        of(score.filter(|s| s.attestation.is_some()).and_then(|s| s.sheet.as_ref())),
        score.and_then(|s| s.no_reps).map_or(String::new(), |n| n.to_string()),
        of(score.and_then(|s| s.gym.as_ref())),
        score.map_or(String::new(), |s| s.attempt.to_string()),
        String::new(),
        say::state(state, score.is_some_and(|s| s.refused)).to_owned(),
        score.map_or(String::new(), |s| s.received_at.to_string()),
        score.map_or(String::new(), |s| late_said::lines(s).join(" ")),
    ]
}

#[cfg(test)]
mod tests {
    use super::super::super::samples;
    use super::*;

    #[test]
    fn the_page_bears_any_text_and_keeps_what_was_pasted() {
        let page = |workouts: Vec<Choice>, questions: Vec<QuestionSaid>, confirm: &[String]| {
            let view = View {
                shell: samples::shell("File"),
                w: words(),
                o: words::organise(language::reader()),
                f: texts(),
                csrf: "x".to_owned(),
                action: "/desk/s/g/file".to_owned(),
                back: "/desk/s/g".to_owned(),
                title: samples::HOSTILE.to_owned(),
                enters: true,
                errors: vec![FieldError::new("file", samples::HOSTILE), FieldError::new("text", samples::HOSTILE)],
                outcome: Some(Outcome { said: samples::LONG.to_owned(), ..Outcome::default() }),
                held: held(confirm, &questions),
                questions,
                out: vec![Link::new("/desk/s/g/scores.csv?workout=w1", samples::BIDI)],
                workouts,
                columns: samples::HOSTILE.to_owned(),
                text: format!("bib\r\n</textarea>{}", samples::HOSTILE),
            };
            view.render().expect("renders")
        };
        let workouts = || vec![Choice::new("w1", samples::HOSTILE, "w1")];
        let full = page(workouts(), Vec::new(), &[]);
        samples::assert_sound(&full);
        assert_eq!(full.matches("</textarea>").count(), 1);
        assert!(!full.contains("<fieldset"), "nothing is asked");
        let asked = |code: &str| QuestionSaid {
            code: code.to_owned(),
            said: samples::HOSTILE.to_owned(),
            rows: samples::LONG.to_owned(),
            yes: texts().asked_yes,
        };
        let questions = vec![asked("spreadsheet_time"), asked("total_as_rounds")];
        let full = page(workouts(), questions, &[]);
        samples::assert_sound(&full);
        assert_eq!(full.matches("type=\"checkbox\"").count(), 2);
        assert!(full.contains("name=\"confirm-spreadsheet_time\"") && full.matches(texts().asked_yes).count() == 2);
        // What was answered stays answered, each by its own text, and what is asked again is asked.
        let every: Vec<String> = performance::QUESTIONS.map(str::to_owned).into();
        let full = page(workouts(), vec![asked("tiebreak_pace")], &every);
        samples::assert_sound(&full);
        assert_eq!((full.matches("type=\"checkbox\"").count(), full.matches("value=\"yes\" checked").count()), (5, 4));
        assert!(!full.contains(texts().held_tiebreak_pace) && full.contains(texts().held_kg_or_lb));
    }
}
