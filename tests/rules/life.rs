//! What may happen to a score, by whom and when: rules.md section 8, one sentence a test; and
//! random moves held against a small model that shares no code with the rules.

use crate::support::{
    World, account, athlete, attested, by_judge, closes, codes, grant, opens, organiser, referee, staff, submit,
};
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;
use tallywright::rules::access::{Actor, Grant, Role};
use tallywright::rules::ledger::{Change, Outcome, Precondition, Refusal, Ties};
use tallywright::rules::life::{Attest, Decision, FlagReason, How, Move, State, Submit};
use tallywright::rules::people::EntryState;
use tallywright::rules::performance::RawPerformance;
use tallywright::rules::roster::EntryChange;
use tallywright::rules::tag::Tag;

fn only_code(refusal: &Refusal) -> String {
    let codes = codes(refusal);
    assert_eq!(codes.len(), 1, "{refusal:?}");
    codes.into_iter().next().unwrap()
}

fn flag() -> Move {
    Move::Flag { reason: FlagReason::Count, note: String::new(), withhold: false }
}

fn rule(decision: Decision) -> Move {
    Move::Rule { decision, reason: "counted again".into(), on_appeal: false }
}

fn deduct(reps: u64) -> Decision {
    Decision::Deduct { reps: Some(reps), seconds: None, tiebreak: None, no_tiebreak: false }
}

fn total(world: &World, bib: u32) -> String {
    world.attempt(bib).unwrap().stored.text.clone()
}

#[test]
fn an_attested_score_is_placed_and_an_entered_one_is_not() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+14"))).unwrap();
    assert_eq!(world.attempt(1).unwrap().placed_key(), None);
    world.score(&staff("quayside"), 1, Move::Attest(by_judge("J-1"))).unwrap();
    assert!(world.attempt(1).unwrap().placed_key().is_some());
}

#[test]
fn new_figures_void_the_attestation_and_the_same_figures_change_nothing() {
    let mut world = World::new();
    let desk = staff("quayside");
    world.score(&desk, 1, Move::Submit(attested("6+14"))).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Attested);
    let again = world.score(&desk, 1, Move::Submit(attested("194"))).unwrap();
    assert_eq!(again.outcome, Outcome::Unchanged);
    world.score(&desk, 1, Move::Submit(submit("6+15"))).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.state, attempt.version, attempt.attestation.is_none()), (State::Entered, 2, true));
}

#[test]
fn a_correction_needs_the_state_it_corrects() {
    let mut world = World::new();
    let desk = staff("quayside");
    let put = |text: &str| Change::Score { workout: "w1".into(), bib: 1, what: Move::Submit(submit(text)) };
    world.ask(&desk, put("6+14")).unwrap();
    let attempt = world.attempt(1).unwrap();
    let (etag, elsewhere) = (attempt.tag(), Tag::of(attempt.etag, &"another log"));
    assert_eq!(only_code(&world.ask(&desk, put("6+15")).unwrap_err()), "428");
    assert_eq!(only_code(&world.ask_with(&desk, Precondition::Absent, put("6+15")).unwrap_err()), "412");
    let other = Precondition::Match(vec![elsewhere]);
    assert_eq!(only_code(&world.ask_with(&desk, other, put("6+15")).unwrap_err()), "412");
    world.ask_with(&desk, Precondition::Match(vec![etag]), put("6+15")).unwrap();
    // The answer was lost and the same is sent again from the same etag.
    let repeated = world.ask_with(&desk, Precondition::Match(vec![etag]), put("6+15")).unwrap();
    assert_eq!(repeated.outcome, Outcome::Unchanged);
}

#[test]
fn nobody_attests_their_own_performance() {
    let mut world = World::new();
    world.score(&staff("quayside"), 2, Move::Submit(submit("5+0"))).unwrap();
    // Judge J-2 has the e-mail of bib 2.
    let refused = world.score(&staff("quayside"), 2, Move::Attest(by_judge("J-2"))).unwrap_err();
    assert_eq!(only_code(&refused), "judge_is_the_athlete");
    // The athlete is also staff and records another judge's attestation.
    let both = account(
        102,
        vec![
            Grant { bib: Some(2), ..grant(Role::Athlete) },
            Grant { gym: Some("quayside".into()), ..grant(Role::Staff) },
        ],
    );
    let refused = world.score(&both, 2, Move::Attest(by_judge("J-1"))).unwrap_err();
    assert_eq!(only_code(&refused), "athlete_records_attestation");
    // The same account is judge and athlete, as the store found out.
    world.ledger.around.same_account.insert(("J-1".into(), 2));
    let refused = world.score(&staff("quayside"), 2, Move::Attest(by_judge("J-1"))).unwrap_err();
    assert_eq!(only_code(&refused), "judge_is_the_athlete");
    // An account that has the athlete's e-mail, without being linked to the bib.
    world.ledger.around.same_account.clear();
    let mut same_mail = staff("quayside");
    same_mail.email = "athlete2@example.org".into();
    let refused = world.score(&same_mail, 2, Move::Attest(by_judge("J-1"))).unwrap_err();
    assert_eq!(only_code(&refused), "athlete_records_attestation");
}

#[test]
fn signed_in_means_the_judge_is() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(submit("5+0"))).unwrap();
    let attest = || Move::Attest(Attest { how: How::SignedIn, ..by_judge("J-1") });
    let refused = world.score(&staff("quayside"), 1, attest()).unwrap_err();
    assert_eq!(only_code(&refused), "signed_in_as_somebody_else");
    let judge = account(30, vec![Grant { judge: Some("J-1".into()), ..grant(Role::Judge) }]);
    world.score(&judge, 1, attest()).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Attested);
}

#[test]
fn another_gym_enters_a_visitor_but_never_corrects_what_was_done_at_home() {
    let mut world = World::new();
    let visit = Submit { gym: Some("hilltop".into()), ..submit("5+0") };
    world.score(&staff("hilltop"), 1, Move::Submit(visit)).unwrap();
    world.score(&staff("quayside"), 2, Move::Submit(submit("5+0"))).unwrap();
    let claim = Submit { gym: Some("hilltop".into()), ..submit("1+0") };
    let refused = world.score(&staff("hilltop"), 2, Move::Submit(claim)).unwrap_err();
    assert_eq!(only_code(&refused), "not_allowed");
}

#[test]
fn a_flagged_score_keeps_its_place_and_only_a_referee_changes_it() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, flag()).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert!(attempt.state == State::Flagged && attempt.placed_key().is_some());
    let refused = world.score(&staff("quayside"), 1, Move::Submit(submit("6+15"))).unwrap_err();
    assert_eq!(only_code(&refused), "being_checked");
    assert_eq!(only_code(&world.score(&athlete(1), 1, Move::Withdraw).unwrap_err()), "not_withdrawable");
    world.score(&referee(20), 1, rule(Decision::Stands)).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Attested);
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+15"))).unwrap();
}

#[test]
fn a_deduction_is_a_revision_by_the_referee_and_the_athletes_figures_stay() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, rule(deduct(15))).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!(attempt.state, State::Amended);
    assert_eq!(attempt.stored.text, "5+29");
    assert_eq!(attempt.ruling.as_ref().unwrap().before.text, "6+14");
    assert_eq!(attempt.version, 2);
    let refused = world.score(&referee(20), 1, rule(deduct(180))).unwrap_err();
    assert!(matches!(refused, Refusal::Faults(_)), "{refused:?}");
}

#[test]
fn nobody_rules_on_their_own_score_or_on_an_entry_of_their_gym() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    let own = account(20, vec![grant(Role::Referee), Grant { bib: Some(1), ..grant(Role::Athlete) }]);
    assert_eq!(only_code(&world.score(&own, 1, flag()).unwrap_err()), "not_a_free_referee");
    let of_gym = account(20, vec![grant(Role::Referee), Grant { gym: Some("quayside".into()), ..grant(Role::Staff) }]);
    assert_eq!(only_code(&world.score(&of_gym, 1, rule(Decision::Strike)).unwrap_err()), "not_a_free_referee");
    // Moving the entry away does not help.
    let change = EntryChange { gym: Some("hilltop".into()), reason: "moved house".into(), ..EntryChange::default() };
    world.move_entry(1, change).unwrap();
    assert_eq!(only_code(&world.score(&of_gym, 1, flag()).unwrap_err()), "not_a_free_referee");
}

#[test]
fn where_no_referee_is_free_the_organiser_decides() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    assert_eq!(only_code(&world.score(&organiser(), 1, flag()).unwrap_err()), "not_a_free_referee");
    for ties in world.ledger.around.referees.values_mut() {
        *ties = Ties { gyms: ["quayside".to_owned()].into(), ..Ties::default() };
    }
    world.score(&organiser(), 1, rule(Decision::Strike)).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Struck);
}

#[test]
fn an_appeal_is_decided_by_somebody_else_and_is_final() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, flag()).unwrap();
    world.score(&referee(20), 1, rule(Decision::Strike)).unwrap();
    world.score(&athlete(1), 1, Move::Appeal { reason: "the video shows it".into() }).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Struck);
    let restore = || Move::Rule { decision: Decision::Restore, reason: "it does".into(), on_appeal: true };
    assert_eq!(only_code(&world.score(&referee(20), 1, restore()).unwrap_err()), "appeal_by_another_referee");
    world.score(&referee(21), 1, restore()).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.state, attempt.stored.text.as_str()), (State::Attested, "6+14"));
    assert!(attempt.attestation.is_some());
    let again = world.score(&athlete(1), 1, Move::Appeal { reason: "more".into() }).unwrap_err();
    assert_eq!(only_code(&again), "ruling_is_final");
}

#[test]
fn an_appeal_comes_within_48_hours() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, rule(Decision::Strike)).unwrap();
    world.now += SignedDuration::from_hours(48);
    let late = world.score(&athlete(1), 1, Move::Appeal { reason: "why".into() }).unwrap_err();
    assert_eq!(only_code(&late), "appeal_too_late");
}

#[test]
fn a_late_score_waits_for_the_organiser() {
    let mut world = World::new();
    world.now = closes() + SignedDuration::from_mins(9);
    let graced = world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    assert!(graced.warnings.iter().any(|w| w.sentence.code == "in_grace"));
    assert_eq!(world.attempt(1).unwrap().state, State::Attested);
    world.now = closes() + SignedDuration::from_mins(10);
    world.score(&staff("quayside"), 2, Move::Submit(submit("6+14"))).unwrap();
    assert_eq!(world.attempt(2).unwrap().state, State::Late);
    let admit = |admit| Move::Admit { admit, reason: "power cut".into() };
    assert_eq!(only_code(&world.score(&staff("quayside"), 2, admit(true)).unwrap_err()), "not_allowed");
    world.score(&organiser(), 2, admit(false)).unwrap();
    let attempt = world.attempt(2).unwrap();
    assert!(attempt.state == State::Late && attempt.refused);
    world.score(&organiser(), 2, admit(true)).unwrap();
    assert_eq!(world.attempt(2).unwrap().state, State::Entered);
}

#[test]
fn a_late_correction_waits_beside_the_score_which_keeps_its_place() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.now = closes() + SignedDuration::from_mins(30);
    // The athlete's own change is too late now, the gym's is not.
    world.score(&athlete(1), 1, Move::Submit(submit("6+20"))).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert!(attempt.state == State::Attested && attempt.placed_key().is_some());
    assert_eq!(attempt.waiting.as_ref().unwrap().stored.text, "6+20");
    world.score(&organiser(), 1, Move::Admit { admit: true, reason: "agreed".into() }).unwrap();
    assert_eq!((total(&world, 1).as_str(), world.attempt(1).unwrap().state), ("6+20", State::Entered));
}

#[test]
fn a_correction_upward_after_the_deadline_needs_a_reason_and_is_marked() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.now = closes() + SignedDuration::from_hours(1);
    let silent = Submit { reason: None, ..submit("6+20") };
    let refused = world.score(&staff("quayside"), 1, Move::Submit(silent.clone())).unwrap_err();
    assert_eq!(only_code(&refused), "upward_needs_reason");
    world.score(&staff("quayside"), 1, Move::Submit(Submit { reason: None, ..submit("6+10") })).unwrap();
    assert!(!world.attempt(1).unwrap().upward);
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+20"))).unwrap();
    assert!(world.attempt(1).unwrap().upward);
}

#[test]
fn moving_to_a_division_with_other_loads_voids_the_attestation() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    let change = EntryChange { state: Some(EntryState::Withdrawn), reason: "injured".into(), ..EntryChange::default() };
    world.move_entry(1, change).unwrap();
    assert!(world.attempt(1).unwrap().placed_key().is_some(), "withdrawn entries keep their scores");
    let refused = world.score(&staff("quayside"), 1, Move::Submit(submit("6+20"))).unwrap_err();
    assert_eq!(only_code(&refused), "entry_not_active");
}

#[test]
fn taking_no_part_is_stated_where_there_is_no_score_and_ends_with_one() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::NotTakingPart).unwrap();
    assert!(world.ledger.not_taking_part.contains_key(&("w1".into(), 1)));
    world.score(&staff("quayside"), 1, Move::Submit(submit("5+0"))).unwrap();
    assert!(world.ledger.not_taking_part.is_empty());
    assert_eq!(only_code(&world.score(&staff("quayside"), 1, Move::NotTakingPart).unwrap_err()), "has_a_score");
}

#[test]
fn before_it_is_announced_a_workout_is_not_there() {
    let mut world = World::new();
    world.now = opens() - SignedDuration::from_secs(1);
    let refused = world.score(&staff("quayside"), 1, Move::Submit(submit("5+0"))).unwrap_err();
    assert_eq!(only_code(&refused), "no_such_workout");
}

#[test]
fn all_faults_of_a_score_are_said_at_once() {
    let mut world = World::new();
    let wrong = Submit {
        attempt: Some(3),
        level: Some("heroic".into()),
        gym: Some("nowhere".into()),
        performed_at: Some(closes()),
        video: Some("javascript:alert(1)".into()),
        no_reps: Some(10_001),
        attestation: Some(by_judge("J-9")),
        ..submit("5+30")
    };
    let refused = codes(&world.score(&staff("quayside"), 1, Move::Submit(wrong)).unwrap_err());
    let named = [
        "attempt_out_of_turn",
        "no_such_level",
        "no_such_gym",
        "video_not_a_link",
        "too_many_no_reps",
        "no_such_judge",
    ];
    for code in named {
        assert!(refused.contains(code), "{code} is missing from {refused:?}");
    }
    let wrong = Submit { attestation: Some(by_judge("J-9")), ..submit("5+30") };
    let refused = codes(&world.score(&staff("quayside"), 1, Move::Submit(wrong)).unwrap_err());
    assert!(refused.len() == 2 && refused.contains("no_such_judge"), "{refused:?}");
}

#[test]
fn other_details_need_the_state_they_change() {
    let mut world = World::new();
    let desk = staff("quayside");
    let put = |no_reps| Change::Score {
        workout: "w1".into(),
        bib: 1,
        what: Move::Submit(Submit { no_reps: Some(no_reps), ..submit("6+14") }),
    };
    world.ask(&desk, put(3)).unwrap();
    let first = world.attempt(1).unwrap().tag();
    assert_eq!(only_code(&world.ask(&desk, put(4)).unwrap_err()), "428");
    world.ask_with(&desk, Precondition::Match(vec![first]), put(4)).unwrap();
    assert_eq!(only_code(&world.ask_with(&desk, Precondition::Match(vec![first]), put(5)).unwrap_err()), "412");
    assert_eq!(world.attempt(1).unwrap().details.no_reps, Some(4));
}

#[test]
fn rows_of_a_file_never_replace_figures_without_revise() {
    let mut world = World::new();
    let row = |text: &str| Submit { row: true, ..submit(text) };
    let put = |s: Submit| Change::Score { workout: "w1".into(), bib: 1, what: Move::Submit(s) };
    let desk = staff("quayside");
    world.ask(&desk, put(row("6+14"))).unwrap();
    assert_eq!(world.ask(&desk, put(row("6+14"))).unwrap().outcome, Outcome::Unchanged);
    assert_eq!(only_code(&world.ask(&desk, put(row("6+15"))).unwrap_err()), "differs_from_stored");
    world.ask(&desk, put(Submit { revise: true, ..row("6+15") })).unwrap();
    assert_eq!(total(&world, 1), "6+15");
    let named = Submit { expect_name: Some("Rita Sousa".into()), ..row("6+15") };
    assert_eq!(only_code(&world.ask(&desk, put(named)).unwrap_err()), "bib_and_name_differ");
}

/// The independent model: one attempt, written from the rules' own words.
#[derive(Clone, Debug, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own")]
struct Model {
    state: State,
    total: u64,
    judged: bool,
    locked: bool,
    refused: bool,
    waiting: Option<(u64, bool)>,
    waiting_judge: bool,
    before_flag: Option<State>,
    /// Kind, state, total and judge before it, when, final.
    ruling: Option<(bool, State, u64, bool, Timestamp, bool)>,
    appeal: Option<bool>,
    officials: Vec<i64>,
}

#[derive(Clone, Debug)]
enum Step {
    Wait(i64),
    Staff(u64),
    Own(u64),
    Attest,
    Withdraw { own: bool },
    Flag { by: i64, withhold: bool },
    Rule { by: i64, what: What },
    Appeal,
    Decide { by: i64, what: What },
    Admit(bool),
}

#[derive(Clone, Copy, Debug)]
enum What {
    Stands,
    Deduct(u64),
    Replace(u64),
    Strike,
    Restore,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let what = prop_oneof![
        Just(What::Stands),
        (1..200u64).prop_map(What::Deduct),
        (0..200u64).prop_map(What::Replace),
        Just(What::Strike),
        Just(What::Restore),
    ];
    let by = prop_oneof![Just(20i64), Just(21)];
    let step = prop_oneof![
        2 => prop_oneof![Just(1i64), Just(60), Just(60 * 24), Just(60 * 24 * 5), Just(60 * 49)].prop_map(Step::Wait),
        3 => (0..200u64).prop_map(Step::Staff),
        1 => (0..200u64).prop_map(Step::Own),
        4 => Just(Step::Attest),
        1 => any::<bool>().prop_map(|own| Step::Withdraw { own }),
        2 => (by.clone(), any::<bool>()).prop_map(|(by, withhold)| Step::Flag { by, withhold }),
        2 => (by.clone(), what.clone()).prop_map(|(by, what)| Step::Rule { by, what }),
        2 => Just(Step::Appeal),
        2 => (by, what).prop_map(|(by, what)| Step::Decide { by, what }),
        1 => any::<bool>().prop_map(Step::Admit),
    ];
    proptest::collection::vec(step, 1..40)
}

/// What the model says: `None` refused.
#[expect(clippy::too_many_lines, reason = "one flat table of moves, to be read beside the rules")]
fn expected(model: Option<&Model>, step: &Step, now: Timestamp) -> Option<Model> {
    use State::*;
    let grace = closes() + SignedDuration::from_mins(10);
    let attest_by = closes() + SignedDuration::from_hours(24);
    if let Step::Staff(total) | Step::Own(total) = *step {
        let own = matches!(step, Step::Own(_));
        let Some(m) = model else {
            return Some(Model {
                state: if now >= grace { Late } else { Entered },
                total,
                judged: false,
                locked: false,
                refused: false,
                waiting: None,
                waiting_judge: false,
                before_flag: None,
                ruling: None,
                appeal: None,
                officials: vec![],
            });
        };
        if (m.total == total && m.state != Withdrawn) || m.waiting.is_some_and(|(w, _)| w == total) {
            return Some(m.clone());
        }
        if m.locked || matches!(m.state, Flagged | Withheld | Amended | Struck) || m.appeal == Some(false) {
            return None;
        }
        let late = now >= if own || m.state == Late { grace } else { attest_by };
        if late && m.state != Late {
            return Some(Model { waiting: Some((total, false)), ..m.clone() });
        }
        let state = if late { Late } else { Entered };
        return Some(Model {
            state,
            total,
            judged: false,
            waiting: None,
            waiting_judge: false,
            refused: false,
            ..m.clone()
        });
    }
    let m = model?;
    let mut next = m.clone();
    match *step {
        Step::Attest => {
            if m.judged || m.waiting_judge {
                // The same judge again says nothing new.
                return Some(m.clone());
            }
            match m.state {
                Entered if now >= attest_by => next.waiting_judge = true,
                Entered => {
                    next.judged = true;
                    next.waiting_judge = false;
                    next.state = Attested;
                }
                Late => next.judged = true,
                _ => return None,
            }
        }
        Step::Withdraw { own } => {
            if m.state == Withdrawn {
                return Some(m.clone());
            }
            let open = now < if own { grace } else { attest_by };
            if m.appeal == Some(false) {
                return None;
            }
            if m.locked || !matches!(m.state, Entered | Attested | Late) || !(open || m.state == Late) {
                return None;
            }
            next.state = Withdrawn;
            next.judged = false;
            next.waiting = None;
            next.waiting_judge = false;
        }
        Step::Flag { by, withhold } => {
            let may = matches!(m.state, Attested | Amended) || (m.state == Flagged && withhold);
            if !may || m.ruling.is_some_and(|r| r.5) || m.appeal == Some(false) {
                return None;
            }
            next.before_flag = m.before_flag.or(Some(m.state));
            next.state = if withhold { Withheld } else { Flagged };
            next.locked = true;
            next.officials.push(by);
        }
        Step::Rule { by, what } => {
            if !matches!(m.state, Attested | Amended | Flagged | Withheld) || m.ruling.is_some_and(|r| r.5) {
                return None;
            }
            if m.appeal == Some(false) {
                return None;
            }
            let before = m.before_flag.unwrap_or(m.state);
            match what {
                What::Restore => return None,
                What::Stands => next.state = before,
                What::Strike => next.state = Struck,
                What::Deduct(n) => {
                    next.total = m.total.checked_sub(n)?;
                    next.state = Amended;
                    next.judged = false;
                }
                What::Replace(n) => {
                    next.total = n;
                    next.state = Amended;
                    next.judged = false;
                }
            }
            next.locked = !matches!(what, What::Stands) || matches!(before, Amended | Struck);
            next.ruling = Some((matches!(what, What::Stands), before, m.total, m.judged, now, false));
            next.before_flag = None;
            next.appeal = None;
            if m.before_flag.is_none() {
                next.officials.push(by);
            }
            next.officials.push(by);
        }
        Step::Appeal => {
            let ruling = m.ruling?;
            if matches!(m.state, Withdrawn | Late) {
                return None;
            }
            if ruling.5 || m.appeal.is_some() || now >= ruling.4 + SignedDuration::from_hours(48) {
                return None;
            }
            next.appeal = Some(false);
        }
        Step::Decide { by, what } => {
            if m.appeal != Some(false) || m.officials.contains(&by) {
                return None;
            }
            if matches!(m.state, Withdrawn | Late) {
                return None;
            }
            let (stood, before, total, judged, ..) = m.ruling?;
            match what {
                What::Stands => next.state = m.before_flag.unwrap_or(m.state),
                What::Restore => {
                    next.state = before;
                    next.total = total;
                    next.judged = judged;
                }
                What::Strike => next.state = Struck,
                What::Deduct(n) => {
                    next.total = m.total.checked_sub(n)?;
                    next.state = Amended;
                    next.judged = false;
                }
                What::Replace(n) => {
                    next.total = n;
                    next.state = Amended;
                    next.judged = false;
                }
            }
            if !(stood && matches!(what, What::Stands)) {
                next.locked = true;
            }
            next.ruling = Some((false, before, total, judged, now, true));
            next.before_flag = None;
            next.appeal = Some(true);
            next.officials.push(by);
        }
        Step::Admit(yes) => {
            if m.state == Late {
                next.refused = !yes;
                if yes {
                    next.state = if m.judged { Attested } else { Entered };
                }
            } else if let Some((total, _)) = m.waiting.filter(|(_, refused)| !refused || !m.waiting_judge) {
                if yes && m.locked {
                    return None;
                }
                if yes {
                    next.total = total;
                    next.state = Entered;
                    next.judged = false;
                    next.waiting = None;
                    next.waiting_judge = false;
                } else {
                    next.waiting = Some((total, true));
                }
            } else if m.waiting_judge {
                if yes && m.locked {
                    return None;
                }
                next.waiting_judge = false;
                if yes && m.state == Entered {
                    next.judged = true;
                    next.state = Attested;
                }
            } else {
                return None;
            }
        }
        Step::Wait(_) | Step::Staff(_) | Step::Own(_) => unreachable!("handled above"),
    }
    Some(next)
}

fn decision(what: What) -> Decision {
    match what {
        What::Stands => Decision::Stands,
        What::Deduct(n) => deduct(n),
        What::Replace(n) => Decision::Replace { performance: RawPerformance::Text(format!("{n} reps")), level: None },
        What::Strike => Decision::Strike,
        What::Restore => Decision::Restore,
    }
}

fn asked(step: &Step) -> (Actor, Move) {
    match *step {
        Step::Staff(n) => (staff("quayside"), Move::Submit(submit(&format!("{n} reps")))),
        Step::Own(n) => (athlete(1), Move::Submit(submit(&format!("{n} reps")))),
        Step::Attest => (staff("quayside"), Move::Attest(by_judge("J-1"))),
        Step::Withdraw { own } => (if own { athlete(1) } else { staff("quayside") }, Move::Withdraw),
        Step::Flag { by, withhold } => {
            (referee(by), Move::Flag { reason: FlagReason::Count, note: "hm".into(), withhold })
        }
        Step::Rule { by, what } => (referee(by), rule(decision(what))),
        Step::Appeal => (athlete(1), Move::Appeal { reason: "please".into() }),
        Step::Decide { by, what } => {
            (referee(by), Move::Rule { decision: decision(what), reason: "looked again".into(), on_appeal: true })
        }
        Step::Admit(admit) => (organiser(), Move::Admit { admit, reason: "so be it".into() }),
        Step::Wait(_) => unreachable!("no request"),
    }
}

/// Takes the steps in the world and in the model.
fn agree(steps: &[Step]) -> Result<(), TestCaseError> {
    let mut world = World::new();
    let mut model: Option<Model> = None;
    for step in steps {
        if let Step::Wait(minutes) = step {
            world.now += SignedDuration::from_mins(*minutes);
            continue;
        }
        let want = expected(model.as_ref(), step, world.now);
        let (actor, what) = asked(step);
        let got = world.score(&actor, 1, what);
        prop_assert_eq!(got.is_ok(), want.is_some(), "{:?} on {:?}: {:?}", step, model, got);
        if want.is_some() {
            model = want;
        }
        if let (Some(m), Some(a)) = (&model, world.attempt(1)) {
            prop_assert_eq!((a.state, a.locked, a.refused), (m.state, m.locked, m.refused), "after {:?}", step);
            prop_assert_eq!(&a.stored.text, &format!("{}+{}", m.total / 30, m.total % 30));
            prop_assert_eq!(a.attestation.is_some(), m.judged, "after {:?}", step);
            prop_assert_eq!(a.waiting.is_some(), m.waiting.is_some());
            prop_assert_eq!(
                a.placed_key().is_some(),
                matches!(m.state, State::Attested | State::Flagged | State::Amended)
            );
        }
    }
    // The log alone gives the same ledger.
    let folded = world.from_log();
    prop_assert_eq!(folded.head, world.ledger.head);
    prop_assert_eq!(folded.attempts, world.ledger.attempts);
    prop_assert_eq!(folded.entries, world.ledger.entries);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    #[test]
    fn random_moves_agree_with_the_model(steps in steps()) {
        agree(&steps)?;
    }
}

/// Corrected after a ruling and vouched for too late, then ruled on again: the same word once more is no other.
#[test]
fn a_word_that_waits_is_the_same_word_again_whatever_was_ruled_since() {
    let (day, hour) = (60 * 24, 60);
    let steps = [
        Step::Staff(0),
        Step::Wait(day),
        Step::Attest,
        Step::Rule { by: 21, what: What::Stands },
        Step::Wait(hour),
        Step::Staff(1),
        Step::Wait(hour),
        Step::Appeal,
        Step::Wait(5 * day),
        Step::Attest,
        Step::Decide { by: 20, what: What::Replace(0) },
        Step::Attest,
    ];
    agree(&steps).expect("as the model says");
}
