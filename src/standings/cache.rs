//! A bounded memory of who is ranked against whom, so that only what changed is looked at again.
//!
//! A division is gathered once. After that a reader gets the last [`Base`] with what has changed
//! since, which costs by the number of changes; where those have become many, everybody is ranked
//! anew, beside the readers where that takes long.

use super::base::{Base, Who};
use super::block::Name;
use super::field::{Field, Touch};
use super::names::Names;
use super::pool::Pool;
use super::query::Scope;
use super::view::View;
use std::collections::{BTreeMap, HashMap, VecDeque};
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Rows kept over all pools of a competition, the one last asked for aside.
const ROWS_KEPT: usize = 4_000_000;

/// Pools kept for a competition.
const POOLS_KEPT: usize = 512;

/// Changes that are remembered: what was not asked for since is gathered anew.
const TOUCHES_KEPT: usize = 1 << 16;

/// When everybody is ranked anew.
#[derive(Clone, Copy, Debug)]
pub struct Settling {
    /// So many rows that changed are answered for beside those that did not…
    pub changes: usize,
    /// … and one more for so many rows.
    pub rows_per_change: usize,
    /// From so many rows on it is done beside the readers, …
    pub beside_from: usize,
    /// … unless more than so many times the changes have come in the meantime.
    pub patience: usize,
}

impl Default for Settling {
    fn default() -> Self {
        Self { changes: 64, rows_per_change: 2048, beside_from: 20_000, patience: 16 }
    }
}

/// Hash of a record in the log's tree.
pub type Leaf = [u8; 32];

/// Leaves kept: of the last changes of some divisions.
const LEAVES_KEPT: usize = 64;

/// Pools by division and scope.
pub(super) struct Cache {
    /// Another number for every state that did not grow out of the one before.
    pub(super) epoch: u64,
    slots: Mutex<Slots>,
    journal: Mutex<Journal>,
    settling: Settling,
    /// Of the same log.
    pub(super) names: Arc<Names>,
    leaves: Mutex<BTreeMap<u64, Leaf>>,
}

#[derive(Default)]
struct Slots {
    by_name: HashMap<(String, Scope), Used>,
    /// Counts uses, to find the one longest unused.
    uses: u64,
}

struct Used {
    at: u64,
    slot: Arc<Slot>,
}

/// What is kept of one division and scope.
#[derive(Default)]
struct Slot {
    kept: Mutex<Kept>,
    /// Rows, for the bound over all.
    rows: AtomicUsize,
}

#[derive(Default)]
struct Kept {
    /// The last two, as readers of a state that is just a little older are on their way.
    bases: Vec<Arc<Base>>,
    /// The last that was asked for, and its version.
    last: Option<(u64, Arc<Pool>)>,
    /// Whether somebody is ranking everybody anew.
    settling: bool,
}

/// Who was touched by what came last.
#[derive(Default)]
struct Journal {
    /// Nothing after this log position is missing.
    from: u64,
    touches: VecDeque<Touch>,
}

/// The last epoch given out.
static EPOCHS: AtomicU64 = AtomicU64::new(0);

impl Cache {
    /// Of a competition that is known up to where this state is.
    pub(super) fn new(field: &Field, settling: Settling) -> Self {
        let journal = Mutex::new(Journal { from: field.seq, touches: VecDeque::new() });
        let epoch = EPOCHS.fetch_add(1, Ordering::AcqRel) + 1;
        let names = Arc::new(Names::missing(field.name_blocks()));
        Self { epoch, slots: Mutex::default(), journal, settling, names, leaves: Mutex::default() }
    }

    /// Remembers what was touched; in log order.
    pub(super) fn note(&self, touches: Vec<Touch>) {
        let mut journal = lock(&self.journal);
        journal.touches.extend(touches);
        while journal.touches.len() > TOUCHES_KEPT {
            journal.from = journal.touches.pop_front().map_or(journal.from, |touch| touch.seq);
        }
    }

    /// The leaf of a record of this log, if it was told.
    pub(super) fn leaf(&self, seq: u64) -> Option<Leaf> {
        lock(&self.leaves).get(&seq).copied()
    }

    /// Remembers a leaf. Later ones are asked for more.
    pub(super) fn note_leaf(&self, seq: u64, leaf: Leaf) {
        let mut leaves = lock(&self.leaves);
        leaves.insert(seq, leaf);
        if leaves.len() > LEAVES_KEPT {
            leaves.pop_first();
        }
    }

    /// The pool of a state, made once however many ask.
    pub(super) fn pool(self: &Arc<Self>, view: &View, division: &str, scope: &Scope, parts: &[Name]) -> Arc<Pool> {
        let slot = self.slot(division, scope);
        let version = view.field.version(parts);
        let mut kept = lock(&slot.kept);
        if let Some((known, pool)) = &kept.last
            && *known == version
        {
            return Arc::clone(pool);
        }
        kept.adopt_settled();
        let who = Who::new(&view.field, parts, scope);
        let pool = self.with_changes(&mut kept, view, &who, parts).unwrap_or_else(|| {
            let base = Arc::new(self.gathered(view, division, scope, &who));
            kept.put(&base);
            Pool::of(base)
        });
        let pool = Arc::new(pool);
        slot.rows.store(pool.len(), Ordering::Relaxed);
        if kept.last.as_ref().is_none_or(|(known, _)| *known < version) {
            kept.last = Some((version, Arc::clone(&pool)));
        }
        self.settle(&slot, &mut kept, &pool);
        pool
    }

    /// A kept base with what has changed since; `None`: nothing that is kept serves.
    fn with_changes(&self, kept: &mut Kept, view: &View, who: &Who<'_>, parts: &[Name]) -> Option<Pool> {
        let field = &view.field;
        let serves = |base: &&Arc<Base>| base.seq <= field.seq && base.seq >= field.defined;
        let base = Arc::clone(kept.bases.iter().rev().find(serves)?);
        let touched = lock(&self.journal).between(base.seq, field.seq, parts)?;
        if let Some((changes, scored)) = base.changes(field, who, &touched) {
            return Some(Pool::new(field.seq, base, changes, scored));
        }
        let next = Arc::new(base.next(field, who, &touched));
        kept.put(&next);
        Some(Pool::of(next))
    }

    fn gathered(self: &Arc<Self>, view: &View, division: &str, scope: &Scope, who: &Who<'_>) -> Base {
        if !scope.whole() {
            let whole = self.pool(view, division, &Scope::default(), who.parts);
            let scored = |row| whole.scored(row);
            if let Some(base) = whole.base.scoped(&view.field, who, &whole.changes, scored) {
                return base;
            }
        }
        Base::gather(&view.field, who)
    }

    /// Ranks everybody anew where much has changed: at once, or beside where that takes long.
    fn settle(&self, slot: &Arc<Slot>, kept: &mut Kept, pool: &Arc<Pool>) {
        let (rows, changes) = (pool.base.ranked, pool.changes.rows().len());
        let most = self.settling.changes + rows / self.settling.rows_per_change.max(1);
        if changes <= most {
            return;
        }
        if rows < self.settling.beside_from || changes > most.saturating_mul(self.settling.patience) {
            return kept.put(&pool.settled());
        }
        if kept.settling {
            return;
        }
        kept.settling = true;
        let (beside, from) = (Arc::clone(slot), Arc::clone(pool));
        let settled = std::thread::Builder::new().name("standings".into()).spawn(move || {
            let base = from.settled();
            from.base.masks().into_iter().for_each(|mask| drop(base.overall(mask)));
            let mut kept = lock(&beside.kept);
            kept.settling = false;
            kept.put(&base);
        });
        if settled.is_err() {
            kept.settling = false;
        }
    }

    fn slot(&self, division: &str, scope: &Scope) -> Arc<Slot> {
        let mut slots = lock(&self.slots);
        slots.uses += 1;
        let at = slots.uses;
        let key = (division.to_owned(), scope.clone());
        if let Some(used) = slots.by_name.get_mut(&key) {
            used.at = at;
            return Arc::clone(&used.slot);
        }
        slots.make_room();
        let slot = Arc::<Slot>::default();
        slots.by_name.insert(key, Used { at, slot: Arc::clone(&slot) });
        slot
    }
}

impl Kept {
    /// Keeps a base and the one before it.
    fn put(&mut self, base: &Arc<Base>) {
        if self.bases.last().is_some_and(|last| last.seq >= base.seq) {
            return;
        }
        self.bases.push(Arc::clone(base));
        if self.bases.len() > 2 {
            self.bases.remove(0);
        }
    }

    /// Where a reader had to have everybody ranked anew, that serves those who come after.
    fn adopt_settled(&mut self) {
        if let Some(base) = self.last.as_ref().and_then(|(_, pool)| pool.known_settled().cloned()) {
            self.put(&base);
        }
    }
}

impl Journal {
    /// Who was touched after one log position and up to another, each once, in ascending order;
    /// `None`: it is not remembered so far back.
    fn between(&self, after: u64, upto: u64, parts: &[Name]) -> Option<Vec<u32>> {
        if after < self.from {
            return None;
        }
        let start = self.touches.partition_point(|touch| touch.seq <= after);
        let new = self.touches.range(start..).take_while(|touch| touch.seq <= upto);
        let mut bibs: Vec<u32> = new.filter(|t| parts.contains(&t.division)).map(|t| t.bib).collect();
        bibs.sort_unstable();
        bibs.dedup();
        Some(bibs)
    }
}

impl Slots {
    /// Forgets the longest unused until there is room for one more.
    fn make_room(&mut self) {
        while self.by_name.len() >= POOLS_KEPT || self.rows() > ROWS_KEPT {
            let oldest = self.by_name.iter().min_by_key(|(_, used)| used.at).map(|(key, _)| key.clone());
            match oldest {
                Some(key) => self.by_name.remove(&key),
                None => return,
            };
        }
    }

    fn rows(&self) -> usize {
        self.by_name.values().map(|used| used.slot.rows.load(Ordering::Relaxed)).sum()
    }
}

/// A panic elsewhere while this was held leaves something that is at worst worked out again.
pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
