//! `/desk/{c}/{gym}/heats/{w}`: a gym's heats in a workout: made, changed, and printed in order. What its
//! forms hold is read in `heats_typed`.

use super::form::{Choice, FieldError, Fields};
use super::heats_typed::{Row, beside, places, settings, stored};
use super::shell::{Dated, Link, Shell, own_zone, words};
use super::{heats_late, html, say};
use crate::actions::Failure;
use crate::actions::heats::{self, HeatEntry, HeatsPath, HeatsView, Wanted};
use crate::actions::language;
use crate::app::App;
use crate::rules::heats::{Judging, Place, Plan};
use crate::rules::ledger::Refusal;
use crate::rules::window;
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::pages::Pages;
use crate::words::{self, Sentence, apart, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;
use jiff::Timestamp;

#[derive(Template)]
#[template(path = "heats.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    h: &'static words::en::heats::Heats,
    csrf: String,
    title: String,
    action: String,
    back: String,
    sheets: String,
    paper: String,
    version: u64,
    made: bool,
    /// Whether the workout is over there: nobody starts any more.
    over: bool,
    heats: Vec<HeatView>,
    without: String,
    /// What was moved: as the form holds it, and in words.
    was_moved: String,
    moved: Vec<String>,
    late_heat: String,
    late_minutes: String,
    late_way: Vec<Choice>,
    rows: Vec<RowView>,
    /// Somebody of another gym who is to get a lane.
    visitor: RowView,
    judges: Vec<Link>,
    lanes: String,
    minutes: String,
    start: String,
    start_hint: String,
    judging: Vec<Choice>,
    errors: Vec<FieldError>,
}

/// One heat.
pub(super) struct HeatView {
    pub title: String,
    pub starts: Dated,
    pub caption: String,
    pub id: String,
    pub lanes: Vec<LaneView>,
}

/// One lane.
pub(super) struct LaneView {
    pub lane: u32,
    pub href: String,
    pub name: String,
    pub bib: u32,
    /// That it is somebody of another gym; empty: of this one.
    pub visiting: &'static str,
    pub division: String,
    pub judge: String,
}

/// One athlete's fields.
struct RowView {
    bib: String,
    name: String,
    visiting: &'static str,
    heat: String,
    lane: String,
    judge: String,
    /// As it is stored, to tell later who changed what.
    was: String,
}

pub(super) fn texts() -> &'static words::en::heats::Heats {
    words::heats(language::reader())
}

/// `GET /desk/{c}/{gym}/heats/{w}`.
pub async fn get_heats(
    State(app): State<App>,
    caller: Caller,
    Path((competition, gym, workout)): Path<(String, String, String)>,
) -> Answer {
    let path = HeatsPath { competition, gym, workout };
    let found = heats::with_scores(&app, &caller.actor, caller.received, &path).await?;
    Ok(html(&view(&caller, &path, &found, None, Vec::new())?)?.into_response())
}

/// `POST /desk/{c}/{gym}/heats/{w}`: `do` is `make`, `change`, `move` or `remove`.
pub async fn post_heats(
    State(app): State<App>,
    caller: Caller,
    Path((competition, gym, workout)): Path<(String, String, String)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let path = HeatsPath { competition, gym, workout };
    let found = heats::with_scores(&app, &caller.actor, caller.received, &path).await?;
    let mut errors = Vec::new();
    let wanted = match fields.get("do") {
        "change" => Some(Wanted::Changed(places(&found, &fields, &mut errors))),
        "move" => heats_late::asked(&fields, &mut errors).map(Wanted::Moved),
        "remove" => Some(Wanted::Gone),
        _ => settings(&found, &fields, &mut errors).map(Wanted::Made),
    };
    let version = fields.get("version").parse().unwrap_or(0);
    // A second tap.
    if errors.is_empty() && wanted.as_ref().is_some_and(|wanted| is_so(wanted, version, &fields, &found, &path)) {
        return Ok(Redirect::to(&here(&path)).into_response());
    }
    // One tap takes no plan away.
    let lost = match (&wanted, &found.plan) {
        (Some(Wanted::Made(_)), Some(_)) => Some("sure-make"),
        (Some(Wanted::Gone), Some(_)) => Some("sure-remove"),
        _ => None,
    };
    if let Some(field) = lost.filter(|_| !fields.ticked("sure")) {
        errors.push(FieldError::new(field, texts().sure_needed));
    }
    if version != found.version {
        return meanwhile(&caller, &path, &found, &fields, errors);
    }
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    if let Some(wanted) = wanted.filter(|_| errors.is_empty()) {
        match heats::change(&app, &caller.actor, caller.received, &path, version, wanted.clone()).await {
            Ok(()) => return Ok(Redirect::to(&here(&path)).into_response()),
            Err(Failure::Refused(Refusal::Faults(faults))) => errors.extend(beside(&faults, &fields)),
            Err(Failure::Refused(Refusal::Conflict(..))) => {
                let found = heats::with_scores(&app, &caller.actor, caller.received, &path).await?;
                if is_so(&wanted, version, &fields, &found, &path) {
                    return Ok(Redirect::to(&here(&path)).into_response());
                }
                return meanwhile(&caller, &path, &found, &fields, errors);
            }
            Err(other) => return Err(other.into()),
        }
    }
    Ok((status, html(&view(&caller, &path, &found, Some(&fields), errors)?)?).into_response())
}

/// Whether what is wanted is so already, whoever made it so: then nothing is to be done, and nothing is lost.
/// `version`: that of the heats the sender has seen; who sees what is made and makes it anew is no second tap.
fn is_so(wanted: &Wanted, version: u64, fields: &Fields, found: &HeatsView, path: &HeatsPath) -> bool {
    match (wanted, &found.plan) {
        (Wanted::Gone, None) => true,
        (Wanted::Made(settings), Some(plan)) => {
            let meant = heats::made(found, *settings, path).ok().filter(|_| version != found.version);
            meant.is_some_and(|mut meant| {
                meant.sort();
                meant == *plan
            })
        }
        (Wanted::Changed(places), Some(plan)) => {
            let mut meant = Plan { places: places.clone(), ..plan.clone() };
            meant.sort();
            meant == *plan
        }
        (Wanted::Moved(by), Some(plan)) => version != found.version && heats_late::is_done(*by, fields, plan),
        (Wanted::Gone, Some(_)) | (Wanted::Made(_) | Wanted::Changed(_) | Wanted::Moved(_), None) => false,
    }
}

/// Somebody else was quicker: theirs as it is now, with what this person changed in its fields.
fn meanwhile(
    caller: &Caller,
    path: &HeatsPath,
    found: &HeatsView,
    fields: &Fields,
    mut errors: Vec<FieldError>,
) -> Answer {
    let h = texts();
    let changes = fields.get("do") == "change" && found.plan.is_some();
    let said = if changes { h.changed_kept.to_owned() } else { language::say(&Sentence::new("heats_changed")) };
    errors.insert(0, FieldError::new("", said));
    for bib in found.entries.iter().map(|e| e.bib).filter(|_| changes) {
        let row = Row::read(fields, bib);
        let now = found.plan.as_ref().and_then(|plan| plan.place(bib));
        if row.was.as_deref().is_none_or(|was| was == stored(now)) || !row.is_mine() || row.means(found, now) {
            continue;
        }
        let text = match now {
            None => h.changed_out.to_owned(),
            Some(p) => {
                let at = put(h.desk_place, &[("heat", &p.heat), ("lane", &p.lane)]);
                put(h.changed_both, &[("place", &at), ("judge", &judge_said(found, p.judge.as_deref()))])
            }
        };
        errors.push(FieldError::new(format!("heat-{bib}"), text));
    }
    // By how much was meant on top of what was seen: it is said anew, or it would be done twice.
    let mut fields = fields.clone();
    fields.0.retain(|(name, _)| name != "late_minutes");
    Ok((StatusCode::CONFLICT, html(&view(caller, path, found, Some(&fields), errors)?)?).into_response())
}

fn here(path: &HeatsPath) -> String {
    format!("/desk/{}/{}/heats/{}", path.competition, path.gym, path.workout)
}

fn view(
    caller: &Caller,
    path: &HeatsPath,
    found: &HeatsView,
    typed: Option<&Fields>,
    errors: Vec<FieldError>,
) -> Answer<View> {
    let (h, c) = (texts(), &found.reader.competition);
    let x = found.reader.workout(&path.workout)?;
    let desk = format!("/desk/{}/{}", path.competition, path.gym);
    let title = put(h.title, &[("workout", &x.title)]);
    let plan = found.plan.as_ref();
    let settings = plan.map(|p| p.settings);
    let local = |at: Timestamp| window::typed(at, &c.time_zone);
    let or_typed = |name: &str, stored: String| {
        typed.filter(|f| f.0.iter().any(|(n, _)| n == name)).map_or(stored, |f| f.get(name).to_owned())
    };
    let number = |n: Option<u32>, default: u32| n.unwrap_or(default).to_string();
    let first = settings.map_or_else(|| local(found.reader.now.max(x.window.opens)), |s| local(s.start));
    let judging = match settings.map(|s| s.judging).unwrap_or_default() {
        Judging::PreviousHeat => "previous",
        Judging::Judges => "judges",
    };
    let judging = or_typed("judging", judging.to_owned());
    let rows = found.entries.iter().map(|e| {
        let place = plan.and_then(|p| p.place(e.bib));
        let mine = typed.is_some_and(|f| Row::read(f, e.bib).is_mine());
        let or_typed = |name: &str, stored: String| if mine { or_typed(name, stored) } else { stored };
        RowView {
            was: stored(place),
            bib: e.bib.to_string(),
            name: e.name.clone(),
            visiting: visiting(e),
            heat: or_typed(&format!("heat-{}", e.bib), place.map_or(String::new(), |p| p.heat.to_string())),
            lane: or_typed(&format!("lane-{}", e.bib), place.map_or(String::new(), |p| p.lane.to_string())),
            judge: or_typed(&format!("judge-{}", e.bib), place.and_then(|p| p.judge.clone()).unwrap_or_default()),
        }
    });
    let visitor = |name: &str| or_typed(name, String::new());
    let visitor = RowView {
        bib: visitor("visitor_bib"),
        heat: visitor("visitor_heat"),
        lane: visitor("visitor_lane"),
        judge: visitor("visitor_judge"),
        name: String::new(),
        visiting: "",
        was: String::new(),
    };
    Ok(View {
        shell: Shell::new(caller, here(path), &title).below([
            Link::new(format!("/c/{}", c.slug), &c.title),
            Link::new(&desk, &found.gym),
            Link::new("", &title),
        ]),
        w: words(),
        h,
        csrf: caller.csrf.clone(),
        title,
        action: here(path),
        sheets: format!("/c/{}/workouts/{}/sheet?gym={}", c.slug, x.slug, path.gym),
        paper: format!("{}/paper", here(path)),
        version: found.version,
        made: plan.is_some(),
        over: found.window.closed(found.reader.now),
        heats: heat_views(found, &desk, &path.workout),
        without: without_place(found),
        was_moved: plan.map_or(String::new(), |plan| heats_late::held(&plan.later)),
        moved: plan.map_or(Vec::new(), |plan| heats_late::said(&plan.later)),
        late_heat: or_typed("late_heat", heats_late::offered(found)),
        late_minutes: or_typed("late_minutes", String::new()),
        late_way: ["later", "earlier"]
            .into_iter()
            .zip([h.late_way_later, h.late_way_earlier])
            .map(|(value, text)| Choice::new(value, text, &or_typed("late_way", "later".to_owned())))
            .collect(),
        rows: rows.collect(),
        visitor,
        judges: found.judges.iter().map(|(code, name)| Link::new(code, name)).collect(),
        lanes: or_typed("lanes", number(settings.map(|s| s.lanes), 4)),
        minutes: or_typed("minutes", number(settings.map(|s| s.minutes), 20)),
        start: or_typed("start", first),
        start_hint: put(h.start_hint, &[("zone", &c.time_zone_name)]),
        judging: vec![
            Choice::new("previous", h.judging_previous, &judging),
            Choice::new("judges", h.judging_judges, &judging),
        ],
        back: desk,
        errors,
    })
}

/// Who has no place in the heats; empty: nobody, or there are no heats.
pub(super) fn without_place(found: &HeatsView) -> String {
    let out = found.entries.iter().filter(|e| found.plan.as_ref().is_some_and(|p| p.place(e.bib).is_none()));
    let names = out.map(|e| format!("{} ({})", apart(&e.name), e.bib)).collect::<Vec<_>>().join(", ");
    if names.is_empty() { names } else { put(texts().without_place, &[("names", &names)]) }
}

/// What is said of somebody of another gym.
fn visiting(entry: &HeatEntry) -> &'static str {
    if entry.visiting { words().desk_words.visiting } else { "" }
}

/// Who counts, by name and code.
fn judge_said(found: &HeatsView, code: Option<&str>) -> String {
    let Some(code) = code else { return texts().no_judge.to_owned() };
    let name = found.judges.iter().find(|(c, _)| c == code).map_or("", |(_, name)| name);
    format!("{name} ({code})").trim().to_owned()
}

/// The heats in order.
pub(super) fn heat_views(found: &HeatsView, desk: &str, workout: &str) -> Vec<HeatView> {
    let (h, c) = (texts(), &found.reader.competition);
    let Some(plan) = &found.plan else { return Vec::new() };
    let own = own_zone(&found.gym_zone);
    plan.places
        .chunk_by(|a, b| a.heat == b.heat)
        .filter_map(|places| {
            let n = places.first()?.heat;
            let lane = |p: &Place| {
                let entry = found.entries.iter().find(|e| e.bib == p.bib)?;
                Some(LaneView {
                    lane: p.lane,
                    href: format!("{desk}/{workout}/{}", p.bib),
                    name: entry.name.clone(),
                    bib: p.bib,
                    visiting: visiting(entry),
                    division: say::division(c, &entry.division).to_owned(),
                    judge: judge_said(found, p.judge.as_deref()),
                })
            };
            Some(HeatView {
                title: put(h.heat, &[("n", &n)]),
                starts: Dated::at_place("{at}", plan.starts(n), &c.time_zone, own.as_ref()),
                caption: put(h.caption, &[("n", &n)]),
                id: format!("heat{n}"),
                lanes: places.iter().filter_map(lane).collect(),
            })
        })
        .collect()
}
