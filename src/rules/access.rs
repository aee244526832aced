//! Who may do what: pure predicates that hand out a [`Permit`].
//!
//! The store's writer and its private reads demand a permit; only the functions of this file
//! make one. A handler cannot forget to ask.

use super::ledger::Ties;
use super::people::Entry;
use serde::{Deserialize, Serialize};

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
#[allow(missing_docs, reason = "named by their own words; see `permit`")]
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
    /// Make a competition or apply a file.
    Apply { competition: &'a str },
    /// Add gyms, entries, judges; change an entry; admit late scores; extend windows; roles.
    Organise { competition: &'a str },
    /// Make accounts and competitions.
    Administer,
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
    /// Let late scores in or not.
    Admit { competition: &'a str },
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
pub fn permit(actor: &Actor, act: Act<'_>) -> Result<Permit, Denied> {
    let _ = (actor, act);
    todo!()
}
