//! `/referee`: what needs a referee, most pressing first. First form: by state.

use super::form::{Choice, Fields};
use super::scope::gym_name;
use super::shell::{Link, Shell, encoded, words};
use super::{html, say};
use crate::actions::competitions;
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::score::{self, DeskQuery};
use crate::actions::views::{DeskRow, GymView, ScoreView};
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::workout::Workout;
use crate::web::extract::Query;
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};

/// Rows a group shows at most; the rest is counted.
const SHOWN: usize = 50;

#[derive(Template)]
#[template(path = "referee.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    competitions: Vec<CompetitionView>,
}

struct CompetitionView {
    id: String,
    slug: String,
    title: String,
    groups: Vec<Group>,
    workouts: Vec<Choice>,
}

/// Scores that need a referee for the same reason.
struct Group {
    title: &'static str,
    about: &'static str,
    rows: Vec<Row>,
    more: String,
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
    why: Vec<String>,
}

/// `GET /referee`.
pub async fn get_referee(State(app): State<App>, caller: Caller, Query(fields): Query<Fields>) -> Answer {
    if caller.actor.account.is_none() {
        return Err(Problem::not_signed_in());
    }
    if let (Some(c), Some(w), Some(bib)) = (fields.find("competition"), fields.find("workout"), fields.find("bib")) {
        let bib = bib.trim_start_matches('#');
        return Ok(Redirect::to(&format!("/referee/{}/{}/{}", encoded(&c), encoded(&w), encoded(bib))).into_response());
    }
    let (actor, now) = (&caller.actor, caller.received);
    let mut found = Vec::new();
    for c in competitions::list(&app, actor, now).await? {
        if permit(actor, Act::ReadDesk { competition: &c.slug, gym: None }).is_ok() {
            found.push(competition(&app, &Reader::find(&app, actor, now, &c.slug).await?).await?);
        }
    }
    let w = words();
    let shell = Shell::new(&caller, "/referee", w.referee_title).below([Link::new("", w.nav_referee)]);
    Ok(html(&View { shell, w, competitions: found })?.into_response())
}

async fn competition(app: &App, reader: &Reader) -> Answer<CompetitionView> {
    let (w, c) = (words(), &reader.competition);
    let gyms = lists::gyms(app, &reader.actor, reader.now, &c.slug, &Find::default()).await?;
    let mut groups = [
        (w.referee_appealed, w.referee_appealed_about, Vec::new()),
        (w.referee_withheld, w.referee_withheld_about, Vec::new()),
        (w.referee_flagged, w.referee_flagged_about, Vec::new()),
        (w.referee_raised, w.referee_raised_about, Vec::new()),
    ];
    for x in reader.workouts() {
        let list = score::desk(app, &reader.actor, reader.now, &c.slug, &x.slug, DeskQuery::default()).await?;
        for r in &list.rows {
            let Some((s, group)) = r.score.as_ref().and_then(|s| Some((s, group(s)?))) else { continue };
            groups[group].2.push(row(reader, &gyms, x, r, s));
        }
    }
    let groups = groups.into_iter().filter(|(_, _, rows)| !rows.is_empty());
    Ok(CompetitionView {
        id: format!("c-{}", c.slug),
        slug: c.slug.clone(),
        title: c.title.clone(),
        groups: groups
            .map(|(title, about, mut rows)| {
                let rest = rows.len().saturating_sub(SHOWN);
                rows.truncate(SHOWN);
                let more = if rest > 0 { put(w.referee_more, &[("n", &rest)]) } else { String::new() };
                Group { title, about, rows, more }
            })
            .collect(),
        workouts: reader.workouts().map(|x| Choice::new(&x.slug, &x.title, "")).collect(),
    })
}

/// Which group a score needs a referee in; `None`: in none.
fn group(s: &ScoreView) -> Option<usize> {
    match s.state {
        _ if s.appeal.as_ref().is_some_and(|a| !a.decided) => Some(0),
        "withheld" => Some(1),
        "flagged" => Some(2),
        "attested" if s.upward => Some(3),
        _ => None,
    }
}

fn row(reader: &Reader, gyms: &[GymView], workout: &Workout, r: &DeskRow, s: &ScoreView) -> Row {
    let (w, c) = (words(), &reader.competition);
    let doubt = s.flag.as_ref().map(|f| put(w.why_flag, &[("reason", &say::doubt(f.reason))]));
    Row {
        href: format!("/referee/{}/{}/{}", c.slug, workout.slug, r.bib),
        name: r.name.clone(),
        bib: r.bib,
        division: say::division(c, &r.division).to_owned(),
        gym: r.gym.as_deref().map_or("", |g| gym_name(gyms, g)).to_owned(),
        workout: workout.title.clone(),
        text: s.performance.text.clone(),
        state: say::state(s.state, s.refused),
        why: doubt.into_iter().collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn what_waits_is_listed_with_its_reason() {
        let row = Row {
            href: "/referee/s/w1/1042".to_owned(),
            name: samples::BIDI.to_owned(),
            bib: 1042,
            division: samples::HOSTILE.to_owned(),
            gym: samples::LONG.to_owned(),
            workout: samples::HOSTILE.to_owned(),
            text: "6+14".to_owned(),
            state: words().state_flagged,
            why: vec!["Doubt: the count.".to_owned()],
        };
        let group = Group {
            title: words().referee_flagged,
            about: words().referee_flagged_about,
            rows: vec![row],
            more: "3 more.".to_owned(),
        };
        let one = |id: &str, groups| CompetitionView {
            id: id.to_owned(),
            slug: "s".to_owned(),
            title: samples::HOSTILE.to_owned(),
            groups,
            workouts: vec![Choice::new("w1", samples::LONG, "")],
        };
        let competitions = vec![one("c-s", vec![group]), one("c-t", Vec::new())];
        let page = View { shell: samples::shell("Referee"), w: words(), competitions }.render().expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("Doubt: the count.") && page.contains(words().referee_none));
    }
}
