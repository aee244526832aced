//! `/referee`: what needs a referee, what presses and moves most first, each with its reasons.

use super::form::{self, Choice, Fields};
use super::html;
use super::say;
use super::scope::{Pager, ROWS, gym_name};
use super::shell::{Left, Link, Shell, When, encoded, words};
use crate::actions::competitions;
use crate::actions::directory;
use crate::actions::language;
use crate::actions::queue::{self, Doubted, Wanted};
use crate::actions::reader::Reader;
use crate::actions::views::GymView;
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::queue::{Deadline, Doubt, Press};
use crate::web::extract::Query;
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::en::queue::Queue;
use crate::words::grammar::Noun;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};

#[derive(Template)]
#[template(path = "referee.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    q: &'static Queue,
    competitions: Vec<CompetitionView>,
}

struct CompetitionView {
    id: String,
    slug: String,
    title: String,
    count: String,
    groups: Vec<Group>,
    pager: Pager,
    filter: Filter,
    workouts: Vec<Choice>,
}

/// The lists to choose from; narrowed: something is chosen.
struct Filter {
    narrowed: bool,
    gyms: Vec<Choice>,
    divisions: Vec<Choice>,
    workouts: Vec<Choice>,
    doubts: Vec<Choice>,
}

/// Rows whose deadline is about as near.
struct Group {
    title: &'static str,
    rows: Vec<Row>,
}

struct Row {
    href: String,
    name: String,
    bib: u32,
    division: String,
    gym: String,
    workout: String,
    text: String,
    state: &'static str,
    doubt: Vec<String>,
    /// How long it is to the deadline, and when that is.
    until: Option<(Left, When)>,
    moves: Vec<String>,
}

fn texts() -> &'static Queue {
    words::queue(language::reader())
}

/// `GET /referee`.
pub async fn get_referee(State(app): State<App>, caller: Caller, Query(fields): Query<Fields>) -> Answer {
    if caller.actor.account.is_none() {
        return Err(Problem::not_signed_in());
    }
    if let (Some(c), Some(w), Some(bib)) = (fields.find("competition"), fields.find("workout"), fields.find("bib")) {
        // What is no bib is said there.
        let bib = form::bib(&bib).map_or_else(|| encoded(&bib), |bib| bib.to_string());
        return Ok(Redirect::to(&format!("/referee/{}/{}/{bib}", encoded(&c), encoded(&w))).into_response());
    }
    let (actor, now) = (&caller.actor, caller.received);
    let only = fields.find("competition");
    let mut found = Vec::new();
    for c in competitions::list(&app, actor, now).await? {
        let asked_for = only.as_ref().is_none_or(|slug| *slug == c.slug);
        if asked_for && permit(actor, Act::ReadDesk { competition: &c.slug, gym: None }).is_ok() {
            // Filters are of the one competition whose form they came from.
            let fields = if only.is_some() { &fields } else { &Fields(Vec::new()) };
            found.push(competition(&app, &Reader::find(&app, actor, now, &c.slug).await?, fields).await?);
        }
    }
    let w = words();
    let shell = Shell::new(&caller, "/referee", w.referee_title).below([Link::new("", w.nav_referee)]);
    Ok(html(&View { shell, w, q: texts(), competitions: found })?.into_response())
}

async fn competition(app: &App, reader: &Reader, fields: &Fields) -> Answer<CompetitionView> {
    let (q, c) = (texts(), &reader.competition);
    let gyms = directory::gyms(app, reader).await?;
    let wanted = Wanted {
        gym: fields.find("gym"),
        division: fields.find("division"),
        workout: fields.find("in"),
        doubt: Doubt::ALL.into_iter().find(|d| d.as_str() == fields.get("doubt")),
    };
    let all = queue::queue(app, &reader.actor, reader.now, &c.slug, &wanted).await?;
    let entries = u32::try_from(all.len()).unwrap_or(u32::MAX);
    let from = fields.get("from").parse::<u32>().unwrap_or(1).clamp(1, entries.max(1));
    let start = usize::try_from(from - 1).unwrap_or(usize::MAX);
    let shown = &all[start..all.len().min(start.saturating_add(ROWS as usize))];
    let groups = shown.chunk_by(|a, b| a.deadline.press(reader.now) == b.deadline.press(reader.now));
    let of = |rows: &[Doubted]| Group {
        title: match rows.first().map(|r| r.deadline.press(reader.now)) {
            Some(Press::Hours) => q.hours,
            Some(Press::Day) => q.day,
            _ => q.later,
        },
        rows: rows.iter().map(|d| row(reader, &gyms, d)).collect(),
    };
    Ok(CompetitionView {
        id: format!("c-{}", c.slug),
        slug: c.slug.clone(),
        title: c.title.clone(),
        count: match entries {
            1 => q.count_one.to_owned(),
            n => put(q.count, &[("n", &n)]),
        },
        groups: groups.map(of).collect(),
        pager: Pager::at(|row| address(&c.slug, fields, row), from, shown.len(), entries),
        filter: filter(reader, &gyms, &wanted),
        workouts: reader.workouts().map(|x| Choice::new(&x.slug, &x.title, "")).collect(),
    })
}

/// The same list from another row on.
fn address(slug: &str, fields: &Fields, from: u32) -> String {
    let kept = ["gym", "division", "in", "doubt"].into_iter().filter_map(|n| Some((n, fields.find(n)?)));
    let kept: Vec<String> = kept.map(|(n, v)| format!("&{n}={}", encoded(&v))).collect();
    format!("/referee?competition={}{}&from={from}", encoded(slug), kept.concat())
}

fn filter(reader: &Reader, gyms: &[GymView], wanted: &Wanted) -> Filter {
    let (w, q, c) = (words(), texts(), &reader.competition);
    let doubt = wanted.doubt.map_or("", Doubt::as_str);
    let choices = |every: &str, all: Vec<(&str, &str)>, now: &Option<String>| -> Vec<Choice> {
        let now = now.as_deref().unwrap_or_default();
        let first = Choice::new("", every, now);
        std::iter::once(first).chain(all.into_iter().map(|(slug, title)| Choice::new(slug, title, now))).collect()
    };
    let divisions = c.divisions.iter().filter(|d| d.combines.is_empty()).map(|d| (&*d.slug, &*d.title)).collect();
    let doubts = Doubt::ALL.into_iter().map(|d| Choice::new(d.as_str(), called(d), doubt));
    Filter {
        narrowed: *wanted != Wanted::default(),
        gyms: choices(w.scope_every_gym, gyms.iter().map(|g| (&*g.slug, &*g.name)).collect(), &wanted.gym),
        divisions: choices(q.every_division, divisions, &wanted.division),
        workouts: choices(q.every_workout, reader.workouts().map(|x| (&*x.slug, &*x.title)).collect(), &wanted.workout),
        doubts: std::iter::once(Choice::new("", q.every_doubt, doubt)).chain(doubts).collect(),
    }
}

fn called(doubt: Doubt) -> &'static str {
    let q = texts();
    match doubt {
        Doubt::Appealed => q.appealed,
        Doubt::Withheld => q.withheld,
        Doubt::Flagged => q.flagged,
        Doubt::Raised => q.raised,
    }
}

fn row(reader: &Reader, gyms: &[GymView], d: &Doubted) -> Row {
    let (c, s) = (&reader.competition, &d.score);
    Row {
        href: format!("/referee/{}/{}/{}", c.slug, s.workout, s.bib),
        name: d.name.clone(),
        bib: s.bib,
        division: say::division(c, &d.division).to_owned(),
        gym: d.gym.as_deref().map_or("", |g| gym_name(gyms, g)).to_owned(),
        workout: c.workout(&s.workout).map_or_else(|| s.workout.clone(), |x| x.title.clone()),
        text: s.performance.text.clone(),
        state: say::state(s.state, s.refused),
        doubt: doubt_said(d),
        until: until(d, reader),
        moves: moved_said(d),
    }
}

/// The doubt in words, and that nothing presses any more.
fn doubt_said(d: &Doubted) -> Vec<String> {
    let (w, q) = (words(), texts());
    let mut said = Vec::new();
    match d.doubt {
        Doubt::Appealed => said.push(q.appealed_why.to_owned()),
        Doubt::Raised => said.push(q.raised_why.to_owned()),
        Doubt::Withheld | Doubt::Flagged => {}
    }
    said.extend(d.score.flag.as_ref().map(|f| put(w.why_flag, &[("reason", &say::doubt(f.reason))])));
    if d.deadline == Deadline::Over {
        said.push(q.over.to_owned());
    }
    said
}

/// How long it is to the deadline, and when that is.
fn until(d: &Doubted, reader: &Reader) -> Option<(Left, When)> {
    let q = texts();
    let (at, say) = match d.deadline {
        Deadline::Closes(at) => (at, q.closes),
        Deadline::AttestBy(at) => (at, q.attest),
        Deadline::Over => return None,
    };
    Some((Left::new(reader.now, at, say)?, When::new(at, &reader.competition.time_zone)))
}

/// What would move, and the place.
fn moved_said(d: &Doubted) -> Vec<String> {
    let (w, q) = (words(), texts());
    let mut said = vec![moves(d)];
    let placed = matches!(d.score.state, "attested" | "flagged" | "amended");
    said.extend(d.place.map(|(place, of)| match (place, placed) {
        (1, true) => q.first.to_owned(),
        (1, false) => q.first_then.to_owned(),
        (n, placed) => {
            let ordinal = (w.ordinal)(n.into());
            put(if placed { q.placed } else { q.placed_then }, &[("ordinal", &ordinal), ("of", &of)])
        }
    }));
    said
}

fn moves(d: &Doubted) -> String {
    let (w, q) = (words(), texts());
    let Some(m) = d.moved else { return q.not_ranked.to_owned() };
    if m.places == 0 && m.standings == 0 {
        return q.nothing_moves.to_owned();
    }
    let said = |n: u32, noun| (w.count)(n.into(), noun);
    let (places, standings) = (said(m.places, Noun::Place), said(m.standings, Noun::Standing));
    let moved = match m.standings {
        0 => put(q.only_places, &[("places", &places)]),
        _ => put(q.both, &[("places", &places), ("standings", &standings)]),
    };
    let template = match d.doubt {
        Doubt::Appealed => q.restored_moves,
        Doubt::Withheld => q.stands_moves,
        Doubt::Flagged => q.struck_moves,
        Doubt::Raised => q.back_moves,
    };
    put(template, &[("moved", &moved)])
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn row(bib: u32) -> Row {
        Row {
            href: format!("/referee/s/w1/{bib}"),
            name: samples::BIDI.to_owned(),
            bib,
            division: samples::HOSTILE.to_owned(),
            gym: samples::LONG.to_owned(),
            workout: samples::HOSTILE.to_owned(),
            text: "6+14".to_owned(),
            state: words().state_flagged,
            doubt: vec!["Doubt: the count.".to_owned()],
            until: Some((samples::left("Closes in 2 h."), samples::when())),
            moves: vec![samples::HOSTILE.to_owned()],
        }
    }

    fn page(rows: u32, narrowed: bool) -> String {
        let choices = || vec![Choice::new("", "All", ""), Choice::new("g", samples::HOSTILE, "g")];
        let groups = if rows == 0 {
            Vec::new()
        } else {
            vec![Group { title: texts().hours, rows: (1..=rows).map(row).collect() }]
        };
        let competition = CompetitionView {
            id: "c-s".to_owned(),
            slug: "s".to_owned(),
            title: samples::HOSTILE.to_owned(),
            count: "3 wait.".to_owned(),
            groups,
            pager: Pager::at(|row| format!("/referee?competition=s&from={row}"), 51, 50, 340),
            filter: Filter { narrowed, gyms: choices(), divisions: choices(), workouts: choices(), doubts: choices() },
            workouts: vec![Choice::new("w1", samples::LONG, "")],
        };
        let view = View { shell: samples::shell("Referee"), w: words(), q: texts(), competitions: vec![competition] };
        view.render().expect("renders")
    }

    #[test]
    fn what_waits_is_listed_with_its_reasons_and_the_order_is_said() {
        let page = page(10_000, false);
        samples::assert_sound(&page);
        assert!(page.contains("Doubt: the count.") && page.contains(texts().order) && page.contains("from=101"));
    }

    #[test]
    fn nothing_waiting_is_told_and_a_filter_can_be_taken_away() {
        let all = page(0, false);
        samples::assert_sound(&all);
        assert!(all.contains(texts().none) && !all.contains(texts().show_all));
        let some = page(0, true);
        samples::assert_sound(&some);
        assert!(some.contains(texts().none_fit) && some.contains("href=\"/referee?competition=s\""));
    }

    #[test]
    fn the_address_of_another_row_keeps_what_was_chosen() {
        let fields = Fields(vec![("gym".to_owned(), "a&b".to_owned()), ("from".to_owned(), "51".to_owned())]);
        assert_eq!(address("s", &fields, 101), "/referee?competition=s&gym=a%26b&from=101");
    }
}
