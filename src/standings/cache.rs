//! A bounded memory of pools, so that only what changed is gathered and ranked again.

use super::pool::Pool;
use super::query::Scope;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Rows kept over all pools of a competition, the one last asked for aside.
const ROWS_KEPT: usize = 4_000_000;

/// Pools kept for a competition.
const POOLS_KEPT: usize = 512;

/// Pools by division and scope, each at the log position of the last change it can show.
#[derive(Default)]
pub(super) struct Cache(Mutex<Kept>);

#[derive(Default)]
struct Kept {
    slots: HashMap<(String, Scope), Slot>,
    /// Counts uses, to find the one longest unused.
    uses: u64,
}

struct Slot {
    version: u64,
    used: u64,
    pool: Arc<OnceLock<Arc<Pool>>>,
}

impl Cache {
    /// The pool at `version`: the kept one, or a new one, gathered once however many ask. A
    /// reader of an older state gets its own, and the newer one stays.
    pub(super) fn pool(&self, division: &str, scope: &Scope, version: u64, gather: impl FnOnce() -> Pool) -> Arc<Pool> {
        let slot = self.slot(division, scope, version);
        Arc::clone(slot.get_or_init(|| Arc::new(gather())))
    }

    fn slot(&self, division: &str, scope: &Scope, version: u64) -> Arc<OnceLock<Arc<Pool>>> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.uses += 1;
        let used = kept.uses;
        let key = (division.to_owned(), scope.clone());
        if let Some(slot) = kept.slots.get_mut(&key) {
            if slot.version > version {
                return Arc::default();
            }
            slot.used = used;
            if slot.version < version {
                slot.version = version;
                slot.pool = Arc::default();
            }
            return Arc::clone(&slot.pool);
        }
        kept.make_room();
        let pool = Arc::default();
        kept.slots.insert(key, Slot { version, used, pool: Arc::clone(&pool) });
        pool
    }
}

impl Kept {
    /// Forgets the longest unused until there is room for one more.
    fn make_room(&mut self) {
        while self.slots.len() >= POOLS_KEPT || self.rows() > ROWS_KEPT {
            let oldest = self.slots.iter().min_by_key(|(_, slot)| slot.used).map(|(key, _)| key.clone());
            match oldest {
                Some(key) => self.slots.remove(&key),
                None => return,
            };
        }
    }

    fn rows(&self) -> usize {
        self.slots.values().filter_map(|slot| slot.pool.get()).map(|pool| pool.bibs.len()).sum()
    }
}
