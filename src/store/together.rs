//! A question that many ask at the same time, put once for all of them: while one is being answered the next
//! gather. Nobody gets an answer from before they asked.

use super::StoreError;
use super::db::LARGEST;
use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::oneshot;

type Answer<V> = Result<Option<V>, StoreError>;

/// Who asks about which `K`, and waits for its `V`.
pub(crate) struct Together<K, V>(Mutex<Gathered<K, V>>);

struct Gathered<K, V> {
    waiting: Vec<(K, oneshot::Sender<Answer<V>>)>,
    /// Somebody puts the questions.
    asking: bool,
}

impl<K, V> Default for Together<K, V> {
    fn default() -> Self {
        Self(Mutex::new(Gathered { waiting: Vec::new(), asking: false }))
    }
}

impl<K, V> Together<K, V> {
    fn lock(&self) -> MutexGuard<'_, Gathered<K, V>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<K: Clone + Eq + Hash + Send + 'static, V: Clone + Send + 'static> Together<K, V> {
    /// What there is about `key`. `all` asks about many; what it does not tell of does not exist.
    pub(crate) async fn ask<A>(self: &Arc<Self>, key: K, all: impl Fn(Vec<K>) -> A + Send + 'static) -> Answer<V>
    where
        A: Future<Output = Result<HashMap<K, V>, StoreError>> + Send + 'static,
    {
        let (answer, answered) = oneshot::channel();
        let is_first = {
            let mut gathered = self.lock();
            gathered.waiting.push((key, answer));
            !std::mem::replace(&mut gathered.asking, true)
        };
        if is_first {
            // By itself: whoever asked first may go away.
            let turn = Turn { of: Arc::clone(self), ended: false };
            tokio::spawn(async move { turn.put(all).await });
        }
        answered.await.unwrap_or(Err(StoreError::Late))
    }
}

/// Of who puts the questions, until nobody waits.
struct Turn<K, V> {
    of: Arc<Together<K, V>>,
    /// Nobody waited any more: from then on it is another's turn.
    ended: bool,
}

impl<K: Clone + Eq + Hash, V: Clone> Turn<K, V> {
    async fn put<A>(mut self, all: impl Fn(Vec<K>) -> A)
    where
        A: Future<Output = Result<HashMap<K, V>, StoreError>>,
    {
        while let Some(waiting) = self.next() {
            let mut keys: Vec<K> = Vec::new();
            for (key, _) in &waiting {
                if !keys.contains(key) {
                    keys.push(key.clone());
                }
            }
            let found = all(keys).await.map_err(Arc::new);
            for (key, answer) in waiting {
                // Who is gone is not told.
                let _ = answer.send(match &found {
                    Ok(found) => Ok(found.get(&key).cloned()),
                    Err(error) => Err(StoreError::Shared(Arc::clone(error))),
                });
            }
        }
    }

    fn next(&mut self) -> Option<Vec<(K, oneshot::Sender<Answer<V>>)>> {
        let mut gathered = self.of.lock();
        let most = gathered.waiting.len().min(LARGEST);
        gathered.asking = most > 0;
        self.ended = most == 0;
        (most > 0).then(|| gathered.waiting.drain(..most).collect())
    }
}

impl<K, V> Drop for Turn<K, V> {
    /// A panic, or a runtime that ends, keeps nobody waiting, nor those who ask after it.
    fn drop(&mut self) {
        if !self.ended {
            let mut gathered = self.of.lock();
            gathered.asking = false;
            gathered.waiting.clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    type Squares = Arc<Together<u64, u64>>;

    async fn squares(keys: Vec<u64>) -> Result<HashMap<u64, u64>, StoreError> {
        tokio::time::sleep(Duration::from_millis(20)).await;
        if keys.contains(&13) {
            return Err(StoreError::Crowded);
        }
        assert!(!keys.contains(&666), "a question that panics");
        Ok(keys.into_iter().filter(|key| *key != 0).map(|key| (key, key * key)).collect())
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
        let at_once = |keys: Vec<u64>| async move { Ok(keys.into_iter().map(|key| (key, key * key)).collect()) };
        let askers = (1..9).map(|key| {
            let all = Arc::clone(&all);
            tokio::spawn(async move {
                for _ in 0..5_000 {
                    assert_eq!(all.ask(key, at_once).await.expect("an answer"), Some(key * key));
                }
            })
        });
        for asker in askers.collect::<Vec<_>>() {
            asker.await.expect("everybody is answered");
        }
    }

    #[tokio::test]
    async fn an_error_and_a_panic_end_with_those_who_asked() {
        let all: Squares = Arc::default();
        let crowded = all.ask(13, squares).await.expect_err("it fails");
        assert_eq!(crowded.trouble(), StoreError::Crowded.trouble());
        assert!(matches!(all.ask(666, squares).await, Err(StoreError::Late)));
        assert_eq!(all.ask(3, squares).await.expect("an answer"), Some(9));
    }

    #[tokio::test]
    async fn who_goes_away_keeps_nobody_waiting() {
        let all: Squares = Arc::default();
        let gone = tokio::time::timeout(Duration::from_millis(1), all.ask(4, squares));
        assert!(gone.await.is_err(), "it takes longer");
        assert_eq!(all.ask(5, squares).await.expect("an answer"), Some(25));
    }
}
