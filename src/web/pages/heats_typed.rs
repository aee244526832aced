//! What the forms of a gym's heats hold: read as it was typed, and told beside its field where it cannot be.

use super::desk::judges;
use super::form::{self, FieldError, Fields};
use super::heats::texts;
use super::shell::{Link, words};
use crate::actions::heats::{self, HeatsView};
use crate::actions::language;
use crate::rules::fault::Fault;
use crate::rules::heats::{Place, Settings};
use crate::words::put;

/// Somebody's place as the form holds it.
pub(super) fn stored(place: Option<&Place>) -> String {
    place.map_or(String::new(), |p| format!("{} {} {}", p.heat, p.lane, p.judge.as_deref().unwrap_or_default()))
}

/// Somebody's fields as they came.
pub(super) struct Row<'f> {
    pub(super) heat: &'f str,
    pub(super) lane: &'f str,
    pub(super) judge: &'f str,
    /// The place that was shown; `None`: the sender does not say.
    pub(super) was: Option<String>,
}

impl<'f> Row<'f> {
    pub(super) fn read(fields: &'f Fields, bib: u32) -> Self {
        let was = format!("was-{bib}");
        let said = fields.0.iter().any(|(name, _)| *name == was);
        Self {
            heat: fields.get(&format!("heat-{bib}")),
            lane: fields.get(&format!("lane-{bib}")),
            judge: fields.get(&format!("judge-{bib}")),
            was: said.then(|| fields.0.iter().find(|(n, _)| *n == was).map_or("", |(_, v)| v).to_owned()),
        }
    }

    /// Whether the sender changed it: who leaves a row as it was shown wants nothing of it.
    pub(super) fn is_mine(&self) -> bool {
        let typed = format!("{} {} {}", self.heat, self.lane, self.judge);
        self.was.as_deref().is_none_or(|was| was.trim() != typed.trim())
    }

    /// Whether what is typed is this place already.
    pub(super) fn means(&self, found: &HeatsView, place: Option<&Place>) -> bool {
        let Some(place) = place else { return self.heat.is_empty() };
        let judges: Vec<Link> = found.judges.iter().map(|(code, name)| Link::new(code, name)).collect();
        let judge = judges::meant(&judges, self.judge).unwrap_or_else(|_| self.judge.to_owned());
        self.heat == place.heat.to_string()
            && self.lane == place.lane.to_string()
            && judge == place.judge.as_deref().unwrap_or_default()
    }
}

/// Faults beside their field, which is the whole pointer; a visitor who has no row yet has fields of their own.
pub(super) fn beside(faults: &[Fault], fields: &Fields) -> Vec<FieldError> {
    let visitor = form::bib(fields.get("visitor_bib")).filter(|bib| Row::read(fields, *bib).was.is_none());
    let field = |pointer: &str| {
        let field = pointer.trim_start_matches('/');
        match visitor.and_then(|bib| field.strip_suffix(&format!("-{bib}"))) {
            Some("visitor") => "visitor_bib".to_owned(),
            Some(part) => format!("visitor_{part}"),
            None => field.to_owned(),
        }
    };
    faults.iter().map(|f| FieldError::new(field(&f.pointer), language::say(&f.sentence))).collect()
}

pub(super) fn settings(found: &HeatsView, fields: &Fields, errors: &mut Vec<FieldError>) -> Option<Settings> {
    let start = form::instant(fields, "start", texts().start_missing, &found.reader.competition.time_zone, errors);
    let lanes = fields.number("lanes", errors).unwrap_or(0);
    let minutes = fields.number("minutes", errors).unwrap_or(0);
    Some(Settings { start: start?, minutes, lanes, judging: heats::judging(fields.get("judging")) })
}

/// The places as typed, where the sender changed them, and as they are elsewhere; an empty heat is none,
/// where nothing was written beside it.
pub(super) fn places(found: &HeatsView, fields: &Fields, errors: &mut Vec<FieldError>) -> Vec<Place> {
    let mut places = Vec::new();
    let judges: Vec<Link> = found.judges.iter().map(|(code, name)| Link::new(code, name)).collect();
    for bib in found.entries.iter().map(|e| e.bib) {
        if !Row::read(fields, bib).is_mine() {
            places.extend(found.plan.as_ref().and_then(|plan| plan.place(bib)).cloned());
            continue;
        }
        let heat_field = format!("heat-{bib}");
        let heat = fields.number(&heat_field, errors);
        let lane = fields.number(&format!("lane-{bib}"), errors);
        let Some(heat) = heat else {
            // Lane and judge of before may stay there: that takes somebody out.
            let before = found.plan.as_ref().and_then(|plan| plan.place(bib));
            let new_lane = lane.is_some() && lane != before.map(|p| p.lane);
            let judge = fields.get(&format!("judge-{bib}"));
            let new_judge = !judge.is_empty() && Some(judge) != before.and_then(|p| p.judge.as_deref());
            if fields.get(&heat_field).is_empty() && (new_lane || new_judge) {
                errors.push(FieldError::new(heat_field, texts().heat_needed));
            }
            continue;
        };
        let judge = judge(&judges, fields, format!("judge-{bib}"), errors);
        places.push(Place { bib, heat, lane: lane.unwrap_or(0), judge });
    }
    places.extend(visitor(&judges, fields, errors));
    places
}

/// The judge whom a field means, by name or code.
fn judge(judges: &[Link], fields: &Fields, field: String, errors: &mut Vec<FieldError>) -> Option<String> {
    let code = judges::meant(judges, fields.get(&field)).unwrap_or_else(|trouble| {
        errors.push(FieldError::new(field, trouble));
        String::new()
    });
    Some(code).filter(|code| !code.is_empty())
}

/// Somebody of another gym who gets a lane, by the bib; `None`: nobody, or it cannot be.
fn visitor(judges: &[Link], fields: &Fields, errors: &mut Vec<FieldError>) -> Option<Place> {
    let typed = fields.get("visitor_bib");
    if [typed, fields.get("visitor_heat"), fields.get("visitor_lane"), fields.get("visitor_judge")].concat().is_empty()
    {
        return None;
    }
    let before = errors.len();
    let bib = form::bib(typed);
    let trouble = match bib {
        None if typed.is_empty() => Some(texts().visitor_needed.to_owned()),
        None => Some(put(words().desk_words.script_words.no_bib, &[("bib", &typed)])),
        Some(bib) => Row::read(fields, bib).was.map(|_| texts().visitor_is_here.to_owned()),
    };
    errors.extend(trouble.map(|text| FieldError::new("visitor_bib", text)));
    if fields.get("visitor_heat").is_empty() {
        errors.push(FieldError::new("visitor_heat", texts().heat_needed));
    }
    let heat = fields.number("visitor_heat", errors);
    let lane = fields.number("visitor_lane", errors).unwrap_or(0);
    let judge = judge(judges, fields, "visitor_judge".to_owned(), errors);
    let (bib, heat) = (bib?, heat?);
    (errors.len() == before).then_some(Place { bib, heat, lane, judge })
}
