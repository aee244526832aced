//! Letters and what became of them, for all processes on one database.

use super::support::{Place, account};
use jiff::{SignedDuration, Timestamp};
use tallywright::rules::access::{Act, Actor, Permit, permit};
use tallywright::store::Store;
use tallywright::store::letters::{HELD, NewLetter, Outcome};
use tallywright::words::Sentence;

const ANA: &str = "ana@example.org";

fn new(id: i64, competition: &str, to: &str) -> NewLetter {
    NewLetter { id, competition: competition.to_owned(), folded_email: to.to_owned() }
}

fn may(competition: &str) -> Permit {
    permit(&Actor::operator(), Act::Organise { competition }).unwrap()
}

/// Whom a competition's letters went to, newest first, and what became of each.
async fn listed(store: &Store, competition: &str, at: Timestamp) -> Vec<(String, Option<Outcome>)> {
    let letters = store.list_letters(&may(competition), competition, at).await.unwrap();
    letters.into_iter().map(|letter| (letter.to, letter.outcome)).collect()
}

fn failed(code: u16) -> Outcome {
    Outcome::Failed(Sentence::new("mail_refused").with("code", code))
}

#[tokio::test]
async fn what_one_process_says_of_letters_another_reads() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let other = place.open_again().await;
    let to = |n: i64| format!("{n}@example.org");
    store.add_letters((1..=300).map(|n| new(n, "saltmarsh", &to(n))).collect(), now).await.unwrap();
    let all = listed(&other, "saltmarsh", now).await;
    assert!(all.iter().rev().zip(1..).all(|(one, n)| *one == (to(n), Some(Outcome::Waiting))), "{all:?}");
    assert_eq!((all.len(), listed(&other, "hidden", now).await), (300, Vec::new()));
    // What becomes of them comes at once, and of some by and by.
    let became = |n: i64| match n % 4 {
        0 => Some(Outcome::Sent),
        1 => Some(failed(550)),
        2 => Some(failed(451)),
        _ => None,
    };
    let known: Vec<(i64, Outcome)> = (1..=300).filter_map(|n| Some((n, became(n)?))).collect();
    store.settle_letters(known).await.unwrap();
    let late = now + HELD;
    for (at, of_the_rest) in [(now, Some(Outcome::Waiting)), (late, None)] {
        let all = listed(&other, "saltmarsh", at).await;
        let is = |(one, n): (&(String, Option<Outcome>), i64)| *one == (to(n), became(n).or(of_the_rest.clone()));
        assert!(all.iter().rev().zip(1..).all(is), "{all:?}");
    }
    // Whoever has one says so, of none that is settled already.
    store.hold_letters(&[3, 4, 7], late + HELD).await.unwrap();
    let all = listed(&other, "saltmarsh", late).await;
    assert_eq!(all.iter().filter(|one| one.1 == Some(Outcome::Waiting)).count(), 2);
    assert_eq!(all[300 - 4], (to(4), Some(Outcome::Sent)));
    // It was paused, and comes to say what became of one after all.
    store.settle_letters(vec![(11, Outcome::Sent)]).await.unwrap();
    assert_eq!(listed(&other, "saltmarsh", late).await[300 - 11], (to(11), Some(Outcome::Sent)));
    for store in [store, &other] {
        store.settle_letters(Vec::new()).await.unwrap();
        store.hold_letters(&[], now).await.unwrap();
    }
}

#[tokio::test]
async fn so_many_letters_of_a_competition_are_kept_and_for_so_long() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let (second, day) = (SignedDuration::from_secs(1), SignedDuration::from_hours(24));
    let round = |from: i64, to: i64| (from..=to).map(|n| new(n, "saltmarsh", &format!("{n}@example.org"))).collect();
    store.add_letters(vec![new(-1, "hidden", ANA)], now).await.unwrap();
    // The second round's numbers are lower: what counts is the time.
    store.add_letters(round(5_001, 6_200), now).await.unwrap();
    assert_eq!(listed(store, "saltmarsh", now).await.len(), 1_200);
    store.add_letters(round(1, 1_200), now + second).await.unwrap();
    let all = listed(store, "saltmarsh", now + second).await;
    let ends = [&all[0].0, &all[1_199].0, &all[1_200].0, &all[1_999].0].map(String::as_str);
    assert_eq!(all.len(), 2_000);
    assert_eq!(ends, ["1200@example.org", "1@example.org", "6200@example.org", "5401@example.org"]);
    assert_eq!(listed(store, "hidden", now).await.len(), 1, "each competition has its own");
    let count = async || place.raw().await.number("SELECT COUNT(*) FROM letters").await;
    assert_eq!(count().await, 2_001);
    // After thirty days they are not listed, and with the next letter they are gone.
    let last = now + day * 30;
    assert_eq!(listed(store, "saltmarsh", last).await.len(), 2_000);
    assert_eq!(listed(store, "saltmarsh", last + second).await.len(), 1_200);
    assert_eq!(listed(store, "saltmarsh", last + second * 2).await.len(), 0);
    store.add_letters(vec![new(-2, "hidden", ANA)], last + second * 2).await.unwrap();
    assert_eq!(count().await, 1);
}

#[tokio::test]
async fn what_becomes_of_a_letter_that_was_forgotten_is_written_nowhere() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let other = place.open_again().await;
    let letters = vec![
        new(1, "saltmarsh", ANA),
        new(2, "hidden", ANA),
        new(3, "saltmarsh", "bo@example.org"),
        new(4, "late", ANA),
    ];
    store.add_letters(letters, now).await.unwrap();
    assert_eq!(store.list_competitions_writing_to(ANA).await.unwrap(), ["hidden", "late", "saltmarsh"]);
    assert_eq!(other.forget_letters(Some("saltmarsh"), ANA).await.unwrap(), 1);
    store.settle_letters((1..=4).map(|n| (n, Outcome::Sent)).collect()).await.unwrap();
    store.hold_letters(&[1], now + HELD * 2).await.unwrap();
    let sent = |to: &str| (to.to_owned(), Some(Outcome::Sent));
    assert_eq!(listed(&other, "saltmarsh", now).await, [sent("bo@example.org")]);
    assert_eq!(listed(&other, "hidden", now).await, [sent(ANA)]);
    let own = store.list_letters_to(&may("hidden"), "hidden", ANA, now).await.unwrap();
    assert_eq!(own.iter().map(|letter| (&*letter.to, letter.at)).collect::<Vec<_>>(), [(ANA, now)]);
    assert_eq!(other.forget_letters(None, "").await.unwrap(), 0);
    assert_eq!(other.forget_letters(None, ANA).await.unwrap(), 2);
    assert_eq!(store.list_competitions_writing_to(ANA).await.unwrap(), [""; 0]);
}

#[tokio::test]
async fn an_account_takes_letters_to_its_address_along_where_that_is_its_owners() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let accounts = [account(store, ANA, None).await, account(store, "bo@example.org", None).await];
    let unconfirmed = format!("UPDATE accounts SET confirmed = 0 WHERE id = {}", accounts[1]);
    place.raw().await.run(&unconfirmed).await.unwrap();
    store.add_letters(vec![new(1, "saltmarsh", ANA), new(2, "saltmarsh", "bo@example.org")], now).await.unwrap();
    assert_eq!(store.erase_account(accounts[0]).await.unwrap(), Ok(()));
    assert!(store.erase_account_without_grants(accounts[1]).await.unwrap());
    let left = listed(store, "saltmarsh", now).await;
    assert_eq!(left, [("bo@example.org".to_owned(), Some(Outcome::Waiting))]);
}
