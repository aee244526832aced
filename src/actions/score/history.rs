//! What happened to a score, and what was ruled in a competition: read from the log.

use super::find_entry;
use super::show::{attestation, notes, notes_by_gym, performance};
use crate::actions::reader::Reader;
use crate::actions::views::{HistoryItem, HistoryView, RulingItem, RulingsView, names};
use crate::actions::{Failure, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::event::{Event, NoteRef, Record};
use crate::rules::people::Entry;
use crate::rules::workout::Workout;
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::{BTreeSet, HashMap};

/// Records of one score that are shown at most: nobody revises that often.
const MOST: u32 = 10_000;
/// Rulings that are read at a time.
const PAGE: u32 = 500;

/// All that happened to a score, oldest first.
pub async fn history(app: &App, actor: &Actor, now: Timestamp, score: &ScorePath) -> Result<HistoryView, Failure> {
    let reader = Reader::find(app, actor, now, &score.competition).await?;
    let workout = reader.workout(&score.workout)?;
    let entry = find_entry(app, &reader, score.bib).await?.entry;
    let subject = format!("score/{}/{}", score.workout, score.bib);
    let records: Vec<Record> = app
        .store
        .list_history(reader.id, &subject, 0, MOST)
        .await?
        .iter()
        .map(crate::store::log::StoredRecord::record)
        .collect::<Result<_, _>>()?;
    // Where each attempt was performed, as last said.
    let mut gyms: HashMap<u32, Option<String>> = HashMap::new();
    for record in &records {
        if let Event::Submitted { score, stored, .. } = &record.event {
            gyms.insert(score.attempt, stored.gym.clone());
        }
    }
    let at = |r: &Record| attempt(&r.event).and_then(|n| gyms.get(&n)?.as_deref());
    let records: Vec<&Record> = records.iter().filter(|r| reader.sees_scores_of(workout, &entry, at(r))).collect();
    if records.is_empty() {
        let sentence = Sentence::new("no_score").with("workout", &workout.title).with("bib", score.bib);
        return Err(Failure::not_found(sentence));
    }
    let ids = records.iter().map(|r| (at(r), note(&r.event).map(|n| n.id).into_iter().collect()));
    let notes = notes_by_gym(app, &reader, &entry, ids).await?;
    let items = records.iter().map(|r| item(&reader, workout, &entry, &notes, r)).collect();
    Ok(HistoryView {
        competition: reader.slug.clone(),
        workout: score.workout.clone(),
        bib: score.bib,
        items,
        log_seq: reader.seq,
    })
}

/// Which attempt an event is about; `None`: the entry in the workout.
fn attempt(event: &Event) -> Option<u32> {
    match event {
        Event::Submitted { score, .. }
        | Event::Detailed { score, .. }
        | Event::Attested { score, .. }
        | Event::Withdrawn { score }
        | Event::Flagged { score, .. }
        | Event::Ruled { score, .. }
        | Event::Appealed { score, .. }
        | Event::Admitted { score, .. } => Some(score.attempt),
        _ => None,
    }
}

/// The words that go with an event.
fn note(event: &Event) -> Option<&NoteRef> {
    match event {
        Event::Submitted { reason, .. } => reason.as_ref(),
        Event::Flagged { note, .. } => note.as_ref(),
        Event::Ruled { reason, .. } | Event::Appealed { reason, .. } | Event::Admitted { reason, .. } => Some(reason),
        _ => None,
    }
}

fn item(
    reader: &Reader,
    workout: &Workout,
    entry: &Entry,
    notes: &HashMap<u64, String>,
    record: &Record,
) -> HistoryItem {
    let figures = |stored| Some(performance(reader, workout, &entry.division, stored));
    let mut item = HistoryItem {
        seq: record.seq,
        at: record.at,
        action: record.event.action(),
        role: record.actor.role.map(names::role),
        attempt: None,
        version: None,
        performance: None,
        attestation: None,
        flag: None,
        ruling: None,
        state: None,
        admitted: None,
        late: false,
        upward: false,
        reason: note(&record.event).and_then(|n| notes.get(&n.id)).cloned(),
    };
    match &record.event {
        Event::Submitted { score, version, stored, late, upward, .. } => {
            item.attempt = Some(score.attempt);
            item.version = Some(*version);
            item.performance = figures(stored);
            item.late = *late;
            item.upward = *upward;
        }
        Event::Attested { score, attestation: given, waiting } => {
            item.attempt = Some(score.attempt);
            item.attestation = Some(attestation(given));
            item.late = *waiting;
        }
        Event::Flagged { score, reason, withheld, .. } => {
            item.attempt = Some(score.attempt);
            item.flag = Some(names::reason(*reason));
            item.state = Some(if *withheld { "withheld" } else { "flagged" });
        }
        Event::Ruled { score, ruling, .. } => {
            item.attempt = Some(score.attempt);
            item.version = Some(ruling.version);
            item.ruling = Some(names::kind(ruling.kind));
            item.state = Some(ruling.state.as_str());
            item.performance = ruling.stored.as_ref().and_then(figures);
        }
        Event::Admitted { score, admitted, .. } => {
            item.attempt = Some(score.attempt);
            item.admitted = Some(*admitted);
        }
        Event::Detailed { score, .. } | Event::Withdrawn { score } | Event::Appealed { score, .. } => {
            item.attempt = Some(score.attempt);
        }
        _ => {}
    }
    item
}

/// All rulings of a competition that the reader may see, newest first.
pub async fn rulings(app: &App, actor: &Actor, now: Timestamp, competition: &str) -> Result<RulingsView, Failure> {
    let reader = Reader::find(app, actor, now, competition).await?;
    let mut records: Vec<Record> = Vec::new();
    loop {
        let before = records.last().map(|r| r.seq);
        let page = app.store.list_rulings(reader.id, before, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        for stored in page {
            records.push(stored.record()?);
        }
        if !full {
            break;
        }
    }
    let bibs: BTreeSet<u32> = records.iter().filter_map(|r| ruled(r).map(|(score, ..)| score.bib)).collect();
    let bibs: Vec<u32> = bibs.into_iter().collect();
    let entries = app.store.list_named(reader.id, &bibs).await?;
    let shown_names = reader.names(app, &bibs).await?;
    let ids: Vec<u64> = records.iter().filter_map(|r| note(&r.event)).map(|n| n.id).collect();
    let reasons = notes(app, &reader, None, &ids).await?;
    let rulings = records.iter().filter_map(|record| {
        let (score, ruling, on_appeal) = ruled(record)?;
        let workout = reader.competition.workout(&score.workout)?;
        let entry = &entries.get(&score.bib)?.entry;
        reader.sees_scores_of(workout, entry, None).then(|| RulingItem {
            seq: record.seq,
            at: record.at,
            workout: score.workout.clone(),
            bib: score.bib,
            attempt: score.attempt,
            name: shown_names.get(&score.bib).cloned().unwrap_or_default(),
            kind: names::kind(ruling.kind),
            state: ruling.state.as_str(),
            text: ruling.stored.as_ref().map(|s| performance(&reader, workout, &entry.division, s).text),
            reason: note(&record.event).and_then(|n| reasons.get(&n.id)).cloned(),
            on_appeal,
        })
    });
    Ok(RulingsView { rulings: rulings.collect(), log_seq: reader.seq })
}

fn ruled(record: &Record) -> Option<(&crate::rules::event::ScoreRef, &crate::rules::life::Ruled, bool)> {
    match &record.event {
        Event::Ruled { score, ruling, on_appeal, .. } => Some((score, ruling, *on_appeal)),
        _ => None,
    }
}
