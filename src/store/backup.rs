//! A consistent copy of the database while it is served, checked before it is called one.

use super::verify::Verified;
use super::{Store, StoreError, dialect};
use std::path::{Path, PathBuf};

impl Store {
    /// Writes a copy to `file`, which must not exist, opens it and verifies every competition.
    /// It bears its name only when it holds together; until then, and after a fault, it is
    /// `FILE.partial`.
    pub async fn backup(&self, file: &Path) -> Result<Vec<Verified>, StoreError> {
        let partial = partial(file);
        for path in [file, &partial] {
            if path.exists() {
                return Err(StoreError::Backup(format!("{} is already there", path.display())));
            }
        }
        dialect::copy(&self.inner.reads, &partial).await?;
        let copy = Self::open(&format!("sqlite://{}", partial.display())).await?;
        let verified = copy.verify(None).await;
        let sound = dialect::check(&copy.inner.reads).await;
        copy.close().await;
        let (verified, sound) = (verified?, sound?);
        if let Some(why) = sound {
            return Err(StoreError::Backup(why));
        }
        if verified.iter().any(|v| v.difference.is_some()) {
            return Ok(verified);
        }
        let finish = || {
            std::fs::File::open(&partial)?.sync_all()?;
            std::fs::rename(&partial, file)?;
            let folder = file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
            std::fs::File::open(folder)?.sync_all()
        };
        finish().map_err(|e: std::io::Error| StoreError::Backup(e.to_string()))?;
        Ok(verified)
    }
}

fn partial(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".partial");
    PathBuf::from(name)
}
