//! Keys of requests that the writer does not take as one change: held by one while it is done.

use super::support::{Place, key, noon};
use jiff::SignedDuration;
use tallywright::store::{HELD, HeldKey, KeptAnswer};

fn held(found: Result<HeldKey, KeptAnswer>) -> HeldKey {
    found.unwrap_or_else(|known| panic!("{known:?} is known already"))
}

fn known(found: Result<HeldKey, KeptAnswer>) -> KeptAnswer {
    match found {
        Err(known) => known,
        Ok(held) => panic!("nobody has {held:?}"),
    }
}

#[tokio::test]
async fn of_many_who_ask_at_once_one_gets_the_key_and_all_the_others_its_answer_later() {
    let place = Place::with_entries(1).await;
    let file = key(1, "file", "rows");
    let asks = (0..8).map(|n| {
        let (store, file) = (place.store.clone(), file.clone());
        async move { store.hold_key(&file, [n; 32], noon()).await.unwrap() }
    });
    let (mine, others): (Vec<_>, Vec<_>) =
        futures_util::future::join_all(asks).await.into_iter().partition(Result::is_ok);
    assert_eq!(mine.len(), 1);
    assert!(others.into_iter().all(|o| known(o) == KeptAnswer::BeingMade));
    let mine = held(mine.into_iter().next().unwrap());
    place.store.keep_answer(&mine, "{}", "", noon()).await.unwrap();
    let again = place.store.hold_key(&file, [9; 32], noon()).await.unwrap();
    assert_eq!(known(again), KeptAnswer::Same("{}".to_owned()));
    let other = place.store.hold_key(&key(1, "file", "other rows"), [9; 32], noon()).await.unwrap();
    assert_eq!(known(other), KeptAnswer::Other);
    held(place.store.hold_key(&key(2, "file", "rows"), [9; 32], noon()).await.unwrap());
}

#[tokio::test]
async fn a_key_that_is_let_go_or_whose_holder_has_stopped_is_free_again() {
    let place = Place::with_entries(1).await;
    let file = key(1, "file", "rows");
    let first = held(place.store.hold_key(&file, [1; 32], noon()).await.unwrap());
    place.store.let_go(&first).await.unwrap();
    let second = held(place.store.hold_key(&file, [2; 32], noon()).await.unwrap());
    // Its holder goes on: held for as long again from then on.
    let later = noon() + SignedDuration::from_secs(45);
    place.store.go_on_holding(&second, later).await.unwrap();
    let just_before = later + HELD - SignedDuration::from_secs(1);
    assert_eq!(known(place.store.hold_key(&file, [3; 32], just_before).await.unwrap()), KeptAnswer::BeingMade);
    // And stops: whoever asks next begins anew, and what the first comes back with is not kept.
    let third = held(place.store.hold_key(&file, [3; 32], later + HELD).await.unwrap());
    place.store.keep_answer(&second, "{\"by\":2}", "", later + HELD).await.unwrap();
    place.store.let_go(&second).await.unwrap();
    assert_eq!(known(place.store.hold_key(&file, [4; 32], later + HELD).await.unwrap()), KeptAnswer::BeingMade);
    place.store.keep_answer(&third, "{\"by\":3}", "", later + HELD).await.unwrap();
    let kept = known(place.store.hold_key(&file, [4; 32], later + HELD).await.unwrap());
    assert_eq!(kept, KeptAnswer::Same("{\"by\":3}".to_owned()));
}

/// What is known under a key of this account afterwards, its answer being so long.
async fn kept(place: &Place, account: i64, name: &str, answer: &str) -> String {
    let file = key(account, name, "rows");
    let mine = held(place.store.hold_key(&file, [1; 32], noon()).await.unwrap());
    place.store.keep_answer(&mine, answer, "in short", noon()).await.unwrap();
    match known(place.store.hold_key(&file, [2; 32], noon()).await.unwrap()) {
        KeptAnswer::Same(answer) => answer,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn answers_to_files_take_so_much_of_one_account_and_of_all_and_beyond_that_are_kept_in_short() {
    let place = Place::with_entries(1).await;
    let long = "x".repeat(7 << 20);
    for name in ["a", "b"] {
        assert_eq!(kept(&place, 1, name, &long).await.len(), long.len());
    }
    assert_eq!(kept(&place, 1, "c", &long).await, "in short");
    // What fits is kept all the same, and others have room of their own.
    assert_eq!(kept(&place, 1, "d", "{}").await, "{}");
    assert_eq!(kept(&place, 2, "a", &long).await.len(), long.len());
    // All of them together: nearly all room is taken.
    let mut raw = place.raw().await;
    let others = "UPDATE idempotency SET bytes = 240 * 1048576 WHERE account = 2";
    assert_eq!(raw.run(others).await.unwrap(), 1);
    assert_eq!(kept(&place, 3, "a", &long).await, "in short");
    assert_eq!(kept(&place, 3, "b", "{}").await, "{}");
    // After their time there is room again.
    let later = noon() + SignedDuration::from_hours(49);
    let again = key(1, "e", "rows");
    let mine = held(place.store.hold_key(&again, [1; 32], later).await.unwrap());
    place.store.keep_answer(&mine, &long, "in short", later).await.unwrap();
    let found = known(place.store.hold_key(&again, [2; 32], later).await.unwrap());
    assert!(matches!(found, KeptAnswer::Same(answer) if answer.len() == long.len()));
}
