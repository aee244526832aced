//! Counts of tries, for all processes on one database.

use super::support::Place;
use jiff::SignedDuration;
use tallywright::store::Store;
use tallywright::store::throttles::Limit;

const MINUTE: SignedDuration = SignedDuration::from_mins(1);

/// Three in a row, then one a minute.
fn limit(key: u8) -> Limit {
    Limit { key: [key; 32], burst: 3, period: MINUTE }
}

#[tokio::test]
async fn tries_are_let_through_in_a_row_and_then_as_time_goes_by() {
    let place = Place::new().await;
    let (store, start) = (&place.store, place.clock.now());
    let count = async |at| store.count_try(&[limit(1)], at).await.unwrap();
    for _ in 0..3 {
        assert_eq!(count(start).await, None);
    }
    assert_eq!(count(start).await, Some(MINUTE));
    assert_eq!(count(start + MINUTE / 4).await, Some(MINUTE / 4 * 3), "waiting is not counted");
    assert_eq!(store.find_wait(&[limit(1)], start).await.unwrap(), Some(MINUTE));
    assert_eq!(count(start + MINUTE).await, None, "one a minute");
    assert_eq!(count(start + MINUTE).await, Some(MINUTE));
    assert_eq!(store.count_try(&[limit(2)], start).await.unwrap(), None, "another key");
    // After three minutes more it is as in the beginning.
    for _ in 0..3 {
        assert_eq!(count(start + MINUTE * 4).await, None);
    }
    assert!(count(start + MINUTE * 4).await.is_some());
}

#[tokio::test]
async fn a_try_that_one_limit_refuses_counts_against_none() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    for _ in 0..3 {
        assert_eq!(store.count_try(&[limit(1)], now).await.unwrap(), None);
    }
    for _ in 0..5 {
        assert_eq!(store.count_try(&[limit(2), limit(1)], now).await.unwrap(), Some(MINUTE));
    }
    for _ in 0..3 {
        assert_eq!(store.count_try(&[limit(2)], now).await.unwrap(), None);
    }
}

#[tokio::test]
async fn what_has_recovered_is_kept_no_longer() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    store.count_try(&[limit(1), limit(2)], now).await.unwrap();
    store.count_try(&[limit(3)], now + MINUTE).await.unwrap();
    let kept = place.database.raw().await.number("SELECT COUNT(*) FROM throttles").await;
    assert_eq!(kept, 1);
}

#[tokio::test]
async fn where_the_clock_is_put_back_nobody_waits_longer_than_a_whole_burst() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    for _ in 0..3 {
        store.count_try(&[limit(1)], now + MINUTE * 600).await.unwrap();
    }
    assert_eq!(store.count_try(&[limit(1)], now).await.unwrap(), Some(MINUTE));
    assert_eq!(store.count_try(&[limit(1)], now + MINUTE * 600 + MINUTE).await.unwrap(), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn tries_at_the_same_time_are_each_counted_whatever_process_they_come_to() {
    let place = Place::new().await;
    let now = place.clock.now();
    let other = Store::open(&place.database.url).await.unwrap();
    let stores = [&place.store, &other];
    let tries = (0..12).map(|n| {
        let store = stores[n % 2].clone();
        tokio::spawn(async move { store.count_try(&[limit(1)], now).await.unwrap() })
    });
    let mut through = 0;
    for tried in tries.collect::<Vec<_>>() {
        through += usize::from(tried.await.unwrap().is_none());
    }
    assert_eq!(through, 3);
    other.close().await;
}
