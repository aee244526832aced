//! [`App`]: settings, store, writer, board, clock, keys. Made once, handed to all.
//!
//! The only file that reads the clock or draws random bytes: everywhere else they are arguments.

use crate::actions::Failure;
use crate::actions::accounts::Gate;
use crate::actions::directory::Directory;
use crate::actions::follow::Follower;
use crate::actions::mail::Post;
use crate::config::Config;
use crate::standings::Board;
use crate::store::{Store, Writer};
use jiff::Timestamp;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, SemaphorePermit};

/// What a process has, shared by all its requests. Cheap to clone.
#[derive(Clone)]
pub struct App(Arc<Parts>);

/// The parts of an [`App`].
pub struct Parts {
    /// Settings.
    pub config: Config,
    /// Reads.
    pub store: Store,
    /// Writes to competitions.
    pub writer: Writer,
    /// Standings in memory.
    pub board: Arc<Board>,
    /// The logs that they follow.
    pub logs: Follower,
    /// The time.
    pub clock: Clock,
    /// Random bytes.
    pub keys: Keys,
    /// Where letters are handed over.
    pub post: Post,
    /// Lists of what was changed of workouts, as they were made.
    pub changes: crate::actions::changes::Kept,
    /// Gyms by name.
    pub gyms: Directory,
    /// Throttles of sign-in, and the bound on password hashing.
    pub gate: Gate,
    /// Those who read something whole, and what is sent whole.
    pub wholes: Wholes,
}

/// So many at once may read something whole, of any length: each keeps a state of it for as long as they take.
pub const WHOLES: usize = 8;

/// So many at once are read as far as shows whether they are long, or as a large page: they share what reads the
/// database with everybody else.
const BEGINNING: usize = 4;
/// How long one waits for that.
const PATIENCE: Duration = Duration::from_secs(2);

/// Files at work at once, in KiB: eight of the largest that are sent by HTTP. What is read of a file takes several
/// times of it: cell by cell, as the changes that it asks for, and as what became of them.
const FILES: usize = 32 << 10;
/// How long one waits for its turn.
const A_TURN: Duration = Duration::from_secs(10);

/// Room for them.
pub struct Wholes {
    reading: Arc<Semaphore>,
    beginning: Semaphore,
    files: Semaphore,
}

impl Default for Wholes {
    fn default() -> Self {
        let (reading, beginning) = (Arc::new(Semaphore::new(WHOLES)), Semaphore::new(BEGINNING));
        Self { reading, beginning, files: Semaphore::new(FILES) }
    }
}

impl App {
    /// Ties the parts together.
    #[must_use]
    pub fn new(parts: Parts) -> Self {
        Self(Arc::new(parts))
    }

    /// The turn of one who asks for something whole, until it is known how long that is.
    ///
    /// # Errors
    /// Busy.
    pub async fn beginning(&self) -> Result<SemaphorePermit<'_>, Failure> {
        let turn = tokio::time::timeout(PATIENCE, self.wholes.beginning.acquire()).await;
        turn.ok().and_then(Result::ok).ok_or(Failure::Busy)
    }

    /// Room for one more who reads something whole.
    ///
    /// # Errors
    /// Busy.
    pub fn wholes(&self) -> Result<OwnedSemaphorePermit, Failure> {
        Arc::clone(&self.wholes.reading).try_acquire_owned().map_err(|_| Failure::Busy)
    }

    /// The turn of a file of so many bytes: a small one takes little room, and one that is larger than all of it,
    /// as from the command line, takes it whole.
    ///
    /// # Errors
    /// Busy.
    pub async fn file(&self, bytes: usize) -> Result<SemaphorePermit<'_>, Failure> {
        let kib = u32::try_from(bytes.div_ceil(1024).min(FILES)).unwrap_or(u32::MAX);
        let turn = tokio::time::timeout(A_TURN, self.wholes.files.acquire_many(kib)).await;
        turn.ok().and_then(Result::ok).ok_or(Failure::Busy)
    }
}

impl std::ops::Deref for App {
    type Target = Parts;

    fn deref(&self) -> &Parts {
        &self.0
    }
}

/// The time: the system's, or one that a test moves.
#[derive(Clone, Debug)]
pub enum Clock {
    /// The machine's.
    System,
    /// Microseconds since 1970, moved by hand.
    Fixed(Arc<AtomicI64>),
}

impl Clock {
    /// A clock that stands at `at` until it is moved.
    #[must_use]
    pub fn fixed(at: Timestamp) -> Self {
        Self::Fixed(Arc::new(AtomicI64::new(at.as_microsecond())))
    }

    /// Now, in whole microseconds (what the tables keep).
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place that reads the system's clock")]
    pub fn now(&self) -> Timestamp {
        let micros = match self {
            Self::System => Timestamp::now().as_microsecond(),
            Self::Fixed(at) => at.load(Ordering::SeqCst),
        };
        Timestamp::from_microsecond(micros).unwrap_or(Timestamp::UNIX_EPOCH)
    }

    /// Moves a fixed clock; the system's cannot be.
    pub fn set(&self, at: Timestamp) {
        if let Self::Fixed(cell) = self {
            cell.store(at.as_microsecond(), Ordering::SeqCst);
        }
    }
}

/// Random bytes: the system's, or a counted sequence for tests and the demo.
#[derive(Clone, Debug)]
pub enum Keys {
    /// The operating system's generator.
    System,
    /// SHA-256 of seed and counter: repeatable, never for real use.
    Seeded(Arc<AtomicU64>),
}

impl Keys {
    /// A repeatable sequence.
    #[must_use]
    pub fn seeded(seed: u64) -> Self {
        Self::Seeded(Arc::new(AtomicU64::new(seed << 32)))
    }

    /// 32 fresh bytes.
    ///
    /// # Panics
    /// When the operating system has no randomness: nothing safe can be done then.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place that draws random bytes")]
    pub fn bytes(&self) -> [u8; 32] {
        match self {
            Self::System => {
                let mut out = [0; 32];
                getrandom::fill(&mut out).expect("the operating system gives random bytes");
                out
            }
            Self::Seeded(counter) => {
                use sha2::Digest;
                let n = counter.fetch_add(1, Ordering::SeqCst);
                sha2::Sha256::digest(n.to_be_bytes()).into()
            }
        }
    }
}
