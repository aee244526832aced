//! Following the logs: the board takes in what this process commits, and what others do.
//!
//! Others are noticed by the database's own word where it has one, and by looking every now and then
//! (`Config::look`) in any case. A position in a log says how far the board is; the tree over the log says that it is
//! still the same log. After a failover or a restored database it may not be: then the competition
//! is loaded anew.

use crate::actions::pour::{Rows, pour};
use crate::rules::placement::{Change, Placement};
use crate::standings::{Board, Gap, InForce};
use crate::store::competitions::{Definition, Known};
use crate::store::merkle::{Hash, Peaks};
use crate::store::placements::Block;
use crate::store::{Committed, Store, StoreError};
use futures_util::StreamExt;
use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{Notify, Semaphore, watch};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

/// How often the heads of the logs are compared with what the board has taken in while the database cannot be
/// asked; else [`Config::look`](crate::config::Config::look) says it.
const LOOK_FOR_IT: Duration = Duration::from_secs(1);
/// How long one question may take: a connection on a dead network would keep it for ever.
const PATIENCE: Duration = Duration::from_secs(10);
/// Leaves of a log that are read with one question, however many are missing.
const LEAVES: u64 = 4_096;
/// More records than that take a while to be taken in.
const LONG: u64 = 4_096;
/// Competitions of which less is missing that are read at the same time.
const SHORT: usize = 2;

/// What the board has taken in of each log, and the means to take in more. Cheap to clone.
#[derive(Clone)]
pub struct Follower(Arc<Parts>);

struct Parts {
    store: Store,
    board: Arc<Board>,
    /// How often it looks by itself.
    look: Duration,
    /// By competition, the tree over the log as far as the board has it.
    seen: Mutex<HashMap<i64, Peaks>>,
    /// By competition, how many looks had begun when it was found that the board may show another log than the
    /// one that is there.
    doubted: Mutex<HashMap<i64, u64>>,
    /// Competitions that are being loaded anew, because their log is another one; where that failed it stays so
    /// until it comes about.
    anew: Mutex<HashSet<i64>>,
    /// Turns of those who read little, and of those who read much.
    short: Semaphore,
    long: Semaphore,
    wake: Notify,
    looks: watch::Sender<Looks>,
}

/// How often it was begun to look at the logs, and by competition the last of these looks that found the board
/// to show the log that is there, or made it so.
#[derive(Clone, Debug, Default)]
struct Looks {
    begun: u64,
    ended: HashMap<i64, u64>,
}

/// Number of a competition, the look that found it to differ, and what came of reading it.
type Reading = (i64, u64, Result<(), StoreError>);

/// Competitions that are being taken in.
#[derive(Default)]
struct UnderWay {
    /// Each goes on by itself: what they have in hand they give back while the heads are asked for, too.
    readings: JoinSet<Reading>,
    /// By competition, whether a later look found it to differ too.
    going: HashMap<i64, bool>,
    /// Those that could not be read when it was tried last.
    failed: HashSet<i64>,
}

impl Follower {
    /// Loads what there is; from then on it looks as often as that for what others wrote.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn load(store: Store, board: Arc<Board>, look: Duration) -> Result<Self, StoreError> {
        let follower = Self(Arc::new(Parts {
            store,
            board,
            look,
            seen: Mutex::default(),
            doubted: Mutex::default(),
            anew: Mutex::default(),
            short: Semaphore::new(SHORT),
            long: Semaphore::new(1),
            wake: Notify::new(),
            looks: watch::Sender::default(),
        }));
        for known in patiently(follower.0.store.list_competitions()).await? {
            follower.begin(known).await?;
        }
        Ok(follower)
    }

    /// How far the board has each log, and the root of its tree there. Asked before the heads are: what
    /// is committed here meanwhile only moves those on.
    #[must_use]
    pub fn taken_in(&self) -> HashMap<i64, (u64, Hash)> {
        self.seen().iter().map(|(&id, peaks)| (id, (peaks.size(), peaks.root()))).collect()
    }

    /// Takes in what this process committed. Where the board is not at the place before it, it reads
    /// by itself what is missing: nothing is lost, it is only late by one reading.
    pub fn committed(&self, committed: &Committed) {
        // Whatever else comes before it is taken in: nobody is shown a name after its end was acknowledged.
        if let Some(names) = self.0.board.names(committed.competition) {
            names.forget(entries(&committed.placements));
        }
        let mut seen = self.seen();
        let known = seen.get(&committed.competition);
        let fits = match known {
            Some(peaks) => peaks.size() == committed.after && peaks.root() == committed.before,
            // Begun by us; and not where the board still shows a log that is gone.
            None => committed.after == 0 && self.0.board.position(committed.competition).is_none(),
        };
        if !fits || self.take_in(committed).is_err() {
            // Others have written meanwhile; or the log is not the one that was followed.
            self.doubt(committed.competition);
            self.0.wake.notify_one();
            return;
        }
        seen.insert(committed.competition, committed.peaks.clone());
    }

    /// Waits until the board shows a log as far as `seq`, where a change of ours was put; false when the
    /// time is over first. Not by a log that is gone, though it went further.
    pub async fn at_least(&self, competition: i64, seq: u64, wait: Duration) -> bool {
        let shown = async {
            let doubted = self.doubted().get(&competition).copied();
            if let Some(then) = doubted {
                self.looked(competition, then + 1).await;
            }
            self.0.board.at_least(competition, seq, wait).await
        };
        tokio::time::timeout(wait, shown).await.unwrap_or(false)
    }

    /// The same of a position that somebody else names: the board is compared with what is there first. Where
    /// that takes long because another competition has much to be taken in, it is taken to be the same log, if it
    /// is not known to be another one.
    pub async fn at_least_now(&self, competition: i64, seq: u64, wait: Duration) -> bool {
        let next = self.0.looks.borrow().begun + 1;
        self.0.wake.notify_one();
        let compared = tokio::time::timeout(wait / 4, self.looked(competition, next)).await.is_ok();
        if !compared && self.anew().contains(&competition) {
            return false;
        }
        self.at_least(competition, seq, wait).await
    }

    /// Waits for the end of this look, or a later one.
    async fn looked(&self, competition: i64, look: u64) {
        let mut looks = self.0.looks.subscribe();
        // Who looks goes on for as long as anybody asks.
        let _ = looks.wait_for(|looks| looks.ended.get(&competition).is_some_and(|ended| *ended >= look)).await;
    }

    /// The look that comes next tells.
    fn doubt(&self, competition: i64) {
        let begun = self.0.looks.borrow().begun;
        self.doubted().insert(competition, begun);
    }

    fn doubted(&self) -> MutexGuard<'_, HashMap<i64, u64>> {
        self.0.doubted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn take_in(&self, committed: &Committed) -> Result<(), Gap> {
        let (board, definition) = (&self.0.board, committed.definition.as_ref().map(in_force));
        board.follow_after(committed.competition, committed.after, committed.seq, definition, &committed.placements)
    }

    /// Takes in what others commit, until it is told to stop. Each competition by itself: one whose reading takes
    /// long, or cannot be read, keeps none of the others from being followed.
    pub async fn run(self, stop: CancellationToken) {
        let (mut reachable, mut under_way) = (true, UnderWay::default());
        loop {
            let pause = if reachable { self.0.look } else { LOOK_FOR_IT };
            let why = tokio::select! {
                () = stop.cancelled() => return,
                Some(one) = under_way.readings.join_next() => {
                    let one = one.unwrap_or_else(|failed| std::panic::resume_unwind(failed.into_panic()));
                    self.ended(&mut under_way, one)
                }
                () = self.0.wake.notified() => self.look(&mut under_way).await,
                () = tokio::time::sleep(pause) => self.look(&mut under_way).await,
            };
            match (&why, reachable) {
                (Err(error), true) => tracing::warn!(%error, "the logs cannot be followed just now"),
                (Ok(()), false) if under_way.failed.is_empty() => tracing::info!("the logs are followed again"),
                _ => {}
            }
            reachable = why.is_ok() && under_way.failed.is_empty();
        }
    }

    /// Is woken by the database whenever somebody has committed, until it is told to stop.
    pub async fn listen(self, stop: CancellationToken) {
        loop {
            let heard = tokio::select! {
                () = stop.cancelled() => return,
                heard = self.0.store.listen(|| self.0.wake.notify_one()) => heard,
            };
            tracing::debug!(error = ?heard.err(), "the database cannot be listened to just now");
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(LOOK_FOR_IT) => {}
            }
        }
    }

    /// Compares the heads of the logs with what the board has, and begins to take in what differs.
    async fn look(&self, under_way: &mut UnderWay) -> Result<(), StoreError> {
        self.0.looks.send_modify(|looks| looks.begun += 1);
        let begun = self.0.looks.borrow().begun;
        // Before what is there is read: that can only be further, if it is the same log.
        let seen = self.seen().clone();
        let heads = patiently(self.0.store.list_heads()).await?;
        for id in seen.keys().filter(|id| !heads.iter().any(|(known, ..)| known == *id)) {
            tracing::error!(competition = id, "a log that was followed is gone");
            self.seen().remove(id);
            self.0.board.forget(*id);
            self.0.board.forget_past(*id);
        }
        let is_shown = |(id, seq, root): &(i64, u64, Hash)| {
            seen.get(id).is_some_and(|peaks| peaks.size() == *seq && peaks.root() == *root)
        };
        let (shown, others): (Vec<_>, Vec<_>) = heads.into_iter().partition(is_shown);
        self.0.looks.send_modify(|looks| looks.ended.extend(shown.iter().map(|(id, ..)| (*id, begun))));
        // A log that is shorter now, or another one as long, is known for another before any is read: nobody is shown
        // what it was while others have their turn.
        let gone = others.iter().filter(|(id, seq, root)| {
            seen.get(id).is_some_and(|peaks| is_another((peaks.size(), peaks.root()), (*seq, *root)))
        });
        for (id, ..) in gone {
            self.anew().insert(*id);
            self.0.board.forget_past(*id);
        }
        under_way.failed.retain(|id| others.iter().any(|(other, ..)| other == id));
        for (id, ..) in others {
            if let Some(again) = under_way.going.get_mut(&id) {
                *again = true;
                continue;
            }
            under_way.going.insert(id, false);
            let (follower, before) = (self.clone(), seen.get(&id).cloned());
            under_way.readings.spawn(async move { (id, begun, follower.catch_up(id, before).await) });
        }
        Ok(())
    }

    /// What has come of one competition.
    fn ended(&self, under_way: &mut UnderWay, (id, begun, caught_up): Reading) -> Result<(), StoreError> {
        // Somebody has asked meanwhile: what was there then is not known yet.
        if under_way.going.remove(&id) == Some(true) && caught_up.is_ok() {
            self.0.wake.notify_one();
        }
        if let Err(error) = caught_up {
            under_way.failed.insert(id);
            return Err(error);
        }
        under_way.failed.remove(&id);
        self.0.looks.send_modify(|looks| looks.ended.extend([(id, begun)]));
        Ok(())
    }

    /// Takes in one competition as it stands now; of `before` the board had so much of it. What takes long takes
    /// turns with others of its kind, and those that do not come in between.
    async fn catch_up(&self, id: i64, before: Option<Peaks>) -> Result<(), StoreError> {
        let mut turn = self.0.short.acquire().await;
        let mut found = patiently(self.0.store.find_competition_by_id(id)).await?;
        let has = before.as_ref().filter(|_| !self.anew().contains(&id)).map_or(0, Peaks::size);
        if found.as_ref().is_some_and(|known| known.seq.saturating_sub(has) > LONG) {
            drop(turn);
            turn = self.0.long.acquire().await;
            found = patiently(self.0.store.find_competition_by_id(id)).await?;
        }
        let Some(known) = found else { return Ok(()) };
        match before {
            Some(before) => {
                if self.advance(&known, before).await? {
                    return Ok(());
                }
            }
            None if !self.seen().contains_key(&id) => return self.begin(known).await,
            None => return Ok(()),
        }
        // All of it is to be read now, not only what seemed to be missing.
        drop(turn);
        let turns = if known.seq > LONG { &self.0.long } else { &self.0.short };
        let _turn = turns.acquire().await;
        self.begin_anew(known).await
    }

    /// Takes in what is missing; false: the log is not the one that the board has followed.
    async fn advance(&self, known: &Known, mut peaks: Peaks) -> Result<bool, StoreError> {
        let position = peaks.size();
        if position > known.seq {
            return Ok(false);
        }
        while peaks.size() < known.seq {
            let (from, upto) = (peaks.size(), known.seq.min(peaks.size() + LEAVES));
            for leaf in patiently(self.0.store.leaves_between(known.id, from, upto)).await? {
                peaks.append(leaf);
            }
            // The log has become shorter since.
            if peaks.size() != upto {
                break;
            }
        }
        if peaks != known.peaks {
            return Ok(false);
        }
        let definition = (known.definition.seq > position).then(|| in_force(&known.definition));
        // Only what the head read above vouches for: a file may have been applied after it.
        let mut blocks = std::pin::pin!(self.0.store.placements(known.id, position, known.seq));
        while let Some(block) = blocks.next().await {
            let Block { upto, placements } = block?;
            let mut seen = self.seen();
            // We have committed meanwhile, on top of what was compared.
            if seen.get(&known.id).is_none_or(|peaks| peaks.size() != position) {
                self.0.wake.notify_one();
                return Ok(true);
            }
            // Of a long way the board may be some blocks along when the rest cannot be read: then it
            // is gone again from the beginning.
            let definition = definition.clone().filter(|_| upto >= known.definition.seq);
            self.0.board.follow(known.id, upto, definition, &placements);
            if upto == known.seq {
                seen.insert(known.id, peaks);
                return Ok(true);
            }
        }
        Ok(true)
    }

    /// The log is not the one that the board has followed.
    async fn begin_anew(&self, known: Known) -> Result<(), StoreError> {
        tracing::error!(
            competition = known.slug,
            seq = known.seq,
            "this log is not the one that was followed: the database was put back to an older state; loaded anew"
        );
        self.anew().insert(known.id);
        let fresh = patiently(self.0.store.find_competition_by_id(known.id)).await?;
        if let Some(known) = fresh {
            self.begin(known).await?;
        }
        Ok(())
    }

    /// What is committed here meanwhile waits until the board has the rows before it.
    async fn begin(&self, known: Known) -> Result<(), StoreError> {
        self.seen().remove(&known.id);
        let is_new = self.0.board.position(known.id).is_none();
        // Also where it cannot be read: what was made of the log before is no past of this one.
        self.0.board.forget_past(known.id);
        let definition = in_force(&known.definition);
        let load = move |rows: Rows| {
            let mut loading = Board::loading(definition, known.seq);
            rows.for_each(|row| loading.take(&row));
            loading
        };
        let loading = pour(&self.0.store, known.id, &known.slug, known.seq, load).await?;
        {
            let mut seen = self.seen();
            // A competition that was made here a moment ago may have begun by its commit, and gone on:
            // the board never goes back.
            if !(is_new && seen.contains_key(&known.id)) {
                self.0.board.loaded(known.id, loading);
                self.0.board.forget_past(known.id);
                self.anew().remove(&known.id);
                seen.insert(known.id, known.peaks.clone());
            }
        }
        self.0.wake.notify_one();
        self.say_memory(&known);
        Ok(())
    }

    /// Says what a competition takes in memory. All are ranked for that: aside, nobody waits for it.
    fn say_memory(&self, known: &Known) {
        let Some(view) = self.0.board.view(known.id) else { return };
        let (slug, seq) = (known.slug.clone(), known.seq);
        tokio::task::spawn_blocking(move || {
            let memory = view.memory();
            let each = |bytes: usize| bytes.checked_div(memory.entries);
            if let (Some(known_bytes), Some(ranked_bytes)) = (each(memory.known), each(memory.ranked)) {
                tracing::info!(
                    competition = slug,
                    seq,
                    entries = memory.entries,
                    known_bytes,
                    ranked_bytes,
                    "standings are loaded; bytes an entry"
                );
            }
        });
    }

    fn anew(&self) -> MutexGuard<'_, HashSet<i64>> {
        self.0.anew.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Held for moments, never across a wait.
    fn seen(&self) -> MutexGuard<'_, HashMap<i64, Peaks>> {
        self.0.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whether a log that was followed so far is not the one with this head: that is shorter, or another one as long.
/// Of a longer one only its leaves tell.
#[must_use]
pub fn is_another((size, root): (u64, Hash), (seq, head): (u64, Hash)) -> bool {
    size > seq || (size == seq && root != head)
}

/// Whose own facts changed.
fn entries(placements: &[Placement]) -> impl Iterator<Item = u32> {
    placements.iter().filter(|row| matches!(row.change, Change::Entry { .. })).map(|row| row.bib)
}

fn in_force(file: &Definition) -> InForce {
    InForce { at: file.seq, leaf: file.leaf, competition: Arc::clone(&file.competition) }
}

/// Asks for no longer than that.
pub(super) async fn patiently<T>(question: impl Future<Output = Result<T, StoreError>>) -> Result<T, StoreError> {
    tokio::time::timeout(PATIENCE, question).await.unwrap_or(Err(StoreError::Late))
}
