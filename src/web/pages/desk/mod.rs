//! `/desk/{c}/{gym}`: what is left to do, for a gym's staff on the last evening.
//!
//! Complete by plain forms: a field and a button a row, a form for each athlete, one for vouching.
//! The scripts in `static/desk` make more of the same rows. Beside it: [`vouch`] stores
//! the judge's word for many at once, [`papers`] are the receipt and the messages to the missing.

mod file;
pub(super) mod judges;
mod papers;
mod rows;
pub(super) mod saved;
mod visiting;
mod vouch;

pub use file::{get_csv, get_file, post_file};
pub use papers::{get_missing, get_receipt};
pub use vouch::post_attestation;

use super::form::{Choice, Fields};
use super::shell::{Link, Shell, encoded, own_zone, words};
use super::{html, say};
use crate::actions::heats;
use crate::actions::language;
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::score::{self, DeskQuery};
use crate::actions::views::GymView;
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::event::Extension;
use crate::rules::window;
use crate::rules::workout::Workout;
use crate::web::extract::{Path, Query};
use crate::web::once;
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::{Sentence, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::{HeaderMap, StatusCode};
use rows::{At, WorkoutView};
use saved::Saved;
use serde_json::{Map, Value};

#[derive(Template)]
#[template(path = "desk.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    csrf: String,
    title: String,
    saved: Option<Saved>,
    /// What went wrong with a form of the whole desk, and where it is mended.
    troubles: Vec<Link>,
    /// Whether scores are entered here by this reader, who else only looks on.
    enters: bool,
    /// Whether heats are made here by this reader.
    plans: bool,
    judge: JudgeView,
    receipt: String,
    missing: String,
    /// For those who may hand out codes.
    codes: Option<String>,
    /// For those who may propose people.
    proposals: Option<String>,
    file: Link,
    script: ForScript,
    workouts: Vec<WorkoutView>,
}

/// Who vouches for what is saved next.
struct JudgeView {
    action: String,
    /// As typed, or the code.
    typed: String,
    code: String,
    now: String,
    how: String,
    hows: Vec<Choice>,
    all: Vec<Link>,
    /// Which workout was asked for, where only one has its fields; empty: none.
    workout: String,
}

/// What the script needs to know of the desk.
struct ForScript {
    competition: String,
    gym: String,
    account: i64,
    /// The gym's zone, else the competition's.
    zone: String,
    words: String,
    late: String,
    /// Titles by slug, roles and states in words, as JSON.
    divisions: String,
    states: String,
    roles: String,
    /// The codes as which the reader may give a judge's own word, as JSON.
    codes: String,
}

/// A desk with who is at it.
struct Desk {
    reader: Reader,
    gym: GymView,
    base: String,
    judges: Vec<Link>,
    extensions: Vec<Extension>,
}

impl Desk {
    async fn open(app: &App, caller: &Caller, slug: &str, gym: &str) -> Answer<Self> {
        let (actor, now) = (&caller.actor, caller.received);
        let reader = Reader::find(app, actor, now, slug).await?;
        permit(actor, Act::ReadDesk { competition: slug, gym: Some(gym) })?;
        let gyms = lists::gyms(app, actor, now, slug, &Find { gym: Some(gym.to_owned()), q: None }).await?;
        let Some(found) = gyms.into_iter().find(|g| g.slug == gym) else {
            return Err(Problem::not_found(Sentence::new("no_gym").with("gym", crate::actions::reader::shown(gym))));
        };
        let judges = judges::of_gym(app, caller, slug, gym).await?;
        let extensions = app.store.list_extensions(reader.id).await?;
        let base = format!("/desk/{}/{}", encoded(slug), encoded(gym));
        Ok(Self { reader, gym: found, base, judges, extensions })
    }

    /// The workouts with their windows, this gym's, extensions and all: the running ones first, then those that only
    /// judges may still vouch for, each by their close; those still to come last.
    fn windows(&self) -> Vec<(&Workout, window::Window)> {
        let now = self.reader.now;
        let own = |x| window::for_entry(x, &self.extensions, Some(&self.gym.slug), &self.gym.region);
        let mut all: Vec<_> = self.reader.workouts().map(|x| (x, own(x))).collect();
        all.sort_by_key(|(_, own)| (own.opens > now, own.attest_by <= now, own.closes <= now, own.closes));
        all
    }

    /// The page, with what has just been stored, and what went wrong.
    async fn page(
        &self,
        app: &App,
        caller: &Caller,
        fields: &Fields,
        mut done: Option<Saved>,
        mut troubles: Vec<Link>,
    ) -> Answer<View> {
        let (w, c, slug) = (words(), &self.reader.competition, &self.reader.slug);
        let code = judges::meant(&self.judges, fields.get("judge")).unwrap_or_else(|trouble| {
            if troubles.iter().all(|t| t.text != trouble) {
                troubles.push(Link::new("#judge", trouble));
            }
            String::new()
        });
        let hows = judges::hows(&caller.actor, slug, fields.get("how"));
        let how = hows.iter().find(|h| h.chosen).map_or(String::new(), |h| h.value.clone());
        let tail = remembered(&[("judge", &code), ("how", if fields.get("how").is_empty() { "" } else { &how })]);
        let enters = caller.actor.is_staff_of(slug, &self.gym.slug);
        let own_zone = own_zone(&self.gym.time_zone);
        let at = At {
            c,
            now: self.reader.now,
            gym: &self.gym.slug,
            base: &self.base,
            tail: &tail,
            judges: &self.judges,
            judge: &code,
            enters,
            own_zone: own_zone.as_ref(),
        };
        let mut workouts = Vec::new();
        for (x, window) in self.windows() {
            let query = DeskQuery { gym: Some(self.gym.slug.clone()), state: None };
            let mut list = score::desk(app, &caller.actor, caller.received, slug, &x.slug, query).await?;
            let heats = heats::filled(app, &self.reader, &self.gym.slug, x, &window).await?;
            visiting::add_planned(app, caller, slug, &mut list, &heats).await?;
            workouts.push(at.workout(x, &window, &list, &heats));
        }
        let asked = self.give_fields(&mut workouts, fields, &tail);
        if let (None, Some((path, attempt))) = (&done, saved::saved_path(slug, fields.get("saved"))) {
            done = saved::saved(app, &self.reader, (&path, attempt), &workouts, fields.ticked("was_out")).await?;
        }
        let title = put(w.desk_title, &[("gym", &self.gym.name)]);
        let now = match code.as_str() {
            "" => w.desk_words.judge_none.to_owned(),
            code => put(w.desk_words.judge_now, &[("judge", &judges::called(&self.judges, code))]),
        };
        Ok(View {
            shell: Shell::new(caller, self.base.clone(), &title)
                .below([Link::new(format!("/c/{slug}"), &c.title), Link::new("", &title)]),
            w,
            csrf: caller.csrf.clone(),
            title,
            saved: done,
            troubles,
            enters,
            plans: permit(&caller.actor, Act::PlanHeats { competition: slug, gym: &self.gym.slug }).is_ok(),
            judge: JudgeView {
                action: self.base.clone(),
                typed: if code.is_empty() { fields.get("judge").to_owned() } else { code.clone() },
                code,
                now,
                hows,
                how,
                workout: asked,
                all: self.judges.clone(),
            },
            receipt: format!("{}/receipt", self.base),
            missing: format!("{}/missing", self.base),
            codes: permit(&caller.actor, Act::HandOutCodes { competition: slug, gym: &self.gym.slug })
                .is_ok()
                .then(|| format!("{}/codes", self.base)),
            proposals: permit(&caller.actor, Act::Propose { competition: slug, gym: &self.gym.slug })
                .is_ok()
                .then(|| format!("{}/proposals", self.base)),
            file: Link::new(format!("{}/file", self.base), crate::words::desk_file(language::reader()).link),
            script: self.script(caller),
            workouts,
        })
    }

    /// Of a great many rows those of one workout have a field each as the page comes: a form a row is most of
    /// its weight. The script makes the others, and without it they are a link away. The one that was asked
    /// for; empty: none.
    fn give_fields(&self, workouts: &mut [WorkoutView], asked: &Fields, tail: &str) -> String {
        if workouts.iter().map(|x| x.left_to_do().count()).sum::<usize>() <= MOST_FIELDS {
            return String::new();
        }
        let saved = asked.get("saved").split('/').next().unwrap_or_default();
        let meant = |slug: &str| workouts.iter().position(|x| x.open && x.slug == slug);
        let meant = meant(asked.get("workout")).or_else(|| meant(saved));
        let chosen = meant.unwrap_or(0);
        let and = if tail.is_empty() { "?" } else { "&" };
        for (_, x) in workouts.iter_mut().enumerate().filter(|(n, _)| *n != chosen) {
            x.fields_href = format!("{}{tail}{and}workout={}#{}", self.base, encoded(&x.slug), x.id);
        }
        meant.and_then(|n| workouts.get(n)).map_or(String::new(), |x| x.slug.clone())
    }

    fn script(&self, caller: &Caller) -> ForScript {
        let object = |pairs: Vec<(&str, &str)>| {
            let pairs = pairs.into_iter().map(|(k, v)| (k.to_owned(), Value::from(v)));
            Value::Object(pairs.collect::<Map<_, _>>()).to_string()
        };
        let divisions = self.reader.competition.divisions.iter().map(|d| (&*d.slug, &*d.title));
        ForScript {
            competition: self.reader.slug.clone(),
            gym: self.gym.slug.clone(),
            account: caller.actor.account.unwrap_or_default(),
            zone: Some(&self.gym.time_zone)
                .filter(|zone| !zone.is_empty())
                .unwrap_or(&self.reader.competition.time_zone_name)
                .clone(),
            words: words().desk_words.script(),
            late: serde_json::to_string(crate::words::late(language::reader())).unwrap_or_default(),
            divisions: object(divisions.collect()),
            states: object(STATES.iter().map(|s| (*s, say::state(s, false))).collect()),
            roles: object(ROLES.iter().map(|r| (*r, say::role(Some(r)))).collect()),
            codes: serde_json::to_string(&caller.actor.codes_in(&self.reader.slug)).unwrap_or_default(),
        }
    }
}

/// All states of a row.
const STATES: [&str; 11] = [
    "entered",
    "attested",
    "flagged",
    "withheld",
    "amended",
    "struck",
    "withdrawn",
    "late",
    "not_taking_part",
    "missing",
    "guest",
];
/// Rows with a field of their own on one page, as it comes.
const MOST_FIELDS: usize = 300;
/// Those who may have been quicker.
const ROLES: [&str; 5] = ["organiser", "referee", "staff", "judge", "athlete"];

/// What a page of the desk remembers from one athlete to the next: the judge, and how.
fn remembered(all: &[(&str, &str)]) -> String {
    let said: Vec<String> =
        all.iter().filter(|(_, v)| !v.is_empty()).map(|(n, v)| format!("{n}={}", encoded(v))).collect();
    if said.is_empty() { String::new() } else { format!("?{}", said.join("&")) }
}

/// `GET /desk/{c}/{gym}`.
pub async fn get_desk(
    State(app): State<App>,
    caller: Caller,
    Path((slug, gym)): Path<(String, String)>,
    headers: HeaderMap,
    Query(fields): Query<Fields>,
) -> Answer {
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    if let (Some(bib), Some(workout)) = (fields.find("bib"), fields.find("workout")) {
        if let Some(bib) = visiting::meant(&app, &caller, &slug, &bib).await? {
            let tail = remembered(&[("judge", fields.get("judge")), ("how", fields.get("how"))]);
            return Ok(Redirect::to(&format!("{}/{}/{bib}{tail}", desk.base, encoded(&workout))).into_response());
        }
        let trouble = put(words().desk_words.script_words.no_bib, &[("bib", &bib)]);
        let at = Link::new(format!("#bib-w-{workout}"), trouble);
        let page = desk.page(&app, &caller, &fields, None, vec![at]).await?;
        return Ok((StatusCode::NOT_FOUND, html(&page)?).into_response());
    }
    let once = once::take(&app, &caller, &headers, &desk.base, fields.get(once::FIELD));
    let done = once.as_ref().and_then(|(shown, _)| vouch::said_once(shown));
    let page = html(&desk.page(&app, &caller, &fields, done, Vec::new()).await?)?;
    Ok((once.map(|(_, gone)| gone), page).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::super::shell::Dated;
    use super::rows::{Group, Line};
    use super::*;

    fn line(workout: &str, bib: u32, name: &str, state: &'static str) -> Line {
        Line {
            id: format!("{workout}-{bib}"),
            href: format!("/desk/s/g/{workout}/{bib}"),
            name: name.to_owned(),
            bib,
            attempt: bib,
            nth: samples::HOSTILE.to_owned(),
            key: bib.to_string(),
            division: samples::HOSTILE.to_owned(),
            text: "6+14".to_owned(),
            state,
            levels: vec![Choice::new("a", samples::HOSTILE, "a"), Choice::new("b", samples::LONG, "a")],
            label: format!("Result of {name}"),
            level_label: format!("Level of {name}"),
            place: samples::HOSTILE.to_owned(),
            by: samples::HOSTILE.to_owned(),
            planned: samples::HOSTILE.to_owned(),
            by_label: format!("Judge of {name}"),
            late: vec![samples::HOSTILE.to_owned()],
            saved: "Saved 19:47".to_owned(),
            sheet: samples::HOSTILE.to_owned(),
            sheet_label: format!("Sheet of {name}"),
            ..Line::default()
        }
    }

    fn workout(slug: &str, todo: Vec<Line>, awaiting: Vec<Line>, settled: Vec<Line>) -> WorkoutView {
        WorkoutView {
            id: format!("w-{slug}"),
            slug: slug.to_owned(),
            href: format!("/c/s/workouts/{slug}"),
            title: samples::BIDI.to_owned(),
            summary: Dated::plain("38 of 52 settled"),
            windows: vec![Dated { at: Some(samples::when()), ..Dated::plain(samples::HOSTILE) }],
            left: rows::Countdown {
                text: "closes in 3 h 12 min".to_owned(),
                until: "2027-01-17T21:00:00Z".to_owned(),
                say: words().closes_in,
                grace_until: "2027-01-17T21:10:00Z".to_owned(),
                grace_say: samples::HOSTILE,
                then_until: "2027-01-18T21:00:00Z".to_owned(),
                then_say: samples::HOSTILE,
                over: words().desk_over,
            },
            open: true,
            running: slug == "w1",
            todo_title: "Left to do: 2".to_owned(),
            heats_hint: words().state_missing,
            heats: samples::HOSTILE.to_owned(),
            fields_href: if slug == "w1" { String::new() } else { "/desk/s/g?workout=w2".to_owned() },
            todo: vec![
                Group { title: Dated::plain(samples::HOSTILE), lines: todo },
                Group { title: Dated::default(), lines: Vec::new() },
            ],
            all_done: if awaiting.is_empty() { "All 52 settled. You can go home.".to_owned() } else { String::new() },
            awaiting,
            stated: true,
            vouched_by: String::new(),
            vouched_how: String::new(),
            awaiting_title: "Awaiting a judge: 1".to_owned(),
            settled,
            settled_title: "Settled: 1".to_owned(),
            visitor_action: "/desk/s/g".to_owned(),
            vouch_action: format!("/desk/s/g/{slug}/attestation"),
            script: rows::ForScript {
                keys: "kg lb x",
                levels: format!("{{\"women\":[[\"a\",{:?}]]}}", samples::HOSTILE),
                blank: line(slug, 0, "", ""),
            },
        }
    }

    fn page(saved: Option<Saved>, workouts: Vec<WorkoutView>) -> String {
        let view = View {
            shell: samples::shell("Desk"),
            w: words(),
            csrf: "x\"".to_owned(),
            enters: true,
            plans: true,
            title: samples::HOSTILE.to_owned(),
            saved,
            troubles: vec![Link::new("#judge", samples::HOSTILE)],
            judge: JudgeView {
                action: "/desk/s/g".to_owned(),
                typed: samples::HOSTILE.to_owned(),
                code: "J-1".to_owned(),
                now: samples::BIDI.to_owned(),
                how: "video".to_owned(),
                hows: vec![Choice::new("video", "Counted from a video", "video")],
                all: vec![Link::new("J-1", samples::HOSTILE)],
                workout: samples::HOSTILE.to_owned(),
            },
            receipt: "/desk/s/g/receipt".to_owned(),
            missing: "/desk/s/g/missing".to_owned(),
            codes: Some("/desk/s/g/codes".to_owned()),
            proposals: Some("/desk/s/g/proposals".to_owned()),
            file: Link::new("/desk/s/g/file", samples::HOSTILE),
            script: ForScript {
                competition: "s".to_owned(),
                gym: "g".to_owned(),
                account: 7,
                zone: "Europe/Lisbon".to_owned(),
                words: words().desk_words.script(),
                late: "{}".to_owned(),
                divisions: format!("{{\"women\":{:?}}}", samples::HOSTILE),
                states: "{}".to_owned(),
                roles: "{}".to_owned(),
                codes: "[]".to_owned(),
            },
            workouts,
        };
        view.render().expect("renders")
    }

    #[test]
    fn what_is_left_comes_first_and_what_was_saved_is_said() {
        let saved = Saved {
            title: samples::HOSTILE.to_owned(),
            lines: vec!["Placed 12th of 311 in Women.".to_owned()],
            next: Some(Link::new("/desk/s/g/w1/2", samples::BIDI)),
        };
        let w = words();
        let todo = vec![line("w1", 1, samples::LONG, w.state_missing), line("w1", 2, samples::BIDI, w.state_withdrawn)];
        let awaiting = vec![line("w1", 4, samples::HOSTILE, w.state_entered)];
        let settled = vec![line("w1", 3, samples::HOSTILE, w.state_attested)];
        let page = page(
            Some(saved),
            vec![workout("w1", todo, awaiting, settled), workout("w2", Vec::new(), Vec::new(), Vec::new())],
        );
        samples::assert_sound(&page);
        assert!(page.contains("role=\"status\"") && page.contains("Placed 12th of 311"));
        assert!(page.contains("You can go home."));
        assert!(page.contains("name=\"a-4\""), "a tick for what awaits a judge");
    }

    #[test]
    fn without_a_workout_the_desk_says_what_will_be_there() {
        let page = page(None, Vec::new());
        samples::assert_sound(&page);
        assert!(page.contains(words().desk_no_workout));
    }

    #[test]
    fn the_judge_is_remembered_from_one_athlete_to_the_next() {
        assert_eq!(remembered(&[("judge", "J 1&2"), ("how", "video")]), "?judge=J%201%262&how=video");
        assert_eq!(remembered(&[("judge", ""), ("how", "")]), "");
        let saved = |said| saved::saved_path("s", said).map(|(path, attempt)| (path.bib, attempt));
        assert_eq!(saved("w1/1042"), Some((1042, None)));
        assert_eq!(saved("w1/1042/2"), Some((1042, Some(2))));
        assert_eq!((saved("w1/x"), saved("w1/1042/x")), (None, None));
    }
}
