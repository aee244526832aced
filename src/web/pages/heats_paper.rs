//! `/desk/{c}/{gym}/heats/{w}/paper`: a gym's heats in order, to hang on the wall. Like the judge's sheet
//! a page of its own, without the frame of the others: who starts when, in which lane, and who counts.

use super::form::{Choice, Fields};
use super::heats::{HeatView, heat_views, without_place};
use super::sheet::Paper;
use super::shell::{When, words};
use super::{Page, html};
use crate::actions::heats::{self, HeatsPath};
use crate::actions::language;
use crate::app::App;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;

#[derive(Template)]
#[template(path = "heats_paper.html")]
struct View {
    w: &'static Pages,
    h: &'static words::en::heats::Heats,
    s: &'static words::en::sheet::Sheet,
    title: String,
    /// Gym, competition, time zone.
    about: Vec<String>,
    back: String,
    paper: Paper,
    papers: Vec<Choice>,
    heats: Vec<HeatView>,
    without: String,
    /// When it was made, as heats change.
    as_of: String,
}

/// `GET /desk/{c}/{gym}/heats/{w}/paper`.
pub async fn get_heats_paper(
    State(app): State<App>,
    caller: Caller,
    Path((competition, gym, workout)): Path<(String, String, String)>,
    Query(fields): Query<Fields>,
) -> Answer<Page> {
    let path = HeatsPath { competition, gym, workout };
    let found = heats::read(&app, &caller.actor, caller.received, &path).await?;
    let (h, c) = (words::heats(language::reader()), &found.reader.competition);
    let x = found.reader.workout(&path.workout)?;
    let paper = Paper::of(fields.get("paper"));
    html(&View {
        w: words(),
        h,
        s: words::sheet(language::reader()),
        title: put(h.title, &[("workout", &x.title)]),
        about: vec![found.gym.clone(), c.title.clone(), put(h.start_hint, &[("zone", &c.time_zone_name)])],
        back: format!("/desk/{}/{}/heats/{}", path.competition, path.gym, path.workout),
        paper,
        papers: paper.choices(),
        heats: heat_views(&found, "", &path.workout),
        without: without_place(&found),
        as_of: put(h.as_of, &[("at", &When::new(found.reader.now, &c.time_zone).said())]),
    })
}

#[cfg(test)]
mod tests {
    use super::super::heats::LaneView;
    use super::super::samples;
    use super::super::shell::Dated;
    use super::*;

    fn page(heats: Vec<HeatView>) -> String {
        let view = View {
            w: words(),
            h: words::heats(language::reader()),
            s: words::sheet(language::reader()),
            title: samples::HOSTILE.to_owned(),
            about: vec![samples::BIDI.to_owned(), samples::HOSTILE.to_owned()],
            back: "/desk/s/g/heats/w1".to_owned(),
            paper: Paper::Letter,
            papers: Paper::Letter.choices(),
            heats,
            without: samples::LONG.to_owned(),
            as_of: "As of 14 January 2027, 18:30".to_owned(),
        };
        view.render().expect("renders")
    }

    #[test]
    fn heats_of_hostile_names_come_out_as_text_with_the_cautions() {
        let lane = |lane| LaneView {
            lane,
            href: String::new(),
            name: samples::HOSTILE.to_owned(),
            bib: 1042,
            visiting: words().desk_words.visiting,
            division: samples::BIDI.to_owned(),
            judge: samples::LONG.to_owned(),
        };
        let heat = |n: u32| HeatView {
            title: format!("Heat {n}"),
            starts: Dated { at: Some(samples::when()), ..Dated::default() },
            caption: "Lanes".to_owned(),
            id: format!("heat{n}"),
            lanes: (1..=4).map(lane).collect(),
        };
        let page = page((1..=30).map(heat).collect());
        samples::assert_sound(&page);
        assert!(page.contains("paper-letter") && page.contains(words().caution_short));
        assert_eq!(page.matches("<section").count(), 30);
    }

    #[test]
    fn no_heats_are_said() {
        let page = page(Vec::new());
        samples::assert_sound(&page);
        assert!(page.contains(words::heats(language::reader()).none_paper));
    }
}
