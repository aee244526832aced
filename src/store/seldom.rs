//! What changes seldom, kept from one group of changes to the next: gyms, judges and extensions. Of the persons behind
//! them it has the numbers alone: what is known of them is read each time, and ends where it is erased.
//!
//! It holds as long as a competition's log ends where it ended when it was kept: all of it changes with records alone.
//! Where another process has written meanwhile, or another log was put back, it is read again.

use super::merkle::Hash;
use crate::rules::event::Extension;
use crate::rules::ledger::Ledger;
use crate::rules::people::{Gym, Judge};
use std::collections::{BTreeMap, HashMap};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Where a log ends: its last position, and the root of its tree there.
pub(crate) type End = (u64, Hash);

/// Gyms and judges kept of one competition at most. A competition of that many gyms has its judges read again now and
/// then.
const KEPT: usize = 20_000;
/// Competitions for which anything is kept: those that are written to at the same time.
const COMPETITIONS: usize = 16;

/// By the competition's number.
#[derive(Default)]
pub(crate) struct Seldom(Mutex<HashMap<i64, Kept>>);

#[derive(Default)]
struct Kept {
    end: End,
    gyms: HashMap<String, Gym>,
    judges: HashMap<String, Judge>,
    extensions: Option<Vec<Extension>>,
}

impl Seldom {
    /// Puts what is known into a ledger: of these gyms and judges. What is not there is to be read.
    pub(crate) fn tell<'a>(
        &self,
        (id, end): (i64, End),
        ledger: &mut Ledger,
        gyms: impl Iterator<Item = &'a String>,
        judges: impl Iterator<Item = &'a String>,
    ) {
        let all = self.lock();
        let Some(kept) = all.get(&id).filter(|kept| kept.end == end) else { return };
        ledger.gyms.extend(gyms.filter_map(|slug| Some((slug.clone(), kept.gyms.get(slug)?.clone()))));
        ledger.judges.extend(judges.filter_map(|code| Some((code.clone(), kept.judges.get(code)?.clone()))));
    }

    /// The extensions in force, where they are known.
    pub(crate) fn extensions(&self, (id, end): (i64, End)) -> Option<Vec<Extension>> {
        self.lock().get(&id).filter(|kept| kept.end == end)?.extensions.clone()
    }

    /// Keeps what a group of changes has read and changed. `before`: where the log ended when it was read.
    pub(crate) fn keep(&self, (id, before, now): (i64, End, End), ledger: &Ledger) {
        let mut all = self.lock();
        if all.len() >= COMPETITIONS && !all.contains_key(&id) {
            all.clear();
        }
        let kept = all.entry(id).or_default();
        // Of no log while it is put together.
        let end = std::mem::take(&mut kept.end);
        let many = |gyms: usize, judges: usize| gyms + judges > KEPT;
        if end != before || many(kept.gyms.len(), kept.judges.len()) {
            *kept = Kept::default();
        }
        if many(ledger.gyms.len(), ledger.judges.len()) {
            return drop(all.remove(&id));
        }
        put(&mut kept.gyms, &ledger.gyms);
        put(&mut kept.judges, &ledger.judges);
        if kept.extensions.as_ref() != Some(&ledger.extensions) {
            kept.extensions = Some(ledger.extensions.clone());
        }
        kept.end = now;
    }

    /// A panic elsewhere while this was held leaves something that is of no log at worst.
    fn lock(&self) -> MutexGuard<'_, HashMap<i64, Kept>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn put<T: Clone + PartialEq>(kept: &mut HashMap<String, T>, now: &BTreeMap<String, T>) {
    for (name, one) in now {
        if kept.get(name) != Some(one) {
            kept.insert(name.clone(), one.clone());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::people::PersonRef;
    use jiff::civil::date;

    /// With a judge.
    fn ledger() -> Ledger {
        let mut ledger = Ledger::default();
        let judge = Judge {
            code: "J-1".to_owned(),
            person: PersonRef { id: 4, commitment: String::new() },
            gym: None,
            valid_from: date(2027, 1, 1),
            valid_to: date(2027, 12, 31),
        };
        ledger.judges.insert(judge.code.clone(), judge);
        ledger
    }

    fn told(seldom: &Seldom, end: End) -> Ledger {
        let mut ledger = Ledger::default();
        seldom.tell((1, end), &mut ledger, std::iter::empty(), ["J-1".to_owned(), "J-2".to_owned()].iter());
        ledger
    }

    #[test]
    fn it_holds_where_the_log_ends_and_nowhere_else() {
        let seldom = Seldom::default();
        let (before, now, other) = ((3, [1; 32]), (4, [2; 32]), (4, [3; 32]));
        seldom.keep((1, before, now), &ledger());
        assert_eq!(told(&seldom, now).judges.len(), 1);
        assert_eq!(seldom.extensions((1, now)), Some(Vec::new()));
        for end in [before, other, End::default()] {
            assert_eq!(told(&seldom, end).judges.len(), 0, "{end:?}");
            assert_eq!(seldom.extensions((1, end)), None);
        }
        // A group that read another log than the one kept.
        seldom.keep((1, other, (5, [5; 32])), &Ledger::default());
        assert_eq!(told(&seldom, (5, [5; 32])).judges.len(), 0);
    }
}
