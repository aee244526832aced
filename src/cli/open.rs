//! Opening the database that the command line names, and closing it in order whatever happens.

use super::talk::{Done, Stop};
use crate::actions::open::{Service, is_there, open, shown};
use crate::app::{App, Clock, Keys};
use crate::config::Config;
use crate::words::Sentence;
use std::net::{Ipv4Addr, SocketAddr};

/// Where the database is when nobody says.
pub(super) const DATABASE: &str = "sqlite://tallywright.db";

/// Settings for a command that serves nothing.
fn config(database: Option<&str>) -> Config {
    Config {
        database: database.unwrap_or(DATABASE).to_owned(),
        listen: SocketAddr::from((Ipv4Addr::LOCALHOST, 0)),
        public_url: "http://localhost".to_owned(),
        ..Config::default()
    }
}

/// Opens the database, making it if it is not there.
pub(super) async fn opened(database: Option<&str>) -> Result<Service, Stop> {
    Ok(open(config(database), Clock::System, Keys::System).await?)
}

/// Runs `work` on a database that must be there: a slip in its name should not make an empty one.
pub(super) async fn on_existing(database: Option<&str>, work: impl AsyncFnOnce(&App) -> Done) -> Done {
    must_be_there(database.unwrap_or(DATABASE)).await?;
    on(database, work).await
}

/// Says so when there is no database at this address.
pub(super) async fn must_be_there(url: &str) -> Done {
    if is_there(url).await? {
        return Ok(());
    }
    Err(Stop::because(&Sentence::new("cli_no_database").with("url", shown(url))))
}

/// Runs `work` on a database, making it if it is not there.
pub(super) async fn on(database: Option<&str>, work: impl AsyncFnOnce(&App) -> Done) -> Done {
    let service = opened(database).await?;
    let done = work(&service.app).await;
    service.close().await;
    done
}
