//! What has just been stored at the desk, with its place now, and who is next.

use super::rows::WorkoutView;
use crate::actions::language;
use crate::actions::lists;
use crate::actions::reader::Reader;
use crate::actions::{Failure, ScorePath, score, standings};
use crate::app::App;
use crate::rules::performance::{self, Around, RawPerformance};
use crate::rules::tag::Tag;
use crate::rules::window;
use crate::web::pages::shell::{Link, words};
use crate::web::pages::{late_said, say};
use crate::web::problem::Answer;
use crate::words::{Sentence, put};

/// What has just been stored.
pub(super) struct Saved {
    pub(super) title: String,
    pub(super) lines: Vec<String>,
    pub(super) next: Option<Link>,
}

impl Saved {
    /// A judge's word for so many at once.
    pub(super) fn vouched(n: u32) -> Self {
        Self { title: put(words().desk_words.vouched, &[("n", &n)]), lines: Vec::new(), next: None }
    }
}

/// `w1/1042`.
pub(super) fn saved_path(competition: &str, saved: &str) -> Option<ScorePath> {
    let (workout, bib) = saved.split_once('/')?;
    Some(ScorePath { competition: competition.to_owned(), workout: workout.to_owned(), bib: bib.parse().ok()? })
}

/// What has just been stored, with its place now, and who is next; `was_out`: it took back that they take no
/// part.
pub(super) async fn saved(
    app: &App,
    reader: &Reader,
    path: &ScorePath,
    workouts: &[WorkoutView],
    was_out: bool,
) -> Answer<Option<Saved>> {
    let (w, c, now) = (words(), &reader.competition, reader.now);
    let Ok(x) = reader.workout(&path.workout) else { return Ok(None) };
    let entry = lists::entry(app, &reader.actor, now, &path.competition, path.bib).await?;
    let list = workouts.iter().find(|v| v.slug == path.workout);
    let next = list.and_then(|v| {
        let here = v.lines().find(|l| l.bib == path.bib).map(|l| l.turn);
        let others = || v.left_to_do().filter(|l| l.bib != path.bib && l.state == w.state_missing);
        let line = others().find(|l| Some(l.turn) > here).or_else(|| others().next())?;
        Some(Link::new(&line.href, put(w.saved_next, &[("name", &line.name)])))
    });
    let stated = list.and_then(|v| v.lines().find(|l| l.bib == path.bib)).is_some_and(|l| l.code == "not_taking_part");
    let read = score::read(app, &reader.actor, now, path).await.ok().filter(|_| !stated);
    let Some(read) = read else {
        let line = put(w.saved_not_taking_part, &[("workout", &x.title)]);
        let back = put(w.saved_taking_part, &[("name", &entry.name)]);
        return Ok(Some(Saved { title: entry.name, lines: vec![if stated { line } else { back }], next }));
    };
    let s = &read.score;
    if s.state == "withdrawn" {
        let title = put(w.saved_title, &[("name", &entry.name), ("text", &s.performance.text)]);
        return Ok(Some(Saved { title, lines: vec![w.desk_words.taken_back.to_owned()], next }));
    }
    let mut lines = Vec::new();
    if was_out {
        let history = score::history(app, &reader.actor, now, path).await?;
        let stated = history.items.iter().rev().find(|i| i.action == "not_taking_part");
        lines.extend(stated.map(|i| {
            let at = format!("{} ({})", window::local(i.at, &c.time_zone), c.time_zone_name);
            language::say(&Sentence::new("was_not_taking_part").with("at", at))
        }));
    }
    match s.state {
        "entered" => lines.push(w.saved_waiting.to_owned()),
        "late" => {}
        "attested" | "flagged" | "amended" => {
            // In a state that has it: of another one no place is told.
            let seq = s.etag.parse::<Tag>().ok().map(|tag| tag.seq);
            let own = standings::entry_standing(app, &reader.actor, now, &path.competition, path.bib, seq).await;
            let own = match own {
                Err(Failure::Behind) => Vec::new(),
                own => own?.workouts,
            };
            let places = own.iter().find(|o| o.workout == path.workout).map(|o| &o.places);
            if let Some(first) = places.and_then(|p| p.iter().find(|p| p.place.is_some())) {
                let ordinal = (w.ordinal)(first.place.unwrap_or_default().into());
                let division = say::division(c, &first.division);
                let values: [(&'static str, &dyn std::fmt::Display); 3] =
                    [("ordinal", &ordinal), ("of", &first.of), ("division", &division)];
                lines.push(put(w.saved_placed, &values));
            }
        }
        other => lines.push(say::state(other, s.refused).to_owned()),
    }
    lines.extend(late_said::lines(s));
    let level = c.levels.iter().position(|l| l.slug == s.level).and_then(|n| u8::try_from(n).ok()).unwrap_or(0);
    if let Some(p) = c.prescription(&path.workout, &entry.division, level) {
        let raw = RawPerformance::Text(s.performance.text.clone());
        if let Ok(checked) = performance::check(&p.task, &raw, &Around::default()) {
            lines.extend(checked.warnings.iter().map(|x| language::say(&x.sentence)));
        }
    }
    let title = put(w.saved_title, &[("name", &entry.name), ("text", &s.performance.text)]);
    Ok(Some(Saved { title, lines, next }))
}
