//! Who may do what: pure predicates that hand out a [`Permit`].
//!
//! The store's writer and its private reads demand a permit; only the functions of this file
//! make one. A handler cannot forget to ask.

use super::ledger::Ties;
use super::people::Entry;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// What somebody is in a competition.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Answers for the result.
    Organiser,
    /// Flags and rules.
    Referee,
    /// Enters and attests for a gym.
    Staff,
    /// Attests.
    Judge,
    /// Enters own performances.
    Athlete,
}

/// One role, where it holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Grant {
    /// What.
    pub role: Role,
    /// Competition slug; `None`: all.
    pub competition: Option<String>,
    /// Gym slug, for staff.
    pub gym: Option<String>,
    /// Own bib, for athletes.
    pub bib: Option<u32>,
    /// Own code, for judges.
    pub judge: Option<String>,
}

/// Who is asking.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Actor {
    /// Account number; `None`: nobody signed in, or the command line.
    pub account: Option<i64>,
    /// Folded e-mail of the account; empty: none.
    pub email: String,
    /// What the account may be.
    pub grants: Vec<Grant>,
    /// The command line on the machine itself: everything an organiser may.
    pub operator: bool,
}

/// Who acted, as the log names them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ActorRef {
    /// Account number, or null for the command line.
    pub account: Option<i64>,
    /// In which role; null for the command line.
    pub role: Option<Role>,
}

impl Actor {
    /// The command line on the machine itself.
    #[must_use]
    pub fn operator() -> Self {
        Self { operator: true, ..Self::default() }
    }

    /// Nobody signed in.
    #[must_use]
    pub fn nobody() -> Self {
        Self::default()
    }
}

/// Something somebody wants to do, with the facts that decide it.
#[derive(Clone, Copy, Debug)]
#[expect(missing_docs, reason = "named by their own words; see `permit`")]
pub enum Act<'a> {
    /// See a private competition at all.
    SeeCompetition { competition: &'a str },
    /// See a workout before it is announced.
    SeeUnannounced { competition: &'a str },
    /// See scores that are not yet published, of this gym's entries (`None`: of all).
    SeeUnpublished { competition: &'a str, gym: Option<&'a str> },
    /// Read a gym's working list (`None`: all gyms').
    ReadDesk { competition: &'a str, gym: Option<&'a str> },
    /// Read log records.
    ReadLog { competition: &'a str },
    /// Read personal facts of entries of this gym (`None`: all).
    ReadPersons { competition: &'a str, gym: Option<&'a str> },
    /// Hand out codes with which a gym's athletes claim their entries.
    HandOutCodes { competition: &'a str, gym: &'a str },
    /// Propose people to the organiser for a gym, and see what became of them.
    Propose { competition: &'a str, gym: &'a str },
    /// Read where one counts oneself (`judge`: the code).
    ReadJudging { competition: &'a str, judge: &'a str },
    /// Make and change a gym's heats.
    PlanHeats { competition: &'a str, gym: &'a str },
    /// Make a competition or apply a file.
    Apply { competition: &'a str },
    /// Add gyms, entries, judges; change an entry; admit late scores; extend windows; roles.
    Organise { competition: &'a str },
    /// Make accounts and competitions.
    Administer,
    /// Show or hide the name of the entry with this bib. Under 18 that is the organiser's to decide, and its
    /// guardian's: not the athlete's (`of_age`).
    ShowName { competition: &'a str, bib: u32, of_age: bool },
    /// Enter or correct a performance (`at`: the gym it was performed in).
    Enter { competition: &'a str, entry: &'a Entry, at: Option<&'a str> },
    /// Send many scores of this workout; each row is permitted by itself.
    EnterMany { competition: &'a str },
    /// Attest one (`judge`: the code named).
    Attest { competition: &'a str, entry: &'a Entry, at: Option<&'a str>, judge: &'a str },
    /// Withdraw a score, or say that an entry takes no part.
    Withdraw { competition: &'a str, entry: &'a Entry, at: Option<&'a str> },
    /// Say that an entry takes no part in a workout, or take that back.
    NotTakingPart { competition: &'a str, entry: &'a Entry },
    /// Flag, withhold or rule. `ties`: what binds the asking account; `alone`: no referee without
    /// ties to this entry exists (then the organiser decides).
    Referee { competition: &'a str, entry: &'a Entry, ties: &'a Ties, alone: bool },
    /// Take personal facts away for good: of the entry with this bib, of this judge, or of the contact of
    /// the gym `contact_of`, who has the address of whoever asks. An address alone shows nothing: anybody
    /// who organises anything may have made the account. Being staff of that gym does.
    Erase { competition: &'a str, bib: Option<u32>, judge: Option<&'a str>, contact_of: Option<&'a str> },
    /// Read what gyms of this competition propose about the own address, and have it erased: with a role
    /// that only its organiser gives. An athlete's comes with a code, into whichever account.
    OwnProposals { competition: &'a str },
    /// Read which letters about this competition went to the own address: as with proposals, and where the own
    /// entry with this bib has that address.
    OwnLetters { competition: &'a str, bib: Option<u32> },
    /// Appeal a ruling.
    Appeal { competition: &'a str, entry: &'a Entry, at: Option<&'a str> },
}

/// Proof that somebody may do something. Only [`permit`] makes one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Permit {
    actor: ActorRef,
}

impl Permit {
    /// Who acts, in which role, for the log.
    #[must_use]
    pub fn actor(&self) -> &ActorRef {
        &self.actor
    }

    /// The role the permission rests on; `None`: the command line.
    #[must_use]
    pub fn role(&self) -> Option<Role> {
        self.actor.role
    }
}

/// Why not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Denied {
    /// Nobody is signed in.
    NotSignedIn,
    /// Somebody is, without the role for it.
    NotAllowed,
}

/// Hands out a [`Permit`], or says why not.
///
/// The role it rests on is the first that suffices, in the order in which the trade would name
/// it: athletes act for themselves before anybody acts for them.
pub fn permit(actor: &Actor, act: Act<'_>) -> Result<Permit, Denied> {
    if actor.operator {
        return Ok(Permit { actor: ActorRef { account: None, role: None } });
    }
    let Some(account) = actor.account else {
        return Err(Denied::NotSignedIn);
    };
    let role = role_for(actor, act).ok_or(Denied::NotAllowed)?;
    Ok(Permit { actor: ActorRef { account: Some(account), role: Some(role) } })
}

/// The role that suffices for `act`, if the account has one.
fn role_for(actor: &Actor, act: Act<'_>) -> Option<Role> {
    let has = |competition: &str, role: Role| actor.has(competition, role).then_some(role);
    match act {
        Act::SeeCompetition { competition } => actor.grants.iter().find(|g| g.holds_in(competition)).map(|g| g.role),
        Act::SeeUnannounced { competition } | Act::Organise { competition } | Act::Apply { competition } => {
            has(competition, Role::Organiser)
        }
        Act::Administer => {
            actor.grants.iter().any(|g| g.role == Role::Organiser && g.competition.is_none()).then_some(Role::Organiser)
        }
        Act::SeeUnpublished { competition, gym } | Act::ReadDesk { competition, gym } => {
            has(competition, Role::Organiser)
                .or_else(|| has(competition, Role::Referee))
                .or_else(|| gym.and_then(|g| actor.is_staff_of(competition, g).then_some(Role::Staff)))
        }
        Act::PlanHeats { competition, gym }
        | Act::HandOutCodes { competition, gym }
        | Act::Propose { competition, gym } => {
            has(competition, Role::Organiser).or_else(|| actor.is_staff_of(competition, gym).then_some(Role::Staff))
        }
        Act::ReadLog { competition } => has(competition, Role::Organiser).or_else(|| has(competition, Role::Referee)),
        Act::ReadPersons { competition, gym } => has(competition, Role::Organiser)
            .or_else(|| gym.and_then(|g| actor.is_staff_of(competition, g).then_some(Role::Staff))),
        Act::Enter { competition, entry, at }
        | Act::Withdraw { competition, entry, at }
        | Act::Appeal { competition, entry, at } => actor.own_or_gym(competition, entry, at),
        Act::OwnProposals { competition } => {
            actor.grants.iter().find(|g| g.role != Role::Athlete && g.holds_in(competition)).map(|g| g.role)
        }
        Act::OwnLetters { competition, bib } => bib
            .filter(|bib| actor.is_athlete(competition, *bib))
            .map(|_| Role::Athlete)
            .or_else(|| role_for(actor, Act::OwnProposals { competition })),
        Act::Erase { competition, bib, judge, contact_of } => bib
            .filter(|bib| actor.is_athlete(competition, *bib))
            .map(|_| Role::Athlete)
            .or_else(|| judge.filter(|code| actor.is_judge(competition, code)).map(|_| Role::Judge))
            .or_else(|| contact_of.filter(|gym| actor.is_staff_of(competition, gym)).map(|_| Role::Staff))
            .or_else(|| has(competition, Role::Organiser)),
        Act::ShowName { competition, bib, of_age } => Some(Role::Athlete)
            .filter(|_| of_age && actor.is_athlete(competition, bib))
            .or_else(|| has(competition, Role::Organiser)),
        Act::ReadJudging { competition, judge } => actor.is_judge(competition, judge).then_some(Role::Judge),
        Act::NotTakingPart { competition, entry } => actor.own_or_gym(competition, entry, None),
        Act::EnterMany { competition } => has(competition, Role::Staff).or_else(|| has(competition, Role::Athlete)),
        Act::Attest { competition, entry, at, judge } => actor
            .is_judge(competition, judge)
            .then_some(Role::Judge)
            .or_else(|| actor.serves(competition, entry, at).then_some(Role::Staff)),
        Act::Referee { competition, entry, ties, alone } => {
            let tied = ties.bibs.contains(&entry.bib)
                || actor.is_athlete(competition, entry.bib)
                || entry.gym.iter().chain(&entry.past_gyms).any(|g| ties.gyms.contains(g));
            if tied {
                return None;
            }
            has(competition, Role::Referee).or_else(|| if alone { has(competition, Role::Organiser) } else { None })
        }
    }
}

impl Grant {
    /// Whether it holds in this competition.
    #[must_use]
    pub fn holds_in(&self, competition: &str) -> bool {
        self.competition.as_deref().is_none_or(|c| c == competition)
    }
}

impl Actor {
    /// Whether the account has `role` in a competition.
    #[must_use]
    pub fn has(&self, competition: &str, role: Role) -> bool {
        self.grants.iter().any(|g| g.role == role && g.holds_in(competition))
    }

    /// Whether it is staff of this gym.
    #[must_use]
    pub fn is_staff_of(&self, competition: &str, gym: &str) -> bool {
        self.grants.iter().any(|g| g.role == Role::Staff && g.holds_in(competition) && g.gym.as_deref() == Some(gym))
    }

    /// Whether it is the judge with this code. A code belongs to one competition only.
    #[must_use]
    pub fn is_judge(&self, competition: &str, code: &str) -> bool {
        self.grants.iter().any(|g| {
            g.role == Role::Judge && g.competition.as_deref() == Some(competition) && g.judge.as_deref() == Some(code)
        })
    }

    /// Whether it is a judge of this competition, by whatever code.
    #[must_use]
    pub fn judges_in(&self, competition: &str) -> bool {
        !self.codes_in(competition).is_empty()
    }

    /// The codes by which it is a judge of this competition.
    #[must_use]
    pub fn codes_in(&self, competition: &str) -> BTreeSet<&str> {
        let own = |g: &&Grant| g.role == Role::Judge && g.competition.as_deref() == Some(competition);
        self.grants.iter().filter(own).filter_map(|g| g.judge.as_deref()).collect()
    }

    /// Whether it is the athlete with this bib. A bib belongs to one competition only.
    #[must_use]
    pub fn is_athlete(&self, competition: &str, bib: u32) -> bool {
        self.grants
            .iter()
            .any(|g| g.role == Role::Athlete && g.competition.as_deref() == Some(competition) && g.bib == Some(bib))
    }

    /// Whether it is staff of the entry's gym, or of the gym the performance was done in.
    fn serves(&self, competition: &str, entry: &Entry, at: Option<&str>) -> bool {
        entry.gym.as_deref().into_iter().chain(at).any(|g| self.is_staff_of(competition, g))
    }

    fn own_or_gym(&self, competition: &str, entry: &Entry, at: Option<&str>) -> Option<Role> {
        if self.is_athlete(competition, entry.bib) {
            return Some(Role::Athlete);
        }
        self.serves(competition, entry, at).then_some(Role::Staff)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::people::{EntryState, PersonRef};
    use std::collections::BTreeSet;

    fn entry() -> Entry {
        Entry {
            bib: 7,
            division: "women".into(),
            gym: Some("quayside".into()),
            country: "PT".into(),
            region: String::new(),
            state: EntryState::Active,
            show_name: true,
            past_gyms: vec!["old".into()],
            person: PersonRef { id: 1, commitment: String::new() },
        }
    }

    fn account(grants: Vec<Grant>) -> Actor {
        Actor { account: Some(1), grants, ..Actor::default() }
    }

    fn grant(role: Role, gym: Option<&str>, bib: Option<u32>) -> Grant {
        Grant { role, competition: Some("c".into()), gym: gym.map(Into::into), bib, judge: None }
    }

    #[test]
    fn staff_enter_for_their_own_gym_and_for_visitors_in_it_only() {
        let e = entry();
        let own = account(vec![grant(Role::Staff, Some("quayside"), None)]);
        let other = account(vec![grant(Role::Staff, Some("hilltop"), None)]);
        let enter = |at| Act::Enter { competition: "c", entry: &e, at };
        assert!(permit(&own, enter(None)).is_ok());
        assert_eq!(permit(&other, enter(None)), Err(Denied::NotAllowed));
        assert_eq!(permit(&other, enter(Some("hilltop"))).unwrap().role(), Some(Role::Staff));
        let elsewhere = Act::Enter { competition: "d", entry: &e, at: None };
        assert_eq!(permit(&own, elsewhere), Err(Denied::NotAllowed));
        assert_eq!(permit(&Actor::nobody(), enter(None)), Err(Denied::NotSignedIn));
    }

    #[test]
    fn a_name_is_shown_or_hidden_by_its_athlete_of_age_and_by_the_organiser_alone() {
        let show = |who: &Actor, competition, of_age| {
            permit(who, Act::ShowName { competition, bib: 7, of_age }).map(|permit| permit.role())
        };
        let own = account(vec![grant(Role::Athlete, None, Some(7))]);
        assert_eq!(show(&own, "c", true), Ok(Some(Role::Athlete)));
        assert_eq!(show(&own, "c", false), Err(Denied::NotAllowed));
        assert_eq!(show(&own, "d", true), Err(Denied::NotAllowed));
        for of_age in [true, false] {
            let organiser = account(vec![grant(Role::Organiser, None, None)]);
            assert_eq!(show(&organiser, "c", of_age), Ok(Some(Role::Organiser)));
            let others = [
                grant(Role::Athlete, None, Some(8)),
                grant(Role::Staff, Some("quayside"), None),
                grant(Role::Judge, None, None),
                grant(Role::Referee, None, None),
            ];
            assert_eq!(show(&account(others.into()), "c", of_age), Err(Denied::NotAllowed));
            assert_eq!(show(&Actor::nobody(), "c", of_age), Err(Denied::NotSignedIn));
        }
    }

    #[test]
    fn a_referee_with_ties_to_the_entry_does_not_judge_it() {
        let e = entry();
        let referee = account(vec![grant(Role::Referee, None, None)]);
        let act = |ties: &Ties, alone| permit(&referee, Act::Referee { competition: "c", entry: &e, ties, alone });
        let gym = |g: &str| Ties { gyms: BTreeSet::from([g.to_owned()]), bibs: BTreeSet::new() };
        assert!(act(&Ties::default(), false).is_ok());
        assert!(act(&gym("hilltop"), false).is_ok());
        assert!(act(&gym("quayside"), false).is_err());
        assert!(act(&gym("old"), false).is_err());
        assert!(act(&Ties { bibs: BTreeSet::from([7]), ..Ties::default() }, false).is_err());
    }

    #[test]
    fn the_organiser_rules_only_where_no_referee_can() {
        let e = entry();
        let organiser = account(vec![grant(Role::Organiser, None, None)]);
        let ties = Ties::default();
        let act = |alone| permit(&organiser, Act::Referee { competition: "c", entry: &e, ties: &ties, alone });
        assert_eq!(act(false), Err(Denied::NotAllowed));
        assert_eq!(act(true).unwrap().role(), Some(Role::Organiser));
    }
}
