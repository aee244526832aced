//! `/organise/{c}/file`: a competition file, looked at before it is applied.
//!
//! Nothing is kept between the two steps but the text itself, in the form: what is applied is what
//! was shown, and when another file was applied meanwhile, nothing is.

use super::super::form::FieldError;
use super::super::html;
use super::super::imported;
use super::super::shell::{Link, Shell, words};
use super::super::upload::Upload;
use super::{frame, reader, refused, texts};
use crate::actions::apply::{self, How};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::views::{AppliedView, DifferenceView};
use crate::actions::{Failure, Request};
use crate::app::App;
use crate::rules::competition::{Difference, from_toml, to_toml};
use crate::rules::fault::Fault;
use crate::rules::ledger::{Precondition, Refusal};
use crate::store::aside;
use crate::web::extract::Path;
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::en::new_competition::NewCompetition;
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{self, Sentence, put};
use askama::Template;
use axum::body::Body;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use http::{StatusCode, header};

/// Differences shown at most.
const SHOWN: usize = 1_000;

#[derive(Template)]
#[template(path = "organise_file.html")]
pub(super) struct View {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    csrf: String,
    action: String,
    title: &'static str,
    about: &'static str,
    /// A file to begin with.
    example: Option<Link>,
    paste_hint: &'static str,
    done: Option<&'static str>,
    errors: Vec<FieldError>,
    text: String,
    /// Log position of the file that the text was compared with.
    etag: String,
    rescore: bool,
    /// Why it changes, as typed.
    reason: String,
    /// There is a competition already whose stored scores a file may change.
    stands: bool,
    looked: Option<Looked>,
    warnings: Vec<String>,
}

/// What would change, or has.
struct Looked {
    title: &'static str,
    changes: Vec<Change>,
    reworked: String,
    /// Something that is published changes.
    published: bool,
    /// It can be applied as it is.
    ready: bool,
}

struct Change {
    key: String,
    from: String,
    to: String,
    means: Vec<&'static str>,
}

impl View {
    /// For a file of a competition that is there.
    fn of(caller: &Caller, reader: &Reader) -> Self {
        let o = texts();
        Self {
            etag: reader.definition_tag.to_string(),
            stands: true,
            paste_hint: o.file_stands_hint,
            example: Some(Link::new(format!("/organise/{}/competition.toml", reader.slug), o.file_in_force)),
            ..Self::blank(
                caller,
                frame(caller, reader, "file", o.file_title),
                format!("/organise/{}/file", reader.slug),
            )
        }
    }

    /// Nothing looked at yet.
    fn blank(caller: &Caller, shell: Shell, action: String) -> Self {
        let o = texts();
        Self {
            shell,
            w: words(),
            o,
            csrf: caller.csrf.clone(),
            action,
            title: o.file_title,
            about: o.file_about,
            example: None,
            paste_hint: o.file_paste_hint,
            done: None,
            errors: Vec::new(),
            text: String::new(),
            etag: String::new(),
            rescore: false,
            reason: String::new(),
            stands: false,
            looked: None,
            warnings: Vec::new(),
        }
    }

    /// Whether the file is in force now.
    pub(super) fn applied(&self) -> bool {
        self.done.is_some()
    }

    /// For a competition that is to be made.
    pub(super) fn fresh(caller: &Caller, shell: Shell, n: &'static NewCompetition) -> Self {
        Self {
            title: n.title,
            about: n.about,
            example: Some(Link::new(super::create::EXAMPLE, n.example)),
            ..Self::blank(caller, shell, super::create::PATH.to_owned())
        }
    }
}

fn looked(title: &'static str, applied: &AppliedView, ready: bool) -> Looked {
    let void = applied.reworked.iter().filter(|r| r.void).count();
    let values: [(&'static str, &dyn std::fmt::Display); 2] = [("n", &applied.reworked.len()), ("void", &void)];
    Looked {
        title,
        changes: applied.changes.iter().take(SHOWN).map(change).collect(),
        reworked: if applied.reworked.is_empty() { String::new() } else { put(texts().file_reworked, &values) },
        published: applied.changes.iter().any(|d| d.published),
        ready: ready && !applied.changes.is_empty(),
    }
}

fn change(d: &DifferenceView) -> Change {
    let o = texts();
    let said = |value: &Option<String>| value.clone().unwrap_or_else(|| o.file_nothing.to_owned());
    let scores = match (d.rescore, d.voids) {
        (_, true) => Some(o.file_voids),
        (true, false) => Some(o.file_needs_rescore),
        (false, false) => None,
    };
    let means = d.published.then_some(o.file_published).into_iter().chain(scores).collect();
    Change { key: d.key.clone(), from: said(&d.from), to: said(&d.to), means }
}

/// `GET /organise/{c}/file`.
pub async fn get_file(State(app): State<App>, caller: Caller, Path(slug): Path<String>) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let text = to_toml(&reader.raw).map_err(Problem::internal)?;
    Ok(html(&View { text, ..View::of(&caller, &reader) })?.into_response())
}

/// `GET /organise/{c}/competition.toml`: the file in force.
pub async fn get_toml(State(app): State<App>, caller: Caller, Path(slug): Path<String>) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    Ok(toml_file(&format!("{slug}.toml"), to_toml(&reader.raw).map_err(Problem::internal)?))
}

/// A competition file to be kept.
pub(super) fn toml_file(name: &str, text: impl Into<Body>) -> Response {
    let kind = (header::CONTENT_TYPE, "application/toml; charset=utf-8".to_owned());
    let name = (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\""));
    ([kind, name], text.into()).into_response()
}

/// `POST /organise/{c}/file`: `do=apply` applies what was shown; anything else only looks.
pub async fn post_file(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    upload: Result<Upload, Problem>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let view = View::of(&caller, &reader);
    let (status, view) = look(&app, &caller, Some(&slug), &upload?, view).await?;
    Ok((status, html(&view)?).into_response())
}

/// Looks at the file that was sent, or applies it; `slug`: of the competition that it must be of,
/// `None`: one that is not there yet.
pub(super) async fn look(
    app: &App,
    caller: &Caller,
    slug: Option<&str>,
    upload: &Upload,
    mut view: View,
) -> Answer<(StatusCode, View)> {
    let o = texts();
    view.rescore = upload.fields.ticked("rescore");
    view.reason = upload.fields.exact("reason").trim().to_owned();
    let how = How { dry_run: upload.fields.get("do") != "apply", rescore: view.rescore, reason: view.reason.clone() };
    let Some(text) = upload.text() else {
        view.errors.push(FieldError::new("file", o.file_not_text));
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, view));
    };
    view.text = text;
    if view.text.trim().is_empty() {
        view.errors.push(FieldError::new("file", o.file_empty));
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, view));
    }
    let _turn = app.file(view.text.len()).await?;
    let raw = match aside(|| from_toml(&view.text)) {
        Ok(raw) => raw,
        Err(faults) => {
            view.errors = faults.iter().map(fault).collect();
            return Ok((StatusCode::UNPROCESSABLE_ENTITY, view));
        }
    };
    let seen = match slug {
        None => Precondition::Absent,
        Some(_) if how.dry_run => Precondition::None,
        Some(_) => Precondition::of_field(upload.fields.get("etag")).unwrap_or_default(),
    };
    let request = Request::at(caller.received).having_seen(seen);
    let looking = how.dry_run;
    let status = match apply::apply(app, &caller.actor, slug, request, raw, how).await {
        Ok(applied) => {
            view.warnings = applied.warnings.iter().map(|r| r.message.clone()).collect();
            view.etag.clone_from(&applied.etag);
            let title = if looking { o.file_changes_title } else { o.file_changed_title };
            let title = if applied.created && looking { o.file_new } else { title };
            view.looked = Some(looked(title, &applied, looking));
            view.done = (!looking).then_some(o.file_applied);
            StatusCode::OK
        }
        Err(Failure::Refused(Refusal::Faults(faults))) => {
            if faults.iter().all(|f| f.pointer == "/reason") {
                view.looked = again(app, caller, slug, &view).await?;
            }
            view.errors = faults.iter().map(fault).collect();
            StatusCode::UNPROCESSABLE_ENTITY
        }
        // What alters stored scores: shown like any difference, to be said yes to.
        Err(Failure::Refused(Refusal::Conflict(_, differences))) if !differences.is_empty() => {
            view.errors.push(FieldError::new("rescore", o.file_conflict));
            if !looking && view.reason.is_empty() && differences.iter().any(|d| d.published) {
                let said = language::say(&Sentence::new("reason_for_published"));
                view.errors.push(FieldError::new("reason", said));
            }
            view.looked = Some(conflict(&differences));
            StatusCode::CONFLICT
        }
        Err(Failure::Refused(Refusal::PreconditionFailed(_))) if slug.is_none() => {
            view.errors.push(FieldError::new("text", words::new_competition(language::reader()).there_already));
            StatusCode::CONFLICT
        }
        Err(Failure::Refused(Refusal::PreconditionFailed(_))) => {
            view.errors.push(FieldError::new("", o.file_changed));
            StatusCode::PRECONDITION_FAILED
        }
        Err(other) => refused(other, &[], &mut view.errors)?,
    };
    Ok((status, view))
}

/// What would change, looked at again: only the reason was missing.
async fn again(app: &App, caller: &Caller, slug: Option<&str>, view: &View) -> Answer<Option<Looked>> {
    let Ok(raw) = aside(|| from_toml(&view.text)) else { return Ok(None) };
    let how = How { dry_run: true, rescore: view.rescore, reason: String::new() };
    let request = Request::at(caller.received).having_seen(Precondition::None);
    let applied = apply::apply(app, &caller.actor, slug, request, raw, how).await?;
    Ok(Some(looked(texts().file_changes_title, &applied, true)))
}

/// What would change, once it is said that stored scores are worked out again.
fn conflict(differences: &[Difference]) -> Looked {
    let changes = differences.iter().take(SHOWN).map(|d| change(&apply::difference(d))).collect();
    let published = differences.iter().any(|d| d.published);
    Looked { title: texts().file_changes_title, changes, reworked: String::new(), published, ready: true }
}

/// A fault of the file, with its line.
fn fault(fault: &Fault) -> FieldError {
    let said = language::say(&fault.sentence);
    if fault.pointer == "/reason" {
        return FieldError::new("reason", said);
    }
    let key = &fault.pointer;
    let text = match fault.line {
        Some(line) if !key.is_empty() => put(texts().file_line_at, &[("line", &line), ("key", key), ("said", &said)]),
        None if !key.is_empty() => imported::at_key(key, &said),
        _ => imported::fault(fault),
    };
    FieldError::new("text", text)
}

#[cfg(test)]
mod tests {
    use super::super::super::samples;
    use super::*;

    fn page(looked: Option<Looked>, errors: Vec<FieldError>) -> String {
        let o = texts();
        let view = View {
            shell: samples::shell("File"),
            w: words(),
            o,
            csrf: "x".to_owned(),
            action: "/organise/s/file".to_owned(),
            title: o.file_title,
            about: o.file_about,
            example: Some(Link::new("/new-competition/example.toml", samples::HOSTILE)),
            stands: true,
            done: Some(o.file_applied),
            errors,
            paste_hint: texts().file_stands_hint,
            text: format!("</textarea>{}", samples::HOSTILE),
            etag: "12".to_owned(),
            rescore: true,
            reason: samples::HOSTILE.to_owned(),
            looked,
            warnings: vec![samples::HOSTILE.to_owned()],
        };
        view.render().expect("renders")
    }

    #[test]
    fn differences_and_faults_come_out_as_text() {
        let line = Fault {
            line: Some(12),
            ..Fault::new("workout.w1.cap", Sentence::new("file_date").with("text", samples::HOSTILE))
        };
        let errors = vec![fault(&line), FieldError::new("rescore", samples::HOSTILE), FieldError::new("file", "x")];
        assert!(crate::words::joined(&errors[0].text).starts_with("Line 12, workout.w1.cap: "));
        let change = |n: usize| Change {
            key: format!("workout.w{n}.cap"),
            from: samples::HOSTILE.to_owned(),
            to: samples::BIDI.to_owned(),
            means: vec![texts().file_published, texts().file_voids],
        };
        let changes = |n| {
            Some(Looked {
                title: "What",
                changes: (0..n).map(change).collect(),
                reworked: "2".to_owned(),
                published: n > 0,
                ready: n > 0,
            })
        };
        let full = page(changes(1_000), errors);
        samples::assert_sound(&full);
        assert_eq!(full.matches("</textarea>").count(), full.matches("<textarea").count());
        assert!(full.contains("value=\"apply\""));
        let same = page(changes(0), Vec::new());
        samples::assert_sound(&same);
        assert!(!same.contains("value=\"apply\"") && same.contains(texts().file_changes_none));
        samples::assert_sound(&page(None, Vec::new()));
    }
}
