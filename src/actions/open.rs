//! Opening a service: the database migrated, the board loaded, the writer running and wired to
//! the board. Used by `serve`, by `demo`, by every command that works on a database, and by tests.
//!
//! Another process may write to the same database (a command beside `serve`, a second service):
//! [`super::follow`] takes in what it does.

use crate::actions::accounts::Gate;
use crate::actions::changes::Kept;
use crate::actions::directory::Directory;
use crate::actions::follow::Follower;
use crate::actions::known_names;
use crate::actions::mail::Post;
use crate::app::{App, Clock, Keys, Parts, Wholes};
use crate::config::Config;
use crate::standings::Board;
use crate::store::{Committed, Store, StoreError, Writer};
use futures_util::FutureExt;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

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
    if config.in_the_making {
        store.make().await?;
    }
    let board = Arc::new(Board::default());
    let follower = Follower::load(store.clone(), Arc::clone(&board), config.look).await?;
    let (told, logs) = (follower.clone(), follower.clone());
    let writer = Writer::start(store.clone(), clock.clone(), move |committed: &Committed| told.committed(committed));
    let (stop, tasks) = (CancellationToken::new(), TaskTracker::new());
    tasks.spawn(follower.clone().listen(stop.clone()));
    tasks.spawn(or_end("the follower", follower.run(stop.clone())));
    tasks.spawn(known_names::keep(store.clone(), Arc::clone(&board), stop.clone()));
    let start = |mail| Post::start(mail, store.clone(), clock.clone(), keys.clone(), stop.clone());
    let started = config.mail.as_ref().map(start);
    let post = match started {
        Some(Ok((post, work))) => {
            tasks.spawn(work);
            post
        }
        Some(Err(why)) => {
            tracing::error!(target: "mail", why = %why.code, "letters cannot be sent");
            Post::default()
        }
        None => Post::default(),
    };
    let app = App::new(Parts {
        config,
        store,
        writer,
        board,
        logs,
        clock,
        keys,
        post,
        changes: Kept::default(),
        gyms: Directory::default(),
        gate: Gate::default(),
        wholes: Wholes::default(),
    });
    Ok(Service { app, stop, tasks })
}

/// A panic in what nothing is served without ends the process: it would look like a service.
async fn or_end(what: &str, task: impl Future<Output = ()>) {
    if AssertUnwindSafe(task).catch_unwind().await.is_err() {
        tracing::error!("{what} panicked; the process ends so that nothing is served without it");
        std::process::abort();
    }
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
