//! `/organise/{c}/missing`: who has neither a score nor a statement, by gym and division, as a
//! page, as CSV, and as a text to send to a gym.

use super::super::form::{Choice, Fields};
use super::super::scope::gym_name;
use super::super::shell::{Dated, Link, Shell, encoded, left, own_zone, words};
use super::super::{html, say};
use super::{frame, number, reader, texts};
use crate::actions::Failure;
use crate::actions::lists::{self, Find};
use crate::actions::reader::{Reader, shown};
use crate::actions::score::{self, Missing};
use crate::actions::views::GymView;
use crate::app::App;
use crate::rules::people::Entry;
use crate::rules::table;
use crate::rules::workout::Workout;
use crate::web::api::csv_file;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{Sentence, put, put_plain};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use std::collections::{BTreeMap, BTreeSet};

/// Stands for entries without a gym in an address; no gym can be called so.
const NO_GYM: &str = "*";
/// Longest text that is offered as a mail: longer addresses do not work everywhere.
const MAIL: usize = 1_800;

/// What stands in the file.
const COLUMNS: [&str; 6] = ["workout", "gym", "gym_name", "division", "bib", "name"];

/// The page where there is no workout that anybody could be missing in.
#[derive(Template)]
#[template(path = "organise_no_missing.html")]
struct Nothing {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    file: Link,
}

#[derive(Template)]
#[template(path = "organise_missing.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    base: String,
    lead: String,
    csv: String,
    workouts: Vec<Choice>,
    caption: String,
    divisions: Vec<String>,
    gyms: Vec<GymLine>,
    one: Option<One>,
}

/// A gym and how many of it are missing.
struct GymLine {
    href: String,
    name: String,
    n: usize,
    /// In each division, in turn.
    divisions: Vec<usize>,
}

/// One gym, with the people.
struct One {
    title: String,
    caption: String,
    people: Vec<Person>,
    text: String,
    /// To the gym's contact, and whether the text was too long to go along.
    mail: Option<(Link, bool)>,
    back: String,
}

struct Person {
    href: String,
    name: String,
    bib: u32,
    division: String,
}

/// The workout asked for; else the running one that ends next, the last that ended, the first; `None`: there
/// is none yet.
fn workout<'a>(reader: &'a Reader, fields: &Fields) -> Answer<Option<&'a Workout>> {
    if let Some(slug) = fields.find("workout") {
        return Ok(Some(reader.workout(&slug)?));
    }
    let now = reader.now;
    let running = reader.workouts().filter(|x| x.window.running(now)).min_by_key(|x| x.window.closes);
    let over = || reader.workouts().filter(|x| x.window.closed(now)).max_by_key(|x| x.window.closes);
    Ok(running.or_else(over).or_else(|| reader.workouts().next()))
}

/// `GET /organise/{c}/missing`.
pub async fn get_missing(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Query(fields): Query<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let (o, now) = (texts(), caller.received);
    let Some(x) = workout(&reader, &fields)? else {
        let file = Link::new(format!("/organise/{slug}/file"), o.file);
        let shell = frame(&caller, &reader, "missing", o.missing_title);
        return Ok(html(&Nothing { shell, w: words(), o, file })?.into_response());
    };
    let gyms = lists::gyms(&app, &caller.actor, now, &slug, &Find::default()).await?;
    let missing = score::missing(&app, &caller.actor, now, &slug, &x.slug, None).await?;
    let progress = score::progress(&app, &caller.actor, now, &slug).await?;
    let all = progress.get(&x.slug).map_or(missing.entries.len() as u64, |p| p.entries);
    let base = format!("/organise/{slug}/missing");
    let here = |gym: &str| format!("{base}?workout={}&gym={}", x.slug, encoded(gym));
    let one = match fields.find("gym") {
        Some(gym) => Some(one(&app, &reader, x, &gyms, &missing, &gym).await?),
        None => None,
    };
    let values: [(&'static str, &dyn std::fmt::Display); 3] =
        [("n", &number(missing.entries.len() as u64)), ("all", &number(all)), ("workout", &x.title)];
    let (divisions, lines) =
        if one.is_some() { (Vec::new(), Vec::new()) } else { lines(&reader, &gyms, &missing, here) };
    let title = one.as_ref().map_or(o.missing_title, |one| &one.title);
    let view = View {
        shell: frame(&caller, &reader, "missing", title),
        w: words(),
        o,
        lead: put(o.missing_lead, &values),
        csv: format!("{base}.csv?workout={}", x.slug),
        workouts: reader.workouts().map(|other| Choice::new(&other.slug, &other.title, &x.slug)).collect(),
        caption: put(o.missing_caption, &[("workout", &x.title)]),
        divisions,
        gyms: lines,
        one,
        base,
    };
    Ok(html(&view)?.into_response())
}

/// The divisions that somebody is missing in, and the gyms with the most missing first.
fn lines(
    reader: &Reader,
    gyms: &[GymView],
    missing: &Missing,
    here: impl Fn(&str) -> String,
) -> (Vec<String>, Vec<GymLine>) {
    let (w, c) = (words(), &reader.competition);
    let mut by_gym: BTreeMap<Option<&str>, BTreeMap<&str, usize>> = BTreeMap::new();
    for entry in &missing.entries {
        *by_gym.entry(entry.gym.as_deref()).or_default().entry(&entry.division).or_default() += 1;
    }
    let named: BTreeSet<&str> = missing.entries.iter().map(|e| &*e.division).collect();
    let divisions: Vec<&str> = c.divisions.iter().map(|d| &*d.slug).filter(|d| named.contains(d)).collect();
    let mut lines: Vec<GymLine> = by_gym
        .into_iter()
        .map(|(gym, counts)| GymLine {
            href: here(gym.unwrap_or(NO_GYM)),
            name: gym.map_or(w.no_gym, |g| gym_name(gyms, g)).to_owned(),
            n: counts.values().sum(),
            divisions: divisions.iter().map(|d| counts.get(d).copied().unwrap_or(0)).collect(),
        })
        .collect();
    lines.sort_by(|a, b| b.n.cmp(&a.n).then_with(|| a.name.cmp(&b.name)));
    (divisions.into_iter().map(|d| say::division(c, d).to_owned()).collect(), lines)
}

/// The people of one gym, and the text to send there.
async fn one(app: &App, reader: &Reader, x: &Workout, gyms: &[GymView], missing: &Missing, slug: &str) -> Answer<One> {
    let (w, o, c) = (words(), texts(), &reader.competition);
    let gym = (slug != NO_GYM).then_some(slug);
    let found = gyms.iter().find(|g| Some(&*g.slug) == gym);
    if gym.is_some() && found.is_none() {
        return Err(Failure::not_found(Sentence::new("no_gym").with("gym", shown(slug))).into());
    }
    let name = found.map_or(w.no_gym, |g| &g.name);
    let entries: Vec<&Entry> = missing.entries.iter().filter(|e| e.gym.as_deref() == gym).collect();
    let names = score::names_of(app, missing, &entries.iter().map(|e| e.bib).collect::<Vec<_>>()).await?;
    let people: Vec<Person> = entries
        .iter()
        .map(|e| Person {
            href: format!("/c/{}/athletes/{}", c.slug, e.bib),
            name: names.get(&e.bib).cloned().unwrap_or_default(),
            bib: e.bib,
            division: say::division(c, &e.division).to_owned(),
        })
        .collect();
    let window = missing.window(gym, found.map_or("", |g| &g.region)).unwrap_or(x.window);
    let zone = found.and_then(|g| own_zone(&g.time_zone));
    let said = |ends| Dated::at_place("{at}", ends, &c.time_zone, zone.as_ref()).text();
    let mut text = match (left(reader.now, window.closes), left(reader.now, window.grace_ends)) {
        (Some(left), _) => {
            put_plain(o.text_closes, &[("workout", &x.title), ("at", &said(window.closes)), ("left", &left)])
        }
        (None, Some(left)) => {
            put_plain(o.text_grace, &[("workout", &x.title), ("at", &said(window.grace_ends)), ("left", &left)])
        }
        (None, None) => put_plain(o.text_closed, &[("workout", &x.title), ("at", &said(window.closes))]),
    };
    let count = put_plain(o.text_missing, &[("gym", &name), ("n", &people.len())]);
    text = [&*text, &*count, ""].join("\n");
    for p in &people {
        let values: [(&'static str, &dyn std::fmt::Display); 3] =
            [("bib", &p.bib), ("name", &p.name), ("division", &p.division)];
        text.push_str(&put_plain(o.text_person, &values));
        text.push('\n');
    }
    if let Some(gym) = gym {
        let url = format!("{}/desk/{}/{gym}", app.config.public_url, c.slug);
        text = [&*text, &*put_plain(o.text_where, &[("url", &url)]), "\n", o.text_out, "\n"].concat();
    }
    let subject = put_plain(o.missing_subject, &[("workout", &x.title), ("n", &people.len())]);
    let mail = found.and_then(|g| Some((g.email.as_deref().filter(|e| !e.is_empty())?, g)));
    let mail = mail.map(|(address, g)| {
        let bare = format!("mailto:{}?subject={}", encoded(address), encoded(&subject));
        let whole = format!("{bare}&body={}", encoded(&text.replace('\n', "\r\n")));
        let paste = whole.len() > MAIL;
        let to = g.contact.as_deref().filter(|n| !n.is_empty()).unwrap_or(address);
        (Link::new(if paste { bare } else { whole }, put(o.missing_mail, &[("name", &to)])), paste)
    });
    Ok(One {
        title: put(o.missing_of_gym, &[("gym", &name)]),
        caption: put(o.missing_people_caption, &[("gym", &name), ("workout", &x.title)]),
        people,
        text,
        mail,
        back: format!("/organise/{}/missing?workout={}", c.slug, x.slug),
    })
}

/// `GET /organise/{c}/missing.csv`: everybody who is missing, for a spreadsheet.
pub async fn get_missing_csv(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Query(fields): Query<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let now = caller.received;
    let Some(x) = workout(&reader, &fields)? else {
        return Ok(csv_file(table::write(&COLUMNS, Vec::<Vec<String>>::new()), "missing.csv"));
    };
    let gyms = lists::gyms(&app, &caller.actor, now, &slug, &Find::default()).await?;
    let missing = score::missing(&app, &caller.actor, now, &slug, &x.slug, None).await?;
    let bibs: Vec<u32> = missing.entries.iter().map(|e| e.bib).collect();
    let names = score::names_of(&app, &missing, &bibs).await?;
    let mut entries: Vec<&Entry> = missing.entries.iter().collect();
    entries.sort_by(|a, b| (&a.gym, &a.division, a.bib).cmp(&(&b.gym, &b.division, b.bib)));
    let rows = entries.into_iter().map(|e| {
        let gym = e.gym.as_deref().unwrap_or_default();
        vec![
            x.slug.clone(),
            gym.to_owned(),
            gym_name(&gyms, gym).to_owned(),
            e.division.clone(),
            e.bib.to_string(),
            names.get(&e.bib).cloned().unwrap_or_default(),
        ]
    });
    let text = table::write(&COLUMNS, rows);
    Ok(csv_file(text, &format!("missing-{}.csv", x.slug)))
}

#[cfg(test)]
mod tests {
    use super::super::super::samples;
    use super::*;

    fn page(gyms: Vec<GymLine>, one: Option<One>) -> String {
        let view = View {
            shell: samples::shell("Missing"),
            w: words(),
            o: texts(),
            base: "/organise/s/missing".to_owned(),
            lead: samples::HOSTILE.to_owned(),
            csv: "/organise/s/missing.csv?workout=w1".to_owned(),
            workouts: vec![Choice::new("w1", samples::HOSTILE, "w1")],
            caption: samples::LONG.to_owned(),
            divisions: vec![samples::HOSTILE.to_owned(), samples::BIDI.to_owned()],
            gyms,
            one,
        };
        view.render().expect("renders")
    }

    #[test]
    fn gyms_are_listed_and_a_gym_has_its_people_and_its_text() {
        let gym = |n| GymLine {
            href: format!("/organise/s/missing?workout=w1&gym=g{n}"),
            name: samples::BIDI.to_owned(),
            n,
            divisions: vec![n, 0],
        };
        samples::assert_sound(&page((0..10_000).map(gym).collect(), None));
        samples::assert_sound(&page(Vec::new(), None));
        let person = |bib| Person {
            href: format!("/desk/s/g/w1/{bib}"),
            name: samples::HOSTILE.to_owned(),
            bib,
            division: samples::LONG.to_owned(),
        };
        let one = One {
            title: samples::HOSTILE.to_owned(),
            caption: samples::HOSTILE.to_owned(),
            people: (1..=3).map(person).collect(),
            text: format!("1042 {}\n</textarea>", samples::HOSTILE),
            mail: Some(Link::new("mailto:a%40example.org", samples::BIDI)).map(|link| (link, true)),
            back: "/organise/s/missing?workout=w1".to_owned(),
        };
        let page = page(Vec::new(), Some(one));
        samples::assert_sound(&page);
        assert_eq!(page.matches("</textarea>").count(), 1);
    }
}
