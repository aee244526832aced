//! The writer: groups, refusals, keys, other processes, stopping.

use super::support::{
    FILE, Place, account, apply, ask, ask_by, attest, entry, file, key, moved, noon, reader, score, staff, submit,
};
use jiff::SignedDuration;
use std::fmt::Write;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tallywright::rules::access::{Actor, Grant, Role};
use tallywright::rules::competition::{RawCompetition, compile, from_toml};
use tallywright::rules::ledger::{Asked, Change, Outcome, Precondition, Refusal};
use tallywright::rules::life::{FlagReason, Move, State, Submit};
use tallywright::rules::roster::{EntryChange, RawEntry, RawGym};
use tallywright::store::log::StoredRecord;
use tallywright::store::{Answered, WriteError};

async fn log(place: &Place) -> Vec<StoredRecord> {
    place.store.list_records(&reader(), place.id().await, 0, 100_000).await.unwrap()
}

/// What may come in at once: first scores, the same again, new figures, refused ones, a flag.
fn mixed() -> Vec<Asked> {
    let flag = Move::Flag { reason: FlagReason::Count, note: "Short".to_owned(), withhold: false };
    vec![
        score("w1", 1, "4+3", true),
        score("w1", 2, "nonsense", true),
        score("w1", 1, "4+3", true),
        score("w1", 1, "5+0", false),
        Asked { precondition: Precondition::Any, ..score("w1", 1, "5+0", false) },
        score("w1", 2, "6+1", true),
        score("w9", 2, "6+1", true),
        moved("w1", 2, flag),
        score("w2", 2, "100 kg", true),
        score("w1", 99, "4+0", true),
        moved("w1", 3, Move::NotTakingPart),
        ask(Change::SetEntry(RawEntry { bib: None, name: "New Comer".to_owned(), ..entry(5) })),
        ask(Change::SetEntry(RawEntry { bib: None, name: "new  comer".to_owned(), ..entry(5) })),
        score("w1", 1, "6+0", false),
    ]
}

fn told(answer: &Result<Answered, WriteError>) -> String {
    format!("{answer:?}")
}

#[tokio::test]
async fn a_group_comes_to_the_same_as_its_changes_one_by_one() {
    let (grouped, single) = (Place::with_entries(3).await, Place::with_entries(3).await);
    let together: Vec<String> = grouped.writer.submit_many(mixed()).await.iter().map(told).collect();
    let mut in_turn = Vec::new();
    for asked in mixed() {
        in_turn.push(told(&single.submit(asked).await));
    }
    assert_eq!(together, in_turn);
    assert!(together.iter().filter(|t| t.starts_with("Err")).count() >= 3, "{together:#?}");
    assert!(together.iter().filter(|t| t.starts_with("Ok")).count() >= 7, "{together:#?}");
    assert_eq!(log(&grouped).await, log(&single).await);
    assert_eq!(grouped.difference().await, None);
    assert_eq!(single.difference().await, None);
    let places =
        |place: &Place| -> Vec<_> { place.told.lock().unwrap().iter().flat_map(|c| c.placements.clone()).collect() };
    assert_eq!(places(&grouped), places(&single));
}

#[tokio::test]
async fn a_refused_change_leaves_its_neighbours_alone() {
    let place = Place::with_entries(4).await;
    let before = log(&place).await.len();
    let asked = vec![score("w1", 1, "4+0", true), score("w1", 2, "4+77", true), score("w1", 3, "5+0", true)];
    let answers = place.writer.submit_many(asked).await;
    assert!(answers[0].is_ok() && answers[2].is_ok());
    assert!(matches!(&answers[1], Err(WriteError::Refused(Refusal::Faults(faults))) if !faults.is_empty()));
    assert_eq!(log(&place).await.len(), before + 4, "two submissions, two attestations");
    assert_eq!(place.store.list_attempts(place.id().await, "w1", 2).await.unwrap(), []);
}

#[tokio::test(flavor = "multi_thread")]
async fn sixty_four_callers_at_once_leave_no_gap_and_lose_nothing() {
    const CALLERS: u32 = 64;
    const EACH: u32 = 4;
    let place = Place::with_entries(CALLERS * EACH).await;
    let before = log(&place).await.len();
    let callers = (0..CALLERS).map(|n| {
        let writer = place.writer.clone();
        tokio::spawn(async move {
            let mut last = Vec::new();
            for bib in n * EACH + 1..=(n + 1) * EACH {
                let answer = writer.submit(score("w1", bib, &format!("{}+{}", bib % 7, bib % 30), true), None).await;
                last.push(answer.unwrap().seq);
            }
            last
        })
    });
    let mut seqs = Vec::new();
    for caller in callers.collect::<Vec<_>>() {
        seqs.extend(caller.await.unwrap());
    }
    seqs.sort_unstable();
    seqs.dedup();
    assert_eq!(seqs.len(), (CALLERS * EACH) as usize);
    let records = log(&place).await;
    assert!(records.iter().zip(1..).all(|(record, seq)| record.seq == seq));
    assert_eq!(records.len(), before + 2 * (CALLERS * EACH) as usize);
    assert_eq!(place.difference().await, None);
    let told = place.told.lock().unwrap();
    assert!(told.windows(2).all(|pair| pair[0].seq == pair[1].after), "told in log order without gaps");
    assert!(told.len() < (CALLERS * EACH) as usize, "never two changes in one commit");
}

#[tokio::test]
async fn a_request_sent_again_with_its_key_is_answered_again_and_done_once() {
    let place = Place::with_entries(2).await;
    let asked = || ask_by(staff(7), score("w1", 1, "4+3", false).change);
    let first = place.writer.submit(asked(), Some(key(7, "k", "body"))).await.unwrap();
    let length = log(&place).await.len();
    // Somebody changes the score in between; the first answer stands all the same.
    place.submit(Asked { precondition: Precondition::Any, ..score("w1", 1, "5+0", false) }).await.unwrap();
    let again = place.writer.submit(asked(), Some(key(7, "k", "body"))).await.unwrap();
    assert!(again.replayed && !first.replayed);
    assert_eq!(Answered { replayed: false, entry: first.entry.clone(), ..again }, first);
    assert_eq!(log(&place).await.len(), length + 1);
    let other = place.writer.submit(asked(), Some(key(7, "k", "another body"))).await;
    assert!(matches!(other, Err(WriteError::KeyReused)), "{other:?}");
    // The same key of another account is another key: there, the figures need an If-Match.
    let asked = ask_by(staff(8), score("w1", 1, "4+3", false).change);
    let other = place.writer.submit(asked, Some(key(8, "k", "body"))).await;
    assert!(matches!(other, Err(WriteError::Refused(Refusal::PreconditionRequired(..)))), "{other:?}");
}

#[tokio::test]
async fn the_same_key_twice_in_one_group_is_done_once() {
    let place = Place::with_entries(2).await;
    let asked = || ask_by(staff(7), score("w1", 1, "4+3", false).change);
    let send = || place.writer.submit(asked(), Some(key(7, "k", "body")));
    let (one, two) = tokio::join!(send(), send());
    let (one, two) = (one.unwrap(), two.unwrap());
    assert!(!one.replayed && two.replayed);
    assert_eq!(one.seq, two.seq);
}

#[tokio::test]
async fn refusals_are_not_remembered_and_keys_last_two_days() {
    let place = Place::with_entries(2).await;
    let asked = |text: &str| ask_by(staff(7), score("w1", 1, text, false).change);
    let refused = place.writer.submit(asked("nonsense"), Some(key(7, "k", "a"))).await;
    assert!(matches!(refused, Err(WriteError::Refused(_))));
    place.writer.submit(asked("4+3"), Some(key(7, "k", "b"))).await.unwrap();
    place.clock.set(noon() + SignedDuration::from_hours(47));
    assert!(place.writer.submit(asked("4+3"), Some(key(7, "k", "b"))).await.unwrap().replayed);
    place.clock.set(noon() + SignedDuration::from_hours(48));
    let answer = place.writer.submit(asked("4+3"), Some(key(7, "k", "b"))).await.unwrap();
    assert!(!answer.replayed);
    assert_eq!(answer.outcome, Outcome::Unchanged);
}

#[tokio::test]
async fn what_another_process_wrote_in_between_is_seen() {
    let place = Place::with_entries(2).await;
    let other = place.second_writer().await;
    let seq = place.submit(score("w1", 1, "4+0", false)).await.unwrap().seq;
    let foreign = other.submit(score("w1", 2, "5+0", false), None).await.unwrap().seq;
    assert_eq!(foreign, seq + 1);
    assert_eq!(place.store.heads().await.unwrap(), [(place.id().await, foreign)]);
    let conflict = place.submit(ask_by(staff(7), score("w1", 2, "6+0", false).change)).await;
    assert!(matches!(conflict, Err(WriteError::Refused(Refusal::PreconditionRequired(_, Some(_))))), "{conflict:?}");
    let own = place.submit(score("w1", 1, "4+0", true)).await.unwrap().seq;
    assert_eq!(own, foreign + 2, "a sheet number and an attestation");
    let last = place.told.lock().unwrap().last().unwrap().clone();
    assert_eq!((last.after, last.seq), (foreign, own), "the follower can see that something is missing");
    let missed = place.placements(seq, own).await;
    assert!(missed.iter().any(|p| p.seq == foreign && p.bib == 2));
    assert_eq!(place.difference().await, None);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_processes_writing_at_once_make_one_log() {
    let place = Place::with_entries(80).await;
    let other = place.second_writer().await;
    let (odd, even): (Vec<u32>, Vec<u32>) = (1..=80).partition(|bib| bib % 2 == 1);
    let asked = |bibs: Vec<u32>| bibs.into_iter().map(|bib| score("w1", bib, "3+3", true)).collect::<Vec<_>>();
    let (a, b) = tokio::join!(place.writer.submit_many(asked(odd)), other.submit_many(asked(even)));
    assert!(a.iter().chain(&b).all(Result::is_ok));
    assert_eq!(place.difference().await, None);
}

#[tokio::test(flavor = "multi_thread")]
async fn stopping_commits_and_answers_what_is_in_flight() {
    let place = Place::with_entries(300).await;
    let mut held = place.held().await;
    let callers: Vec<_> = (1..=300)
        .map(|bib| {
            let writer = place.writer.clone();
            tokio::spawn(async move { writer.submit(score("w1", bib, "3+3", false), None).await })
        })
        .collect();
    while place.writer.waiting() < 20 {
        tokio::task::yield_now().await;
    }
    tokio::join!(place.writer.stop(), async { held.run("ROLLBACK").await.unwrap() });
    let mut done = 0;
    for caller in callers {
        match caller.await.unwrap() {
            Ok(answer) => {
                assert_eq!(answer.attempts.len(), 1);
                done += 1;
            }
            // Came after the stop: told at once, and nothing was done.
            Err(WriteError::Busy) => {}
            Err(other) => panic!("{other}"),
        }
    }
    let counted = place.store.count_scores(place.id().await).await.unwrap();
    assert_eq!(counted, [("w1".to_owned(), "entered".to_owned(), done)]);
    assert!(matches!(place.submit(score("w1", 1, "3+3", false)).await, Err(WriteError::Busy)));
    assert!(matches!(place.writer.submit_many(vec![apply(FILE)]).await[..], [Err(WriteError::Busy)]));
}

#[tokio::test]
async fn a_dry_run_writes_nothing() {
    let place = Place::with_entries(2).await;
    place.attested(1, "4+0").await;
    let length = log(&place).await.len();
    let raw = Box::new(file(&FILE.replace("cap = \"10:00\"", "cap = \"12:00\"")));
    let answer =
        place.submit(ask(Change::Apply { raw, dry_run: true, rescore: true, reason: String::new() })).await.unwrap();
    assert!(matches!(&answer.outcome, Outcome::Applied { differences, .. } if !differences.is_empty()), "{answer:?}");
    let change = EntryChange { gym: Some("milltown".to_owned()), reason: "moved".to_owned(), ..EntryChange::default() };
    place.submit(ask(Change::MoveEntry { bib: 1, change, dry_run: true })).await.unwrap();
    assert_eq!(log(&place).await.len(), length);
    assert_eq!(
        place.store.find_entry(place.id().await, 1).await.unwrap().unwrap().entry.gym.as_deref(),
        Some("quayside")
    );
    assert_eq!(place.difference().await, None);
}

#[tokio::test]
async fn the_logs_instants_never_go_back() {
    let place = Place::with_entries(2).await;
    place.clock.set(noon() - SignedDuration::from_hours(5));
    place.submit(score("w1", 1, "4+0", false)).await.unwrap();
    place.clock.set(noon() + SignedDuration::from_hours(1));
    place.submit(score("w1", 2, "4+0", false)).await.unwrap();
    let instants: Vec<_> = log(&place).await.iter().map(|r| r.at).collect();
    assert!(instants.is_sorted());
    assert_eq!(instants.last(), Some(&(noon() + SignedDuration::from_hours(1))));
}

#[tokio::test]
async fn where_a_statement_fails_only_its_own_change_does() {
    let place = Place::with_entries(2).await;
    let mut raw = place.raw().await;
    let trigger = if place.database.is_served() {
        "CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'unlucky'; END $$;
         CREATE TRIGGER unlucky BEFORE INSERT ON entries FOR EACH ROW WHEN (NEW.bib = 13) EXECUTE FUNCTION refuse()"
    } else {
        "CREATE TRIGGER unlucky BEFORE INSERT ON entries WHEN NEW.bib = 13 BEGIN SELECT RAISE(ABORT, 'unlucky'); END"
    };
    raw.run(trigger).await.unwrap();
    let asked: Vec<_> = (3..=20).map(|bib| ask(Change::SetEntry(entry(bib)))).collect();
    for (answer, bib) in place.writer.submit_many(asked).await.into_iter().zip(3..) {
        match answer {
            Ok(_) => assert_ne!(bib, 13),
            Err(WriteError::Store(_)) => assert_eq!(bib, 13),
            Err(other) => panic!("{other}"),
        }
    }
    let gone = if place.database.is_served() { "DROP TRIGGER unlucky ON entries" } else { "DROP TRIGGER unlucky" };
    raw.run(gone).await.unwrap();
    assert_eq!(place.difference().await, None);
    assert!(log(&place).await.iter().zip(1..).all(|(record, seq)| record.seq == seq));
    place.submit(ask(Change::SetEntry(entry(13)))).await.unwrap();
}

#[tokio::test]
async fn a_database_held_by_somebody_else_is_busy_and_nothing_is_done() {
    let place = Place::with_entries(2).await;
    let mut raw = place.held().await;
    let asked = vec![score("w1", 1, "4+0", false), score("w1", 2, "4+0", false)];
    let answers = tokio::time::timeout(Duration::from_secs(20), place.writer.submit_many(asked)).await.unwrap();
    assert!(answers.iter().all(|a| matches!(a, Err(WriteError::Busy))), "{answers:?}");
    raw.run("ROLLBACK").await.unwrap();
    place.in_a_moment(score("w1", 1, "4+0", false)).await;
}

#[tokio::test]
async fn an_unknown_competition_is_refused_and_not_made() {
    let place = Place::new().await;
    let answer = place.submit(score("w1", 1, "4+0", false)).await;
    assert!(matches!(answer, Err(WriteError::Refused(Refusal::NotFound(_)))), "{answer:?}");
    assert_eq!(place.store.heads().await.unwrap(), []);
}

#[tokio::test]
async fn a_competition_is_made_and_filled_in_one_group() {
    let place = Place::with_entries(3).await;
    let told = place.told.lock().unwrap().clone();
    assert_eq!(told[0].after, 0);
    assert!(told[0].definition.is_some());
    assert_eq!(told.iter().map(|c| c.placements.len()).sum::<usize>(), 3, "three entries");
    assert_eq!(place.difference().await, None);
}

#[tokio::test]
async fn the_answer_has_the_attempts_after_the_change() {
    let place = Place::with_entries(2).await;
    let answer = place.submit(score("w1", 1, "4+3", true)).await.unwrap();
    assert!(matches!(answer.outcome, Outcome::Score { created: true, attempt: 1 }), "{answer:?}");
    let [attempt] = &answer.attempts[..] else { panic!("{answer:?}") };
    assert_eq!((attempt.state, attempt.etag), (State::Attested, answer.seq));
    assert_eq!(attempt.stored.text, "4+3");
    assert_eq!(place.store.list_attempts(place.id().await, "w1", 1).await.unwrap(), answer.attempts);
}

#[tokio::test]
async fn a_judge_in_two_places_is_seen_when_the_sheets_are_attested_days_later() {
    let place = Place::with_entries(5).await;
    place.attested(1, "4+3").await;
    place.submit(score("w1", 3, "5+0", false)).await.unwrap();
    place.clock.set(noon() + SignedDuration::from_hours(48));
    let later = Asked { received: noon() + SignedDuration::from_hours(48), ..moved("w1", 3, Move::Attest(attest(3))) };
    let answer = place.submit(Asked { precondition: Precondition::Any, ..later }).await.unwrap();
    assert!(answer.warnings.iter().any(|w| w.sentence.code == "judge_in_two_places"), "{:?}", answer.warnings);
}

#[tokio::test]
async fn sheets_that_are_typed_in_one_after_the_other_do_not_put_the_judge_in_two_places() {
    let place = Place::with_entries(5).await;
    let untimed = |bib, text: &str| {
        let sent = Submit { performed_at: None, attestation: Some(attest(bib)), ..submit(text) };
        moved("w1", bib, Move::Submit(sent))
    };
    for (bib, text) in [(1, "4+3"), (3, "5+0")] {
        let answer = place.submit(untimed(bib, text)).await.unwrap();
        assert!(answer.warnings.iter().all(|w| w.sentence.code != "judge_in_two_places"), "{:?}", answer.warnings);
    }
    // Nor when one of them is corrected.
    let corrected = Asked { precondition: Precondition::Any, ..untimed(3, "5+1") };
    let answer = place.submit(corrected).await.unwrap();
    assert!(answer.warnings.iter().all(|w| w.sentence.code != "judge_in_two_places"), "{:?}", answer.warnings);
}

#[tokio::test]
async fn twice_the_heaviest_is_asked_about_in_a_group_as_one_by_one() {
    let place = Place::with_entries(30).await;
    let loads = |last: &str| {
        let light = (1..=21).step_by(2).map(|bib| score("w2", bib, &format!("{} kg", 80 + bib), false));
        light.chain([score("w2", 23, last, false)]).collect::<Vec<_>>()
    };
    let answers = place.writer.submit_many(loads("225 kg")).await;
    let last = answers.last().unwrap();
    assert!(matches!(last, Err(WriteError::Refused(Refusal::Ask(_)))), "{last:?}");
    assert!(answers.iter().rev().skip(1).all(Result::is_ok));
    // A load put right in the same group no longer counts.
    let light = Asked { precondition: Precondition::Any, ..score("w2", 21, "150 kg", false) };
    let back = Asked { precondition: Precondition::Any, ..score("w2", 21, "101 kg", false) };
    let answers = place.writer.submit_many(vec![light, back, score("w2", 23, "225 kg", false)]).await;
    assert!(matches!(answers[2], Err(WriteError::Refused(Refusal::Ask(_)))), "{:?}", answers[2]);
}

#[tokio::test]
async fn a_contact_made_and_taken_away_in_one_group_is_gone() {
    let place = Place::with_entries(1).await;
    let gym = |contact: &str| {
        ask(Change::SetGym(RawGym {
            slug: "northbank".to_owned(),
            name: "Northbank".to_owned(),
            country: "PT".to_owned(),
            contact: Some(contact.to_owned()),
            ..RawGym::default()
        }))
    };
    for asked in [vec![gym("Somebody"), gym("")], vec![gym("Somebody")], vec![gym("")]] {
        assert!(place.writer.submit_many(asked).await.iter().all(Result::is_ok));
        assert_eq!(place.difference().await, None);
    }
    let mut raw = place.raw().await;
    let left = raw.number("SELECT COUNT(*) FROM persons WHERE body LIKE '%Somebody%'").await;
    assert_eq!(left, 0);
}

#[tokio::test]
async fn a_referee_does_not_rule_on_the_gym_whose_judge_they_are() {
    let place = Place::with_entries(2).await;
    place.attested(1, "4+3").await;
    place.attested(2, "5+0").await;
    let account = account(&place.store, "ref@example.org", None).await;
    let grant = |role, judge: Option<&str>| Grant {
        role,
        competition: Some("saltmarsh".to_owned()),
        gym: None,
        bib: None,
        judge: judge.map(str::to_owned),
    };
    let grants = vec![grant(Role::Referee, None), grant(Role::Judge, Some("J-1"))];
    place.store.add_grants(account, &grants, noon()).await.unwrap();
    let referee = Actor { account: Some(account), grants, ..Actor::default() };
    let flag = |bib| {
        let what = Move::Flag { reason: FlagReason::Count, note: String::new(), withhold: false };
        Asked { precondition: Precondition::Any, ..ask_by(referee.clone(), moved("w1", bib, what).change) }
    };
    // Judge J-1 is of quayside, as bib 1 is; bib 2 is of milltown.
    let own = place.submit(flag(1)).await;
    assert!(matches!(own, Err(WriteError::Refused(Refusal::NotAllowed(_)))), "{own:?}");
    place.submit(flag(2)).await.unwrap();
}

/// A file of many divisions, workouts and prescriptions, which takes a while to read and to decide.
fn large() -> RawCompetition {
    let mut text = FILE.to_owned();
    let (mut divisions, mut prescriptions) = (String::new(), String::new());
    for n in 0..190 {
        write!(divisions, "[[division]]\nslug = \"more-{n}\"\ntitle = \"More {n}\"\ncategory = \"women\"\n\n").unwrap();
        write!(prescriptions, "[[workout.prescription]]\ndivisions = [\"more-{n}\"]\n\n").unwrap();
    }
    let workout = FILE.split("[[workout]]").nth(1).expect("the first workout");
    for n in 0..30 {
        let slug = format!("slug = \"more-{n}\"");
        write!(text, "\n[[workout]]{}", workout.replacen("slug = \"w1\"", &slug, 1)).unwrap();
    }
    let text = text.replacen("[[workout]]", &format!("{divisions}[[workout]]"), 1);
    let one = "[[workout.prescription]]\n";
    from_toml(&text.replace(one, &format!("{prescriptions}{one}"))).expect("the file reads")
}

/// With a single thread for all: while a file is decided others are read to and scores wait, and none is lost.
#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_large_file_keeps_no_thread_to_itself_and_no_score_is_lost_beside_it() {
    let place = Place::with_entries(20).await;
    let raw = large();
    let started = Instant::now();
    compile(&raw).expect("it holds together");
    let alone = started.elapsed();
    let most = Arc::new(Mutex::new(Duration::ZERO));
    let seen = Arc::clone(&most);
    let ticks = tokio::spawn(async move {
        let mut before = Instant::now();
        loop {
            tokio::time::sleep(Duration::from_millis(1)).await;
            let mut most = seen.lock().unwrap();
            *most = before.elapsed().max(*most);
            before = Instant::now();
        }
    });
    let change = Change::Apply { raw: Box::new(raw), dry_run: false, rescore: true, reason: "more".to_owned() };
    let scores = async {
        for bib in 1..=20 {
            place.submit(score("w1", bib, "4+0", false)).await.expect("stored");
        }
    };
    let looks = ask(change.clone());
    let (applied, tried, ()) = tokio::join!(place.submit(ask(change)), place.store.try_out(&looks, noon()), scores);
    applied.expect("applied");
    tried.expect("read").expect("it fits");
    ticks.abort();
    let most = *most.lock().unwrap();
    assert!(most < alone / 2, "nothing else was done for {most:?}, and the file takes {alone:?}");
    assert_eq!(place.difference().await, None);
}
