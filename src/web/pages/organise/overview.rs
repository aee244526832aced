//! `/organise/{c}`: how it goes, what came late and waits for a word, and who has more time.

use super::super::competition::{time_left, time_said};
use super::super::form::{self, Choice, FieldError, Fields};
use super::super::html;
use super::super::scope::gym_name;
use super::super::shell::{Dated, Left, Link, Shell, When, words};
use super::erase::Whom;
use super::late::{Item, item};
use super::{frame, number, reader, refused, texts};
use crate::actions::Request;
use crate::actions::extend::{self, Extended};
use crate::actions::language;
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::score::{self, Late, Progress};
use crate::actions::views::GymView;
use crate::app::App;
use crate::rules::event::Extension;
use crate::rules::window;
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
    done: Option<String>,
    errors: Vec<FieldError>,
    links: Vec<Link>,
    now: Vec<Now>,
    late: Vec<Item>,
    /// The reason for many, as typed, and whether all are ticked.
    many_reason: String,
    many_all: String,
    all: bool,
    more: String,
    refused: Vec<Item>,
    refused_title: String,
    /// Whether they are shown from a later one on, and where those after them are.
    refused_open: bool,
    refused_more: Option<Link>,
    extensions: Vec<Line>,
    form: ExtensionForm,
    erase_bib: String,
    erase_gym: String,
    erase_judge: String,
    /// Whom it would be; `None`: nobody was looked at yet.
    erase: Option<Whom>,
}

/// How far a workout is.
struct Now {
    href: String,
    title: String,
    left: Left,
    when: Option<Dated>,
    facts: Vec<String>,
    missing: Option<Link>,
}

/// What was said of somebody's time.
struct Line {
    workout: String,
    whom: String,
    closes: When,
    attest_by: When,
    reason: String,
    /// Whether it holds now, or why it does not.
    now: &'static str,
    /// Where it holds: what gives them the file's times again.
    back: Option<Back>,
}

/// The fields of a form that takes more time back.
struct Back {
    workout: String,
    gym: String,
    region: String,
    closes: String,
    attest_by: String,
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
pub(super) struct Typed {
    pub(super) fields: Fields,
    pub(super) errors: Vec<FieldError>,
    /// The late thing it is about; `None`: more time.
    pub(super) late: Option<String>,
    /// What was done all the same.
    pub(super) told: Option<String>,
    /// Who would be erased.
    pub(super) erase: Option<Whom>,
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
    let many_all = put(o.late_many_all, &[("n", &yes.len().min(SHOWN))]);
    // From the one on that was asked for, or where the one stands that the typed is about.
    let mine = |l: &Late| typed.late.as_deref() == Some(&*format!("{}-{}", l.score.workout, l.score.bib));
    let asked = typed.fields.get("refused").parse().unwrap_or(0);
    let after = no.iter().position(mine).map_or(asked, |at| at / SHOWN * SHOWN).min(no.len());
    let refused_title = put(o.late_refused_title, &[("n", &no.len())]);
    Ok(View {
        shell: frame(caller, reader, "", &title),
        w,
        o,
        csrf: caller.csrf.clone(),
        title,
        done: typed.told.clone(),
        many_all,
        many_reason: typed.fields.get("many_reason").to_owned(),
        all: typed.fields.ticked("all"),
        links: [
            ("missing", o.missing_title),
            ("file", o.file),
            ("lists/gyms", o.gyms),
            ("lists/entries", o.entries),
            ("lists/judges", o.judges),
            ("people", o.people_title),
            ("codes", crate::words::claims(language::reader()).link_without),
        ]
        .map(|(path, text)| Link::new(format!("{base}/{path}"), text))
        .into_iter()
        .chain([proposals])
        .collect(),
        now: reader.workouts().map(|x| now_of(reader, x, progress.get(&x.slug).copied(), &base)).collect(),
        late: yes.into_iter().take(SHOWN).map(item).collect(),
        more: if rest > 0 { put(o.late_more, &[("n", &rest)]) } else { String::new() },
        refused_more: (no.len() > after + SHOWN).then(|| {
            let more = no.len() - after - SHOWN;
            Link::new(format!("{base}?refused={}#late", after + SHOWN), put(o.late_refused_more, &[("n", &more)]))
        }),
        refused_open: after > 0,
        refused: no.into_iter().skip(after).take(SHOWN).map(item).collect(),
        refused_title,
        extensions: lines(reader, &gyms, &extend::list(app, actor, now, &c.slug).await?),
        form: extension_form(reader, &gyms, if typed.late.is_none() { &typed.fields } else { NONE }),
        erase_bib: typed.fields.get("erase_bib").to_owned(),
        erase_gym: typed.fields.get("erase_gym").to_owned(),
        erase_judge: typed.fields.get("erase_judge").to_owned(),
        erase: typed.erase,
        errors: typed.errors,
        base,
    })
}

/// Nothing typed.
const NONE: &Fields = &Fields(Vec::new());

fn now_of(reader: &Reader, x: &Workout, progress: Option<Progress>, base: &str) -> Now {
    let (o, c) = (texts(), &reader.competition);
    let href = format!("/c/{}/workouts/{}", c.slug, x.slug);
    let when = time_said(&x.window, reader.now, c, None);
    let Some(p) = progress else {
        let (title, left) = (x.title.clone(), time_left(&x.window, reader.now).unwrap_or_default());
        return Now { href, title, left, when, facts: Vec::new(), missing: None };
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
    let left = time_left(&x.window, reader.now).unwrap_or_else(closed);
    Now { href, title: x.title.clone(), left, when, facts, missing }
}

/// What was said of time, the newest first.
fn lines(reader: &Reader, gyms: &[GymView], all: &[Extended]) -> Vec<Line> {
    let replaced = |n: usize, x: &Extension| all.iter().take(n).any(|newer| newer.extension.for_the_same(x));
    let said: Vec<Extension> = all.iter().rev().map(|e| e.extension.clone()).collect();
    all.iter().enumerate().map(|(n, e)| line(reader, gyms, e, replaced(n, &e.extension), &said)).collect()
}

/// Whether a gym has other times than those that were said of it, for its region was given some since.
fn by_region(x: &Extension, file: &Workout, gyms: &[GymView], said: &[Extension]) -> bool {
    let Some(gym) = &x.gym else { return false };
    let region = gyms.iter().find(|g| g.slug == *gym).map_or("", |g| &*g.region);
    let now = window::for_entry(file, said, Some(gym), region);
    (now.closes, now.attest_by) != (x.closes.max(file.window.closes), x.attest_by.max(file.window.attest_by))
}

fn line(reader: &Reader, gyms: &[GymView], e: &Extended, replaced: bool, said: &[Extension]) -> Line {
    let (o, c, x) = (texts(), &reader.competition, &e.extension);
    let file = c.workout(&x.workout).map(|found| found.window);
    let gives = file.is_some_and(|file| x.closes > file.closes || x.attest_by > file.attest_by);
    let by_region = gives && c.workout(&x.workout).is_some_and(|found| by_region(x, found, gyms, said));
    let now = match (replaced, x.taken_back, gives, by_region) {
        (true, ..) => o.extension_replaced,
        (_, true, ..) => o.extension_taken_back,
        (_, _, false, _) => o.extension_file_gives,
        (.., true) => o.extension_by_region,
        _ => o.extension_holds,
    };
    let back = file.filter(|_| now == o.extension_holds).map(|file| Back {
        workout: x.workout.clone(),
        gym: x.gym.clone().unwrap_or_default(),
        region: x.region.clone().unwrap_or_default(),
        closes: file.closes.to_string(),
        attest_by: file.attest_by.to_string(),
    });
    let region = || put(o.extension_region_of, &[("region", &x.region.as_deref().unwrap_or_default())]);
    Line {
        workout: c.workout(&x.workout).map_or_else(|| x.workout.clone(), |found| found.title.clone()),
        whom: x.gym.as_deref().map_or_else(region, |g| gym_name(gyms, g).to_owned()),
        closes: When::new(x.closes, &c.time_zone),
        attest_by: When::new(x.attest_by, &c.time_zone),
        reason: e.reason.clone().unwrap_or_default(),
        now,
        back,
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
    let many = |many: &str, one: &str| match fields.get("n").parse::<u32>() {
        Ok(n) if n != 1 => put(many, &[("n", &n)]),
        _ => one.to_owned(),
    };
    let done = match fields.get("done") {
        "admitted" => Some(many(o.late_many_admitted, o.late_admitted)),
        "refused" => Some(many(o.late_many_refused, o.late_not_admitted)),
        "extended" => Some(o.extension_done.to_owned()),
        "erased" => Some(o.erase_done.to_owned()),
        "created" => Some(crate::words::new_competition(language::reader()).created.to_owned()),
        _ => None,
    };
    let from = fields.find("refused").map(|from| ("refused".to_owned(), from));
    let typed = Typed { fields: Fields(from.into_iter().collect()), ..Typed::default() };
    Ok(html(&View { done, ..view(&app, &caller, &reader, typed).await? })?.into_response())
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
    let mut at = |field: &str| form::instant(&fields, field, texts().time_needed, &c.time_zone, &mut errors);
    let (closes, attest_by) = (at("closes"), at("attest_by"));
    let workout = fields.get("workout").to_owned();
    let (gym, region) = (fields.find("gym"), fields.find("region"));
    let reason = fields.get("reason").to_owned();
    let request = Request::at(caller.received);
    let known = reader.workout(&workout).is_ok();
    if !known {
        errors.push(FieldError::new("workout", texts().extension_which));
    }
    let (Some(closes), Some(attest_by), true) = (closes, attest_by, known) else {
        // Without its workout no end can be told to be too early.
        let unread = if known {
            Some(extend::Unread { workout, gym, region, closes, attest_by })
        } else {
            let any = reader.workouts().next().map(|x| x.slug.clone());
            any.map(|workout| extend::Unread { workout, gym, region, closes: None, attest_by: None })
        };
        if let Some(unread) = unread {
            let others = extend::faults(&app, &caller.actor, &slug, request, unread, reason).await?;
            errors.extend(super::super::form::beside(&others, FIELDS, &[]));
        }
        let typed = Typed { fields, errors, ..Typed::default() };
        return again(&app, &caller, &reader, StatusCode::UNPROCESSABLE_ENTITY, typed).await;
    };
    let extension = Extension { workout, gym, region, closes, attest_by, taken_back: false };
    match extend::extend(&app, &caller.actor, &slug, request, extension, reason).await {
        Ok(_) => Ok(Redirect::to(&format!("/organise/{slug}?done=extended")).into_response()),
        Err(failure) => {
            let status = refused(failure, FIELDS, &mut errors)?;
            again(&app, &caller, &reader, status, Typed { fields, errors, ..Typed::default() }).await
        }
    }
}

/// The page again, with everything typed and what to mend.
pub(super) async fn again(app: &App, caller: &Caller, reader: &Reader, status: StatusCode, typed: Typed) -> Answer {
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
            ticked: bib == 1,
            workout_slug: "w1".to_owned(),
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
            received: Dated { at: Some(samples::when()), ..Dated::plain("Received ") },
            done: Dated { at: Some(samples::when()), ..Dated::plain("done ") },
            reason: hostile(),
        }
    }

    fn page(n: u32, errors: Vec<FieldError>) -> String {
        let hostile = || samples::HOSTILE.to_owned();
        let now = |missing| Now {
            when: Some(Dated { at: Some(samples::when()), ..Dated::plain("Closes ") }),
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
            now: texts().extension_holds,
            back: Some(Back {
                workout: hostile(),
                gym: hostile(),
                region: hostile(),
                closes: hostile(),
                attest_by: hostile(),
            }),
        };
        let view = View {
            refused_open: true,
            refused_more: Some(Link::new("/organise/s?refused=100#late", "3 more")),
            shell: samples::shell("Organise"),
            w: words(),
            o: texts(),
            csrf: "x".to_owned(),
            base: "/organise/s".to_owned(),
            title: hostile(),
            done: Some(texts().late_admitted.to_owned()),
            many_reason: hostile(),
            many_all: hostile(),
            all: true,
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
            erase_gym: hostile(),
            erase_judge: hostile(),
            erase: (n > 0).then(|| Whom::sample(samples::HOSTILE)),
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
        // One each, and one for many.
        assert_eq!(page.matches("value=\"admit\"").count(), 7);
    }

    #[test]
    fn nothing_waits_and_ten_thousand_wait() {
        samples::assert_sound(&page(0, Vec::new()));
        let page = page(10_000, Vec::new());
        samples::assert_sound(&page);
    }
}
