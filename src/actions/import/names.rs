//! Names in rows of scores: a bib or a judge found by name, and rows that slipped by one.

use crate::actions::Failure;
use crate::actions::language;
use crate::actions::lists;
use crate::actions::reader::{Reader, athlete};
use crate::actions::views::RemarkView;
use crate::app::App;
use crate::rules::people::fold_name;
use crate::words::Sentence;
use std::collections::{BTreeSet, HashMap};

/// The names that the sender of rows may know.
#[derive(Default)]
pub struct Known {
    /// Folded name → bibs.
    bibs: HashMap<String, Vec<u32>>,
    /// Bib → folded name.
    names: HashMap<u32, String>,
    /// Judge codes.
    codes: BTreeSet<String>,
    /// Folded name → codes.
    judges: HashMap<String, Vec<String>>,
}

impl Known {
    /// Reads the names of the entries that rows name: of these bibs, and of these names.
    pub async fn read_entries(
        &mut self,
        app: &App,
        reader: &Reader,
        mut bibs: BTreeSet<u32>,
        names: &BTreeSet<String>,
    ) -> Result<(), Failure> {
        bibs.extend(app.store.bibs_named(reader.id, names).await?);
        let bibs: Vec<u32> = bibs.into_iter().collect();
        // Those that this reader may know; of the others, and of bibs that nobody has, nothing is known.
        let known = reader.names(app, &bibs).await?.into_iter().filter(|(bib, name)| *name != athlete(*bib));
        self.names = known.map(|(bib, name)| (bib, fold_name(&name))).collect();
        for (bib, name) in self.names.iter().filter(|(_, name)| names.contains(*name)) {
            self.bibs.entry(name.clone()).or_default().push(*bib);
        }
        for bibs in self.bibs.values_mut() {
            bibs.sort_unstable();
        }
        Ok(())
    }

    /// Reads which of these are codes of judges, and whose names the others are.
    pub async fn read_judges(&mut self, app: &App, reader: &Reader, texts: &BTreeSet<&str>) -> Result<(), Failure> {
        self.codes = app.store.known_codes(reader.id, texts).await?;
        let names = texts.iter().filter(|text| !self.codes.contains(**text)).map(|text| fold_name(text)).collect();
        if let Some(permit) = lists::may_name_judges(reader) {
            for (name, code) in app.store.judges_named(&permit, reader.id, &names).await? {
                self.judges.entry(name).or_default().push(code);
            }
        }
        for codes in self.judges.values_mut() {
            codes.sort_unstable();
        }
        Ok(())
    }

    /// The one bib of a name.
    pub fn bib(&self, name: &str) -> Result<u32, Sentence> {
        match self.bibs.get(&fold_name(name)).map(Vec::as_slice) {
            Some([bib]) => Ok(*bib),
            Some(several @ [_, ..]) => {
                let bibs = several.iter().map(u32::to_string).collect::<Vec<_>>().join(", ");
                Err(Sentence::new("name_of_several").with("name", name).with("bibs", bibs))
            }
            _ => Err(Sentence::new("name_unknown").with("name", name)),
        }
    }

    /// A judge's code, by code or name. What is neither is left for the rules to refuse.
    pub fn judge(&self, text: &str) -> Result<String, Sentence> {
        if self.codes.contains(text) {
            return Ok(text.to_owned());
        }
        match self.judges.get(&fold_name(text)).map(Vec::as_slice) {
            Some([code]) => Ok(code.clone()),
            Some(several @ [_, ..]) => {
                Err(Sentence::new("judge_of_several").with("name", text).with("codes", several.join(", ")))
            }
            _ => Ok(text.to_owned()),
        }
    }

    /// Whether names stand one row off their bibs: said once, at the first row of the run.
    /// `rows`: number, bib and name of every row that has both, in order.
    pub fn shifted(&self, rows: &[(usize, u32, String)]) -> Option<RemarkView> {
        let folded: Vec<String> = rows.iter().map(|(_, _, name)| fold_name(name)).collect();
        let name_at = |n: usize| rows.get(n).and_then(|(_, bib, _)| self.names.get(bib));
        let wrong: Vec<usize> =
            (0..rows.len()).filter(|n| name_at(*n).is_some_and(|known| Some(known) != folded.get(*n))).collect();
        let fits = |n: usize, other: Option<usize>| other.and_then(name_at).is_some_and(|k| Some(k) == folded.get(n));
        let below: Vec<usize> = wrong.iter().copied().filter(|n| fits(*n, n.checked_add(1))).collect();
        let above: Vec<usize> = wrong.iter().copied().filter(|n| fits(*n, n.checked_sub(1))).collect();
        let run = if below.len() > above.len() { below } else { above };
        // Two neighbours swapped are a slip of another kind; three in a run are none.
        if run.len() < 3 || run.len() * 4 < wrong.len() * 3 {
            return None;
        }
        let (row, bib, name) = rows.get(*run.first()?)?;
        let sentence = Sentence::new("rows_shifted").with("row", row + 1).with("bib", bib).with("name", name);
        Some(RemarkView {
            pointer: format!("/{row}/name"),
            code: sentence.code.to_string(),
            message: language::say(&sentence),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(names: &[(u32, &str)]) -> Known {
        let mut known = Known::default();
        for (bib, name) in names {
            known.names.insert(*bib, fold_name(name));
            known.bibs.entry(fold_name(name)).or_default().push(*bib);
        }
        known
    }

    #[test]
    fn names_one_row_off_are_said_once_with_the_first_row() {
        let known = known(&[(1, "Ana"), (2, "Bea"), (3, "Cleo"), (4, "Dora"), (5, "Eva")]);
        let rows = [(0, 1, "Ana"), (1, 2, "Cleo"), (2, 3, "Dora"), (3, 4, "Eva")];
        let rows: Vec<_> = rows.iter().map(|(n, bib, name)| (*n, *bib, (*name).to_owned())).collect();
        let rows = [rows, vec![(4, 5, "Bea".to_owned())]].concat();
        let remark = known.shifted(&rows).expect("shifted");
        assert_eq!((remark.code.as_str(), remark.pointer.as_str()), ("rows_shifted", "/1/name"));
    }

    #[test]
    fn one_wrong_name_is_not_a_shift() {
        let known = known(&[(1, "Ana"), (2, "Bea"), (3, "Cleo")]);
        let rows = [(0, 1, "Ana".to_owned()), (1, 2, "Zoe".to_owned()), (2, 3, "Cleo".to_owned())];
        assert_eq!(known.shifted(&rows), None);
    }

    #[test]
    fn a_name_of_two_people_names_both_bibs() {
        let known = known(&[(1, "Ana Cruz"), (2, "ANA  CRUZ"), (3, "Bea")]);
        assert_eq!(known.bib("bea"), Ok(3));
        let refused = known.bib("Ana Cruz").expect_err("two of them");
        assert!(refused.args.contains(&("bibs".into(), crate::words::Value::Text("1, 2".to_owned()))), "{refused:?}");
        assert_eq!(known.bib("Nobody").expect_err("unknown").code, "name_unknown");
    }
}
