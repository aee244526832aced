//! What a gym's staff asks the organiser to add: an athlete, a judge, or more staff of the gym.
//!
//! It is checked as if the organiser had sent it, so that what is confirmed later passes; the gym is
//! the one it is proposed for, and bibs are given out on confirming. What it does not do: count for
//! anything before it is confirmed.

use super::competition::Competition;
use super::fault::{Fault, Warning};
use super::people::{check_email, check_name};
use super::roster::{self, RawEntry, RawJudge};
use crate::words::Sentence;
use serde::{Deserialize, Serialize};

/// What somebody is to be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// An athlete.
    #[default]
    Entry,
    /// A judge of the gym.
    Judge,
    /// Staff of the gym.
    Staff,
}

impl Kind {
    /// All there are.
    pub const ALL: [Self; 3] = [Self::Entry, Self::Judge, Self::Staff];

    /// As it is kept and sent.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Entry => "entry",
            Self::Judge => "judge",
            Self::Staff => "staff",
        }
    }

    /// Back from [`Self::as_str`].
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == text)
    }
}

/// Somebody who is proposed, as sent: the columns of the roster's tables. Which are needed depends
/// on the kind.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
#[expect(missing_docs, reason = "the columns of competition-file's tables")]
pub struct Proposed {
    pub kind: Kind,
    pub name: String,
    pub email: String,
    pub born: String,
    pub category: String,
    pub division: String,
    pub guardian_consent: bool,
    pub code: String,
    pub valid_from: String,
    pub valid_to: String,
}

impl Proposed {
    /// The row of an athlete of this gym.
    #[must_use]
    pub fn entry(&self, gym: &str) -> RawEntry {
        RawEntry {
            name: self.name.clone(),
            born: self.born.clone(),
            category: self.category.clone(),
            division: self.division.clone(),
            gym: gym.to_owned(),
            email: Some(self.email.clone()),
            guardian_consent: self.guardian_consent.then_some(true),
            proposed: true,
            ..RawEntry::default()
        }
    }

    /// The row of a judge of this gym.
    #[must_use]
    pub fn judge(&self, gym: &str) -> RawJudge {
        RawJudge {
            code: self.code.clone(),
            name: self.name.clone(),
            gym: Some(gym.to_owned()),
            valid_from: self.valid_from.clone(),
            valid_to: self.valid_to.clone(),
            email: Some(self.email.clone()).filter(|email| !email.trim().is_empty()),
        }
    }

    /// Everything that is wrong with it, as the roster would say; what is only odd otherwise.
    pub fn check(&self, competition: &Competition, gym: &str) -> Result<Vec<Warning>, Vec<Fault>> {
        let known_gym = |slug: &str| slug == gym;
        let checked = match self.kind {
            Kind::Entry => {
                roster::check_entry(&self.entry(gym), competition, &known_gym).map(|checked| checked.warnings)
            }
            Kind::Judge => roster::check_judge(&self.judge(gym), &known_gym).map(|checked| checked.warnings),
            Kind::Staff => self.check_staff().map(|()| Vec::new()),
        };
        let strange = self.strange();
        match checked {
            Ok(warnings) if strange.is_empty() => Ok(warnings),
            Ok(_) => Err(strange),
            Err(faults) => Err(strange.into_iter().chain(faults).collect()),
        }
    }

    fn check_staff(&self) -> Result<(), Vec<Fault>> {
        let mut faults = Vec::new();
        faults.extend(check_name(&self.name).err().map(|sentence| Fault::new("/name", sentence)));
        match check_email(&self.email) {
            Ok(email) if email.is_empty() => {
                faults.push(Fault::new("/email", Sentence::new("proposal_needs_email")));
            }
            Ok(_) => {}
            Err(sentence) => faults.push(Fault::new("/email", sentence)),
        }
        if faults.is_empty() { Ok(()) } else { Err(faults) }
    }

    /// Members that are given and are not of this kind: nothing that was sent is dropped in silence.
    fn strange(&self) -> Vec<Fault> {
        let (entry, judge) = (self.kind == Kind::Entry, self.kind == Kind::Judge);
        let members = [
            ("born", &self.born, entry),
            ("category", &self.category, entry),
            ("division", &self.division, entry),
            ("code", &self.code, judge),
            ("valid_from", &self.valid_from, judge),
            ("valid_to", &self.valid_to, judge),
        ];
        let strange = members.into_iter().filter(|(_, value, fits)| !fits && !value.trim().is_empty());
        let mut names: Vec<&str> = strange.map(|(name, ..)| name).collect();
        names.extend((self.guardian_consent && !entry).then_some("guardian_consent"));
        let fault = |name: &str| {
            let sentence =
                Sentence::new("proposal_member").with("member", name.to_owned()).with("kind", self.kind.as_str());
            Fault::new(format!("/{name}"), sentence)
        };
        names.into_iter().map(fault).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(proposed: &Proposed) -> Vec<String> {
        let raw = super::super::competition::from_toml(include_str!("../../tests/data/small.toml")).expect("reads");
        let competition = super::super::competition::compile(&raw).expect("compiles").value;
        let faults = proposed.check(&competition, "quayside").err().unwrap_or_default();
        faults.iter().map(|f| format!("{} {}", f.pointer, f.sentence.code)).collect()
    }

    #[test]
    fn each_kind_needs_its_own_and_every_fault_is_said_at_once() {
        let entry = Proposed {
            name: "Ana Cruz".into(),
            born: "1996-04-02".into(),
            category: "women".into(),
            division: "women".into(),
            ..Proposed::default()
        };
        assert_eq!(codes(&entry), [""; 0]);
        let bare = codes(&Proposed::default());
        for pointer in ["/name", "/born", "/category", "/division"] {
            assert!(bare.iter().any(|code| code.starts_with(pointer)), "{pointer}: {bare:?}");
        }
        let staff = Proposed { kind: Kind::Staff, email: "at home".into(), ..entry.clone() };
        assert_eq!(
            codes(&staff),
            ["/born proposal_member", "/category proposal_member", "/division proposal_member", "/email email_wrong"]
        );
        assert_eq!(
            codes(&Proposed { kind: Kind::Staff, name: "Ana".into(), ..Proposed::default() }),
            ["/email proposal_needs_email"]
        );
        let judge = Proposed { kind: Kind::Judge, name: "Ana Cruz".into(), ..Proposed::default() };
        assert!(codes(&judge).iter().any(|code| code == "/code judge_code"));
    }

    #[test]
    fn kinds_are_read_as_they_are_written() {
        assert!(Kind::ALL.into_iter().all(|kind| Kind::parse(kind.as_str()) == Some(kind)));
        assert_eq!(Kind::parse("gym"), None);
    }
}
