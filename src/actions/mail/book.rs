//! The letters that this process has in hand, by number, and what became of them as far as the database does
//! not say so yet: one writes it down, what has gathered at once.
//!
//! There is no address here. What cannot be written is tried again for as long as the process goes on.

use super::Outcome;
use crate::app::Clock;
use crate::store::letters::HELD;
use crate::store::{Store, StoreError};
use jiff::Timestamp;
use std::collections::{HashSet, VecDeque};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{Notify, watch};
use tokio::time::MissedTickBehavior;
use tokio_util::sync::CancellationToken;

/// What comes so soon after something was written is written together.
const GATHER: Duration = Duration::from_millis(500);
/// How often it is said that letters are on their way still: well within [`HELD`].
const BEAT: Duration = Duration::from_secs(30);
/// Outcomes that may wait to be written.
const MOST: usize = 4_000;

/// What is known of a letter.
#[derive(Clone, Debug)]
pub(super) struct News {
    pub(super) outcome: Outcome,
    /// The list says so, or there is none.
    pub(super) written: bool,
}

impl Default for News {
    fn default() -> Self {
        Self { outcome: Outcome::Waiting, written: false }
    }
}

/// A letter on its way.
#[derive(Debug)]
pub(super) struct Slip {
    /// Its number in the list of its competition's letters.
    number: Option<i64>,
    news: watch::Sender<News>,
}

/// See above.
#[derive(Default)]
pub(super) struct Book {
    pages: Mutex<Pages>,
    news: Notify,
}

#[derive(Default)]
struct Pages {
    /// Those on their way that a list has.
    waiting: HashSet<i64>,
    /// What became of some, still to be written.
    known: VecDeque<(Slip, Outcome)>,
}

impl Book {
    fn pages(&self) -> MutexGuard<'_, Pages> {
        self.pages.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A letter is on its way. `number`: in the list of its competition's letters, if there is one.
    pub(super) fn open(&self, number: Option<i64>, news: watch::Sender<News>) -> Slip {
        self.pages().waiting.extend(number);
        Slip { number, news }
    }

    /// What became of a letter.
    pub(super) fn note(&self, slip: Slip, outcome: Outcome) {
        let written = slip.number.is_none();
        slip.news.send_replace(News { outcome: outcome.clone(), written });
        let Some(number) = slip.number else { return };
        let mut pages = self.pages();
        pages.waiting.remove(&number);
        pages.known.push_back((slip, outcome));
        let too_many = pages.known.len() > MOST && pages.known.pop_front().is_some();
        drop(pages);
        if too_many {
            tracing::warn!(target: "mail", "what became of a letter is written nowhere");
        }
        self.news.notify_one();
    }

    /// Writes down what comes, and again and again which letters are on their way, until `ended`.
    pub(super) async fn keep(&self, store: &Store, clock: &Clock, ended: &CancellationToken) {
        let mut beat = tokio::time::interval(BEAT);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut troubled = false;
        loop {
            let still = tokio::select! {
                biased;
                () = ended.cancelled() => break,
                _ = beat.tick() => true,
                () = self.news.notified() => false,
            };
            let mut done = self.write(store).await;
            if still && done.is_ok() {
                done = self.go_on(store, clock.now() + HELD).await;
            }
            if let (Err(error), false) = (&done, troubled) {
                tracing::warn!(target: "mail", %error, "what became of letters is not written down yet");
            }
            troubled = done.is_err();
            tokio::select! {
                () = tokio::time::sleep(GATHER) => {}
                () = ended.cancelled() => {}
            }
        }
        // Of those that it has still nobody will say any more what became.
        let mut done = self.write(store).await;
        if done.is_ok() {
            done = self.go_on(store, clock.now()).await;
        }
        if let Err(error) = done {
            let letters = self.pages().known.len();
            tracing::warn!(target: "mail", %error, letters, "what became of letters is written nowhere");
        }
    }

    /// Writes down what became of letters; or keeps it for the next time.
    async fn write(&self, store: &Store) -> Result<(), StoreError> {
        let known: Vec<(Slip, Outcome)> = self.pages().known.drain(..).collect();
        let outcomes = known.iter().filter_map(|(slip, outcome)| Some((slip.number?, outcome.clone())));
        if let Err(error) = store.settle_letters(outcomes.collect()).await {
            let mut pages = self.pages();
            for one in known.into_iter().rev() {
                pages.known.push_front(one);
            }
            return Err(error);
        }
        for (slip, _) in &known {
            slip.news.send_modify(|news| news.written = true);
        }
        Ok(())
    }

    /// Says until when those on their way are held to be so.
    async fn go_on(&self, store: &Store, until: Timestamp) -> Result<(), StoreError> {
        let waiting: Vec<i64> = self.pages().waiting.iter().copied().collect();
        store.hold_letters(&waiting, until).await
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::access::{Act, Actor, permit};
    use crate::store::letters::NewLetter;
    use jiff::SignedDuration;

    #[tokio::test]
    async fn whoever_has_letters_says_so_and_at_the_end_lets_go_of_those_that_nothing_is_known_of() {
        let folder = tempfile::tempdir().expect("a folder");
        let url = format!("sqlite://{}", folder.path().join("tally.db").display());
        let store = Store::open(&url).await.expect("opens");
        let noon: Timestamp = "2027-01-14T12:00:00Z".parse().expect("an instant");
        let clock = Clock::fixed(noon);
        let one = |id| NewLetter { id, competition: "c".to_owned(), folded_email: format!("{id}@example.org") };
        store.add_letters(vec![one(1), one(2), one(3)], noon).await.expect("listed");
        let permit = permit(&Actor::operator(), Act::Organise { competition: "c" }).expect("may");
        let said = async |at: Timestamp| {
            let listed = store.list_letters(&permit, "c", at).await.expect("a list");
            listed.into_iter().map(|letter| letter.outcome).collect::<Vec<_>>()
        };
        let (waits, later) = (|| Some(Outcome::Waiting), noon + SignedDuration::from_mins(3));
        assert_eq!(said(noon).await, [waits(), waits(), waits()]);
        assert_eq!(said(later).await, [None, None, None], "nobody has been heard of");

        let book = Book::default();
        let (news, mut first) = watch::channel(News::default());
        let slip = book.open(Some(1), news);
        let _second = book.open(Some(2), watch::Sender::new(News::default()));
        book.go_on(&store, later + HELD).await.expect("said");
        assert_eq!(said(later).await, [None, waits(), waits()], "newest first; nobody has the third");
        // Nothing is lost where it cannot be written, and who waits for it hears that it is.
        clock.set(later);
        book.note(slip, Outcome::Sent);
        assert!(first.borrow().outcome == Outcome::Sent && !first.borrow().written);
        let ended = CancellationToken::new();
        ended.cancel();
        book.keep(&store, &clock, &ended).await;
        assert!(first.wait_for(|news| news.written).await.is_ok());
        assert_eq!(said(later).await, [None, None, Some(Outcome::Sent)]);
        store.close().await;
    }
}
