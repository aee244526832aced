//! `/judge/{c}`: where a judge counts, what the standards are, what waits for their word, and what they gave it
//! for.

mod word;

pub use word::post_attestation;

use super::form::Fields;
use super::shell::{Dated, Link, Shell, own_zone, words};
use super::{html, say, vouching};
use crate::actions::judging::{self, Credential, Lane, Share, Vouched, Work};
use crate::actions::language;
use crate::app::App;
use crate::rules::workout::Workout;
use crate::web::extract::{Path, Query};
use crate::web::once;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::{heats, put, sheet};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::HeaderMap;
use jiff::tz::TimeZone;
use word::WordView;

#[derive(Template)]
#[template(path = "judge.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    csrf: String,
    title: String,
    /// What has just been stored.
    given: Option<GivenView>,
    /// What went wrong with a word, and where it is mended.
    troubles: Vec<Link>,
    credentials: Vec<CredentialView>,
}

/// For how many the word was just given.
struct GivenView {
    title: String,
    lines: Vec<String>,
}

impl GivenView {
    fn new(done: u32, lines: Vec<String>) -> Self {
        Self { title: put(words().judging_given, &[("n", &done)]), lines }
    }
}

/// One code of whoever reads.
struct CredentialView {
    id: String,
    who: String,
    valid: String,
    workouts: Vec<WorkoutView>,
}

struct WorkoutView {
    id: String,
    title: String,
    window: Dated,
    links: Vec<Link>,
    /// What is said where there is no lane.
    none: &'static str,
    lanes: Vec<LaneView>,
    /// What waits for their word; `None`: nothing.
    word: Option<WordView>,
    /// What is said where nothing does, or not all of it is shown.
    waits: Vec<&'static str>,
    vouched_title: String,
    vouched: Vec<VouchedView>,
}

struct LaneView {
    place: String,
    starts: Dated,
    /// Until when they may vouch for it, where that is another time than at their own gym.
    until: Dated,
    href: String,
    name: String,
    bib: u32,
}

struct VouchedView {
    href: String,
    name: String,
    bib: u32,
    text: String,
    state: &'static str,
    how: &'static str,
    at: Dated,
    /// What is said of a word that came too late.
    late: &'static str,
}

/// `GET /judge/{c}`.
pub async fn get_judge(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    headers: HeaderMap,
    Query(fields): Query<Fields>,
) -> Answer {
    let work = judging::work(&app, &caller.actor, caller.received, &slug).await?;
    let once = once::take(&app, &caller, &headers, &here(&work.reader.slug), fields.get(once::FIELD));
    let given = once.as_ref().and_then(|(shown, _)| vouching::said_once(shown));
    let mut page = view(&caller, &work);
    page.given = given.map(|(done, lines)| GivenView::new(done, lines));
    let page = html(&page)?;
    Ok((once.map(|(_, gone)| gone), page).into_response())
}

/// The page's address.
fn here(slug: &str) -> String {
    format!("/judge/{slug}")
}

fn view(caller: &Caller, work: &Work) -> View {
    let (w, c) = (words(), &work.reader.competition);
    let title = put(w.judging_title, &[("competition", &c.title)]);
    View {
        shell: Shell::new(caller, here(&c.slug), &title)
            .below([Link::new(format!("/c/{}", c.slug), &c.title), Link::new("", w.nav_judge)]),
        w,
        csrf: caller.csrf.clone(),
        title,
        given: None,
        troubles: Vec::new(),
        credentials: work.credentials.iter().enumerate().map(|(n, one)| credential(work, n, one)).collect(),
    }
}

fn credential(work: &Work, n: usize, one: &Credential) -> CredentialView {
    let (w, c, now) = (words(), &work.reader.competition, work.reader.now);
    let day = |day| (w.day)(day);
    let zone = own_zone(&one.zone);
    let name = one.person.as_ref().map_or("", |p| &p.name);
    // What runs first, what is over last.
    let mut all: Vec<(&Workout, &Share)> =
        one.shares.iter().filter_map(|share| Some((c.workout(&share.workout)?, share))).collect();
    all.sort_by_key(|(_, s)| (s.ends() <= now, s.window.opens > now, s.window.closes));
    CredentialView {
        id: format!("j-{n}"),
        who: format!("{name} ({})", one.judge.code).trim().to_owned(),
        valid: put(w.judging_valid, &[("from", &day(one.judge.valid_from)), ("to", &day(one.judge.valid_to))]),
        workouts: all.into_iter().map(|(x, share)| workout(work, (n, one), x, share, zone.as_ref())).collect(),
    }
}

fn workout(
    work: &Work,
    (nth, one): (usize, &Credential),
    x: &Workout,
    share: &Share,
    own: Option<&TimeZone>,
) -> WorkoutView {
    let (w, heats, c) = (words(), heats(language::reader()), &work.reader.competition);
    let base = format!("/c/{}/workouts/{}", c.slug, x.slug);
    let said = |sentence: &str, at| Dated::at_place(sentence, at, &c.time_zone, own);
    let now = work.reader.now;
    let (over, here) = (share.ends() <= now, share.window.attest_by);
    let window = if over {
        Dated::plain(w.desk_over)
    } else if now < share.window.opens {
        said(w.desk_opens, share.window.opens)
    } else if now < here {
        said(w.desk_words.vouch_until, here)
    } else {
        // Only lanes elsewhere are left, which say until when.
        Dated::default()
    };
    let of = |bib: u32| format!("/c/{}/athletes/{bib}#w-{}", c.slug, x.slug);
    let lane = |l: &Lane| LaneView {
        place: place(one, l),
        starts: Dated::at_place(heats.starts, l.starts, &c.time_zone, own_zone(&l.gym.time_zone).as_ref()),
        until: if l.window.attest_by == here || over || now < share.window.opens {
            Dated::default()
        } else {
            let own = own_zone(&l.gym.time_zone);
            Dated::at_place(w.desk_words.vouch_until, l.window.attest_by, &c.time_zone, own.as_ref())
        },
        href: of(l.bib),
        name: l.name.clone(),
        bib: l.bib,
    };
    let vouched = |v: &Vouched| VouchedView {
        href: of(v.bib),
        name: v.name.clone(),
        bib: v.bib,
        text: v.text.clone(),
        state: say::state(v.state, v.refused),
        how: say::how(v.how),
        at: said(w.judging_vouched_at, v.at),
        late: if v.waiting { w.judging_late } else { "" },
    };
    let none = !over && now >= share.window.opens && share.waiting.is_empty();
    let waits = [(none, w.judging_waiting_none), (!over && share.hidden, w.judging_others_hidden)];
    WorkoutView {
        id: format!("w-{nth}-{}", x.slug),
        word: WordView::new(work, (nth, one), x, share),
        waits: waits.into_iter().filter(|(holds, _)| *holds).map(|(_, said)| said).collect(),
        title: x.title.clone(),
        window,
        none: if over { "" } else { w.judging_no_lane },
        links: vec![
            Link::new(&base, w.judging_brief),
            Link::new(format!("{base}/sheet"), sheet(language::reader()).link),
        ],
        lanes: share.lanes.iter().map(lane).collect(),
        vouched_title: put(w.judging_vouched, &[("n", &share.vouched.len())]),
        vouched: share.vouched.iter().map(vouched).collect(),
    }
}

/// A lane, and at which gym where it is not the judge's own.
fn place(one: &Credential, lane: &Lane) -> String {
    let heats = heats(language::reader());
    if one.judge.gym.as_ref() == Some(&lane.gym.slug) {
        put(heats.desk_place, &[("heat", &lane.heat), ("lane", &lane.lane)])
    } else {
        put(heats.place_elsewhere, &[("heat", &lane.heat), ("lane", &lane.lane), ("gym", &lane.gym.name)])
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn lanes_and_links_bear_any_name() {
        let page = |n: u32| {
            let lane = |bib| LaneView {
                place: "Heat 2, lane 3".to_owned(),
                starts: Dated::plain(samples::BIDI),
                until: Dated { at: Some(samples::when()), ..Dated::plain(samples::HOSTILE) },
                href: "/c/s/athletes/7".to_owned(),
                name: samples::HOSTILE.to_owned(),
                bib,
            };
            let vouched = |bib| VouchedView {
                href: "/c/s/athletes/7".to_owned(),
                name: samples::HOSTILE.to_owned(),
                bib,
                text: samples::BIDI.to_owned(),
                state: say::state("attested", false),
                how: say::how("video"),
                at: Dated { at: Some(samples::when()), ..Dated::plain(samples::HOSTILE) },
                late: words().judging_late,
            };
            let workout = |i| WorkoutView {
                id: format!("w-0-w{i}"),
                title: samples::HOSTILE.to_owned(),
                window: Dated { at: Some(samples::when()), ..Dated::plain(samples::HOSTILE) },
                links: vec![Link::new("/c/s/workouts/w1", words().judging_brief)],
                none: words().judging_no_lane,
                lanes: (0..n * i).map(lane).collect(),
                word: word::sample(n * i, &format!("0-w{i}")),
                waits: vec![words().judging_waiting_none, words().judging_others_hidden],
                vouched_title: put(words().judging_vouched, &[("n", &2)]),
                vouched: (0..n * i).map(vouched).collect(),
            };
            let credential = CredentialView {
                id: "j-0".to_owned(),
                who: samples::HOSTILE.to_owned(),
                valid: samples::BIDI.to_owned(),
                workouts: (0..n).map(workout).collect(),
            };
            let view = View {
                shell: samples::shell("Judge"),
                w: words(),
                csrf: "token".to_owned(),
                title: samples::LONG.to_owned(),
                given: Some(GivenView::new(n, vec![samples::HOSTILE.to_owned(), samples::BIDI.to_owned()])),
                troubles: vec![Link::new("#vs-0-w1", samples::HOSTILE)],
                credentials: vec![credential],
            };
            view.render().expect("renders")
        };
        samples::assert_sound(&page(3));
        assert!(page(2).contains("has your name yet"));
        assert!(page(2).contains("name=\"a-1\"") && page(2).contains(words().judging_statement));
        assert!(page(0).contains(words().workouts_none) && !page(0).contains("<form class=\"vouch\""));
    }
}
