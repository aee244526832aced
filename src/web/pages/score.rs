//! `/desk/{c}/{gym}/{w}/{bib}`: one form for one athlete's score in one workout.

use super::desk::judges;
use super::form::{self, Choice, FieldError, Fields};
use super::own_score::NO_GYM;
use super::score_about::{About, Place, Time, after, attempt};
use super::score_values::{Values, first_values, from_heat};
use super::shell::{Link, Shell, encoded, words};
use super::{html, late_said, rules_said, say};
use crate::actions::language;
use crate::actions::lists::{self, Find};
use crate::actions::views::ScoreView;
use crate::actions::{Failure, Request, score, submit, withdraw};
use crate::app::App;
use crate::rules::ledger::{Precondition, Refusal};
use crate::rules::life::{Attest, How, Submit};
use crate::rules::performance::RawPerformance;
use crate::rules::workout::Attempts;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::pages::Pages;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

/// The fields that a fault can stand beside.
const FIELDS: &[&str] =
    &["performance", "level", "judge", "how", "sheet", "performed_at", "no_reps", "video", "reason", "again"];
/// What the action calls otherwise.
const NAMES: &[(&str, &str)] = &[("attempt", "again"), ("tiebreak", "performance")];

#[derive(Template)]
#[template(path = "score.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    csrf: String,
    action: String,
    back: String,
    back_text: &'static str,
    etag: String,
    /// Which attempt this is about; 0: nothing is stored.
    attempt: u32,
    name: String,
    bib: u32,
    division: String,
    workout: String,
    workout_href: String,
    format: String,
    hint: String,
    /// How long there is; `None`: the desk says it.
    time: Option<Time>,
    values: Values,
    errors: Vec<FieldError>,
    questions: Vec<Asked>,
    confirmed: Vec<String>,
    conflict: Option<Conflict>,
    current: Option<Current>,
    /// The other attempts, each with its form.
    others: Vec<Link>,
    locked: Option<&'static str>,
    levels: Vec<Choice>,
    may_attest: bool,
    judges: Vec<Link>,
    hows: Vec<Choice>,
    performed_hint: String,
    more_open: bool,
    /// The number of another attempt; 0: there may be none.
    again: u32,
    save: &'static str,
    apart: String,
    apart_text: &'static str,
    apart_button: &'static str,
    /// Where the score is taken back, for those who may.
    take_back: Option<String>,
}

/// A question that a tick answers.
struct Asked {
    code: String,
    text: String,
}

/// Somebody else was quicker.
struct Conflict {
    theirs: String,
    theirs_state: &'static str,
    ours: String,
}

/// What is stored now.
struct Current {
    /// "Attempt 2", where there are several.
    nth: String,
    text: String,
    state: &'static str,
    lines: Vec<String>,
}

/// `GET /desk/{c}/{gym}/{w}/{bib}`.
pub async fn get_score(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Query(fields): Query<Fields>,
) -> Answer {
    let about = About::read(&app, &caller, place, &fields).await?;
    let mut values = first_values(&about, &fields);
    if !about.own {
        from_heat(&app, &about, &mut values).await?;
    }
    Ok(html(&view(&app, &caller, &about, values).await?)?.into_response())
}

async fn view(app: &App, caller: &Caller, about: &About, mut values: Values) -> Answer<View> {
    let (w, c, x) = (words(), &about.reader.competition, about.workout()?);
    let task = about.task(x, &values.level);
    let (levels, _) = about.levels();
    let find = Find { gym: Some(about.gym.clone()), q: None };
    let judges = lists::judges(app, &caller.actor, caller.received, &c.slug, &find).await.unwrap_or_default();
    let desk = Link::new(about.back(), if about.own { &about.entry.name } else { w.desk });
    let apart = |undo: &str| format!("{}/{undo}", about.here());
    let (apart, apart_text, apart_button) = match about.state {
        _ if about.own || about.is_out() || !about.allowed.not_taking_part => (String::new(), "", ""),
        "missing" | "withdrawn" | "guest" => {
            (apart("not-taking-part"), w.not_taking_part_text, w.not_taking_part_button)
        }
        "not_taking_part" => (apart("taking-part"), w.taking_part_text, w.taking_part_button),
        _ => (String::new(), "", ""),
    };
    let take_back = match &about.now {
        Some(now) if withdraw::may(app, &about.reader, now).await? => Some(format!("{}/withdrawal", about.here())),
        _ => None,
    };
    let hows = judges::hows(&caller.actor, &c.slug, &values.how);
    if let Some(how) = hows.iter().find(|h| h.chosen && !values.how.is_empty()) {
        values.how.clone_from(&how.value);
    }
    let title = format!("{}: {}", words::apart(&about.entry.name), words::apart(&x.title));
    Ok(View {
        shell: Shell::new(caller, about.here(), title).below([
            Link::new(format!("/c/{}", c.slug), &c.title),
            desk,
            Link::new("", &x.title),
        ]),
        w,
        csrf: caller.csrf.clone(),
        action: about.here(),
        back: about.back(),
        back_text: if about.own { w.back_to_own } else { w.back_to_desk },
        etag: about.now.as_ref().map_or(String::new(), |s| s.etag.clone()),
        attempt: about.now.as_ref().map_or(0, |s| s.attempt),
        name: about.entry.name.clone(),
        bib: about.entry.bib,
        division: say::division(c, &about.entry.division).to_owned(),
        workout: x.title.clone(),
        workout_href: format!("/c/{}/workouts/{}", c.slug, x.slug),
        format: rules_said::format(task),
        hint: rules_said::hint(task),
        time: about.time(app).await?,
        errors: Vec::new(),
        questions: Vec::new(),
        confirmed: Vec::new(),
        conflict: None,
        current: about.now.as_ref().map(|now| current(now, about.latest > 1)),
        others: about.others.iter().map(|a| other(about, a, &values)).collect(),
        locked: about.closed(),
        levels: levels.into_iter().map(|(_, slug, title)| Choice::new(slug, title, &values.level)).collect(),
        may_attest: !about.own,
        judges: judges.into_iter().map(|j| Link::new(j.code, j.name.unwrap_or_default())).collect(),
        hows,
        performed_hint: about.performed_hint(),
        more_open: [&values.performed_at, &values.no_reps, &values.video, &values.reason].iter().any(|v| !v.is_empty()),
        again: if about.now.is_some() && x.attempts != Attempts::One { about.latest.saturating_add(1) } else { 0 },
        save: if about.now.is_some() { w.score_correct } else { w.score_save },
        apart,
        apart_text,
        apart_button,
        take_back,
        values,
    })
}

/// Another attempt, with the page of its form.
fn other(about: &About, a: &ScoreView, values: &Values) -> Link {
    let w = words();
    let (nth, state) = (put(w.attempt_n, &[("n", &a.attempt)]), say::state(a.state, a.refused));
    let by = format!("&judge={}&how={}", encoded(&values.desk_judge), encoded(&values.how));
    Link::new(format!("{}?attempt={}{by}", about.here(), a.attempt), format!("{nth}: {} · {state}", a.performance.text))
}

fn current(now: &ScoreView, several: bool) -> Current {
    let w = words();
    let mut lines = late_said::lines(now);
    let judge =
        now.attestation.as_ref().map(|a| format!("{} {}", put(w.judge_of_now, &[("judge", &a.judge)]), w.judge_again));
    lines.extend(judge);
    let nth = if several { put(w.attempt_n, &[("n", &now.attempt)]) } else { String::new() };
    Current { nth, text: now.performance.text.clone(), state: say::state(now.state, now.refused), lines }
}

/// `POST /desk/{c}/{gym}/{w}/{bib}`.
pub async fn post_score(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Form(fields): Form<Fields>,
) -> Answer {
    let about = About::read(&app, &caller, place.clone(), &fields).await?;
    let mut errors = Vec::new();
    let fields = with_judge(&app, &caller, &about, fields, &mut errors).await?;
    let sent = sent(&about, &fields, &mut errors);
    // Another attempt is stored only where there is none of its number.
    let seen = Precondition::of_field(fields.get("etag")).filter(|_| !fields.ticked("again"));
    let seen = seen.unwrap_or(Precondition::Absent);
    let number = sent.attempt;
    let request = Request::at(caller.received).having_seen(seen);
    let failure = if errors.is_empty() {
        match submit::submit(&app, &caller.actor, &about.path, request, sent).await {
            Ok(done) => {
                // A statement that this took back is said on the page that follows.
                let was_out = done.score.warnings.iter().any(|w| w.code == "was_not_taking_part");
                let stored = Some(done.score.attempt);
                return Ok(Redirect::to(&after(&about, &fields, stored, was_out)).into_response());
            }
            Err(failure) if stale(&failure) => {
                // What is stored now, of the very attempt that was sent.
                let sent = Fields(number.map(|n| ("attempt".to_owned(), n.to_string())).into_iter().collect());
                let about = About::read(&app, &caller, place, &sent).await?;
                return again(&app, &caller, about, &fields, errors, Some(failure)).await;
            }
            Err(failure) => Some(failure),
        }
    } else {
        // All that is wrong is said at once, beside the fields that could be read too.
        let faults = score::faults(&app, &caller.actor, caller.received, &about.path, sent).await?;
        form::add_others(&mut errors, form::beside(&faults, FIELDS, NAMES));
        None
    };
    again(&app, &caller, about, &fields, errors, failure).await
}

/// The same fields with the code of the judge who is meant; a name that fits nobody, or several, is
/// an error beside its field and stays as typed.
async fn with_judge(
    app: &App,
    caller: &Caller,
    about: &About,
    mut fields: Fields,
    errors: &mut Vec<FieldError>,
) -> Answer<Fields> {
    if about.own || fields.get("judge").is_empty() {
        return Ok(fields);
    }
    let all = judges::of_gym(app, caller, &about.path.competition, &about.gym).await?;
    match judges::meant(&all, fields.get("judge")) {
        Ok(code) => {
            for (_, value) in fields.0.iter_mut().filter(|(name, _)| name == "judge") {
                value.clone_from(&code);
            }
        }
        Err(trouble) => errors.push(FieldError::new("judge", trouble)),
    }
    Ok(fields)
}

/// The fields as the action takes them; what cannot be read is an error beside its field.
fn sent(about: &About, fields: &Fields, errors: &mut Vec<FieldError>) -> Submit {
    let sheet = fields.find("sheet");
    let how = match fields.get("how") {
        "signed_in" => How::SignedIn,
        "video" => How::Video,
        _ => How::PaperSheet,
    };
    let attempt = if fields.ticked("again") {
        // The page says which, so that what is sent twice is stored once.
        fields.get("again").parse().ok().or(Some(about.latest.saturating_add(1)))
    } else {
        attempt(fields)
    };
    let attestation = fields.find("judge").map(|judge| Attest { judge, how, sheet: sheet.clone(), attempt });
    let stored_sheet = about.now.as_ref().and_then(|s| s.sheet.clone());
    if attestation.is_none() && sheet.is_some() && sheet != stored_sheet {
        errors.push(FieldError::new("judge", words().sheet_needs_judge));
    }
    // What was shown in a field and is not there any more is to go.
    let emptied = |name: &str, shown: bool| shown && fields.0.iter().any(|(n, v)| n == name && v.trim().is_empty());
    let has_video = about.now.as_ref().is_some_and(|s| s.video.is_some());
    Submit {
        performance: RawPerformance::Text(fields.get("performance").to_owned()),
        attempt,
        level: fields.find("level"),
        performed_at: fields.find("performed_at").and_then(|_| {
            form::instant(fields, "performed_at", words().field_time, &about.reader.competition.time_zone, errors)
        }),
        gym: match &about.now {
            Some(now) if !fields.ticked("again") => now.gym.clone(),
            _ => Some(about.gym.clone()).filter(|gym| gym != NO_GYM),
        },
        no_reps: fields.number("no_reps", errors),
        without_no_reps: emptied("no_reps", about.now.as_ref().is_some_and(|s| s.no_reps.is_some())),
        video: fields.find("video").or_else(|| emptied("video", has_video).then(String::new)),
        attestation,
        reason: fields.find("reason"),
        confirm: fields.rests("confirm-"),
        expect_name: None,
        revise: false,
        row: false,
    }
}

/// The form as it is now, after something that was not done, and why.
pub(super) async fn refused(
    app: &App,
    caller: &Caller,
    about: &About,
    fields: &Fields,
    status: StatusCode,
    why: String,
) -> Answer {
    let mut values = first_values(about, fields);
    if !about.own {
        from_heat(app, about, &mut values).await?;
    }
    let mut page = view(app, caller, about, values).await?;
    page.errors.push(FieldError::new("", why));
    Ok((status, html(&page)?).into_response())
}

/// Whether something else is stored than was seen.
fn stale(failure: &Failure) -> bool {
    let refused = |r: &Refusal| matches!(r, Refusal::PreconditionFailed(_) | Refusal::PreconditionRequired(..));
    matches!(failure, Failure::Stale { .. }) || matches!(failure, Failure::Refused(r) if refused(r))
}

/// The form again, with everything typed, and what to mend, answer or compare.
async fn again(
    app: &App,
    caller: &Caller,
    about: About,
    fields: &Fields,
    errors: Vec<FieldError>,
    failure: Option<Failure>,
) -> Answer {
    let values = Values::typed(&about, fields);
    let ours = values.performance.clone();
    let mut page = view(app, caller, &about, values).await?;
    fields.get("etag").clone_into(&mut page.etag);
    page.again = fields.get("again").parse().unwrap_or(page.again);
    page.errors = errors;
    page.confirmed = fields.rests("confirm-");
    let status = match failure {
        None => StatusCode::UNPROCESSABLE_ENTITY,
        Some(Failure::Refused(Refusal::Faults(faults))) => {
            page.errors.extend(form::beside(&faults, FIELDS, NAMES));
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Some(Failure::Refused(Refusal::Ask(questions))) => {
            let asked =
                questions.iter().map(|q| Asked { code: q.sentence.code.to_string(), text: language::say(&q.sentence) });
            page.questions = asked.collect();
            let asked: Vec<&String> = page.questions.iter().map(|q| &q.code).collect();
            page.confirmed.retain(|code| !asked.contains(&code));
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Some(failure) if stale(&failure) => {
            // Another attempt of that number is there by now: to be corrected, or left beside one more.
            page.values.again = false;
            if page.again > 0 {
                page.again = about.latest.saturating_add(1);
            }
            if let Some(now) = &about.now {
                page.conflict = Some(Conflict {
                    theirs: now.performance.text.clone(),
                    theirs_state: say::state(now.state, now.refused),
                    ours,
                });
                // Saving again is then on purpose, over what is shown here.
                page.etag.clone_from(&now.etag);
                // What they have added is not taken away by a field that was empty before.
                let theirs = |typed: &mut String, now: Option<String>| {
                    if typed.is_empty() {
                        *typed = now.unwrap_or_default();
                    }
                };
                theirs(&mut page.values.no_reps, now.no_reps.map(|n| n.to_string()));
                theirs(&mut page.values.video, now.video.clone());
                page.attempt = now.attempt;
            }
            page.current = None;
            StatusCode::PRECONDITION_FAILED
        }
        Some(Failure::Refused(Refusal::Conflict(sentence, _))) => {
            page.errors.push(FieldError::new("", language::say(&sentence)));
            StatusCode::CONFLICT
        }
        Some(other) => return Err(other.into()),
    };
    let more = ["performed_at", "no_reps", "video", "reason", "again"];
    page.more_open |= more.iter().any(|id| form::has(&page.errors, id)) || page.values.again;
    Ok((status, html(&page)?).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::super::shell::Dated;
    use super::*;

    fn page(errors: Vec<FieldError>, questions: Vec<Asked>, conflict: Option<Conflict>) -> String {
        let hostile = || samples::HOSTILE.to_owned();
        View {
            shell: samples::shell("Score"),
            w: words(),
            csrf: "x".to_owned(),
            action: "/desk/s/g/w1/1042".to_owned(),
            back: "/desk/s/g".to_owned(),
            back_text: words().back_to_desk,
            etag: "8812".to_owned(),
            attempt: 2,
            name: samples::BIDI.to_owned(),
            bib: 1042,
            division: hostile(),
            workout: hostile(),
            workout_href: "/c/s/workouts/w1".to_owned(),
            format: "For time, at most 9:00".to_owned(),
            hint: "The time, for example 9:32".to_owned(),
            time: Some(Time {
                left: samples::left("closes in 2 h"),
                when: Some(Dated { at: Some(samples::when()), ..Dated::plain("Closes ") }),
            }),
            values: Values { performance: hostile(), judge: hostile(), sheet: hostile(), ..Values::default() },
            errors,
            questions,
            confirmed: vec!["pace".to_owned()],
            conflict,
            others: vec![Link::new("/desk/s/g/w1/1042?attempt=1", samples::HOSTILE)],
            current: Some(Current {
                nth: hostile(),
                text: hostile(),
                state: words().state_attested,
                lines: vec![hostile()],
            }),
            locked: None,
            levels: vec![Choice::new("a", "prescribed", "a"), Choice::new("b", samples::LONG, "a")],
            may_attest: true,
            judges: vec![Link::new("J-1", samples::HOSTILE)],
            hows: vec![Choice::new("video", "Counted from a video", "video")],
            performed_hint: "In Europe/Lisbon.".to_owned(),
            more_open: true,
            again: 3,
            save: words().score_correct,
            apart: "/desk/s/g/w1/1042/not-taking-part".to_owned(),
            apart_text: words().not_taking_part_text,
            apart_button: words().not_taking_part_button,
            take_back: Some("/desk/s/g/w1/1042/withdrawal".to_owned()),
        }
        .render()
        .expect("renders")
    }

    #[test]
    fn every_error_stands_beside_its_field_and_in_the_summary() {
        let errors = FIELDS.iter().map(|f| FieldError::new(*f, samples::HOSTILE)).collect();
        let page = page(errors, Vec::new(), None);
        samples::assert_sound(&page);
        for field in FIELDS.iter().filter(|f| !matches!(**f, "how" | "again")) {
            assert!(page.contains(&format!("href=\"#{field}\"")), "{field} in the summary");
            assert!(page.contains(&format!("id=\"{field}-error-")), "{field} beside the field");
        }
    }

    #[test]
    fn questions_are_answered_with_a_tick() {
        let page =
            page(Vec::new(), vec![Asked { code: "rounds_as_total".to_owned(), text: "278 rounds?".to_owned() }], None);
        samples::assert_sound(&page);
        assert!(page.contains("name=\"confirm-rounds_as_total\"") && page.contains("name=\"confirm-pace\""));
    }

    #[test]
    fn theirs_and_ours_are_shown_when_somebody_was_quicker() {
        let conflict = Conflict {
            theirs: "6+12".to_owned(),
            theirs_state: words().state_entered,
            ours: samples::HOSTILE.to_owned(),
        };
        let page = page(Vec::new(), Vec::new(), Some(conflict));
        samples::assert_sound(&page);
        assert!(page.contains(words().conflict_theirs) && page.contains("6+12"));
    }
}
