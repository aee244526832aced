//! Which part of a ledger a change needs loaded before it is decided.

use super::{Asked, Change, SheetSent, Touches, Whose};
use crate::rules::life::{Attest, Move};
use crate::rules::people::fold_name;
use crate::rules::table::dates::{self, DateOrder};
use jiff::Timestamp;

impl Asked {
    /// What to load before [`super::Ledger::decide`].
    #[must_use]
    pub fn touches(&self) -> Touches {
        let mut touches = Touches::default();
        match &self.change {
            Change::Apply { .. } => touches.everything = true,
            Change::SetGym(raw) => {
                touches.gyms.insert(raw.slug.trim().to_owned());
            }
            Change::SetEntry(raw) => {
                touches.gyms.insert(raw.gym.trim().to_owned());
                match raw.bib {
                    Some(bib) => {
                        touches.bibs.insert(bib);
                    }
                    None => {
                        touches.names.insert((fold_name(&raw.name), dates::read(&raw.born, DateOrder::Ask).ok()));
                    }
                }
            }
            Change::SetJudge(raw) => {
                touches.judges.insert(raw.code.trim().to_owned());
                touches.gyms.extend(raw.gym.as_deref().map(|gym| gym.trim().to_owned()));
            }
            Change::MoveEntry { bib, change, .. } => {
                touches.bibs.insert(*bib);
                touches.all_scores_of.insert(*bib);
                touches.gyms.extend(change.gym.as_deref().map(|g| g.trim().to_owned()));
            }
            Change::AmendEntry { bib, .. } => _ = touches.bibs.insert(*bib),
            Change::Erase(whose) => touches_person(&mut touches, whose),
            Change::Extend { extension, .. } => touches.gyms.extend(extension.gym.clone()),
            Change::Score { workout, bib, what } => self.touches_score(&mut touches, workout, *bib, what),
        }
        touches.gyms.remove("");
        touches
    }

    fn touches_score(&self, touches: &mut Touches, workout: &str, bib: u32, what: &Move) {
        touches.bibs.insert(bib);
        touches.scores.insert((workout.to_owned(), bib));
        match what {
            Move::Submit(sent) => {
                touches.gyms.extend(sent.gym.clone());
                touches.heaviest.insert(workout.to_owned());
                if sent.video.is_some() {
                    touches.videos.insert((workout.to_owned(), bib));
                }
                if let Some(attest) = &sent.attestation {
                    let at = sent.performed_at.unwrap_or(self.received);
                    touches_judge(touches, workout, bib, attest, sent.gym.as_deref(), at);
                }
            }
            Move::Attest(attest) => touches_judge(touches, workout, bib, attest, None, self.received),
            Move::Flag { .. } | Move::Rule { .. } => touches.referees = Some(self.actor.account),
            Move::Withdraw | Move::NotTakingPart | Move::TakingPart | Move::Appeal { .. } | Move::Admit { .. } => {}
        }
    }
}

fn touches_person(touches: &mut Touches, whose: &Whose) {
    match whose {
        Whose::Entry(bib) => _ = touches.bibs.insert(*bib),
        Whose::Judge(code) => _ = touches.judges.insert(code.clone()),
        Whose::Contact(gym) => _ = touches.gyms.insert(gym.clone()),
        Whose::ContactToo(gym, whose) => {
            touches.gyms.insert(gym.clone());
            touches_person(touches, whose);
        }
    }
}

fn touches_judge(touches: &mut Touches, workout: &str, bib: u32, attest: &Attest, gym: Option<&str>, at: Timestamp) {
    touches.judges.insert(attest.judge.clone());
    touches.judging.insert((attest.judge.clone(), workout.to_owned(), bib, at));
    touches.same_account.insert((attest.judge.clone(), bib));
    if let Some(sheet) = &attest.sheet {
        let (workout, sheet) = (workout.to_owned(), sheet.trim().to_owned());
        touches.sheets.insert(SheetSent { workout, sheet, bib, gym: gym.map(str::to_owned) });
    }
}
