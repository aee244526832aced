//! Answers kept by key, so that a request sent twice is done once.

use super::db::{self, Bulk, Tx, Val};
use super::writer::Answered;
use super::{Store, StoreError, dialect, json, parse};
use jiff::{SignedDuration, Timestamp};
use std::collections::HashMap;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

/// How long an answer is kept.
const KEPT: SignedDuration = SignedDuration::from_hours(48);

/// Bytes of answers to files, which list what was refused, that are kept of one account and of all together.
/// Beyond them it is kept in short. What else is kept under keys is small, and mostly stands in the log as well.
const OF_ONE: i64 = 16 << 20;
const OF_ALL: i64 = 256 << 20;

/// How long a key is held for a request that is being done, unless [`Store::go_on_holding`] says that
/// it still is: then whoever held it has stopped, and the next to ask begins anew.
pub const HELD: SignedDuration = SignedDuration::from_secs(60);
/// What stands in place of an answer that is being made; whose it is follows. No answer begins like this.
const BEING_MADE: &str = "being made: ";
/// How an answer of the writer ([`Answered`]) begins, as a pattern; none to a file does.
const OF_THE_WRITER: &str = r#"{"outcome":%"#;
/// One of these without a remark, as a pattern.
const WITHOUT_REMARKS: &str = r#"%"warnings":[],%"#;

/// A request that may be sent again: the same key, account, method, path and body is answered
/// with the first committed answer for 48 h; the same key with another of them is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Idempotency {
    /// Whose. Keys of different accounts never meet.
    pub account: i64,
    /// As sent, without quotes.
    pub key: String,
    /// Upper case.
    pub method: String,
    /// Path and query.
    pub path: String,
    /// SHA-256 of the body's bytes.
    pub body_digest: [u8; 32],
}

impl Idempotency {
    fn is(&self, other: &Self) -> bool {
        self.method == other.method && self.path == other.path && self.body_digest == other.body_digest
    }
}

/// What is known under a key.
#[derive(Debug)]
pub(crate) enum Earlier {
    /// The same request: its answer.
    Same(Box<Answered>),
    /// Another request.
    Other,
}

/// What is known under the key of a request that the writer did not take as one change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum KeptAnswer {
    /// The same request: its answer, as it was kept.
    Same(String),
    /// The same request, which somebody is doing right now.
    BeingMade,
    /// Another request.
    Other,
}

/// A key that is held for a request while it is done, so that nobody else does it too.
#[derive(Clone, Debug)]
pub struct HeldKey {
    request: Idempotency,
    /// What stands in place of the answer: nobody else's.
    mark: String,
}

bulk!(
    FIND = Bulk::list(
        "SELECT key, account, method, path, body_digest, answer FROM idempotency WHERE created_at > $1 AND key IN (",
        1,
        ")"
    )
);
bulk!(
    KEEP = Bulk::rows(
        "INSERT INTO idempotency (key, account, method, path, body_digest, answer, created_at) VALUES ",
        7,
        // In place of one that has had its time: 48 h in microseconds.
        " ON CONFLICT (key, account) DO UPDATE SET method = excluded.method, path = excluded.path, body_digest = excluded.body_digest, answer = excluded.answer, created_at = excluded.created_at, bytes = 0
          WHERE idempotency.created_at <= excluded.created_at - 172800000000"
    )
);

/// The answers that a group's keys have, and those it adds.
#[derive(Default)]
pub(crate) struct Answers {
    /// Without an answer: of a request that the writer did not take as one change.
    known: HashMap<(i64, String), (Idempotency, Option<Answered>)>,
    fresh: Vec<(i64, String)>,
}

type Row = (String, i64, String, String, Vec<u8>, String);

impl Answers {
    /// Reads what is known under these keys.
    pub(crate) async fn load<'a>(
        tx: &mut Tx,
        keys: impl Iterator<Item = &'a Idempotency>,
        now: Timestamp,
    ) -> Result<Self, StoreError> {
        let members: Vec<Val> = keys.map(|k| Val::Text(k.key.clone())).collect();
        let mut answers = Self::default();
        if members.is_empty() {
            return Ok(answers);
        }
        let rows: Vec<Row> = FIND.read(tx, &[Val::Int(oldest(now))], members).await?;
        for (key, account, method, path, digest, answer) in rows {
            let body_digest =
                digest.try_into().map_err(|_| StoreError::unreadable("idempotency", "a digest is not 32 bytes"))?;
            let request = Idempotency { account, key, method, path, body_digest };
            answers.known.insert((account, request.key.clone()), (request, parse("idempotency", &answer).ok()));
        }
        Ok(answers)
    }

    /// What is known under the key of this request.
    pub(crate) fn find(&self, request: &Idempotency) -> Option<Earlier> {
        let (earlier, answer) = self.known.get(&(request.account, request.key.clone()))?;
        match answer {
            Some(answer) if request.is(earlier) => {
                Some(Earlier::Same(Box::new(Answered { replayed: true, ..answer.clone() })))
            }
            _ => Some(Earlier::Other),
        }
    }

    /// Keeps an answer.
    pub(crate) fn put(&mut self, request: &Idempotency, answer: &Answered) {
        let at = (request.account, request.key.clone());
        self.known.insert(at.clone(), (request.clone(), Some(answer.clone())));
        self.fresh.push(at);
    }

    /// Whether there is something to write.
    pub(crate) fn is_fresh(&self) -> bool {
        !self.fresh.is_empty()
    }

    /// Writes the answers kept since the load; now and then what has had its time is swept away.
    ///
    /// # Errors
    /// [`StoreError::KeyTaken`]: another process, at another competition, has used one of the keys
    /// since the load.
    pub(crate) async fn save(&mut self, store: &Store, tx: &mut Tx, now: Timestamp) -> Result<(), StoreError> {
        if store.inner.swept.is_long_ago(now) {
            sweep(tx, now).await?;
        }
        // The same order everywhere: two that wait for each other's keys would wait for ever.
        self.fresh.sort_unstable();
        let kept = self.fresh.iter().filter_map(|at| self.known.get(at));
        let rows = kept.filter_map(|(request, answer)| Some(row(request, json(answer.as_ref()?), now)));
        let rows: Vec<Vec<Val>> = rows.collect();
        let all = rows.len() as u64;
        if KEEP.write(tx, db::rows(rows)).await? < all { Err(StoreError::KeyTaken) } else { Ok(()) }
    }
}

fn row(request: &Idempotency, answer: String, now: Timestamp) -> Vec<Val> {
    vec![
        Val::Text(request.key.clone()),
        Val::Int(request.account),
        Val::Text(request.method.clone()),
        Val::Text(request.path.clone()),
        Val::Bytes(request.body_digest.to_vec()),
        Val::Text(answer),
        Val::Int(now.as_microsecond()),
    ]
}

impl Store {
    /// Takes the key of a request that the writer does not take as one change, to be given back by
    /// [`Self::keep_answer`] or [`Self::let_go`]; or what is known under it. `token`: nobody else's.
    pub async fn hold_key(
        &self,
        request: &Idempotency,
        token: [u8; 32],
        now: Timestamp,
    ) -> Result<Result<HeldKey, KeptAnswer>, StoreError> {
        let held = HeldKey { request: request.clone(), mark: format!("{BEING_MADE}{}", hex::encode(token)) };
        let writes = &self.inner.writes;
        let found = dialect::in_time(writes, false, self.held_or_known(&held, now)).await?;
        let Some(known) = found else { return Ok(Ok(held)) };
        if matches!(known, KeptAnswer::Same(_)) {
            // Where it was cut off from its standby it can be read, and is lost with its server.
            let vouched =
                async { self.got(dialect::vouch_for_answer(writes, request.account, &request.key).await).await };
            dialect::in_time(writes, false, vouched).await?;
        }
        Ok(Err(known))
    }

    /// `None`: it is held now.
    async fn held_or_known(&self, held: &HeldKey, now: Timestamp) -> Result<Option<KeptAnswer>, StoreError> {
        let request = &held.request;
        let mut tx = self.begin_for_now().await?;
        sweep(&mut tx, now).await?;
        // Whose insert it is decides: a score with the same key may come at the same time.
        if KEEP.write(&mut tx, db::rows([row(request, held.mark.clone(), now)])).await? == 1 {
            tx.commit().await?;
            return Ok(None);
        }
        let known = db!(&mut tx, opt (String, String, Vec<u8>, String, i64):
            "SELECT method, path, body_digest, answer, created_at FROM idempotency WHERE account = $1 AND key = $2",
            request.account, request.key.as_str())?;
        let stopped = now.checked_sub(HELD).unwrap_or(Timestamp::MIN).as_microsecond();
        let found = match known {
            Some((method, path, digest, ..))
                if method != request.method || path != request.path || digest != request.body_digest =>
            {
                Some(KeptAnswer::Other)
            }
            Some((.., answer, _)) if !answer.starts_with(BEING_MADE) => Some(KeptAnswer::Same(answer)),
            Some((.., mark, since)) if since <= stopped => {
                HeldKey { mark, ..held.clone() }.set(&mut tx, (&held.mark, 0), now).await?;
                None
            }
            _ => Some(KeptAnswer::BeingMade),
        };
        tx.commit().await?;
        Ok(found)
    }

    /// A transaction about what holds for a moment only: it waits for no standby.
    pub(super) async fn begin_for_now(&self) -> Result<Tx, StoreError> {
        let mut tx = self.begin().await?;
        dialect::for_now(&mut tx).await?;
        Ok(tx)
    }

    /// The request is still being done.
    pub async fn go_on_holding(&self, held: &HeldKey, now: Timestamp) -> Result<(), StoreError> {
        dialect::in_time(&self.inner.writes, false, async {
            let mut tx = self.begin_for_now().await?;
            held.set(&mut tx, (&held.mark, 0), now).await?;
            tx.commit().await
        })
        .await
    }

    /// Nothing was done that would have to be answered again: the next to ask begins anew.
    pub async fn let_go(&self, held: &HeldKey) -> Result<(), StoreError> {
        dialect::in_time(&self.inner.writes, false, async {
            let mut tx = self.begin_for_now().await?;
            db!(&mut tx, exec: "DELETE FROM idempotency WHERE account = $1 AND key = $2 AND answer = $3",
                held.request.account, held.request.key.as_str(), held.mark.as_str())?;
            tx.commit().await
        })
        .await
    }

    /// Forgets the answers about a competition that may name somebody who was erased: to files, the ones that are
    /// being made too. What is sent again after that is judged by itself. What the writer answered to a change names
    /// nobody and stays, or else it would be done twice; but of what was remarked on somebody's facts.
    pub async fn forget_answers(&self, competition: &str) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let below = format!("%/competitions/{competition}/%");
        let scores = format!("%/competitions/{competition}/workouts/%/scores/%");
        db!(&mut tx, exec: "DELETE FROM idempotency WHERE path LIKE $1 AND NOT answer LIKE $2", below.as_str(), OF_THE_WRITER)?;
        let remarked = db!(&mut tx, all (i64, String, String):
            "SELECT account, key, answer FROM idempotency WHERE path LIKE $1 AND NOT path LIKE $2 AND NOT answer LIKE $3",
            below, scores, WITHOUT_REMARKS)?;
        for (account, key, answer) in remarked {
            // What cannot be read is given to nobody.
            let Ok(answered) = parse::<Answered>("idempotency", &answer) else { continue };
            let answer = json(&Answered { warnings: Vec::new(), ..answered });
            db!(&mut tx, exec: "UPDATE idempotency SET answer = $1 WHERE account = $2 AND key = $3", answer, account, key)?;
        }
        tx.commit().await
    }

    /// Keeps the answer to the request that a key was held for; where those of files take much room already,
    /// what stands for it `in_short`. Where the key was lost meanwhile, to somebody who took it over or to an
    /// erasure, nothing is kept.
    pub async fn keep_answer(
        &self,
        held: &HeldKey,
        answer: &str,
        in_short: &str,
        now: Timestamp,
    ) -> Result<(), StoreError> {
        dialect::in_time(&self.inner.writes, false, async {
            let mut tx = self.begin().await?;
            sweep(&mut tx, now).await?;
            let kept = db!(&mut tx, opt (i64, i64):
                "SELECT CAST(COALESCE(SUM(bytes), 0) AS BIGINT), CAST(COALESCE(SUM(CASE WHEN account = $1 THEN bytes ELSE 0 END), 0) AS BIGINT)
                 FROM idempotency WHERE bytes > 0",
                held.request.account)?;
            let (all, own) = kept.unwrap_or_default();
            let bytes = i64::try_from(answer.len()).unwrap_or(i64::MAX);
            let fits = own.saturating_add(bytes) <= OF_ONE && all.saturating_add(bytes) <= OF_ALL;
            held.set(&mut tx, if fits { (answer, bytes) } else { (in_short, 0) }, now).await?;
            tx.commit().await
        })
        .await
    }
}

impl HeldKey {
    /// Puts `answer` where the mark stands. `bytes`: what counts of it.
    async fn set(&self, tx: &mut Tx, (answer, bytes): (&str, i64), now: Timestamp) -> Result<(), StoreError> {
        db!(tx, exec: "UPDATE idempotency SET answer = $1, bytes = $2, created_at = $3 WHERE account = $4 AND key = $5 AND answer = $6",
            answer, bytes, now.as_microsecond(), self.request.account, self.request.key.as_str(), self.mark.as_str())?;
        Ok(())
    }
}

/// When answers that have had their time were swept away last: as often as that it is a few at a time.
#[derive(Debug, Default)]
pub(crate) struct Swept(AtomicI64);

impl Swept {
    /// Whether it is, and from now on it is not.
    fn is_long_ago(&self, now: Timestamp) -> bool {
        let (now, before) = (now.as_microsecond(), self.0.load(Ordering::Relaxed));
        let is = u128::from(now.abs_diff(before)) >= BETWEEN_SWEEPS.as_micros();
        if is {
            self.0.store(now, Ordering::Relaxed);
        }
        is
    }
}

const BETWEEN_SWEEPS: Duration = Duration::from_secs(1);

/// Sweeps away what is no longer given again.
async fn sweep(tx: &mut Tx, now: Timestamp) -> Result<(), StoreError> {
    db!(tx, exec: "DELETE FROM idempotency WHERE created_at <= $1", oldest(now))?;
    Ok(())
}

/// The instant at which answers kept then have had their time.
fn oldest(now: Timestamp) -> i64 {
    now.checked_sub(KEPT).unwrap_or(Timestamp::MIN).as_microsecond()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_over_is_what_would_be_swept_away() {
        assert!(KEEP.texts()[0].ends_with(&format!("- {}", KEPT.as_micros())));
    }

    #[test]
    fn it_is_swept_once_a_second_whichever_way_the_clock_is_set() {
        let (swept, at) = (Swept::default(), |ms| Timestamp::from_millisecond(ms).expect("an instant"));
        let told = [10_000, 10_500, 10_999, 11_000, 11_001, 9_000, 9_001].map(|ms| swept.is_long_ago(at(ms)));
        assert_eq!(told, [true, false, false, true, false, true, false]);
    }
}
