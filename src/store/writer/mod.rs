//! The one writer: decides and commits changes in groups.
//!
//! Callers hand in typed changes; one thread takes what has gathered and gives it to [`super::group`],
//! which commits it as one transaction. Only then is anybody answered. What it does not do: hash
//! passwords, reach the network, or anything else that is slow.

mod queues;

use super::competitions::Definition;
use super::group::{Failure, Grouped};
use super::merkle::{Hash, Peaks};
use super::{Idempotency, Store, StoreError, Trouble};
use crate::app::Clock;
use crate::rules::fault::Warning;
use crate::rules::ledger::{Asked, Outcome, Refusal};
use crate::rules::life::Attempt;
use crate::rules::people::Entry;
use crate::rules::placement::Placement;
use futures_util::FutureExt;
use queues::{Pace, Queues};
use std::collections::{BTreeMap, HashSet, VecDeque};
use std::panic::AssertUnwindSafe;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::runtime::Handle;
use tokio::sync::{mpsc, oneshot};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

/// Changes that may wait, and as many rows of files beside them. Past it callers are told at once: at some
/// thousand changes a second it is about a second of work.
const QUEUE: usize = 4_096;
/// Changes committed together at most, where somebody waits for each.
const GROUP: usize = 256;
/// How long changes of a competition that another process has in hand are sent away at most before it is
/// tried again.
const LET_BE: Duration = Duration::from_secs(10);

/// How often it is looked whether it has been let go.
const LOOK_AGAIN: Duration = Duration::from_millis(50);

/// Competitions that another process has in hand for longer than we wait.
type Held = Arc<Mutex<HashSet<String>>>;

/// What a group did to one competition, told after its commit.
#[derive(Clone, Debug)]
pub struct Committed {
    /// Number.
    pub competition: i64,
    /// Slug.
    pub slug: String,
    /// Log position before the group: another process may have written since the group before it.
    pub after: u64,
    /// Root of the log's tree then.
    pub before: Hash,
    /// Last log position.
    pub seq: u64,
    /// The log's tree there.
    pub peaks: Peaks,
    /// The file in force, when the group applied one.
    pub definition: Option<Definition>,
    /// What happened to the places, in log order.
    pub placements: Vec<Placement>,
}

/// What was done.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Answered {
    /// For the caller.
    pub outcome: Outcome,
    /// Remarks.
    pub warnings: Vec<Warning>,
    /// Log position of the last record of this change; the head where nothing changed.
    pub seq: u64,
    /// For a change of a score: all attempts of that workout and bib after it.
    pub attempts: Vec<Attempt>,
    /// For the same: whose score it is. Not kept: names and gyms change.
    #[serde(skip)]
    pub entry: Option<Box<Entry>>,
    /// The answer of an earlier request with this key, given again.
    #[serde(skip)]
    pub replayed: bool,
}

/// Why a change was not done, or not known to be.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// By the rules.
    #[error("refused: {0:?}")]
    Refused(Refusal),
    /// The key was used for another request.
    #[error("the idempotency key was used for another request")]
    KeyReused,
    /// Too much is waiting, or another process holds the database; nothing was done.
    #[error("the writer is busy")]
    Busy,
    /// The database cannot be written at the moment; nothing was done.
    #[error("the database cannot be written")]
    Unavailable,
    /// It may or may not be done: ask again with the same key.
    #[error("outcome unknown")]
    Unknown,
    /// The database refused; nothing was done.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A change on its way, with the one who waits for its answer.
pub(crate) struct Job {
    pub(crate) asked: Arc<Asked>,
    pub(crate) key: Option<Idempotency>,
    answer: oneshot::Sender<Result<Answered, WriteError>>,
    /// Of a [`Feed`].
    gate: Option<Gate>,
}

/// Shut when one of a row of changes was sent away: those after it are not to be decided before it.
type Gate = Arc<AtomicBool>;

impl Job {
    fn is_shut_out(&self) -> bool {
        self.gate.as_ref().is_some_and(|gate| gate.load(Ordering::SeqCst))
    }

    fn send_away(self) {
        if let Some(gate) = &self.gate {
            gate.store(true, Ordering::SeqCst);
        }
        // A caller who is gone is not told.
        let _ = self.answer.send(Err(WriteError::Busy));
    }
}

/// Writes to competitions: a handle on the thread that decides and commits in groups.
#[derive(Clone)]
pub struct Writer {
    /// Changes that somebody waits for.
    jobs: mpsc::Sender<Job>,
    /// Of [`Feed`]s: however many there are, they take nobody else's place.
    rows: mpsc::Sender<Job>,
    /// Changes of one [`Feed`] in flight: while a group is committed the next gathers.
    in_flight: usize,
    held: Held,
    stop: CancellationToken,
    stopped: CancellationToken,
}

impl Writer {
    /// Starts it, on a thread of its own. `on_commit` is called after each commit, before its answers are given, in
    /// log order; it must be quick. A panic in it ends the process: a writer that is gone
    /// while readers go on would look like a service.
    ///
    /// # Panics
    /// Where the machine gives no thread.
    pub fn start(store: Store, clock: Clock, on_commit: impl Fn(&Committed) + Send + 'static) -> Self {
        let pace = match (store.holds_one_by_one(), store.is_in_the_making()) {
            (true, _) => Pace::SERVER,
            (false, true) => Pace::NEW_FILE,
            (false, false) => Pace::FILE,
        };
        let in_flight = 2 * pace.rows;
        let ((jobs, waited_for), (rows, of_files)) = (mpsc::channel(QUEUE), mpsc::channel(QUEUE.max(in_flight)));
        let (stop, stopped) = (CancellationToken::new(), CancellationToken::new());
        let writer = Self { jobs, rows, in_flight, held: Held::default(), stop, stopped };
        let queues = Queues::new(waited_for, of_files, pace);
        let (stop, stopped, held) = (writer.stop.clone(), writer.stopped.clone(), Arc::clone(&writer.held));
        let served = writer.jobs.downgrade();
        let main = async move {
            // Caught, not guarded by a destructor: a runtime that is dropped while some other thread's
            // panic unwinds (a failing test) is no panic of the writer.
            let task = Task { store, clock, on_commit, held };
            let panicked = AssertUnwindSafe(task.run(queues, stop)).catch_unwind().await.is_err();
            // Where nobody is left who could hand anything in, the runtime has gone, and its clock with it.
            if panicked && served.upgrade().is_some() {
                tracing::error!("the writer panicked; the process ends so that nothing is served without it");
                std::process::abort();
            }
            stopped.cancel();
        };
        // All who write wait for it: it is not to stand in line for a thread behind their requests.
        let runtime = Handle::current();
        let thread = std::thread::Builder::new().name("writer".to_owned());
        thread.spawn(move || runtime.block_on(main)).expect("a thread for the writer");
        writer
    }

    /// Decides a change and makes it durable. Dropping the future does not take it back.
    pub async fn submit(&self, asked: Asked, key: Option<Idempotency>) -> Result<Answered, WriteError> {
        let (answer, answered) = oneshot::channel();
        self.jobs.try_send(Job { asked: asked.into(), key, answer, gate: None }).map_err(|_| WriteError::Busy)?;
        answered.await.unwrap_or(Err(WriteError::Unknown))
    }

    /// A way to hand in many changes in their order. `patience`: how long it waits in all for another process
    /// that has their competition in hand.
    #[must_use]
    pub fn feed(&self, patience: Duration) -> Feed<'_> {
        Feed { writer: self, waiting: VecDeque::new(), patience, gate: Gate::default() }
    }

    /// Decides many changes in their order, each by itself; an answer for each. Waits for room, but for
    /// nobody else.
    pub async fn submit_many(&self, asked: impl IntoIterator<Item = Asked>) -> Vec<Result<Answered, WriteError>> {
        let (mut feed, mut answers) = (self.feed(Duration::ZERO), Vec::new());
        for asked in asked {
            if feed.is_full() {
                answers.extend(feed.answer().await);
            }
            feed.send(asked).await;
        }
        while let Some(answer) = feed.answer().await {
            answers.push(answer);
        }
        answers
    }

    /// Takes nothing more, commits and answers what is in flight, and returns when that is done.
    pub async fn stop(&self) {
        self.stop.cancel();
        self.stopped.cancelled().await;
    }

    /// How many changes wait.
    #[must_use]
    pub fn waiting(&self) -> usize {
        [&self.jobs, &self.rows].map(|queue| queue.max_capacity() - queue.capacity()).iter().sum()
    }
}

/// Many changes on their way, decided in the order they are sent in, each by itself. Waits for room
/// rather than being [`WriteError::Busy`]; and for another process that has their competition in hand, as long as
/// its patience lasts. Where one is not decided for that, none that came after it is: they are handed in
/// again together, in their order.
pub struct Feed<'w> {
    writer: &'w Writer,
    waiting: VecDeque<Sent>,
    patience: Duration,
    gate: Gate,
}

/// A change on its way, or what became of it.
struct Sent {
    asked: Arc<Asked>,
    state: OnItsWay,
}

enum OnItsWay {
    Handed(oneshot::Receiver<Result<Answered, WriteError>>),
    Told(Result<Answered, WriteError>),
}

impl Sent {
    async fn settle(&mut self) {
        if let OnItsWay::Handed(answer) = &mut self.state {
            self.state = OnItsWay::Told(answer.await.unwrap_or(Err(WriteError::Unknown)));
        }
    }

    fn is_busy(&self) -> bool {
        matches!(self.state, OnItsWay::Told(Err(WriteError::Busy)))
    }
}

impl Feed<'_> {
    /// Whether an answer should be taken before more is sent.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.waiting.len() >= self.writer.in_flight
    }

    /// Hands in the next change.
    pub async fn send(&mut self, asked: Asked) {
        let asked = Arc::new(asked);
        let state = self.hand_in(&asked).await;
        self.waiting.push_back(Sent { asked, state });
    }

    /// What became of the oldest change that has not been answered; `None`: there is none.
    pub async fn answer(&mut self) -> Option<Result<Answered, WriteError>> {
        self.waiting.front_mut()?.settle().await;
        while self.waiting.front()?.is_busy() && !self.patience.is_zero() && !self.writer.stop.is_cancelled() {
            let began = Instant::now();
            self.again(began).await;
            self.waiting.front_mut()?.settle().await;
            self.patience = self.patience.saturating_sub(began.elapsed());
        }
        match self.waiting.pop_front()?.state {
            OnItsWay::Told(answer) => Some(answer),
            OnItsWay::Handed(_) => Some(Err(WriteError::Unknown)),
        }
    }

    /// Hands in again what was sent away, once there may be something to be had.
    async fn again(&mut self, began: Instant) {
        for sent in &mut self.waiting {
            sent.settle().await;
        }
        loop {
            tokio::time::sleep(LOOK_AGAIN).await;
            let competition = self.waiting.front().map(|sent| &sent.asked.competition);
            let is_held = competition.is_some_and(|competition| held(&self.writer.held).contains(competition));
            if !is_held || began.elapsed() >= self.patience {
                break;
            }
        }
        self.gate.store(false, Ordering::SeqCst);
        for n in 0..self.waiting.len() {
            if self.waiting[n].is_busy() {
                let asked = Arc::clone(&self.waiting[n].asked);
                self.waiting[n].state = self.hand_in(&asked).await;
            }
        }
    }

    async fn hand_in(&self, asked: &Arc<Asked>) -> OnItsWay {
        let (answer, answered) = oneshot::channel();
        let job = Job { asked: Arc::clone(asked), key: None, answer, gate: Some(Arc::clone(&self.gate)) };
        match self.writer.rows.send(job).await {
            Ok(()) => OnItsWay::Handed(answered),
            Err(_) => OnItsWay::Told(Err(WriteError::Busy)),
        }
    }
}

struct Task<F> {
    store: Store,
    clock: Clock,
    on_commit: F,
    held: Held,
}

impl<F: Fn(&Committed) + Send + 'static> Task<F> {
    async fn run(mut self, mut queues: Queues, stop: CancellationToken) {
        while let Some(jobs) = queues.next(&stop).await {
            let (began, all) = (Instant::now(), jobs.len());
            let rows = jobs.iter().filter(|job| job.gate.is_some()).count();
            self.take(jobs).await;
            if rows == all {
                queues.took(rows, began.elapsed());
            }
        }
    }

    /// Commits what has gathered. Changes of a competition that another process has in hand, to apply a large
    /// file to it say, are sent away, and keep nobody else waiting.
    async fn take(&mut self, jobs: Vec<Job>) {
        let held = self::held(&self.held).clone();
        let (away, free): (Vec<Job>, Vec<Job>) =
            jobs.into_iter().partition(|job| held.contains(&job.asked.competition) || job.is_shut_out());
        away.into_iter().for_each(Job::send_away);
        if !free.is_empty() {
            // Of several none is kept from others for long while another one is waited for.
            let brief = is_of_several(&free) && self.store.holds_one_by_one();
            self.commit(free, brief).await;
        }
    }

    /// Nothing is tried with this one until another process has let it go.
    fn let_be(&self, competition: &str) {
        if !self::held(&self.held).insert(competition.to_owned()) {
            return;
        }
        let (store, held, slug) = (self.store.clone(), Arc::clone(&self.held), competition.to_owned());
        tokio::spawn(async move {
            // Whatever comes of it: then it is tried again.
            if let Ok(Err(error)) = tokio::time::timeout(LET_BE, store.until_free(&slug)).await {
                tracing::debug!(%error, competition = slug, "who has it in hand could not be waited for");
            }
            self::held(&held).remove(&slug);
        });
    }

    /// Commits a group; where a statement fails, each change by itself; where a competition is in somebody's
    /// hand, each of them by itself. `brief`: nobody is waited for but for a moment.
    async fn commit(&mut self, mut jobs: Vec<Job>, brief: bool) {
        match self.group(&jobs, brief).await {
            Ok(answers) => {
                for (job, answer) in jobs.into_iter().zip(answers) {
                    // A caller who is gone is not told; the change is done all the same.
                    let _ = job.answer.send(answer);
                }
            }
            Err(Failure::Undone(error)) if jobs.len() > 1 && error.trouble().is_none() => {
                tracing::warn!(%error, changes = jobs.len(), "a group was rolled back and is done again one by one");
                for job in jobs {
                    Box::pin(self.take(vec![job])).await;
                }
            }
            Err(Failure::Undone(error))
                if error.trouble() == Some(Trouble::Busy) && is_of_several(&jobs) && self.store.holds_one_by_one() =>
            {
                for jobs in by_competition(jobs) {
                    Box::pin(self.take(jobs)).await;
                }
            }
            Err(failure) => {
                if let (Failure::Undone(error), Some(job)) = (&failure, jobs.first())
                    && error.trouble() == Some(Trouble::Busy)
                    && self.store.holds_one_by_one()
                {
                    self.let_be(&job.asked.competition);
                }
                tracing::error!(error = %failure, changes = jobs.len(), "changes were not committed");
                if matches!(failure.told(), WriteError::Busy) {
                    return jobs.into_iter().for_each(Job::send_away);
                }
                let last = jobs.pop();
                for job in jobs {
                    let _ = job.answer.send(Err(failure.told()));
                }
                if let Some(job) = last {
                    let _ = job.answer.send(Err(failure.into_error()));
                }
            }
        }
    }

    async fn group(&mut self, jobs: &[Job], brief: bool) -> Result<Vec<Result<Answered, WriteError>>, Failure> {
        let Grouped { answers, committed } = super::group::commit(&self.store, self.clock.now(), jobs, brief).await?;
        for one in &committed {
            (self.on_commit)(one);
        }
        Ok(answers)
    }
}

fn held(held: &Held) -> MutexGuard<'_, HashSet<String>> {
    held.lock().unwrap_or_else(PoisonError::into_inner)
}

fn is_of_several(jobs: &[Job]) -> bool {
    jobs.iter().any(|job| job.asked.competition != jobs[0].asked.competition)
}

/// In their order, each competition's by themselves.
fn by_competition(jobs: Vec<Job>) -> impl Iterator<Item = Vec<Job>> {
    let mut parts: BTreeMap<String, Vec<Job>> = BTreeMap::new();
    for job in jobs {
        parts.entry(job.asked.competition.clone()).or_default().push(job);
    }
    parts.into_values()
}
