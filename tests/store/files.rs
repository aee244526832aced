//! Rows of files on their way through the writer: they wait for whoever is at work, keep their order, and take
//! nobody's place.

use super::support::{Place, ask, entry, score};
use std::time::{Duration, Instant};
use tallywright::rules::ledger::{Asked, Change};
use tallywright::rules::roster::RawEntry;
use tallywright::store::entries::EntryFilter;
use tallywright::store::{Answered, WriteError, Writer};

/// Hands rows in as a file is, with patience.
async fn fed(writer: &Writer, rows: impl IntoIterator<Item = Asked>) -> Vec<Result<Answered, WriteError>> {
    let mut feed = writer.feed(Duration::from_secs(20));
    let mut answers = Vec::new();
    for row in rows {
        if feed.is_full() {
            answers.extend(feed.answer().await);
        }
        feed.send(row).await;
    }
    while let Some(answer) = feed.answer().await {
        answers.push(answer);
    }
    answers
}

#[tokio::test]
async fn a_file_waits_for_whoever_has_its_competition_in_hand_loses_no_row_and_keeps_their_order() {
    let place = Place::with_entries(600).await;
    let mut raw = place.held().await;
    // The first of them comes once more at the end, of another country.
    let of = |bib, country: &str| ask(Change::SetEntry(RawEntry { country: Some(country.to_owned()), ..entry(bib) }));
    let rows = (1..=600).map(|bib| of(bib, "ES")).chain((1..=600).map(|bib| of(bib, "FR"))).collect::<Vec<_>>();
    let writer = place.writer.clone();
    let file = tokio::spawn(async move { fed(&writer, rows).await });
    // Longer than a lock is waited for.
    let alone = place.submit(score("w2", 1, "100 kg", false)).await;
    assert!(matches!(alone, Err(WriteError::Busy)), "{alone:?}");
    tokio::time::sleep(Duration::from_secs(2)).await;
    raw.run("ROLLBACK").await.unwrap();
    let answers = tokio::time::timeout(Duration::from_mins(1), file).await.unwrap().unwrap();
    let refused = answers.iter().find(|answer| answer.is_err());
    assert!(answers.len() == 1_200 && refused.is_none(), "{refused:?}");
    let entries = place.store.list_entries(place.id().await, &EntryFilter { limit: 600, ..Default::default() }).await;
    assert!(entries.unwrap().iter().all(|named| named.entry.country == "FR"), "what came last is last");
    assert_eq!(place.difference().await, None);
}

#[tokio::test]
async fn a_file_without_patience_is_sent_away_from_the_first_row_that_is_on() {
    let place = Place::with_entries(300).await;
    let mut raw = place.held().await;
    let began = Instant::now();
    let rows = (1..=300).map(|bib| score("w1", bib, "4+0", false));
    let answers = place.writer.submit_many(rows).await;
    assert!(answers.iter().all(|answer| matches!(answer, Err(WriteError::Busy))), "{answers:?}");
    assert!(began.elapsed() < Duration::from_secs(12), "one wait for all of them: {:?}", began.elapsed());
    raw.run("ROLLBACK").await.unwrap();
}

/// More rows than may wait, of many files at once: what somebody waits for is taken all the same, and is done
/// before them.
#[tokio::test(flavor = "multi_thread")]
async fn however_many_files_are_sent_in_they_shut_no_score_out() {
    const FILES: u32 = 8;
    const ROWS: u32 = 900;
    let place = Place::with_entries(100).await;
    let before = place.store.find_competition("saltmarsh").await.unwrap().unwrap().seq;
    let mut raw = place.held().await;
    let files: Vec<_> = (1..=FILES)
        .map(|file| {
            let writer = place.writer.clone();
            let rows = (0..ROWS).map(move |n| ask(Change::SetEntry(entry(file * 10_000 + n))));
            tokio::spawn(async move { fed(&writer, rows).await })
        })
        .collect();
    while place.writer.waiting() < 4_096 {
        tokio::task::yield_now().await;
    }
    let scores: Vec<_> = (1..=100)
        .map(|bib| {
            let writer = place.writer.clone();
            tokio::spawn(async move { writer.submit(score("w1", bib, "4+0", false), None).await })
        })
        .collect();
    while place.writer.waiting() < 4_196 {
        tokio::task::yield_now().await;
    }
    raw.run("ROLLBACK").await.unwrap();
    let mut last = 0;
    for score in scores {
        last = score.await.unwrap().expect("taken").seq.max(last);
    }
    // One group of rows was on its way; some go beside the scores.
    assert!(last - before < u64::from(FILES * ROWS) / 2, "{} before the last score", last - before);
    for file in files {
        let answers = file.await.unwrap();
        let refused = answers.iter().find(|answer| answer.is_err());
        assert!(answers.len() == ROWS as usize && refused.is_none(), "{refused:?}");
    }
    assert_eq!(place.difference().await, None);
}
