//! What stands in the fields of a score's form: at first, from the gym's heats, and as typed.

use super::form::Fields;
use super::score_about::{About, desk_judge, in_heat};
use crate::actions::heats;
use crate::actions::lists::{self, Find};
use crate::app::App;
use crate::rules::window;
use crate::web::problem::Answer;

/// What was typed.
#[derive(Default)]
pub(super) struct Values {
    pub(super) performance: String,
    pub(super) level: String,
    pub(super) judge: String,
    /// Who vouches for what is saved next at the desk.
    pub(super) desk_judge: String,
    /// The athlete starts in a heat: its lane's judge is not the desk's.
    pub(super) in_heat: bool,
    pub(super) how: String,
    pub(super) sheet: String,
    pub(super) performed_at: String,
    pub(super) no_reps: String,
    pub(super) video: String,
    pub(super) reason: String,
    pub(super) again: bool,
}

impl Values {
    /// Everything as it was typed.
    pub(super) fn typed(about: &About, fields: &Fields) -> Self {
        let typed = |name: &str| fields.get(name).to_owned();
        Self {
            performance: typed("performance"),
            level: fields.find("level").unwrap_or_else(|| about.levels().1),
            judge: typed("judge"),
            desk_judge: desk_judge(fields),
            in_heat: in_heat(fields),
            how: typed("how"),
            sheet: typed("sheet"),
            performed_at: typed("performed_at"),
            no_reps: typed("no_reps"),
            video: typed("video"),
            reason: typed("reason"),
            again: fields.ticked("again"),
        }
    }
}

/// The judge and, once it has started, the time that the gym's heats say.
pub(super) async fn from_heat(app: &App, about: &About, values: &mut Values) -> Answer<()> {
    let (reader, bib) = (&about.reader, about.path.bib);
    let find = Find { gym: Some(about.gym.clone()), q: None };
    let gyms = lists::gyms(app, &reader.actor, reader.now, &reader.slug, &find).await?;
    let region = gyms.into_iter().find(|g| g.slug == about.gym).map(|g| g.region).unwrap_or_default();
    let extensions = app.store.list_extensions(reader.id).await?;
    let x = about.workout()?;
    let window = window::for_entry(x, &extensions, Some(&about.gym), &region);
    let Some(filled) = heats::filled(app, reader, &about.gym, x, &window).await?.remove(&bib) else {
        return Ok(());
    };
    values.in_heat = true;
    if about.now.as_ref().is_some_and(|now| now.attestation.is_some()) {
        return Ok(());
    }
    values.judge = filled.judge.unwrap_or_else(|| std::mem::take(&mut values.judge));
    if let Some(start) = filled.performed_at.filter(|at| *at <= reader.now && about.now.is_none()) {
        values.performed_at = window::typed(start, &reader.competition.time_zone);
    }
    Ok(())
}

/// What stands in the fields at first: what is stored, and the judge of the athlete before.
pub(super) fn first_values(about: &About, fields: &Fields) -> Values {
    let text = |v: &Option<String>| v.clone().unwrap_or_default();
    let by = desk_judge(fields);
    let how = fields.get("how").to_owned();
    let blank = Values { level: about.levels().1, how, desk_judge: by.clone(), ..Values::default() };
    match &about.now {
        None => Values { judge: by, ..blank },
        Some(now) => Values {
            performance: now.performance.text.clone(),
            judge: if now.attestation.is_none() { by } else { String::new() },
            sheet: if now.attestation.is_none() { text(&now.sheet) } else { String::new() },
            no_reps: now.no_reps.map_or(String::new(), |n| n.to_string()),
            video: text(&now.video),
            ..blank
        },
    }
}
