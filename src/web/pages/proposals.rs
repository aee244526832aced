//! `/desk/{c}/{gym}/proposals`: a gym's staff proposes athletes, judges and colleagues to the
//! organiser, and sees what became of it.

use super::form::{self, Choice, FieldError, Fields};
use super::shell::{Link, Shell, When, words};
use super::{html, say};
use crate::actions::proposals::{self, OfGym};
use crate::actions::{Failure, language};
use crate::app::App;
use crate::rules::competition::Competition;
use crate::rules::ledger::Refusal;
use crate::rules::proposal::{Kind, Proposed};
use crate::store::proposals::{Decided, Outcome, Proposal};
use crate::web::extract::{Path, Query};
use crate::web::once::{self, Shown};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::pages::Pages;
use crate::words::en::proposals::Proposals;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::{HeaderMap, StatusCode};

/// Fields that a fault may stand beside.
const FIELDS: &[&str] =
    &["name", "born", "category", "division", "email", "guardian_consent", "code", "valid_from", "valid_to"];

#[derive(Template)]
#[template(path = "proposals.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    t: &'static Proposals,
    csrf: String,
    action: String,
    back: String,
    title: String,
    caption: String,
    done: Option<String>,
    /// What is odd about what was proposed just now.
    odd: Vec<String>,
    errors: Vec<FieldError>,
    /// Which form is open.
    open: &'static str,
    entry: Proposed,
    judge: Proposed,
    staff: Proposed,
    categories: Vec<Choice>,
    divisions: Vec<Choice>,
    rows: Vec<Row>,
}

/// A proposal.
struct Row {
    id: i64,
    kind: &'static str,
    /// Empty: nobody's facts are kept.
    name: String,
    facts: String,
    outcome: String,
    waits: bool,
}

/// The texts of these pages in the reader's language.
pub(super) fn texts() -> &'static Proposals {
    words::proposals(language::reader())
}

/// What a kind is called.
pub(super) fn kind(kind: Kind) -> &'static str {
    let t = texts();
    match kind {
        Kind::Entry => t.of_entry,
        Kind::Judge => t.of_judge,
        Kind::Staff => t.of_staff,
    }
}

/// What was sent about somebody besides the name, in a line.
pub(super) fn facts(c: &Competition, p: &Proposed) -> String {
    let all = match p.kind {
        Kind::Entry => {
            let consent = if p.guardian_consent { texts().consents } else { "" };
            vec![say::division(c, &p.division), &p.category, &p.born, &p.email, consent]
        }
        Kind::Judge => vec![&*p.code, &p.valid_from, &p.valid_to, &p.email],
        Kind::Staff => vec![&*p.email],
    };
    all.into_iter().filter(|fact| !fact.is_empty()).collect::<Vec<_>>().join(" · ")
}

fn outcome(c: &Competition, kind: Kind, d: &Decided) -> String {
    let (t, at) = (texts(), When::new(d.at, &c.time_zone).said());
    let template = match (d.outcome, kind) {
        (Outcome::Confirmed, Kind::Entry) => t.confirmed_entry,
        (Outcome::Confirmed, Kind::Judge) => t.confirmed_judge,
        (Outcome::Confirmed, Kind::Staff) => t.confirmed_staff,
        (Outcome::Refused, _) if d.reason.is_empty() => t.refused,
        (Outcome::Refused, _) => t.refused_why,
        (Outcome::Withdrawn, _) => t.withdrawn,
        (Outcome::Erased, _) => t.erased,
    };
    put(template, &[("at", &at), ("id", &d.result), ("reason", &d.reason)])
}

fn row(c: &Competition, p: Proposal) -> Row {
    let outcome = match &p.decided {
        Some(decided) => outcome(c, p.kind, decided),
        None => put(texts().waits, &[("at", &When::new(p.created_at, &c.time_zone).said())]),
    };
    Row {
        id: p.id,
        kind: kind(p.kind),
        facts: p.proposed.as_ref().map(|p| facts(c, p)).unwrap_or_default(),
        name: p.proposed.map(|p| p.name).unwrap_or_default(),
        outcome,
        waits: p.decided.is_none(),
    }
}

fn view(caller: &Caller, of: OfGym, slug: &str, typed: Option<&Proposed>, errors: Vec<FieldError>) -> View {
    let (t, w, c) = (texts(), words(), of.reader.competition);
    let desk = format!("/desk/{}/{slug}", c.slug);
    let title = put(t.title, &[("gym", &of.gym)]);
    let open = typed.map_or("entry", |p| p.kind.as_str());
    let of_kind = |kind: Kind| typed.filter(|p| p.kind == kind).cloned().unwrap_or_default();
    let entry = of_kind(Kind::Entry);
    let categories = [("", t.choose), ("women", w.women), ("men", w.men), ("any", w.anybody)];
    let divisions = c.divisions.iter().filter(|d| !d.is_combined()).map(|d| (d.slug.as_str(), d.title.as_str()));
    View {
        shell: Shell::new(caller, format!("{desk}/proposals"), &title).below([
            Link::new(format!("/c/{}", c.slug), &c.title),
            Link::new(&desk, put(w.desk_title, &[("gym", &of.gym)])),
            Link::new("", t.link),
        ]),
        w,
        t,
        csrf: caller.csrf.clone(),
        action: format!("{desk}/proposals"),
        back: desk.clone(),
        caption: put(t.caption, &[("gym", &of.gym)]),
        done: None,
        odd: Vec::new(),
        open,
        categories: categories.map(|(value, text)| Choice::new(value, text, &entry.category)).into(),
        divisions: [("", t.choose)]
            .into_iter()
            .chain(divisions)
            .map(|(value, text)| Choice::new(value, text, &entry.division))
            .collect(),
        judge: of_kind(Kind::Judge),
        staff: of_kind(Kind::Staff),
        entry,
        rows: of.proposals.into_iter().map(|p| row(&c, p)).collect(),
        title,
        errors,
    }
}

/// `GET /desk/{c}/{gym}/proposals`.
pub async fn get_proposals(
    State(app): State<App>,
    caller: Caller,
    headers: HeaderMap,
    Path((competition, gym)): Path<(String, String)>,
    Query(fields): Query<Fields>,
) -> Answer {
    let of = proposals::of_gym(&app, &caller.actor, caller.received, &competition, &gym).await?;
    let mut page = view(&caller, of, &gym, None, Vec::new());
    page.done = (fields.get("done") == "withdrawn").then(|| texts().withdrawn_done.to_owned());
    let Some((shown, gone)) = once::take(&app, &caller, &headers, &page.action, fields.get(once::FIELD)) else {
        return Ok(html(&page)?.into_response());
    };
    page.done = Some(shown.told);
    page.odd = shown.left_out.into_iter().map(|(odd, _)| odd).collect();
    page.open = Kind::parse(&shown.whose).unwrap_or_default().as_str();
    Ok((gone, html(&page)?).into_response())
}

/// `POST /desk/{c}/{gym}/proposals`: leads to the page with what was proposed on its list; or the page
/// with what is wrong and everything that was typed.
pub async fn post_proposals(
    State(app): State<App>,
    caller: Caller,
    Path((competition, gym)): Path<(String, String)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let (actor, now) = (&caller.actor, caller.received);
    let typed = typed(&fields);
    let made = proposals::propose(&app, actor, now, &competition, &gym, typed.clone()).await;
    let (status, errors) = match made {
        Ok((id, warnings)) => {
            let odd = warnings.into_iter().map(|w| put(texts().sent_odd, &[("what", &w.message)]));
            let shown = Shown {
                told: put(texts().sent, &[("id", &id)]),
                whose: typed.kind.as_str().to_owned(),
                left_out: odd.map(|odd| (odd, String::new())).collect(),
                ..Shown::default()
            };
            return Ok(once::lead(&app, &caller, &format!("/desk/{competition}/{gym}/proposals"), shown));
        }
        Err(Failure::Refused(Refusal::Faults(faults))) => {
            let mut errors = form::beside(&faults, FIELDS, &[]);
            for error in errors.iter_mut().filter(|e| !e.id.is_empty()) {
                error.id = format!("{}-{}", typed.kind.as_str(), error.id);
            }
            (StatusCode::UNPROCESSABLE_ENTITY, errors)
        }
        Err(Failure::Refused(Refusal::Conflict(sentence, _))) => {
            (StatusCode::CONFLICT, vec![FieldError::new("", language::say(&sentence))])
        }
        Err(other) => return Err(other.into()),
    };
    let of = proposals::of_gym(&app, actor, now, &competition, &gym).await?;
    Ok((status, html(&view(&caller, of, &gym, Some(&typed), errors))?).into_response())
}

/// Somebody, out of a form.
fn typed(fields: &Fields) -> Proposed {
    let text = |name: &str| fields.get(name).to_owned();
    Proposed {
        kind: Kind::parse(fields.get("kind")).unwrap_or_default(),
        name: text("name"),
        email: text("email"),
        born: text("born"),
        category: text("category"),
        division: text("division"),
        guardian_consent: fields.ticked("guardian_consent"),
        code: text("code"),
        valid_from: text("valid_from"),
        valid_to: text("valid_to"),
    }
}

/// `POST /desk/{c}/{gym}/proposals/{id}/withdraw`.
pub async fn post_withdraw(
    State(app): State<App>,
    caller: Caller,
    Path((competition, gym, id)): Path<(String, String, i64)>,
    Form(_): Form<Fields>,
) -> Answer {
    proposals::withdraw(&app, &caller.actor, caller.received, &competition, &gym, id).await?;
    Ok(Redirect::to(&format!("/desk/{competition}/{gym}/proposals?done=withdrawn")).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn page(n: i64) -> String {
        let hostile = |kind| Proposed {
            kind,
            name: samples::HOSTILE.to_owned(),
            email: samples::HOSTILE.to_owned(),
            born: samples::HOSTILE.to_owned(),
            code: samples::HOSTILE.to_owned(),
            ..Proposed::default()
        };
        let row = |id| Row {
            id,
            kind: kind(Kind::Entry),
            name: samples::HOSTILE.to_owned(),
            facts: samples::BIDI.to_owned(),
            outcome: samples::LONG.to_owned(),
            waits: id % 2 == 0,
        };
        let view = View {
            shell: samples::shell("Proposals"),
            w: words(),
            t: texts(),
            csrf: "x".to_owned(),
            action: "/desk/s/q/proposals".to_owned(),
            back: "/desk/s/q".to_owned(),
            title: samples::HOSTILE.to_owned(),
            caption: samples::BIDI.to_owned(),
            done: Some(samples::HOSTILE.to_owned()),
            odd: vec![samples::HOSTILE.to_owned()],
            errors: vec![FieldError::new("entry-name", samples::HOSTILE), FieldError::new("staff-email", "none")],
            open: "staff",
            entry: hostile(Kind::Entry),
            judge: hostile(Kind::Judge),
            staff: hostile(Kind::Staff),
            categories: vec![Choice::new("women", samples::HOSTILE, "women")],
            divisions: vec![Choice::new("d", samples::BIDI, "")],
            rows: (0..n).map(row).collect(),
        };
        view.render().expect("renders")
    }

    #[test]
    fn the_form_with_faults_is_open_and_only_what_waits_is_taken_back() {
        let four = page(4);
        samples::assert_sound(&four);
        assert_eq!(four.matches("<details open>").count(), 1);
        assert_eq!(four.matches("/withdraw\"").count(), 2);
        samples::assert_sound(&page(0));
        samples::assert_sound(&page(200));
    }
}
