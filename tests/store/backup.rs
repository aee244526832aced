//! Backups are consistent while writers go on, verified, and never write over anything.

use super::support::database::Database;
use super::support::{Place, score};
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
