//! What the writer keeps from one group to the next is what the database has, whoever has changed it.

use crate::support::{Place, ask, noon, score};
use jiff::{SignedDuration, Timestamp};
use tallywright::rules::event::Extension;
use tallywright::rules::ledger::{Change, Outcome, Refusal};
use tallywright::rules::roster::RawJudge;
use tallywright::store::writer::{Answered, WriteError, Writer};

/// The judge of quayside, until that day.
fn judge(valid_to: &str) -> Change {
    Change::SetJudge(RawJudge {
        code: "J-1".to_owned(),
        name: "Judge of quayside".to_owned(),
        gym: Some("quayside".to_owned()),
        valid_from: "2026-01-01".to_owned(),
        valid_to: valid_to.to_owned(),
        email: None,
    })
}

fn is_refused(answer: &Result<Answered, WriteError>) -> bool {
    matches!(answer, Err(WriteError::Refused(Refusal::Faults(faults))) if faults.iter().any(|f| f.sentence.code == "credential_not_valid"))
}

/// Attested scores of the same judge, before and after the judge's time was cut short and given again.
async fn follows_the_judge(place: &Place, by: &Writer) {
    for (bib, valid_to, goes) in [(1, "2027-12-31", true), (3, "2026-12-31", false), (5, "2027-11-30", true)] {
        by.submit(ask(judge(valid_to)), None).await.unwrap();
        let answer = place.submit(score("w1", bib, "4+3", true)).await;
        assert_eq!(answer.is_ok(), goes, "{valid_to}: {answer:?}");
        assert!(goes || is_refused(&answer), "{answer:?}");
        // Twice: what was read for the first is kept for the second.
        let again = place.submit(score("w1", bib + 6, "4+3", true)).await;
        assert_eq!(again.is_ok(), goes, "{valid_to}: {again:?}");
    }
    assert_eq!(place.difference().await, None);
}

#[tokio::test]
async fn a_judge_changed_by_the_same_writer_is_changed_for_the_next_score() {
    let place = Place::with_entries(12).await;
    follows_the_judge(&place, &place.writer).await;
}

#[tokio::test]
async fn a_judge_changed_by_another_process_is_changed_for_the_next_score() {
    let place = Place::with_entries(12).await;
    let other = place.second_writer().await;
    follows_the_judge(&place, &other).await;
}

#[tokio::test]
async fn more_time_given_by_another_process_counts_for_the_next_score() {
    let place = Place::with_entries(12).await;
    let other = place.second_writer().await;
    // After the end of the second window, within what will be given.
    let late: Timestamp = noon() + SignedDuration::from_hours(24 * 60);
    place.clock.set(late);
    let sent = |bib| {
        let mut asked = score("w1", bib, "4+3", false);
        asked.received = late;
        asked
    };
    let state = |answer: Result<Answered, WriteError>| {
        let answer = answer.unwrap();
        assert!(!matches!(answer.outcome, Outcome::Unchanged));
        answer.attempts.last().unwrap().state
    };
    let before = state(place.submit(sent(1)).await);
    let extension = Extension {
        workout: "w1".to_owned(),
        gym: Some("quayside".to_owned()),
        region: None,
        closes: late + SignedDuration::from_hours(24),
        attest_by: late + SignedDuration::from_hours(48),
        taken_back: false,
    };
    other.submit(ask(Change::Extend { extension, reason: "Power cut".to_owned() }), None).await.unwrap();
    let after = state(place.submit(sent(3)).await);
    assert_eq!((before.as_str(), after.as_str()), ("late", "entered"));
    assert_eq!(place.difference().await, None);
}
