//! What became of a commit whose answer was lost. What it does not do: commit anything again, or tell anybody.

use super::db::{Db, Tx};
use super::merkle::Hash;
use super::writer::Committed;
use super::{Hold, Store, StoreError, dialect};
use std::time::Duration;

/// How often something is tried that another process may have come between: the head looked for after
/// a commit whose answer was lost, a group whose key was used meanwhile.
pub(super) const TRIES: u32 = 5;
/// Between looks for it: a server that stops takes a moment to come back.
const BETWEEN_TRIES: Duration = Duration::from_millis(500);

/// What became of a commit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fate {
    Done,
    Undone,
    Unknown,
}

/// What became of a commit that failed: the log tells, where it can be read. It is read by one
/// who holds its head, for a commit whose answer was lost may still be under way. Our last record (its leaf
/// is `last`) stands where we put it, whoever has written after it; where another one stands, or none, ours
/// never will. `slugs`: all competitions that were written to.
pub(super) async fn settle(
    store: &Store,
    slugs: &[&str],
    (ours, last): (&Committed, Hash),
    error: &StoreError,
) -> Fate {
    if error.is_refused() {
        return Fate::Undone;
    }
    match find_leaf(store, slugs, ours).await {
        Ok(Some(leaf)) if leaf == last => Fate::Done,
        Ok(_) => Fate::Undone,
        Err(_) => Fate::Unknown,
    }
}

/// Ends a transaction that only held heads and read, so that what it read is as durable as what it
/// would have written: a commit that was cut off from its standby stands on the server and can be
/// read, but is lost with it. Who holds a head has written a lock; its commit waits for the standby too.
pub(super) async fn vouch(groups: &Db, tx: Tx) -> Result<(), StoreError> {
    dialect::in_time(groups, false, tx.commit()).await
}

/// What stands where our last record was put, once nobody else has the head in hand. A server that
/// stops takes a moment to come back.
async fn find_leaf(store: &Store, slugs: &[&str], ours: &Committed) -> Result<Option<Hash>, StoreError> {
    let mut tries = TRIES;
    loop {
        tries -= 1;
        let found = dialect::in_time(&store.inner.groups, false, async {
            let mut tx = store.begin_on(slugs, Hold::default()).await?;
            let leaf = super::log::leaf_at(&mut tx, ours.competition, ours.seq).await?;
            Ok((tx, leaf))
        })
        .await;
        let found = match found {
            Ok((tx, leaf)) => vouch(&store.inner.groups, tx).await.map(|()| leaf),
            Err(error) => Err(error),
        };
        match found {
            Err(error) if tries > 0 && error.trouble().is_some() => tokio::time::sleep(BETWEEN_TRIES).await,
            done => return done,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::Clock;
    use crate::rules::access::Actor;
    use crate::rules::competition::from_toml;
    use crate::rules::ledger::{Asked, Change, Precondition};
    use crate::store::log::leaf_at;
    use crate::store::merkle;
    use crate::store::writer::Writer;
    use jiff::Timestamp;

    const FILE: &str = r#"
        [competition]
        slug = "SLUG"
        title = "Saltmarsh"
        time_zone = "Europe/Lisbon"
        age_date = 2027-01-15
        [[division]]
        slug = "women"
        title = "Women"
        category = "women"
    "#;

    fn apply(slug: &str) -> Asked {
        let raw = Box::new(from_toml(&FILE.replace("SLUG", slug)).expect("a file"));
        Asked {
            actor: Actor::operator(),
            competition: slug.to_owned(),
            received: Timestamp::UNIX_EPOCH,
            precondition: Precondition::None,
            salt: [7; 32],
            change: Change::Apply { raw, dry_run: false, rescore: false, reason: "put right".to_owned() },
        }
    }

    /// What a group has written of these competitions, as it is there.
    async fn saved(store: &Store) -> Vec<(Committed, Hash)> {
        let mut all = Vec::new();
        for (competition, seq, _) in store.list_heads().await.expect("heads") {
            let last = leaf_at(&mut store.read().await.expect("a connection"), competition, seq).await;
            let committed = Committed {
                competition,
                slug: if competition == 1 { "marsh" } else { "reed" }.to_owned(),
                after: 0,
                before: [0; 32],
                seq,
                peaks: merkle::Peaks::default(),
                definition: None,
                placements: Vec::new(),
            };
            all.push((committed, last.expect("it is read").expect("a leaf")));
        }
        all
    }

    #[tokio::test]
    async fn what_became_of_a_commit_without_an_answer_is_told_by_the_log() {
        let folder = tempfile::tempdir().expect("a folder");
        let store =
            Store::open(&format!("sqlite://{}", folder.path().join("tally.db").display())).await.expect("opens");
        let writer = Writer::start(store.clone(), Clock::fixed(Timestamp::UNIX_EPOCH), |_| ());
        let made = tokio::join!(writer.submit(apply("marsh"), None), writer.submit(apply("reed"), None));
        assert!(made.0.is_ok() && made.1.is_ok(), "{made:?}");
        let unknown = || StoreError::OutcomeUnknown(sqlx::Error::WorkerCrashed);
        let fate = async |of: &[(Committed, Hash)], error: StoreError| {
            let slugs: Vec<&str> = of.iter().map(|(committed, _)| committed.slug.as_str()).collect();
            settle(&store, &slugs, (&of[0].0, of[0].1), &error).await
        };

        // Ours stands, in each of the competitions of one group.
        let ours = saved(&store).await;
        assert_eq!(ours.len(), 2);
        assert_eq!(fate(&ours, unknown()).await, Fate::Done);
        let late = StoreError::Database(sqlx::Error::Io(std::io::ErrorKind::TimedOut.into()));
        assert_eq!(fate(&ours, late).await, Fate::Done, "given up, it may be done all the same");
        // Whoever wrote after it.
        let rename = Asked {
            change: Change::Apply {
                raw: Box::new(from_toml(&FILE.replace("SLUG", "marsh").replace("Women", "All women")).expect("a file")),
                dry_run: false,
                rescore: false,
                reason: "put right".to_owned(),
            },
            ..apply("marsh")
        };
        writer.submit(rename, None).await.expect("applied");
        assert_eq!(fate(&ours, unknown()).await, Fate::Done);

        // Somebody else's stands where it was put, in the first or in all of them: it never will.
        let mut others = saved(&store).await;
        for one in &mut others {
            one.1 = [9; 32];
        }
        assert_eq!(fate(&others, unknown()).await, Fate::Undone);
        // Nothing stands there.
        let mut none = saved(&store).await;
        for one in &mut none {
            one.0.seq += 1;
        }
        assert_eq!(fate(&none, unknown()).await, Fate::Undone);

        // The log cannot be read: nobody knows.
        store.close().await;
        assert_eq!(fate(&ours, unknown()).await, Fate::Unknown);
    }
}
