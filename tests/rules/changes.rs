//! What happens around a score and must not lose it: a changed file, a moved entry, a doubt that is
//! open meanwhile, an appeal, corrections that wait (rules.md sections 6 to 8, competition-file).

use crate::support::{FILE, World, athlete, attested, by_judge, closes, codes, organiser, referee, staff, submit};
use jiff::SignedDuration;
use proptest::prelude::*;
use tallywright::rules::competition::from_toml;
use tallywright::rules::event::{Event, Extension, Record};
use tallywright::rules::ledger::{Change, Decided, Outcome, Precondition, Refusal};
use tallywright::rules::life::{Attest, Decision, FlagReason, Move, State, Submit};
use tallywright::rules::order::key;
use tallywright::rules::people::EntryState;
use tallywright::rules::performance::{Around, RawPerformance, check};
use tallywright::rules::roster::{EntryChange, RawEntry, RawGym};
use tallywright::rules::window::for_entry;

fn flag(withhold: bool) -> Move {
    Move::Flag { reason: FlagReason::Count, note: String::new(), withhold }
}

fn rule(decision: Decision, on_appeal: bool) -> Move {
    Move::Rule { decision, reason: "counted again".into(), on_appeal }
}

fn replace(text: &str) -> Decision {
    Decision::Replace { performance: RawPerformance::Text(text.into()), level: None }
}

fn admit(yes: bool) -> Move {
    Move::Admit { admit: yes, reason: "so be it".into() }
}

fn apply(world: &mut World, from: &str, to: &str) -> Result<Decided, Refusal> {
    assert!(FILE.contains(from), "{from}");
    let raw = Box::new(from_toml(&FILE.replace(from, to)).unwrap());
    world.ask(&organiser(), Change::Apply { raw, dry_run: false, rescore: true, reason: "put right".into() })
}

fn to_men(world: &mut World) {
    // Bib 1 was entered in the wrong division.
    for person in world.ledger.persons.values_mut() {
        person.category = "men".into();
    }
    let change =
        EntryChange { division: Some("men".into()), reason: "wrong division".into(), ..EntryChange::default() };
    world.move_entry(1, change).unwrap();
}

/// What was given by mistake is taken back with the file's own times, and not with times before them.
#[test]
fn more_time_is_taken_back_with_the_files_own_times_however_the_region_is_written() {
    let mut world = World::new();
    let window = world.ledger.definition.as_ref().unwrap().1.workout("w1").unwrap().window;
    let hour = SignedDuration::from_hours(1);
    let mut extend = |region: &str, closes, attest_by| {
        let extension = Extension {
            workout: "w1".into(),
            gym: None,
            region: Some(region.into()),
            closes,
            attest_by,
            taken_back: false,
        };
        world.ask(&organiser(), Change::Extend { extension, reason: "a storm".into() })
    };
    let (closes, attest_by) = (window.closes, window.attest_by);
    let refused = extend("North", closes, attest_by).unwrap_err();
    assert_eq!(code(&refused), "extension_not_later");
    let refused = extend("North", closes + hour, attest_by - hour).unwrap_err();
    assert_eq!(code(&refused), "extension_attest_by_early");
    extend("North", closes + hour, attest_by).unwrap();
    // The time of its judges is not taken along.
    let refused = extend("North", closes, closes).unwrap_err();
    assert_eq!(code(&refused), "extension_attest_by_early");
    extend("north", closes, attest_by).unwrap();
    assert!(world.ledger.extensions.last().unwrap().taken_back);
    assert_eq!(world.from_log().extensions, world.ledger.extensions, "the log says it too");
    let w1 = world.ledger.definition.as_ref().unwrap().1.workout("w1").unwrap();
    assert_eq!(for_entry(w1, &world.ledger.extensions, None, "North"), window);
}

fn code(refusal: &Refusal) -> String {
    codes(refusal).into_iter().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_gym_or_state_that_changes_leaves_scores_alone_even_after_a_load_was_put_right() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    apply(&mut world, "kg = 16, lb = 35", "kg = 18, lb = 40").unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Attested, "only text changed");
    let change = EntryChange { state: Some(EntryState::Withdrawn), reason: "injured".into(), ..EntryChange::default() };
    let moved = world.move_entry(1, change).unwrap();
    assert_eq!(moved.outcome, Outcome::Moved { reworked: Vec::new() });
    assert_eq!(world.attempt(1).unwrap().state, State::Attested, "withdrawn keeps the scores and their places");
}

/// What was shown of an entry is compared by whoever decides, not by the page that showed it.
#[test]
fn an_entry_is_changed_as_it_was_seen_or_not_at_all() {
    let mut world = World::new();
    let seen = world.ledger.entries[&1].tag();
    let withdraw = |world: &mut World, precondition| {
        let change =
            EntryChange { state: Some(EntryState::Withdrawn), reason: "injured".into(), ..EntryChange::default() };
        world.ask_with(&organiser(), precondition, Change::MoveEntry { bib: 1, change, dry_run: false })
    };
    let change = EntryChange { state: Some(EntryState::Guest), reason: "a visitor".into(), ..EntryChange::default() };
    world.move_entry(1, change).unwrap();
    let refused = withdraw(&mut world, Precondition::Match(vec![seen]));
    assert!(matches!(refused, Err(Refusal::PreconditionFailed(_))), "{refused:?}");
    let now = world.ledger.entries[&1].tag();
    assert_ne!(now, seen);
    withdraw(&mut world, Precondition::Match(vec![now])).unwrap();
    assert_eq!(world.ledger.entries[&1].state, EntryState::Withdrawn);
}

#[test]
fn a_doubt_survives_a_move_off_the_places_and_stands_gives_back_no_place() {
    for withhold in [false, true] {
        let mut world = World::new();
        world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
        world.score(&referee(20), 1, flag(withhold)).unwrap();
        to_men(&mut world);
        let attempt = world.attempt(1).unwrap();
        assert_eq!((attempt.state, attempt.flag.is_some(), attempt.placed_key()), (State::Withheld, true, None));
        world.score(&referee(20), 1, rule(Decision::Stands, false)).unwrap();
        let attempt = world.attempt(1).unwrap();
        assert_eq!((attempt.state, attempt.attestation.is_none(), attempt.locked), (State::Entered, true, false));
        let refused = world.score(&staff("quayside"), 1, Move::Attest(by_judge("J-1"))).unwrap_err();
        assert_eq!(code(&refused), "stale_prescription");
        world.score(&staff("quayside"), 1, Move::Submit(attested("5+2"))).unwrap();
        assert_eq!(world.attempt(1).unwrap().state, State::Attested);
        assert_eq!(world.from_log().attempts, world.ledger.attempts);
    }
}

#[test]
fn a_changed_count_takes_a_flagged_score_off_the_places_with_its_attestation() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("150"))).unwrap();
    world.score(&referee(20), 1, flag(false)).unwrap();
    apply(&mut world, "\"kettlebell swing\", reps = 20", "\"kettlebell swing\", reps = 22").unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.state, attempt.attestation.is_none()), (State::Withheld, true));
    world.score(&referee(20), 1, rule(Decision::Stands, false)).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Entered, "nobody has attested it as it is now");
    world.score(&staff("quayside"), 1, Move::Attest(by_judge("J-1"))).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Attested);
}

#[test]
fn after_a_move_a_ruled_score_is_still_a_referees_and_has_a_way_out() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, rule(replace("6+4"), false)).unwrap();
    to_men(&mut world);
    assert_eq!(world.attempt(1).unwrap().state, State::Entered);
    let refused = world.score(&staff("quayside"), 1, Move::Submit(submit("5+2"))).unwrap_err();
    assert_eq!(code(&refused), "ruled_on");
    let deduct = Decision::Deduct { reps: Some(1), seconds: None, tiebreak: None, no_tiebreak: false };
    for odd in [Decision::Stands, deduct] {
        assert_eq!(code(&world.score(&referee(20), 1, rule(odd, false)).unwrap_err()), "wrong_state");
    }
    world.score(&referee(20), 1, rule(replace("5+2"), false)).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.state, attempt.stale, attempt.stored.text.as_str()), (State::Amended, false, "5+2"));
}

#[test]
fn an_appeal_never_gives_back_an_attestation_that_became_void() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("150"))).unwrap();
    world.score(&referee(20), 1, rule(Decision::Strike, false)).unwrap();
    apply(&mut world, "\"kettlebell swing\", reps = 20", "\"kettlebell swing\", reps = 22").unwrap();
    world.score(&athlete(1), 1, Move::Appeal { reason: "I did them".into() }).unwrap();
    world.score(&referee(21), 1, rule(Decision::Restore, true)).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.state, attempt.attestation.is_none()), (State::Entered, true));
    assert_eq!(attempt.stored.text, "4+22", "150 reps of rounds of 32");
}

#[test]
fn a_restored_score_comes_back_after_a_load_was_put_right() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, rule(Decision::Strike, false)).unwrap();
    apply(&mut world, "kg = 16, lb = 35", "kg = 18, lb = 40").unwrap();
    world.score(&athlete(1), 1, Move::Appeal { reason: "I did them".into() }).unwrap();
    world.score(&referee(21), 1, rule(Decision::Restore, true)).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Attested);
}

#[test]
fn deciding_an_appeal_while_a_flag_is_open_answers_both() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, rule(replace("6+4"), false)).unwrap();
    world.score(&referee(20), 1, flag(false)).unwrap();
    world.score(&athlete(1), 1, Move::Appeal { reason: "I did them".into() }).unwrap();
    world.score(&referee(21), 1, rule(Decision::Stands, true)).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.state, attempt.flag.is_none()), (State::Amended, true), "not checked for ever");
}

#[test]
fn an_open_appeal_is_decided_and_not_ruled_away() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, rule(replace("6+4"), false)).unwrap();
    world.score(&athlete(1), 1, Move::Appeal { reason: "I did them".into() }).unwrap();
    for again in [rule(replace("6+3"), false), flag(false)] {
        assert_eq!(code(&world.score(&referee(20), 1, again).unwrap_err()), "appeal_open");
    }
    assert!(world.attempt(1).unwrap().appeal.as_ref().is_some_and(|a| !a.decided));
}

#[test]
fn figures_rest_while_an_appeal_is_open() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.score(&referee(20), 1, flag(false)).unwrap();
    world.score(&referee(20), 1, rule(Decision::Stands, false)).unwrap();
    world.score(&athlete(1), 1, Move::Appeal { reason: "strike it".into() }).unwrap();
    let refused = world.score(&staff("quayside"), 1, Move::Submit(submit("6+13"))).unwrap_err();
    assert_eq!(code(&refused), "appeal_open");
    assert_eq!(code(&world.score(&staff("quayside"), 1, Move::Withdraw).unwrap_err()), "appeal_open");
    world.score(&referee(21), 1, rule(Decision::Stands, true)).unwrap();
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+13"))).unwrap();
}

#[test]
fn a_correction_that_waits_is_worked_out_again_with_the_rest() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("150"))).unwrap();
    world.now = closes() + SignedDuration::from_hours(25);
    world.score(&staff("quayside"), 1, Move::Submit(submit("160"))).unwrap();
    apply(&mut world, "\"kettlebell swing\", reps = 20", "\"kettlebell swing\", reps = 22").unwrap();
    world.score(&organiser(), 1, admit(true)).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.stored.text.as_str(), attempt.state), ("5+0", State::Entered));
    assert!(attempt.upward, "upward after closes goes to the referees, late or not");
    let prescription = world.ledger.definition.as_ref().unwrap().1.prescription("w1", "women", 0).unwrap();
    assert_eq!(attempt.stored.prescription, hex::encode(prescription.digest));
    assert_eq!(world.from_log().attempts, world.ledger.attempts);
}

#[test]
fn a_correction_that_waits_keeps_its_level_when_levels_are_put_between() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.now = closes() + SignedDuration::from_hours(25);
    let lower = Submit { level: Some("scaled".into()), ..submit("7+0") };
    world.score(&staff("quayside"), 1, Move::Submit(lower)).unwrap();
    let middle = "\n[[workout.prescription]]\ndivisions = [\"women\"]\nlevel = \"middle\"\nloads = [{ item = \"kettlebell\", kg = 14, lb = 30 }]\n";
    let text = FILE.replace("[\"prescribed\", \"scaled\"]", "[\"prescribed\", \"middle\", \"scaled\"]") + middle;
    let raw = Box::new(from_toml(&text).unwrap());
    world.ask(&organiser(), Change::Apply { raw, dry_run: false, rescore: true, reason: "put right".into() }).unwrap();
    world.score(&organiser(), 1, admit(true)).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.stored.level, attempt.stored.key.level()), (2, 2));
}

#[test]
fn a_file_applied_before_reasons_were_asked_reads_back_to_the_same_bytes() {
    let mut world = World::new();
    let old = world.log[0].to_bytes();
    let text = String::from_utf8(old.clone()).unwrap();
    assert!(text.contains("\"action\":\"applied\"") && !text.contains("\"reason\""), "{text}");
    assert_eq!(serde_json::from_slice::<Record>(&old).unwrap().to_bytes(), old);
    apply(&mut world, "kg = 16, lb = 35", "kg = 18, lb = 40").unwrap();
    let record = world.log.last().unwrap();
    let Event::Applied { reason: Some(reason), .. } = &record.event else { panic!("{record:?}") };
    assert!(!String::from_utf8(record.to_bytes()).unwrap().contains("put right"), "the text stands apart");
    assert_eq!((reason.commitment.len(), record.event.notes()), (64, (None, vec![reason])));
    assert_eq!(world.from_log().definition_seq, world.ledger.definition_seq);
}

#[test]
fn a_load_put_right_does_not_shut_out_a_correction_that_waits() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("6+14"))).unwrap();
    world.now = closes() + SignedDuration::from_hours(25);
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+13"))).unwrap();
    apply(&mut world, "kg = 16, lb = 35", "kg = 18, lb = 40").unwrap();
    world.score(&organiser(), 1, admit(true)).unwrap();
    assert_eq!(world.attempt(1).unwrap().stored.text, "6+13");
    // Into another division it does not go along.
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+12"))).unwrap();
    to_men(&mut world);
    assert_eq!(code(&world.score(&organiser(), 1, admit(true)).unwrap_err()), "stale_prescription");
}

#[test]
fn scores_that_stand_nowhere_do_not_hold_up_a_changed_file() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+25"))).unwrap();
    world.score(&staff("quayside"), 1, Move::Withdraw).unwrap();
    world.score(&staff("quayside"), 2, Move::Submit(attested("6+25"))).unwrap();
    world.score(&referee(20), 2, rule(Decision::Strike, false)).unwrap();
    let shorter = ("\"kettlebell swing\", reps = 20", "\"kettlebell swing\", reps = 10");
    apply(&mut world, shorter.0, shorter.1).unwrap();
    assert_eq!(world.attempt(1).unwrap().state, State::Withdrawn);
    assert_eq!(world.attempt(2).unwrap().state, State::Struck);
    world.score(&athlete(2), 2, Move::Appeal { reason: "I did them".into() }).unwrap();
    let refused = world.score(&referee(21), 2, rule(Decision::Restore, true)).unwrap_err();
    assert_eq!(code(&refused), "restore_of_changed_workout");
    assert_eq!(world.from_log().attempts, world.ledger.attempts);
}

#[test]
fn a_refused_correction_does_not_stand_before_an_attestation_that_waits() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+14"))).unwrap();
    world.now = closes() + SignedDuration::from_hours(25);
    world.score(&staff("quayside"), 1, Move::Submit(submit("6+20"))).unwrap();
    world.score(&organiser(), 1, admit(false)).unwrap();
    world.score(&staff("quayside"), 1, Move::Attest(by_judge("J-1"))).unwrap();
    world.score(&organiser(), 1, admit(true)).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!((attempt.state, attempt.stored.text.as_str()), (State::Attested, "6+14"));
    // The refused correction may still be let in later.
    world.score(&organiser(), 1, admit(true)).unwrap();
    assert_eq!(world.attempt(1).unwrap().stored.text, "6+20");
}

#[test]
fn a_correction_that_says_no_gym_keeps_where_it_was_done() {
    let mut world = World::new();
    let visit = Submit { gym: Some("hilltop".into()), ..attested("5+0") };
    world.score(&staff("hilltop"), 1, Move::Submit(visit)).unwrap();
    let again = world.score(&staff("hilltop"), 1, Move::Submit(submit("5+0"))).unwrap();
    assert_eq!(again.outcome, Outcome::Unchanged);
    world.score(&staff("hilltop"), 1, Move::Submit(submit("5+1"))).unwrap();
    assert_eq!(world.attempt(1).unwrap().stored.gym.as_deref(), Some("hilltop"));
}

#[test]
fn a_sheet_number_sent_with_the_same_attestation_is_kept() {
    let mut world = World::new();
    world.score(&staff("quayside"), 1, Move::Submit(attested("5+0"))).unwrap();
    let digest = world.attempt(1).unwrap().attestation.clone().unwrap().digest;
    let with_sheet = || Move::Attest(Attest { sheet: Some("S-17".into()), ..by_judge("J-1") });
    world.score(&staff("quayside"), 1, with_sheet()).unwrap();
    let attempt = world.attempt(1).unwrap();
    assert_eq!(attempt.details.sheet.as_deref(), Some("S-17"));
    assert_eq!((attempt.state, &attempt.attestation.as_ref().unwrap().digest), (State::Attested, &digest));
    assert_eq!(world.score(&staff("quayside"), 1, with_sheet()).unwrap().outcome, Outcome::Unchanged);
}

#[test]
fn a_sheet_used_twice_is_warned_about_however_it_comes() {
    let used = |world: &mut World| {
        world.ledger.around.sheets.insert(("w1".into(), "S-17".into()), [("quayside".to_owned(), 2)].into());
    };
    let sheet = || Attest { sheet: Some("S-17".into()), ..by_judge("J-1") };
    let warned = |decided: Decided| decided.warnings.iter().any(|w| w.sentence.code == "sheet_twice");
    let mut world = World::new();
    used(&mut world);
    world.score(&staff("quayside"), 1, Move::Submit(submit("5+0"))).unwrap();
    assert!(warned(world.score(&staff("quayside"), 1, Move::Attest(sheet())).unwrap()));
    let mut world = World::new();
    used(&mut world);
    world.score(&staff("quayside"), 1, Move::Submit(submit("5+0"))).unwrap();
    let same_figures = Submit { attestation: Some(sheet()), ..submit("5+0") };
    assert!(warned(world.score(&staff("quayside"), 1, Move::Submit(same_figures)).unwrap()));
}

#[test]
fn an_entry_without_a_bib_is_found_again_however_its_birth_is_written() {
    let entry = |born: &str| RawEntry { name: "Noor Haddad".into(), born: born.into(), ..RawEntry::default() };
    let asked = |born: &str| tallywright::rules::ledger::Asked {
        actor: organiser(),
        competition: "tidewater".into(),
        received: closes(),
        precondition: tallywright::rules::ledger::Precondition::None,
        salt: [0; 32],
        change: Change::SetEntry(entry(born)),
    };
    assert_eq!(asked("25/03/1991").touches().names, asked("1991-03-25").touches().names);
    assert_eq!(asked("25 March 1991").touches().names, asked("1991-03-25").touches().names);
}

#[test]
fn a_late_correction_sent_twice_changes_nothing_and_leaves_the_score_alone() {
    let mut world = World::new();
    let desk = staff("quayside");
    world.score(&desk, 1, Move::Submit(attested("6+14"))).unwrap();
    world.now = closes() + SignedDuration::from_hours(25);
    let correction = |no_reps| Move::Submit(Submit { no_reps: Some(no_reps), ..submit("6+13") });
    world.score(&desk, 1, correction(2)).unwrap();
    let before = world.attempt(1).unwrap().clone();
    assert_eq!(world.score(&desk, 1, correction(2)).unwrap().outcome, Outcome::Unchanged);
    assert_eq!(world.attempt(1), Some(&before));
    world.score(&desk, 1, correction(3)).unwrap();
    let attempt = world.attempt(1).unwrap();
    let waiting = attempt.waiting.as_ref().unwrap();
    assert_eq!((attempt.details.no_reps, waiting.details.no_reps), (None, Some(3)));
    assert_eq!(attempt.state, State::Attested);
}

#[test]
fn a_contact_that_is_taken_away_is_erased() {
    let mut world = World::new();
    let gym = |contact: &str| RawGym {
        slug: "quayside".into(),
        name: "Quayside".into(),
        country: "PT".into(),
        contact: Some(contact.into()),
        ..RawGym::default()
    };
    world.ok(&organiser(), Change::SetGym(gym("Keeper of Quayside")));
    let person = world.ledger.gyms["quayside"].contact.as_ref().unwrap().id;
    assert!(world.ledger.persons.contains_key(&person));
    world.ok(&organiser(), Change::SetGym(gym("")));
    assert!(!world.ledger.persons.contains_key(&person), "nobody needs it any more");
    world.ok(&organiser(), Change::SetGym(gym("Keeper of Quayside")));
    assert_ne!(world.ledger.gyms["quayside"].contact.as_ref().unwrap().id, person);
}

#[derive(Clone, Copy, Debug)]
enum Step {
    Wait(i64),
    Submit(u64),
    Attest,
    Withdraw,
    Flag(i64, bool),
    Rule(i64, u8),
    Decide(i64, u8),
    Appeal,
    Admit(bool),
    Move(bool),
    Apply(u8, u8),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let by = || prop_oneof![Just(20i64), Just(21)];
    let step = prop_oneof![
        1 => prop_oneof![Just(60i64), Just(60 * 24), Just(60 * 24 * 5)].prop_map(Step::Wait),
        4 => (0..200u64).prop_map(Step::Submit),
        4 => Just(Step::Attest),
        1 => Just(Step::Withdraw),
        2 => (by(), any::<bool>()).prop_map(|(by, withhold)| Step::Flag(by, withhold)),
        3 => (by(), 0..5u8).prop_map(|(by, what)| Step::Rule(by, what)),
        2 => (by(), 0..5u8).prop_map(|(by, what)| Step::Decide(by, what)),
        1 => Just(Step::Appeal),
        1 => any::<bool>().prop_map(Step::Admit),
        2 => any::<bool>().prop_map(Step::Move),
        3 => (0..3u8, 0..3u8).prop_map(|(reps, kg)| Step::Apply(reps, kg)),
    ];
    proptest::collection::vec(step, 1..50)
}

fn decision(what: u8) -> Decision {
    match what {
        0 => Decision::Stands,
        1 => Decision::Strike,
        2 => Decision::Restore,
        3 => replace("33 reps"),
        _ => Decision::Deduct { reps: Some(3), seconds: None, tiebreak: None, no_tiebreak: false },
    }
}

fn take(world: &mut World, step: Step) {
    // Refusals are fine here: what must hold is what a change leaves behind.
    let _ = match step {
        Step::Wait(minutes) => {
            world.now += SignedDuration::from_mins(minutes);
            return;
        }
        Step::Submit(n) => world.score(&staff("quayside"), 1, Move::Submit(submit(&format!("{n} reps")))),
        Step::Attest => world.score(&staff("quayside"), 1, Move::Attest(by_judge("J-1"))),
        Step::Withdraw => world.score(&staff("quayside"), 1, Move::Withdraw),
        Step::Flag(by, withhold) => world.score(&referee(by), 1, flag(withhold)),
        Step::Rule(by, what) => world.score(&referee(by), 1, rule(decision(what), false)),
        Step::Decide(by, what) => world.score(&referee(by), 1, rule(decision(what), true)),
        Step::Appeal => world.score(&athlete(1), 1, Move::Appeal { reason: "please".into() }),
        Step::Admit(yes) => world.score(&organiser(), 1, admit(yes)),
        Step::Move(men) => {
            let (category, division) = if men { ("men", "men") } else { ("women", "women") };
            for person in world.ledger.persons.values_mut() {
                person.category = category.into();
            }
            let division = Some(division.to_owned());
            world.move_entry(1, EntryChange { division, reason: "wrong".into(), ..EntryChange::default() })
        }
        Step::Apply(reps, kg) => {
            let text = FILE.replace("reps = 20", &format!("reps = {}", 20 + 2 * reps));
            let text = text.replace("kg = 16, lb = 35", &format!("kg = {}", 16 + kg));
            let raw = Box::new(from_toml(&text).unwrap());
            world.ask(&organiser(), Change::Apply { raw, dry_run: false, rescore: true, reason: "put right".into() })
        }
    };
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, ..ProptestConfig::default() })]

    #[test]
    fn whatever_happens_a_placed_score_is_vouched_for_as_it_is(steps in steps()) {
        let mut world = World::new();
        for step in &steps {
            take(&mut world, *step);
            let Some(attempt) = world.attempt(1) else { continue };
            let doubted = matches!(attempt.state, State::Flagged | State::Withheld);
            prop_assert_eq!(attempt.flag.is_some(), doubted, "after {:?}", step);
            if !attempt.state.placed() {
                continue;
            }
            let standing = attempt.flag.as_ref().map_or(attempt.state, |f| f.before);
            prop_assert!(standing == State::Amended || attempt.attestation.is_some(), "after {:?}: {:?}", step, attempt);
            prop_assert!(!attempt.stale, "after {:?}: {:?}", step, attempt);
            let competition = &world.ledger.definition.as_ref().unwrap().1;
            let division = &world.ledger.entries[&1].division;
            let prescription = competition.prescription("w1", division, attempt.stored.level).unwrap();
            let raw = RawPerformance::Text(attempt.stored.text.clone());
            let around = Around { confirm_all: true, ..Around::default() };
            let read = check(&prescription.task, &raw, &around).unwrap().value;
            prop_assert_eq!(key(&prescription.task, attempt.stored.level, &read), Ok(attempt.stored.key));
        }
        prop_assert_eq!(world.from_log().attempts, world.ledger.attempts);
    }
}
