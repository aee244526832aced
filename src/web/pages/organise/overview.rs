//! `/organise/{c}`: how it goes, what came late and waits for a word, and who has more time.

use super::super::competition::time_left;
use super::super::form::{Choice, FieldError, Fields};
use super::super::scope::gym_name;
use super::super::shell::{Left, Link, Shell, When, words};
use super::super::{html, say};
use super::{frame, instant, number, reader, refused, texts};
use crate::actions::extend::{self, Extended};
use crate::actions::language;
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::score::{self, Late, Progress};
use crate::actions::views::GymView;
use crate::actions::{Failure, Request, ScorePath, admit, erase};
use crate::app::App;
use crate::rules::event::Extension;
use crate::rules::ledger::{Precondition, Refusal, Whose};
use crate::rules::workout::Workout;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;
use std::collections::BTreeSet;

/// Late things shown at once; the rest is counted.
const SHOWN: usize = 100;
/// Fields of the form for more time.
const FIELDS: &[&str] = &["workout", "gym", "region", "closes", "attest_by", "reason"];

#[derive(Template)]
#[template(path = "organise.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    csrf: String,
    base: String,
    title: String,
    done: Option<&'static str>,
    errors: Vec<FieldError>,
    links: Vec<Link>,
    now: Vec<Now>,
    late: Vec<Item>,
    more: String,
    refused: Vec<Item>,
    refused_title: String,
    extensions: Vec<Line>,
    form: ExtensionForm,
    erase_bib: String,
}

/// How far a workout is.
struct Now {
    href: String,
    title: String,
    left: Left,
    facts: Vec<String>,
    missing: Option<Link>,
}

/// Something that came late.
struct Item {
    id: String,
    action: String,
    etag: String,
    href: String,
    name: String,
    bib: u32,
    division: String,
    gym: String,
    workout: String,
    what: String,
    text: String,
    received: String,
    iso: String,
    done: String,
    reason: String,
}

/// Somebody who has more time.
struct Line {
    workout: String,
    whom: String,
    closes: When,
    attest_by: When,
    reason: String,
}

/// The form for more time, as typed.
#[derive(Default)]
struct ExtensionForm {
    workouts: Vec<Choice>,
    gyms: Vec<Choice>,
    regions: Vec<String>,
    region: String,
    closes: String,
    closes_hint: String,
    attest_by: String,
    attest_by_hint: String,
    reason: String,
}

/// What was typed and what is wrong with it.
#[derive(Default)]
struct Typed {
    fields: Fields,
    errors: Vec<FieldError>,
    /// The late thing it is about; `None`: more time.
    late: Option<String>,
}

async fn view(app: &App, caller: &Caller, reader: &Reader, typed: Typed) -> Answer<View> {
    let (w, o, c, actor, now) = (words(), texts(), &reader.competition, &caller.actor, caller.received);
    let base = format!("/organise/{}", c.slug);
    let gyms = lists::gyms(app, actor, now, &c.slug, &Find::default()).await?;
    let progress = score::progress(app, actor, now, &c.slug).await?;
    let item = |l: Late| item(reader, &gyms, &base, l, &typed);
    let (no, yes): (Vec<Late>, Vec<Late>) =
        score::late(app, actor, now, &c.slug).await?.into_iter().partition(|l| l.refused);
    let rest = yes.len().saturating_sub(SHOWN);
    let title = put(o.title, &[("competition", &c.title)]);
    let proposals = super::proposals::link(app, caller, &c.slug).await?;
    let refused_title = put(o.late_refused_title, &[("n", &no.len())]);
    Ok(View {
        shell: frame(caller, reader, "", &title),
        w,
        o,
        csrf: caller.csrf.clone(),
        title,
        done: None,
        links: [
            ("missing", o.missing_title),
            ("file", o.file),
            ("lists/gyms", o.gyms),
            ("lists/entries", o.entries),
            ("lists/judges", o.judges),
            ("people", o.people_title),
        ]
        .map(|(path, text)| Link::new(format!("{base}/{path}"), text))
        .into_iter()
        .chain([proposals])
        .collect(),
        now: reader.workouts().map(|x| now_of(reader, x, progress.get(&x.slug).copied(), &base)).collect(),
        late: yes.into_iter().take(SHOWN).map(item).collect(),
        more: if rest > 0 { put(o.late_more, &[("n", &rest)]) } else { String::new() },
        refused: no.into_iter().take(SHOWN).map(item).collect(),
        refused_title,
        extensions: extend::list(app, actor, now, &c.slug).await?.iter().map(|e| line(reader, &gyms, e)).collect(),
        form: extension_form(reader, &gyms, if typed.late.is_none() { &typed.fields } else { NONE }),
        erase_bib: typed.fields.get("erase_bib").to_owned(),
        errors: typed.errors,
        base,
    })
}

/// Nothing typed.
const NONE: &Fields = &Fields(Vec::new());

fn now_of(reader: &Reader, x: &Workout, progress: Option<Progress>, base: &str) -> Now {
    let (o, c) = (texts(), &reader.competition);
    let href = format!("/c/{}/workouts/{}", c.slug, x.slug);
    let Some(p) = progress else {
        let at = When::new(x.window.opens, &c.time_zone).text;
        let (title, left) = (x.title.clone(), put(o.not_open, &[("at", &at)]));
        let left = Left { text: left, ..Left::default() };
        return Now { href, title, left, facts: Vec::new(), missing: None };
    };
    let mut facts = vec![put(o.placed, &[("n", &number(p.placed))])];
    facts.extend((p.awaiting > 0).then(|| put(o.awaiting, &[("n", &number(p.awaiting))])));
    facts.extend((p.late > 0).then(|| put(o.late_n, &[("n", &number(p.late))])));
    let missing = (p.missing > 0).then(|| {
        Link::new(format!("{base}/missing?workout={}", x.slug), put(o.missing_n, &[("n", &number(p.missing))]))
    });
    if missing.is_none() {
        facts.push(o.missing_none.to_owned());
    }
    let closed = || Left { text: words().window_closed.to_owned(), ..Left::default() };
    let left = time_left(x, reader.now).unwrap_or_else(closed);
    Now { href, title: x.title.clone(), left, facts, missing }
}

fn item(reader: &Reader, gyms: &[GymView], base: &str, late: Late, typed: &Typed) -> Item {
    let (o, c, s) = (texts(), &reader.competition, &late.score);
    let id = format!("{}-{}", s.workout, s.bib);
    let now_text = &s.performance.text;
    let (what, text) = match (score::correction(s), &s.waiting_attestation) {
        (Some(correction), _) => (put(o.late_correction, &[("now", now_text)]), correction.performance.text.clone()),
        (None, Some(a)) => (put(o.late_attestation, &[("judge", &a.judge), ("now", now_text)]), now_text.clone()),
        (None, None) => (o.late_score.to_owned(), now_text.clone()),
    };
    let when = When::new(late.received_at, &c.time_zone);
    let seconds = s.late_by_ms.filter(|_| s.state == "late").map(|ms| ms / 1000);
    let received = match seconds {
        Some(n) => put(o.late_received, &[("at", &when.text), ("late", &(words().duration)(n))]),
        None => put(o.late_received_at, &[("at", &when.text)]),
    };
    let mine = typed.late.as_deref() == Some(&*id);
    Item {
        action: format!("{base}/late/{}/{}", s.workout, s.bib),
        etag: s.etag.clone(),
        href: format!("/c/{}/athletes/{}", c.slug, s.bib),
        name: late.name,
        bib: s.bib,
        division: say::division(c, &late.division).to_owned(),
        gym: s.gym.as_deref().map_or(String::new(), |g| gym_name(gyms, g).to_owned()),
        workout: c.workout(&s.workout).map_or_else(|| s.workout.clone(), |x| x.title.clone()),
        what,
        text,
        received,
        iso: when.iso,
        done: put(o.late_done_at, &[("at", &When::new(s.performed_at, &c.time_zone).text)]),
        reason: if mine { typed.fields.get("reason").to_owned() } else { String::new() },
        id,
    }
}

fn line(reader: &Reader, gyms: &[GymView], e: &Extended) -> Line {
    let (o, c, x) = (texts(), &reader.competition, &e.extension);
    let region = || put(o.extension_region_of, &[("region", &x.region.as_deref().unwrap_or_default())]);
    Line {
        workout: c.workout(&x.workout).map_or_else(|| x.workout.clone(), |found| found.title.clone()),
        whom: x.gym.as_deref().map_or_else(region, |g| gym_name(gyms, g).to_owned()),
        closes: When::new(x.closes, &c.time_zone),
        attest_by: When::new(x.attest_by, &c.time_zone),
        reason: e.reason.clone().unwrap_or_default(),
    }
}

fn extension_form(reader: &Reader, gyms: &[GymView], fields: &Fields) -> ExtensionForm {
    let (o, c, now) = (texts(), &reader.competition, reader.now);
    let open: Vec<&Workout> = reader.workouts().collect();
    // The one whose end is nearest: what is asked for on the evening itself.
    let near = open.iter().min_by_key(|x| (x.window.closes.duration_since(now)).abs());
    let chosen = fields.find("workout").or_else(|| near.map(|x| x.slug.clone())).unwrap_or_default();
    let regions: BTreeSet<&str> = gyms.iter().map(|g| &*g.region).filter(|r| !r.is_empty()).collect();
    let gym = fields.get("gym");
    let hint = |at: Option<jiff::Timestamp>| match at {
        Some(at) => {
            let at = When::new(at, &c.time_zone).text;
            put(o.extension_time_hint, &[("zone", &c.time_zone_name), ("at", &at)])
        }
        None => put(o.extension_times_hint, &[("zone", &c.time_zone_name)]),
    };
    // One workout: its own times help; with several they would mislead.
    let only = match open.as_slice() {
        [one] => Some(one.window),
        _ => None,
    };
    ExtensionForm {
        workouts: open.iter().map(|x| Choice::new(&x.slug, &x.title, &chosen)).collect(),
        gyms: std::iter::once(Choice::new("", o.extension_gym_none, gym))
            .chain(gyms.iter().map(|g| Choice::new(&g.slug, &g.name, gym)))
            .collect(),
        regions: regions.into_iter().map(str::to_owned).collect(),
        region: fields.get("region").to_owned(),
        closes: fields.get("closes").to_owned(),
        closes_hint: hint(only.map(|x| x.closes)),
        attest_by: fields.get("attest_by").to_owned(),
        attest_by_hint: hint(only.map(|x| x.attest_by)),
        reason: fields.get("reason").to_owned(),
    }
}

/// `GET /organise/{c}`.
pub async fn get_overview(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Query(fields): Query<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let o = texts();
    let done = match fields.get("done") {
        "admitted" => Some(o.late_admitted),
        "refused" => Some(o.late_not_admitted),
        "extended" => Some(o.extension_done),
        "erased" => Some(o.erase_done),
        "created" => Some(crate::words::new_competition(language::reader()).created),
        _ => None,
    };
    Ok(html(&View { done, ..view(&app, &caller, &reader, Typed::default()).await? })?.into_response())
}

/// `POST /organise/{c}/late/{w}/{bib}`.
pub async fn post_late(
    State(app): State<App>,
    caller: Caller,
    Path((slug, workout, bib)): Path<(String, String, u32)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let late = Some(format!("{workout}-{bib}"));
    let mut errors = Vec::new();
    let admit = match fields.get("decision") {
        "admit" => true,
        "refuse" => false,
        _ => {
            errors.push(FieldError::new("", texts().late_choose));
            let status = StatusCode::UNPROCESSABLE_ENTITY;
            return again(&app, &caller, &reader, status, Typed { fields, errors, late }).await;
        }
    };
    let seen = Precondition::of_field(fields.get("etag")).unwrap_or_default();
    let path = ScorePath { competition: slug.clone(), workout: workout.clone(), bib };
    let request = Request::at(caller.received).having_seen(seen);
    match admit::admit(&app, &caller.actor, &path, request, admit, fields.get("reason").to_owned()).await {
        Ok(_) => {
            let done = if admit { "admitted" } else { "refused" };
            Ok(Redirect::to(&format!("/organise/{slug}?done={done}")).into_response())
        }
        Err(
            Failure::Refused(Refusal::PreconditionFailed(_) | Refusal::PreconditionRequired(..))
            | Failure::Stale { .. },
        ) => {
            errors.push(FieldError::new("", texts().late_changed));
            let status = StatusCode::PRECONDITION_FAILED;
            again(&app, &caller, &reader, status, Typed { fields, errors, late }).await
        }
        Err(failure) => {
            let status = refused(failure, &["reason"], &mut errors)?;
            // The reason stands beside the score it is about.
            for error in errors.iter_mut().filter(|e| e.id == "reason") {
                error.id = format!("reason-{workout}-{bib}");
            }
            again(&app, &caller, &reader, status, Typed { fields, errors, late }).await
        }
    }
}

/// `POST /organise/{c}/extensions`.
pub async fn post_extension(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let c = &reader.competition;
    let mut errors = Vec::new();
    let mut at = |field: &str| instant(fields.get(field), field, &c.time_zone, &c.time_zone_name, &mut errors);
    let (closes, attest_by) = (at("closes"), at("attest_by"));
    let (Some(closes), Some(attest_by)) = (closes, attest_by) else {
        let typed = Typed { fields, errors, late: None };
        return again(&app, &caller, &reader, StatusCode::UNPROCESSABLE_ENTITY, typed).await;
    };
    let workout = fields.get("workout").to_owned();
    let (gym, region) = (fields.find("gym"), fields.find("region"));
    let extension = Extension { workout, gym, region, closes, attest_by };
    let reason = fields.get("reason").to_owned();
    let request = Request::at(caller.received);
    match extend::extend(&app, &caller.actor, &slug, request, extension, reason).await {
        Ok(_) => Ok(Redirect::to(&format!("/organise/{slug}?done=extended")).into_response()),
        Err(failure) => {
            let status = refused(failure, FIELDS, &mut errors)?;
            again(&app, &caller, &reader, status, Typed { fields, errors, late: None }).await
        }
    }
}

/// `POST /organise/{c}/erase`.
pub async fn post_erase(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let mut errors = Vec::new();
    let bib = fields.number::<u32>("erase_bib", &mut errors);
    if bib.is_none() && errors.is_empty() {
        errors.push(FieldError::new("erase_bib", words().field_number));
    }
    if !fields.ticked("sure") {
        errors.push(FieldError::new("sure", texts().erase_not_sure));
    }
    let status = match bib.filter(|_| errors.is_empty()) {
        Some(bib) => match erase::erase(&app, &caller.actor, caller.received, &slug, Whose::Entry(bib)).await {
            Ok(()) => return Ok(Redirect::to(&format!("/organise/{slug}?done=erased")).into_response()),
            Err(Failure::Refused(Refusal::NotFound(sentence))) => {
                errors.push(FieldError::new("erase_bib", sentence.say(language::reader())));
                StatusCode::UNPROCESSABLE_ENTITY
            }
            Err(other) => return Err(other.into()),
        },
        None => StatusCode::UNPROCESSABLE_ENTITY,
    };
    // Nothing of this form belongs into the others.
    let typed = Typed { errors, late: Some(String::new()), fields };
    again(&app, &caller, &reader, status, typed).await
}

/// The page again, with everything typed and what to mend.
async fn again(app: &App, caller: &Caller, reader: &Reader, status: StatusCode, typed: Typed) -> Answer {
    Ok((status, html(&view(app, caller, reader, typed).await?)?).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::super::samples;
    use super::*;

    fn late(bib: u32) -> Item {
        let hostile = || samples::HOSTILE.to_owned();
        Item {
            id: format!("w1-{bib}"),
            action: format!("/organise/s/late/w1/{bib}"),
            etag: "8812".to_owned(),
            href: format!("/c/s/athletes/{bib}"),
            name: samples::BIDI.to_owned(),
            bib,
            division: hostile(),
            gym: samples::LONG.to_owned(),
            workout: hostile(),
            what: put(texts().late_correction, &[("now", &"6+14")]),
            text: "6+15".to_owned(),
            received: "Received at nine".to_owned(),
            iso: samples::when().iso,
            done: "done at eight".to_owned(),
            reason: hostile(),
        }
    }

    fn page(n: u32, errors: Vec<FieldError>) -> String {
        let hostile = || samples::HOSTILE.to_owned();
        let now = |missing| Now {
            href: "/c/s/workouts/w1".to_owned(),
            title: hostile(),
            left: samples::left("closes in 3 h"),
            facts: vec!["12 placed".to_owned()],
            missing,
        };
        let extension = || Line {
            workout: hostile(),
            whom: samples::LONG.to_owned(),
            closes: samples::when(),
            attest_by: samples::when(),
            reason: samples::BIDI.to_owned(),
        };
        let view = View {
            shell: samples::shell("Organise"),
            w: words(),
            o: texts(),
            csrf: "x".to_owned(),
            base: "/organise/s".to_owned(),
            title: hostile(),
            done: Some(texts().late_admitted),
            errors,
            links: vec![Link::new("/organise/s/file", "File")],
            now: vec![now(Some(Link::new("/organise/s/missing?workout=w1", "3 missing"))), now(None)],
            late: (0..n).map(late).collect(),
            more: "3 more".to_owned(),
            refused: (n..n + n.min(3)).map(late).collect(),
            refused_title: "Not let in: 3".to_owned(),
            extensions: (0..n).map(|_| extension()).collect(),
            form: ExtensionForm {
                workouts: vec![Choice::new("w1", hostile(), "w1")],
                gyms: vec![Choice::new("quayside", samples::BIDI, "")],
                regions: vec![hostile()],
                region: hostile(),
                closes_hint: "In Europe/Lisbon".to_owned(),
                attest_by_hint: "In Europe/Lisbon".to_owned(),
                reason: hostile(),
                ..ExtensionForm::default()
            },
            erase_bib: hostile(),
        };
        view.render().expect("renders")
    }

    #[test]
    fn what_waits_has_a_form_each_and_faults_stand_beside_their_fields() {
        let errors = vec![
            FieldError::new("reason-w1-1", samples::HOSTILE),
            FieldError::new("closes", samples::HOSTILE),
            FieldError::new("", samples::HOSTILE),
        ];
        let page = page(3, errors);
        samples::assert_sound(&page);
        assert_eq!(page.matches("name=\"etag\" value=\"8812\"").count(), 6);
        assert_eq!(page.matches("value=\"admit\"").count(), 6);
    }

    #[test]
    fn nothing_waits_and_ten_thousand_wait() {
        samples::assert_sound(&page(0, Vec::new()));
        let page = page(10_000, Vec::new());
        samples::assert_sound(&page);
    }
}
