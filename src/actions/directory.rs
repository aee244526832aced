//! The gyms of a competition by name, as every page of it needs them: kept in memory while no gym has
//! changed. Contacts are not in it.

use super::Failure;
use super::lists;
use super::reader::Reader;
use super::views::GymView;
use crate::app::App;
use crate::standings::Mark;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Competitions kept; beyond that all are forgotten.
const KEPT: usize = 64;

/// The gyms of all competitions that were asked for.
#[derive(Default)]
pub struct Directory(Mutex<HashMap<i64, Known>>);

#[derive(Clone)]
struct Known {
    /// No gym has changed up to there since they were read.
    at: Mark,
    gyms: Arc<Vec<GymView>>,
}

impl Directory {
    fn known(&self) -> MutexGuard<'_, HashMap<i64, Known>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn put(&self, competition: i64, known: Known) {
        if known.at.epoch == 0 {
            return;
        }
        let mut all = self.known();
        if all.len() >= KEPT && !all.contains_key(&competition) {
            all.clear();
        }
        all.insert(competition, known);
    }
}

/// All gyms of the reader's competition by slug, at its log position or a later one.
pub async fn gyms(app: &App, reader: &Reader) -> Result<Arc<Vec<GymView>>, Failure> {
    let at = Mark { epoch: reader.epoch, seq: reader.seq };
    let known = app.gyms.known().get(&reader.id).cloned();
    if let Some(known) = known.filter(|known| known.at.epoch == at.epoch && known.at.seq <= at.seq) {
        if known.at == at {
            return Ok(known.gyms);
        }
        if !app.store.has_gym_changed(reader.id, known.at.seq).await? {
            app.gyms.put(reader.id, Known { at, gyms: Arc::clone(&known.gyms) });
            return Ok(known.gyms);
        }
    }
    let gyms = lists::all_gyms(app, reader).await?.into_iter().map(GymView::public).collect();
    let gyms = Arc::new(gyms);
    app.gyms.put(reader.id, Known { at, gyms: Arc::clone(&gyms) });
    Ok(gyms)
}
