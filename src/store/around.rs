//! What is around the scores that a group touches: sheets and judges in use, who is tied to whom,
//! links to videos. Read into the ledger beside the scores; decides nothing.

use super::db::{Bulk, Val};
use super::load::Reader;
use super::{StoreError, column, instant, number};
use crate::rules::ledger::Ties;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};

bulk!(NOTES = Bulk::list("SELECT id, text FROM notes WHERE competition = $1 AND id IN (", 1, ")"));
// Joined by `CROSS JOIN`, so that the embedded engine begins with what was sent.
bulk!(
    SHEETS = Bulk::matches(
        "SELECT s.workout, s.sheet, s.gym, s.bib FROM (VALUES ",
        1,
        3,
        ") AS sent CROSS JOIN scores s WHERE s.competition = $1 AND s.gym = sent.column1 AND s.sheet = sent.column2 AND s.workout = sent.column3"
    )
);
bulk!(
    SHEETS_OF_NO_GYM = Bulk::list(
        "SELECT workout, sheet, gym, bib FROM scores WHERE competition = $1 AND gym IS NULL AND sheet IN (",
        1,
        ")"
    )
);
// For each sent one the last that the judge counted of somebody else by then, and the first after it: enough for a
// remark, without an evening's worth of scores. What began earlier than the last and goes on for longer is not seen from
// here; it was when the last was stored.
bulk!(
    JUDGING = Bulk::matches(
        "SELECT sent.column1,
             (SELECT s.workout || '/' || CAST(s.bib AS TEXT) || '/' || CAST(s.performed_at AS TEXT) FROM scores s
              WHERE s.competition = $1 AND s.judge = sent.column1 AND s.performed_at <= CAST(sent.column2 AS BIGINT)
                AND s.bib <> CAST(sent.column3 AS BIGINT) ORDER BY s.performed_at DESC LIMIT 1),
             (SELECT s.workout || '/' || CAST(s.bib AS TEXT) || '/' || CAST(s.performed_at AS TEXT) FROM scores s
              WHERE s.competition = $1 AND s.judge = sent.column1 AND s.performed_at > CAST(sent.column2 AS BIGINT)
                AND s.bib <> CAST(sent.column3 AS BIGINT) ORDER BY s.performed_at LIMIT 1)
         FROM (VALUES ",
        1,
        3,
        ") AS sent"
    )
);
bulk!(
    SAME_ACCOUNT = Bulk::list(
        "SELECT j.judge, a.bib FROM grants j JOIN grants a ON a.account = j.account WHERE j.role = 'judge' AND a.role = 'athlete' AND j.competition = $1 AND a.competition = $1 AND j.judge IN (",
        1,
        ")"
    )
);
bulk!(
    TIES = Bulk::list(
        "SELECT account, role, gym, bib FROM grants WHERE (competition = $1 OR competition IS NULL) AND account IN (",
        1,
        ")"
    )
);
bulk!(
    TIES_AS_JUDGE = Bulk::list(
        "SELECT g.account, j.gym FROM grants g JOIN judges j ON j.code = g.judge WHERE g.role = 'judge' AND j.gym IS NOT NULL AND g.competition = $1 AND j.competition = $2 AND g.account IN (",
        2,
        ")"
    )
);
bulk!(
    TIES_BY_EMAIL = Bulk::list(
        "SELECT a.id, e.bib FROM accounts a CROSS JOIN persons p CROSS JOIN entries e WHERE p.folded_email = a.folded_email AND e.competition = p.competition AND e.person = p.id AND p.competition = $1 AND p.folded_email <> '' AND a.id IN (",
        1,
        ")"
    )
);

impl Reader<'_> {
    /// Numbers of sheets begin anew in every gym: only those of the gyms where these were filled in.
    pub(super) async fn sheets(&mut self) -> Result<(), StoreError> {
        let (mut in_gyms, mut in_none) = (BTreeSet::new(), BTreeSet::new());
        for sent in &self.wanted.all.sheets {
            let attempts = self.ledger.attempts.get(&(sent.workout.clone(), sent.bib));
            let entry = self.ledger.entries.get(&sent.bib);
            let stored = attempts.into_iter().flatten().map(|a| a.stored.gym.as_ref());
            let gyms = stored.chain([sent.gym.as_ref().or(entry.and_then(|e| e.gym.as_ref()))]);
            for gym in gyms {
                match gym {
                    Some(gym) => drop(in_gyms.insert([gym, &sent.sheet, &sent.workout])),
                    None => drop(in_none.insert(&sent.sheet)),
                }
            }
        }
        let members = in_gyms.into_iter().flatten().map(|text| Val::Text(text.clone())).collect();
        let none = in_none.into_iter().map(|sheet| Val::Text(sheet.clone())).collect();
        let mut rows: Vec<(String, String, Option<String>, i64)> = SHEETS.read(self.tx, &self.fixed(), members).await?;
        rows.extend(
            SHEETS_OF_NO_GYM.read::<(String, String, Option<String>, i64)>(self.tx, &self.fixed(), none).await?,
        );
        let sheets = &mut self.ledger.around.sheets;
        for (workout, sheet, gym, bib) in rows {
            let user = (gym.unwrap_or_default(), number("scores", bib)?);
            sheets.entry((workout, sheet)).or_default().insert(user);
        }
        Ok(())
    }

    /// Whom else the judges counted around the performances that are vouched for.
    pub(super) async fn judging(&mut self) -> Result<(), StoreError> {
        let mut sent: BTreeSet<(&String, Timestamp, u32)> = BTreeSet::new();
        for (judge, workout, bib, at) in &self.wanted.all.judging {
            sent.insert((judge, *at, *bib));
            // A score that is attested later was performed when it says, not when this was received.
            let attempts = self.ledger.attempts.get(&(workout.clone(), *bib)).map_or(&[][..], Vec::as_slice);
            sent.extend(attempts.iter().map(|a| (judge, a.stored.performed_at, *bib)));
        }
        let value = |(judge, at, bib): (&String, Timestamp, u32)| {
            [Val::Text(judge.clone()), Val::Int(at.as_microsecond()), Val::Int(bib.into())]
        };
        let members = sent.into_iter().flat_map(value).collect();
        let rows: Vec<(String, Option<String>, Option<String>)> = JUDGING.read(self.tx, &self.fixed(), members).await?;
        for (judge, before, after) in rows {
            let known = self.ledger.around.judging.entry(judge).or_default();
            for text in before.into_iter().chain(after) {
                let other = performance(&text)?;
                if !known.contains(&other) {
                    known.push(other);
                }
            }
        }
        Ok(())
    }

    pub(super) async fn same_account(&mut self) -> Result<(), StoreError> {
        let wanted = &self.wanted.all.same_account;
        let codes: BTreeSet<&String> = wanted.iter().map(|(code, _)| code).collect();
        let members = codes.into_iter().map(|code| Val::Text(code.clone())).collect();
        let rows: Vec<(String, Option<i64>)> =
            SAME_ACCOUNT.read(self.tx, &[Val::Text(self.slug.to_owned())], members).await?;
        for (judge, bib) in rows {
            let Some(bib) = bib else { continue };
            let pair = (judge, number("grants", bib)?);
            if wanted.contains(&pair) {
                self.ledger.around.same_account.insert(pair);
            }
        }
        Ok(())
    }

    /// Referees and those who ask: their roles at gyms and their own bibs.
    pub(super) async fn ties(&mut self) -> Result<(), StoreError> {
        if !self.wanted.referees {
            return Ok(());
        }
        let referees = db!(&mut *self.tx, vals i64:
            "SELECT DISTINCT account FROM grants WHERE role = 'referee' AND (competition = $1 OR competition IS NULL)", self.slug)?;
        let referees: BTreeSet<i64> = referees.into_iter().collect();
        let mut ties: BTreeMap<i64, Ties> =
            referees.iter().chain(&self.wanted.accounts).map(|&account| (account, Ties::default())).collect();
        let members: Vec<Val> = ties.keys().map(|&account| Val::Int(account)).collect();
        let rows: Vec<(i64, String, Option<String>, Option<i64>)> =
            TIES.read(self.tx, &[Val::Text(self.slug.to_owned())], members.clone()).await?;
        for (account, role, gym, bib) in rows {
            let of = ties.entry(account).or_default();
            match role.as_str() {
                "staff" => of.gyms.extend(gym),
                "athlete" => of.bibs.extend(bib.map(|bib| number::<u32>("grants", bib)).transpose()?),
                _ => {}
            }
        }
        let both = [Val::Text(self.slug.to_owned()), Val::Int(self.id)];
        let rows: Vec<(i64, String)> = TIES_AS_JUDGE.read(self.tx, &both, members.clone()).await?;
        for (account, gym) in rows {
            ties.entry(account).or_default().gyms.insert(gym);
        }
        let rows: Vec<(i64, i64)> = TIES_BY_EMAIL.read(self.tx, &[Val::Int(self.id)], members).await?;
        for (account, bib) in rows {
            ties.entry(account).or_default().bibs.insert(number("entries", bib)?);
        }
        let around = &mut self.ledger.around;
        (around.referees, around.others) = ties.into_iter().partition(|(account, _)| referees.contains(account));
        Ok(())
    }

    /// An athlete belongs to the gyms of the own entries, and to those it moved from.
    pub(super) fn complete_ties(&mut self) {
        let entries = &self.ledger.entries;
        let around = &mut self.ledger.around;
        for ties in around.referees.values_mut().chain(around.others.values_mut()) {
            for entry in ties.bibs.iter().filter_map(|bib| entries.get(bib)) {
                ties.gyms.extend(entry.gym.iter().chain(&entry.past_gyms).cloned());
            }
        }
    }

    /// Links to videos are notes: a link sent again is compared with the one that is there.
    pub(super) async fn videos(&mut self) -> Result<(), StoreError> {
        let attempts = &self.ledger.attempts;
        let of_wanted = self.wanted.all.videos.iter().filter_map(|pair| attempts.get(pair)).flatten();
        let details = of_wanted.flat_map(|a| std::iter::once(&a.details).chain(a.waiting.as_ref().map(|w| &w.details)));
        let ids: BTreeSet<u64> = details.filter_map(|d| d.video.as_ref()).map(|note| note.id).collect();
        let members = ids.into_iter().map(|id| Val::Int(column(id))).collect();
        let rows: Vec<(i64, String)> = NOTES.read(self.tx, &self.fixed(), members).await?;
        for (id, text) in rows {
            self.ledger.videos.insert(number("notes", id)?, text);
        }
        Ok(())
    }
}

/// `w1/1042/1798…`: workout, bib and microseconds.
fn performance(text: &str) -> Result<(String, u32, Timestamp), StoreError> {
    let unreadable = || StoreError::unreadable("scores", text);
    let mut parts = text.rsplitn(3, '/');
    let (at, bib, workout) = (parts.next(), parts.next(), parts.next());
    let at = at.and_then(|at| at.parse().ok()).ok_or_else(unreadable)?;
    let bib = bib.and_then(|bib| bib.parse().ok()).ok_or_else(unreadable)?;
    Ok((workout.ok_or_else(unreadable)?.to_owned(), bib, instant("scores", at)?))
}
