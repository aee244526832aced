//! A consistent copy of the database while it is served, checked before it is called one; and the
//! way back.

use super::verify::Verified;
use super::{Store, StoreError, dialect};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// What a database consists of: its file, and those beside it.
const BESIDE: [&str; 4] = ["", "-wal", "-shm", "-journal"];

impl Store {
    /// Writes a copy to `file`, which must not exist, opens it and verifies every competition.
    /// It bears its name only when it holds together; until then, and where it differs from its
    /// log, it is `FILE.partial`. What could not be made is taken away: it would keep room that the service
    /// needs.
    pub async fn backup(&self, file: &Path) -> Result<Vec<Verified>, StoreError> {
        let partial = claimed(file)?;
        let done = match dialect::copy(&self.inner.reads, &partial).await {
            Ok(()) => finish(&partial, file).await,
            Err(why) => Err(why),
        };
        if done.is_err() {
            take_away(&partial);
        }
        done
    }
}

/// Makes the database at `target`, which must not exist, from the copy in `file`, which stays as it
/// is. Verified before it bears its name; after a fault nothing is left of it.
pub async fn restore(file: &Path, target: &Path) -> Result<Vec<Verified>, StoreError> {
    // What stands beside a database belongs to it: the file alone would be an older state, or none.
    if std::fs::metadata(beside(file, "-wal")).is_ok_and(|m| m.len() > 0) {
        return Err(StoreError::InUse);
    }
    if !dialect::is_ours(file).await? {
        return Err(StoreError::Foreign);
    }
    let partial = claimed(target)?;
    let done = match dialect::copy_file(file, &partial) {
        Ok(()) => finish(&partial, target).await,
        Err(why) => Err(StoreError::Backup(why.to_string())),
    };
    if !done.as_ref().is_ok_and(|all| all.iter().all(|one| one.difference.is_none())) {
        take_away(&partial);
    }
    done
}

/// Of a copy that came to nothing.
fn take_away(partial: &Path) {
    for end in BESIDE {
        let _ = std::fs::remove_file(beside(partial, end));
    }
}

/// The name that a copy has until it is one, taken by an empty file: of two who make it at once the other finds
/// it taken, and takes nothing away. Nothing is written over.
fn claimed(file: &Path) -> Result<PathBuf, StoreError> {
    let partial = beside(file, ".partial");
    let folder = folder(file);
    if !folder.is_dir() {
        return Err(StoreError::Backup(format!("there is no folder {}; make it first", folder.display())));
    }
    // What is left beside a database that is gone would be taken for this one's, and written over it.
    for path in [file, &partial].into_iter().flat_map(|path| BESIDE.map(|end| beside(path, end))) {
        if std::fs::symlink_metadata(&path).is_ok() {
            return Err(is_there(&path));
        }
    }
    match dialect::claim(&partial) {
        Ok(()) => Ok(partial),
        Err(why) if why.kind() == ErrorKind::AlreadyExists => Err(is_there(&partial)),
        Err(why) => Err(StoreError::Backup(format!("{}: {why}", partial.display()))),
    }
}

fn is_there(path: &Path) -> StoreError {
    StoreError::Backup(format!("{} is already there", path.display()))
}

/// Gives a file its name, unless something has that name by now.
fn name(partial: &Path, file: &Path) -> std::io::Result<()> {
    std::fs::File::open(partial)?.sync_all()?;
    match std::fs::hard_link(partial, file) {
        Ok(()) => std::fs::remove_file(partial)?,
        Err(why) if why.kind() == ErrorKind::AlreadyExists || file.exists() => return Err(why),
        // A file system without links.
        Err(_) => std::fs::rename(partial, file)?,
    }
    std::fs::File::open(folder(file))?.sync_all()
}

/// Checks the copy at `partial` and gives it its name, if it holds together.
async fn finish(partial: &Path, file: &Path) -> Result<Vec<Verified>, StoreError> {
    let copy = Store::open(&format!("sqlite://{}", partial.display())).await?;
    let verified = copy.verify(None).await;
    let sound = dialect::check(&copy.inner.reads).await;
    copy.close().await;
    let (verified, sound) = (verified?, sound?);
    if std::fs::metadata(beside(partial, "-wal")).is_ok_and(|m| m.len() > 0) {
        return Err(StoreError::InUse);
    }
    if let Some(why) = sound {
        return Err(StoreError::Backup(why));
    }
    if verified.iter().any(|v| v.difference.is_some()) {
        return Ok(verified);
    }
    let why = |why: std::io::Error| StoreError::Backup(format!("{}: {why}", file.display()));
    name(partial, file).map_err(why)?;
    Ok(verified)
}

fn folder(file: &Path) -> &Path {
    file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn beside(file: &Path, end: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(end);
    PathBuf::from(name)
}
