//! A question that many ask at the same time, put once for all of them: while one is being answered the next
//! gather. Nobody gets an answer from before they asked. One that takes long keeps only those waiting who are in
//! it: the others are asked for beside it.

use super::StoreError;
use super::db::LARGEST;
use std::collections::HashMap;
use std::hash::Hash;
use std::pin::pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::runtime::Handle;
use tokio::sync::oneshot;
use tokio::time::timeout;

/// How long a question is out before those who have gathered meanwhile are asked for beside it.
const SOON: Duration = Duration::from_millis(50);
/// How many are out at most at the same time: of the connections that read some are left for others.
const TURNS: usize = 6;
/// How long one is out at most: a connection is waited for, and the answer on a slow network.
const LONGEST: Duration = Duration::from_secs(20);

type Answer<V> = Result<Option<V>, StoreError>;
/// What there is about each; of one that cannot be read, why.
pub(crate) type Found<K, V> = Result<HashMap<K, Result<V, StoreError>>, StoreError>;

/// Who asks about which `K`, and waits for its `V`.
pub(crate) struct Together<K, V>(Mutex<Gathered<K, V>>);

struct Gathered<K, V> {
    waiting: Vec<(K, oneshot::Sender<Answer<V>>)>,
    /// How many put questions.
    turns: usize,
}

impl<K, V> Default for Together<K, V> {
    fn default() -> Self {
        Self(Mutex::new(Gathered { waiting: Vec::new(), turns: 0 }))
    }
}

impl<K, V> Together<K, V> {
    fn lock(&self) -> MutexGuard<'_, Gathered<K, V>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<K, V> Together<K, V>
where
    K: Clone + Eq + Hash + Send + 'static,
    V: Clone + Send + 'static,
{
    /// What there is about `key`. `all` asks about many; what it does not tell of does not exist.
    pub(crate) async fn ask<F, A>(self: &Arc<Self>, key: K, all: F) -> Answer<V>
    where
        F: Fn(Vec<K>) -> A + Send + Sync + 'static,
        A: Future<Output = Found<K, V>> + Send + 'static,
    {
        let (answer, answered) = oneshot::channel();
        let turn = {
            let mut gathered = self.lock();
            gathered.waiting.push((key, answer));
            (gathered.turns == 0).then(|| Turn::begin(self, &mut gathered, Arc::new(all)))
        };
        if let Some(turn) = turn {
            // By itself: whoever asked first may go away.
            tokio::spawn(turn.put());
        }
        answered.await.unwrap_or(Err(StoreError::Unanswered))
    }
}

/// Of who puts questions until nobody waits.
struct Turn<K, V, F, A>
where
    K: Clone + Eq + Hash + Send + 'static,
    V: Clone + Send + 'static,
    F: Fn(Vec<K>) -> A + Send + Sync + 'static,
    A: Future<Output = Found<K, V>> + Send + 'static,
{
    of: Arc<Together<K, V>>,
    all: Arc<F>,
    /// Nobody waited any more: from then on it is no turn.
    ended: bool,
}

impl<K, V, F, A> Turn<K, V, F, A>
where
    K: Clone + Eq + Hash + Send + 'static,
    V: Clone + Send + 'static,
    F: Fn(Vec<K>) -> A + Send + Sync + 'static,
    A: Future<Output = Found<K, V>> + Send + 'static,
{
    fn begin(of: &Arc<Together<K, V>>, gathered: &mut Gathered<K, V>, all: Arc<F>) -> Self {
        gathered.turns += 1;
        Self { of: Arc::clone(of), all, ended: false }
    }

    async fn put(mut self) {
        while let Some(waiting) = self.next() {
            let mut keys: Vec<K> = Vec::new();
            for (key, _) in &waiting {
                if !keys.contains(key) {
                    keys.push(key.clone());
                }
            }
            let found = self.question(keys).await.map_err(Arc::new);
            let found = found.map(|all| all.into_iter().map(|(key, one)| (key, one.map_err(Arc::new))));
            let found = found.map(HashMap::<K, Result<V, Arc<StoreError>>>::from_iter);
            for (key, answer) in waiting {
                let told = match &found {
                    Ok(found) => found.get(&key).cloned().transpose().map_err(StoreError::Shared),
                    Err(error) => Err(StoreError::Shared(Arc::clone(error))),
                };
                // Who is gone is not told.
                let _ = answer.send(told);
            }
        }
    }

    async fn question(&self, keys: Vec<K>) -> Found<K, V> {
        let mut question = pin!(timeout(LONGEST, (self.all)(keys)));
        loop {
            match timeout(SOON, &mut question).await {
                Ok(found) => return found.unwrap_or(Err(StoreError::Late)),
                Err(_) => self.call_another(),
            }
        }
    }

    /// For those who wait and are in no question.
    fn call_another(&self) {
        let turn = {
            let mut gathered = self.of.lock();
            let wanted = !gathered.waiting.is_empty() && gathered.turns < TURNS;
            wanted.then(|| Self::begin(&self.of, &mut gathered, Arc::clone(&self.all)))
        };
        if let (Some(turn), Ok(runtime)) = (turn, Handle::try_current()) {
            runtime.spawn(turn.put());
        }
    }

    /// Those who are asked for next; who is gone by then is not.
    fn next(&mut self) -> Option<Vec<(K, oneshot::Sender<Answer<V>>)>> {
        let mut gathered = self.of.lock();
        gathered.waiting.retain(|(_, answer)| !answer.is_closed());
        let most = gathered.waiting.len().min(LARGEST);
        if most == 0 {
            self.ended = true;
            gathered.turns -= 1;
            return None;
        }
        Some(gathered.waiting.drain(..most).collect())
    }
}

impl<K, V, F, A> Drop for Turn<K, V, F, A>
where
    K: Clone + Eq + Hash + Send + 'static,
    V: Clone + Send + 'static,
    F: Fn(Vec<K>) -> A + Send + Sync + 'static,
    A: Future<Output = Found<K, V>> + Send + 'static,
{
    /// A panic ends a question, not those who wait for the next; with the runtime all ends.
    fn drop(&mut self) {
        if self.ended {
            return;
        }
        let left = {
            let mut gathered = self.of.lock();
            gathered.turns -= 1;
            if std::thread::panicking() { Vec::new() } else { std::mem::take(&mut gathered.waiting) }
        };
        drop(left);
        if std::thread::panicking() {
            self.call_another();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    type Squares = Arc<Together<u64, u64>>;

    async fn squares(keys: Vec<u64>) -> Found<u64, u64> {
        tokio::time::sleep(Duration::from_millis(20)).await;
        if keys.contains(&13) {
            return Err(StoreError::Crowded);
        }
        if keys.contains(&7_777) {
            tokio::time::sleep(Duration::from_secs(15)).await;
        }
        assert!(!keys.contains(&666), "a question that panics");
        let square = |key| if key == 17 { Err(StoreError::Taken) } else { Ok(key * key) };
        Ok(keys.into_iter().filter(|key| *key != 0).map(|key| (key, square(key))).collect())
    }

    fn asked(all: &Squares, key: u64) -> tokio::task::JoinHandle<Answer<u64>> {
        let all = Arc::clone(all);
        tokio::spawn(async move { all.ask(key, squares).await })
    }

    #[tokio::test]
    async fn who_asks_meanwhile_is_answered_together_each_by_its_key() {
        static PUT: AtomicUsize = AtomicUsize::new(0);
        let all: Squares = Arc::default();
        let asked = (0..100).map(|n| {
            let all = Arc::clone(&all);
            tokio::spawn(async move {
                let counted = |keys| {
                    PUT.fetch_add(1, Ordering::SeqCst);
                    squares(keys)
                };
                (n % 10, all.ask(n % 10, counted).await.expect("an answer"))
            })
        });
        for asked in asked.collect::<Vec<_>>() {
            let (key, answer) = asked.await.expect("no panic");
            assert_eq!(answer, (key != 0).then_some(key * key), "{key}");
        }
        assert!(PUT.load(Ordering::SeqCst) < 10, "one by one");
        assert_eq!(all.ask(12, squares).await.expect("an answer"), Some(144), "and later ones too");
    }

    /// Turns begin while others end.
    #[tokio::test(flavor = "multi_thread", worker_threads = 4)]
    async fn nobody_is_forgotten_between_two_turns() {
        let all: Squares = Arc::default();
        let at_once = |keys: Vec<u64>| async move { Ok(keys.into_iter().map(|key| (key, Ok(key * key))).collect()) };
        let askers = (1..9).map(|key| {
            let all = Arc::clone(&all);
            tokio::spawn(async move {
                for _ in 0..5_000 {
                    assert_eq!(all.ask(key, at_once).await.expect("an answer"), Some(key * key));
                }
            })
        });
        for asker in askers.collect::<Vec<_>>() {
            timeout(Duration::from_mins(2), asker).await.expect("in time").expect("everybody is answered");
        }
    }

    #[tokio::test]
    async fn an_error_is_told_to_all_who_asked_and_what_cannot_be_read_to_one() {
        let all: Squares = Arc::default();
        let crowded = all.ask(13, squares).await.expect_err("it fails");
        assert_eq!(crowded.trouble(), StoreError::Crowded.trouble());
        let first = asked(&all, 3);
        let (unreadable, other) = (asked(&all, 17), asked(&all, 4));
        assert_eq!(first.await.expect("no panic").expect("an answer"), Some(9));
        assert!(matches!(unreadable.await.expect("no panic"), Err(StoreError::Shared(_))));
        assert_eq!(other.await.expect("no panic").expect("an answer"), Some(16));
    }

    #[tokio::test]
    async fn a_panic_ends_with_those_who_asked() {
        let all: Squares = Arc::default();
        let first = asked(&all, 666);
        tokio::time::sleep(Duration::from_millis(5)).await;
        let next = asked(&all, 3);
        let told = first.await.expect("no panic here").expect_err("it panicked");
        assert!(matches!(told, StoreError::Unanswered) && told.trouble().is_none(), "{told}");
        assert_eq!(next.await.expect("no panic").expect("an answer"), Some(9), "who waited meanwhile");
        assert_eq!(all.ask(5, squares).await.expect("an answer"), Some(25));
    }

    #[tokio::test]
    async fn one_that_takes_long_keeps_nobody_else_waiting() {
        let all: Squares = Arc::default();
        let long = asked(&all, 7_777);
        tokio::time::sleep(Duration::from_millis(5)).await;
        let others: Vec<_> = (1_000..2_000).map(|key| (key, asked(&all, key))).collect();
        for (key, other) in others {
            let answer = timeout(Duration::from_secs(10), other).await.expect("soon").expect("no panic");
            assert_eq!(answer.expect("an answer"), Some(key * key));
        }
        assert!(!long.is_finished(), "it is out still");
        while all.lock().turns > 1 {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        long.abort();
    }

    #[tokio::test]
    async fn who_goes_away_keeps_nobody_waiting_and_is_not_asked_for() {
        let all: Squares = Arc::default();
        let gone = timeout(Duration::from_millis(1), all.ask(4, squares));
        assert!(gone.await.is_err(), "it takes longer");
        let gone = timeout(Duration::from_millis(1), all.ask(13, squares));
        assert!(gone.await.is_err(), "it waits");
        assert_eq!(all.ask(5, squares).await.expect("an answer"), Some(25), "not with a question that fails");
    }
}
