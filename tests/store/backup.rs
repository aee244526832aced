//! Backups are consistent while writers go on, verified, and never write over anything.

use super::support::database::Database;
use super::support::{Place, score};
use tallywright::store::backup::restore;
use tallywright::store::{Store, StoreError};

#[tokio::test(flavor = "multi_thread")]
async fn a_copy_made_under_load_is_whole_and_verifies() {
    let place = Place::on(Database::file()).await.filled(200).await;
    let asked: Vec<_> = (1..=200).map(|bib| score("w1", bib, "3+3", true)).collect();
    let writer = place.writer.clone();
    let load = tokio::spawn(async move { writer.submit_many(asked).await });
    let target = place.file("copy.db");
    let verified = place.store.backup(&target).await.unwrap();
    assert!(load.await.unwrap().iter().all(Result::is_ok));
    assert_eq!(verified.len(), 1);
    assert_eq!(verified[0].difference, None);
    assert!(!place.file("copy.db.partial").exists());

    let copy = Store::open(&format!("sqlite://{}", target.display())).await.unwrap();
    let known = copy.find_competition("saltmarsh").await.unwrap().unwrap();
    assert_eq!(known.seq, verified[0].records);
    assert_eq!(copy.list_attempts(known.id, "w1", 1).await.unwrap().len().min(1), usize::from(known.seq > 205));
}

#[tokio::test]
async fn nothing_is_written_over() {
    let place = Place::on(Database::file()).await.filled(1).await;
    let target = place.file("copy.db");
    std::fs::write(&target, "precious").unwrap();
    let refused = place.store.backup(&target).await;
    assert!(matches!(refused, Err(StoreError::Backup(_))), "{refused:?}");
    assert_eq!(std::fs::read_to_string(&target).unwrap(), "precious");
}

/// Each tries as if nobody else did: one makes the copy, whole, and the others leave it alone.
#[tokio::test(flavor = "multi_thread")]
async fn of_many_who_copy_to_one_name_at_once_one_does_and_the_others_take_nothing_away() {
    let place = Place::on(Database::file()).await.filled(100).await;
    let mut stores = Vec::new();
    for _ in 0..4 {
        stores.push(place.open_again().await);
    }
    for round in 0..5 {
        let target = place.file(&format!("copy-{round}.db"));
        let copies = futures_util::future::join_all(stores.iter().map(|store| store.backup(&target))).await;
        assert_eq!(copies.iter().filter(|copy| copy.is_ok()).count(), 1, "{copies:?}");
        for refused in copies.iter().filter_map(|copy| copy.as_ref().err()) {
            assert!(matches!(refused, StoreError::Backup(_)), "{refused:?}");
        }
        let (there, restored) = (place.file("").read_dir().unwrap(), place.file(&format!("restored-{round}.db")));
        let left: Vec<_> = there.map(|file| file.unwrap().file_name()).collect();
        assert!(!left.iter().any(|name| name.to_string_lossy().contains("partial")), "{left:?}");
        // The way back just the same.
        let back = futures_util::future::join_all((0..3).map(|_| restore(&target, &restored))).await;
        assert_eq!(back.iter().filter(|back| back.is_ok()).count(), 1, "{back:?}");
        let copy = Store::open(&format!("sqlite://{}", restored.display())).await.unwrap();
        assert_eq!(copy.verify(None).await.unwrap(), place.store.verify(None).await.unwrap());
    }
}
