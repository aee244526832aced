//! Opening a service: the database migrated, the board loaded, the writer running and wired to
//! the board. Used by `serve`, by `demo`, by every command that works on a database, and by tests.
//!
//! Another process may write to the same database (a command beside `serve`): a follower compares
//! the heads of the logs with the board every 200 ms and takes in what is missing.

use crate::actions::accounts::Gate;
use crate::app::{App, Clock, Keys, Parts};
use crate::config::Config;
use crate::standings::Board;
use crate::store::{Committed, Store, StoreError, Writer};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// How often the heads of the logs are compared with the board.
const FOLLOW: Duration = Duration::from_millis(200);

/// A running service without HTTP: an [`App`] and the tasks behind it.
pub struct Service {
    /// What handlers and commands use.
    pub app: App,
    stop: CancellationToken,
    tasks: TaskTracker,
}

impl Service {
    /// Stops: what is in flight is committed and answered, then the database is closed.
    pub async fn close(self) {
        self.stop.cancel();
        self.app.writer.stop().await;
        self.tasks.close();
        self.tasks.wait().await;
        self.app.store.close().await;
    }
}

/// Opens the database that `config` names, makes or migrates its tables, loads the board and
/// starts the writer.
///
/// # Errors
/// When the database cannot be opened, migrated or read.
pub async fn open(config: Config, clock: Clock, keys: Keys) -> Result<Service, StoreError> {
    let store = Store::open(&config.database).await?;
    let board = Arc::new(Board::default());
    for known in store.list_competitions().await? {
        load(&store, &board, known).await?;
    }
    // A gap means that somebody else wrote before us: the follower is woken and reads what is
    // missing; nothing is lost, the board is only late by one reading.
    let wake = Arc::new(Notify::new());
    let told = (Arc::clone(&board), Arc::clone(&wake));
    let writer = Writer::start(store.clone(), clock.clone(), move |committed: &Committed| {
        let (board, wake) = &told;
        if take_in(board, committed).is_err() {
            wake.notify_one();
        }
    });
    let (stop, tasks) = (CancellationToken::new(), TaskTracker::new());
    tasks.spawn(follow(store.clone(), Arc::clone(&board), wake, stop.clone()));
    let app = App::new(Parts { config, store, writer, board, clock, keys, gate: Gate::default() });
    Ok(Service { app, stop, tasks })
}

async fn load(store: &Store, board: &Board, known: crate::store::competitions::Known) -> Result<(), StoreError> {
    let placements = store.placements_at(known.id, known.seq).await?;
    board.load(known.id, known.definition.competition, known.seq, placements);
    Ok(())
}

fn take_in(board: &Board, committed: &Committed) -> Result<(), crate::standings::Gap> {
    let definition = committed.definition.clone();
    if committed.after == 0 {
        // The first group of a new competition: nothing can be missing before it.
        board.follow(committed.competition, committed.seq, definition, &committed.placements);
        return Ok(());
    }
    board.follow_after(committed.competition, committed.after, committed.seq, definition, &committed.placements)
}

/// Takes in records that another process wrote, until it is told to stop.
async fn follow(store: Store, board: Arc<Board>, wake: Arc<Notify>, stop: CancellationToken) {
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = wake.notified() => {}
            () = tokio::time::sleep(FOLLOW) => {}
        }
        if let Err(error) = catch_up(&store, &board).await {
            tracing::warn!(%error, "the logs could not be followed; tried again");
        }
    }
}

async fn catch_up(store: &Store, board: &Board) -> Result<(), StoreError> {
    let heads = store.heads().await?;
    let behind = |&(id, seq): &(i64, u64)| board.position(id).is_none_or(|known| known < seq);
    if !heads.iter().any(behind) {
        return Ok(());
    }
    for known in store.list_competitions().await? {
        let Some(position) = board.position(known.id) else {
            load(store, board, known).await?;
            continue;
        };
        if position >= known.seq {
            continue;
        }
        let definition = (known.definition.seq > position).then(|| Arc::clone(&known.definition.competition));
        let placements = store.placements_after(known.id, position).await?;
        // Only what the head read above vouches for: a file may have been applied after it.
        let rows: Vec<_> = placements.into_iter().filter(|p| p.seq <= known.seq).collect();
        board.follow(known.id, known.seq, definition, &rows);
    }
    Ok(())
}

/// Whether there is a database of ours at this address already. An address that is none is taken to
/// be there: opening says what is wrong with it.
///
/// # Errors
/// When a server cannot be asked.
pub async fn is_there(url: &str) -> Result<bool, StoreError> {
    crate::store::dialect::is_there(url).await
}

/// Whether this address is of a server, which copies and keeps databases in its own way.
#[must_use]
pub fn is_served(url: &str) -> bool {
    crate::store::dialect::is_served(url)
}

/// The file of an address of the embedded engine.
#[must_use]
pub fn file(url: &str) -> Option<std::path::PathBuf> {
    crate::store::dialect::file(url)
}

/// An address of a database as it may be shown: without what signs in.
#[must_use]
pub fn shown(url: &str) -> String {
    crate::store::dialect::shown(url)
}
