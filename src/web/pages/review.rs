//! `/referee/{c}/{w}/{bib}`: is this score right? Doubt it, rule on it, see what would move.

use super::athlete::score_facts;
use super::form::{self, Choice, FieldError, Fields};
use super::history::{self, Line};
use super::moves::Looked;
use super::scope::gym_name;
use super::shell::{Dated, Link, Shell, words};
use super::{html, rules_said, say};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::score::Officiating;
use crate::actions::views::{EntryView, GymView, ScoreView};
use crate::actions::{Failure, Request, ScorePath, referee, score};
use crate::actions::{directory, lists};
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::ledger::{Precondition, Refusal};
use crate::rules::life::{Decision, FlagReason};
use crate::rules::performance::RawPerformance;
use crate::rules::workout::{Format, Tiebreak, Workout};
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::pages::Pages;
use crate::words::{apart, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;
use std::sync::Arc;

const FIELDS: &[&str] = &["flag_reason", "note", "kind", "reps", "seconds", "tiebreak", "performance", "reason"];

#[derive(Template)]
#[template(path = "review.html")]
#[expect(clippy::struct_excessive_bools, reason = "each is one part of the page that is there or not")]
struct View {
    shell: Shell,
    w: &'static Pages,
    csrf: String,
    base: String,
    etag: String,
    name: String,
    bib: u32,
    division: String,
    gym: String,
    workout: String,
    workout_href: String,
    format: String,
    done: Option<&'static str>,
    errors: Vec<FieldError>,
    text: String,
    state: &'static str,
    facts: Vec<(&'static str, Dated)>,
    video: String,
    moves: Vec<String>,
    closed: Option<String>,
    can_flag: bool,
    flag_reasons: Vec<Choice>,
    can_rule: bool,
    ruling_title: &'static str,
    on_appeal: bool,
    kinds: Vec<Choice>,
    can_deduct: bool,
    deduct_seconds: bool,
    has_tiebreak: bool,
    deduct_hint: String,
    hint: String,
    values: Values,
    history: Vec<Line>,
}

/// What was typed.
#[derive(Default)]
struct Values {
    note: String,
    withhold: bool,
    reps: String,
    seconds: String,
    tiebreak: String,
    no_tiebreak: bool,
    performance: String,
    reason: String,
}

impl Values {
    fn typed(fields: &Fields) -> Self {
        let typed = |name: &str| fields.get(name).to_owned();
        Self {
            note: typed("note"),
            withhold: fields.ticked("withhold"),
            reps: typed("reps"),
            seconds: typed("seconds"),
            tiebreak: typed("tiebreak"),
            no_tiebreak: fields.ticked("no_tiebreak"),
            performance: typed("performance"),
            reason: typed("reason"),
        }
    }
}

type Place = (String, String, u32);

/// The score under review.
struct About {
    reader: Reader,
    path: ScorePath,
    entry: EntryView,
    gyms: Arc<Vec<GymView>>,
    score: ScoreView,
    history: Vec<Line>,
    may: Officiating,
}

impl About {
    async fn read(app: &App, caller: &Caller, (slug, workout, bib): Place) -> Answer<Self> {
        let (actor, at) = (&caller.actor, caller.received);
        let reader = Reader::find(app, actor, at, &slug).await?;
        permit(actor, Act::ReadDesk { competition: &slug, gym: None })?;
        reader.workout(&workout)?;
        let entry = lists::entry(app, actor, at, &slug, bib).await?;
        let gyms = directory::gyms(app, &reader).await?;
        let path = ScorePath { competition: slug, workout, bib };
        let score = score::read(app, actor, at, &path).await?.score;
        let happened = score::history(app, actor, at, &path).await?;
        let history = history::lines(&happened, &reader.competition.time_zone);
        let on_appeal = appealed(&score);
        let seen = Precondition::of_field(&score.etag).unwrap_or_default();
        let may = score::officiating(app, actor, at, &path, seen, on_appeal).await?;
        Ok(Self { reader, path, entry, gyms, score, history, may })
    }

    fn workout(&self) -> Answer<&Workout> {
        Ok(self.reader.workout(&self.path.workout)?)
    }

    fn base(&self) -> String {
        format!("/referee/{}/{}/{}", self.path.competition, self.path.workout, self.path.bib)
    }

    fn appealed(&self) -> bool {
        appealed(&self.score)
    }
}

fn appealed(score: &ScoreView) -> bool {
    score.appeal.as_ref().is_some_and(|a| !a.decided)
}

/// `GET /referee/{c}/{w}/{bib}`.
pub async fn get_review(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Query(fields): Query<Fields>,
) -> Answer {
    let about = About::read(&app, &caller, place).await?;
    let w = words();
    let done = match fields.get("done") {
        "ruled" => Some(w.ruled_done),
        "flagged" => Some(w.flagged_done),
        _ => None,
    };
    let view = View { done, ..view(&app, &caller, about, &Fields::default())? };
    Ok(html(&view)?.into_response())
}

fn view(app: &App, caller: &Caller, about: About, fields: &Fields) -> Answer<View> {
    let (w, x) = (words(), about.workout()?);
    let (c, s) = (&about.reader.competition, &about.score);
    let kind = fields.get("kind");
    let looked = Looked { app, reader: &about.reader, entry: &about.entry, workout: x, score: s };
    let moves = if matches!(s.state, "attested" | "flagged" | "amended" | "withheld") || about.appealed() {
        looked.said(kind, fields)
    } else {
        Vec::new()
    };
    let (appealed, task) = (about.appealed(), looked.prescription().map_or(&x.task, |(p, _)| &p.task));
    let closed = match &about.may.barred {
        Some(why) => Some(language::say(why)),
        None => (!about.may.rule).then(|| w.review_closed.to_owned()),
    };
    let deducts = matches!(task.format, Format::Amrap | Format::ForTime | Format::MaxCount);
    let finish = s.performance.time_ms.is_some();
    let gym = about.entry.gym.as_deref().map_or("", |g| gym_name(&about.gyms, g)).to_owned();
    let title = format!("{}: {}", apart(&about.entry.name), apart(&x.title));
    Ok(View {
        shell: Shell::new(caller, about.base(), title).below([
            Link::new("/referee", w.nav_referee),
            Link::new(format!("/c/{}/athletes/{}", c.slug, about.entry.bib), &about.entry.name),
            Link::new("", &x.title),
        ]),
        w,
        csrf: caller.csrf.clone(),
        base: about.base(),
        etag: s.etag.clone(),
        name: about.entry.name.clone(),
        bib: about.entry.bib,
        division: say::division(c, &about.entry.division).to_owned(),
        gym,
        workout: x.title.clone(),
        workout_href: format!("/c/{}/workouts/{}", c.slug, x.slug),
        format: rules_said::format(task),
        done: None,
        errors: Vec::new(),
        text: s.performance.text.clone(),
        state: say::state(s.state, s.refused),
        facts: facts(&about),
        video: s.video.clone().unwrap_or_default(),
        moves,
        closed,
        can_flag: about.may.flag,
        flag_reasons: reasons(fields.get("flag_reason")),
        can_rule: about.may.rule,
        ruling_title: if appealed { w.ruling_title_appeal } else { w.ruling_title },
        on_appeal: appealed,
        kinds: kinds(kind, deducts, appealed),
        can_deduct: deducts,
        deduct_seconds: finish,
        has_tiebreak: task.tiebreak != Tiebreak::None,
        deduct_hint: looked.reps().map_or(String::new(), |n| put(w.deduct_hint, &[("total", &n)])),
        hint: rules_said::hint(task),
        values: Values::typed(fields),
        history: about.history,
    })
}

/// Figures and evidence; the doubt with the note that only referees read.
fn facts(about: &About) -> Vec<(&'static str, Dated)> {
    let (w, c, s) = (words(), &about.reader.competition, &about.score);
    let mut rows = score_facts(c, &about.gyms, about.entry.gym.as_deref(), s);
    if let Some(note) = s.flag.as_ref().and_then(|f| f.note.clone()).filter(|n| !n.is_empty()) {
        rows.push((w.flag_note_was, Dated::plain(apart(&note))));
    }
    if let Some(reason) = s.appeal.as_ref().and_then(|a| a.reason.clone()) {
        rows.push((w.appeal_reason, Dated::plain(apart(&reason))));
    }
    rows
}

fn reasons(now: &str) -> Vec<Choice> {
    let all = ["count", "range_of_motion", "equipment", "tiebreak", "timing", "evidence", "identity", "other"];
    all.map(|r| Choice::new(r, say::doubt(r), now)).into()
}

fn kinds(now: &str, deducts: bool, appealed: bool) -> Vec<Choice> {
    let w = words();
    let mut all = vec![Choice::new("stands", w.kind_stands, now)];
    if appealed {
        all.push(Choice::new("restore", w.kind_restore, now));
    }
    if deducts {
        all.push(Choice::new("deduct", w.kind_deduct, now));
    }
    all.push(Choice::new("replace", w.kind_replace, now));
    all.push(Choice::new("strike", w.kind_strike, now));
    all
}

/// What the referee has seen, by the hidden field.
fn request(caller: &Caller, fields: &Fields) -> Request {
    let seen = Precondition::of_field(fields.get("etag")).unwrap_or_default();
    Request::at(caller.received).having_seen(seen)
}

/// `POST /referee/{c}/{w}/{bib}/flag`.
pub async fn post_flag(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Form(fields): Form<Fields>,
) -> Answer {
    let about = About::read(&app, &caller, place).await?;
    let reason = match fields.get("flag_reason") {
        "count" => FlagReason::Count,
        "range_of_motion" => FlagReason::RangeOfMotion,
        "equipment" => FlagReason::Equipment,
        "tiebreak" => FlagReason::Tiebreak,
        "timing" => FlagReason::Timing,
        "evidence" => FlagReason::Evidence,
        "identity" => FlagReason::Identity,
        _ => FlagReason::Other,
    };
    let (request, note) = (request(&caller, &fields), fields.get("note").to_owned());
    let done = if fields.ticked("withhold") {
        referee::withhold(&app, &caller.actor, &about.path, request, reason, note).await
    } else {
        referee::flag(&app, &caller.actor, &about.path, request, reason, note).await
    };
    match done {
        Ok(_) => Ok(Redirect::to(&format!("{}?done=flagged", about.base())).into_response()),
        Err(failure) => again(&app, &caller, about, &fields, Vec::new(), Some(failure)),
    }
}

/// `POST /referee/{c}/{w}/{bib}/ruling`; with `do=preview` nothing is stored.
pub async fn post_ruling(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Form(fields): Form<Fields>,
) -> Answer {
    let about = About::read(&app, &caller, place).await?;
    let mut errors = Vec::new();
    let decided = decision(&fields, &mut errors).filter(|_| errors.is_empty());
    let Some(decision) = decided else {
        return again(&app, &caller, about, &fields, errors, None);
    };
    let (request, reason) = (request(&caller, &fields), fields.get("reason").to_owned());
    let on_appeal = fields.ticked("on_appeal");
    if fields.get("do") == "preview" {
        let tried = referee::try_rule(&app, &caller.actor, &about.path, request, decision, reason, on_appeal).await;
        // Who only looks need not have written the reason yet, and what moves is seen without the trial too.
        return match tried.map_err(|failure| failure.but("/reason")) {
            Ok(()) | Err(None | Some(Failure::Busy)) => {
                Ok(html(&view(&app, &caller, about, &fields)?)?.into_response())
            }
            Err(failure) => again(&app, &caller, about, &fields, errors, failure),
        };
    }
    match referee::rule(&app, &caller.actor, &about.path, request, decision, reason, on_appeal).await {
        Ok(_) => Ok(Redirect::to(&format!("{}?done=ruled", about.base())).into_response()),
        Err(failure) => again(&app, &caller, about, &fields, errors, Some(failure)),
    }
}

/// The decision as the action takes it.
fn decision(fields: &Fields, errors: &mut Vec<FieldError>) -> Option<Decision> {
    match fields.get("kind") {
        "stands" => Some(Decision::Stands),
        "strike" => Some(Decision::Strike),
        "restore" => Some(Decision::Restore),
        "deduct" => Some(Decision::Deduct {
            reps: fields.number("reps", errors),
            seconds: fields.number("seconds", errors),
            tiebreak: fields.find("tiebreak"),
            no_tiebreak: fields.ticked("no_tiebreak"),
        }),
        "replace" => Some(Decision::Replace {
            performance: RawPerformance::Text(fields.get("performance").to_owned()),
            level: None,
        }),
        _ => {
            errors.push(FieldError::new("kind", words().choose_kind));
            None
        }
    }
}

/// The page again, with everything typed and what to mend.
fn again(
    app: &App,
    caller: &Caller,
    about: About,
    fields: &Fields,
    mut errors: Vec<FieldError>,
    failure: Option<Failure>,
) -> Answer {
    let status = match failure {
        None => StatusCode::UNPROCESSABLE_ENTITY,
        Some(Failure::Refused(Refusal::Faults(faults))) => {
            errors.extend(form::beside(&faults, FIELDS, &[("decision", "kind")]));
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Some(
            Failure::Stale { .. }
            | Failure::Refused(Refusal::PreconditionFailed(_) | Refusal::PreconditionRequired(..)),
        ) => {
            errors.push(FieldError::new("", words().review_changed));
            StatusCode::PRECONDITION_FAILED
        }
        Some(Failure::Refused(Refusal::Conflict(sentence, _))) => {
            errors.push(FieldError::new("", language::say(&sentence)));
            StatusCode::CONFLICT
        }
        // A referee of the competition who may not rule on just this score.
        Some(Failure::Refused(Refusal::NotAllowed(sentence))) => {
            errors.push(FieldError::new("", language::say(&sentence)));
            StatusCode::FORBIDDEN
        }
        Some(other) => return Err(other.into()),
    };
    let view = View { errors, ..view(app, caller, about, fields)? };
    Ok((status, html(&view)?).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn page(errors: Vec<FieldError>, on_appeal: bool) -> String {
        let w = words();
        let hostile = || samples::HOSTILE.to_owned();
        View {
            shell: samples::shell("Review"),
            w,
            csrf: "x".to_owned(),
            base: "/referee/s/w1/1042".to_owned(),
            etag: "8812".to_owned(),
            name: samples::BIDI.to_owned(),
            bib: 1042,
            division: hostile(),
            gym: samples::LONG.to_owned(),
            workout: hostile(),
            workout_href: "/c/s/workouts/w1".to_owned(),
            format: "For time, at most 9:00".to_owned(),
            done: Some(w.flagged_done),
            errors,
            text: "6+14 tb 11:24".to_owned(),
            state: w.state_flagged,
            facts: vec![(w.flag_note_was, Dated::plain(hostile()))],
            video: "https://example.org/v?a=1&b=\"2\"".to_owned(),
            moves: vec!["If struck: 12 places and 3 standings change.".to_owned()],
            closed: None,
            can_flag: true,
            flag_reasons: reasons("tiebreak"),
            can_rule: true,
            ruling_title: w.ruling_title,
            on_appeal,
            kinds: kinds("deduct", true, on_appeal),
            can_deduct: true,
            deduct_seconds: true,
            has_tiebreak: true,
            deduct_hint: "Of 278".to_owned(),
            hint: "Rounds and reps".to_owned(),
            values: Values { reason: hostile(), note: hostile(), ..Values::default() },
            history: vec![Line {
                what: "Score entered".to_owned(),
                at: samples::when(),
                by: "by Gym staff".to_owned(),
                figures: "6+14".to_owned(),
                reason: hostile(),
            }],
        }
        .render()
        .expect("renders")
    }

    #[test]
    fn both_forms_carry_the_state_that_was_seen() {
        let errors = FIELDS.iter().map(|f| FieldError::new(*f, samples::HOSTILE)).collect();
        let page = page(errors, false);
        samples::assert_sound(&page);
        assert_eq!(page.matches("name=\"etag\" value=\"8812\"").count(), 2);
        assert!(page.contains("id=\"kind-deduct\" name=\"kind\" value=\"deduct\" checked"));
        assert!(!page.contains("kind-restore"));
    }

    #[test]
    fn an_appeal_may_put_back_what_was() {
        let page = page(Vec::new(), true);
        samples::assert_sound(&page);
        assert!(page.contains("kind-restore") && page.contains("name=\"on_appeal\""));
    }

    #[test]
    fn a_decision_is_read_from_its_fields() {
        let fields =
            |pairs: &[(&str, &str)]| Fields(pairs.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect());
        let mut errors = Vec::new();
        let deduct = decision(&fields(&[("kind", "deduct"), ("reps", "2"), ("no_tiebreak", "yes")]), &mut errors);
        let wanted = Decision::Deduct { reps: Some(2), seconds: None, tiebreak: None, no_tiebreak: true };
        assert_eq!((deduct, errors.len()), (Some(wanted), 0));
        assert_eq!(decision(&fields(&[]), &mut errors), None);
        decision(&fields(&[("kind", "deduct"), ("reps", "two")]), &mut errors);
        let ids: Vec<&str> = errors.iter().map(|e| e.id.as_str()).collect();
        assert_eq!(ids, ["kind", "reps"]);
    }
}
