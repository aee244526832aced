//! Some neighbouring bibs: who is entered where, and everybody's score in each workout, closely
//! packed, as a large field has millions of them. A snapshot shares blocks; a change copies one.

use super::query::ScoreView;
use crate::rules::life::State;
use crate::rules::order::Key;
use crate::rules::people::EntryState;

/// A slug, region or country, as a number within one competition. Three bytes: everybody has four of them, twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Name([u8; 3]);

impl Name {
    /// `None`: there are too many.
    pub(super) fn new(number: usize) -> Option<Self> {
        match u32::try_from(number).ok()?.to_be_bytes() {
            [0, number @ ..] => Some(Self(number)),
            _ => None,
        }
    }

    pub(super) fn number(self) -> usize {
        let [a, b, c] = self.0;
        u32::from_be_bytes([0, a, b, c]) as usize
    }
}

/// Where an entry belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Facts {
    pub(super) division: Name,
    pub(super) gym: Option<Name>,
    pub(super) region: Name,
    pub(super) country: Name,
    pub(super) state: EntryState,
}

/// Some neighbouring bibs.
#[derive(Clone, Default)]
pub(super) struct Block {
    /// In ascending order.
    bibs: Vec<u32>,
    /// One a bib; `None` until the entry's own row has come.
    facts: Vec<Option<Facts>>,
    /// `width` a bib: one for each workout that anybody here has a score in, at the least.
    scores: Vec<Option<Score>>,
    width: usize,
    /// The written forms of the scores, each after its length.
    texts: Vec<u8>,
    /// Bytes of texts that no score has any more.
    unused: usize,
}

/// A score without its written form.
#[derive(Clone, Copy)]
struct Score {
    /// The key's bytes; [`NO_KEY`]: it has no place.
    key: [u8; 8],
    /// Where its written form begins.
    text: u32,
    attempt: u32,
    state: State,
    level: u8,
}

/// A score that is taken in.
pub(super) struct NewScore<'a> {
    pub(super) attempt: u32,
    pub(super) key: Option<Key>,
    pub(super) state: State,
    pub(super) level: u8,
    pub(super) text: &'a str,
}

/// A key is of 63 bits, so never less than 0.
const NO_KEY: i64 = i64::MIN;

/// Written forms of this length and more say so in five bytes instead of one.
const LONG: u8 = u8::MAX;

/// One bib.
#[derive(Clone, Copy)]
pub(super) struct Record<'a> {
    pub(super) bib: u32,
    block: &'a Block,
    at: usize,
}

impl<'a> Record<'a> {
    /// The entry's own facts; `None` until its row has come.
    pub(super) fn facts(&self) -> Option<Facts> {
        self.block.facts[self.at]
    }

    /// Where it belongs; `None` where it is not there, or was removed.
    pub(super) fn present(&self) -> Option<Facts> {
        self.facts().filter(|facts| facts.state != EntryState::Removed)
    }

    fn slot(&self, workout: usize) -> Option<&'a Score> {
        let scores = self.block.scores.get(self.at * self.block.width..(self.at + 1) * self.block.width)?;
        scores.get(workout)?.as_ref()
    }

    /// Whether there is a score in a workout, whatever its state.
    pub(super) fn scored(&self, workout: usize) -> bool {
        self.slot(workout).is_some()
    }

    /// The key of the score in a workout; `None`: it has no place.
    pub(super) fn key(&self, workout: usize) -> Option<Key> {
        self.slot(workout).and_then(Score::key)
    }

    /// The score in a workout.
    pub(super) fn score(&self, workout: usize) -> Option<ScoreView> {
        let score = self.slot(workout)?;
        let text = String::from_utf8_lossy(self.block.text(score.text));
        let (attempt, state, level, key) = (score.attempt, score.state, score.level, score.key());
        Some(ScoreView { attempt, text: text.as_ref().into(), state, level, key })
    }
}

impl Score {
    fn key(&self) -> Option<Key> {
        Some(i64::from_le_bytes(self.key)).filter(|key| *key != NO_KEY).map(Key)
    }
}

impl Block {
    /// Its bibs.
    pub(super) fn records(&self) -> impl Iterator<Item = Record<'_>> {
        self.bibs.iter().enumerate().map(|(at, bib)| Record { bib: *bib, block: self, at })
    }

    /// One of its bibs.
    pub(super) fn record(&self, bib: u32) -> Option<Record<'_>> {
        Some(Record { bib, block: self, at: self.bibs.binary_search(&bib).ok()? })
    }

    /// Takes in the entry's own facts and says those of before.
    pub(super) fn enter(&mut self, bib: u32, facts: Facts) -> Option<Facts> {
        let at = self.place(bib);
        self.facts[at].replace(facts)
    }

    /// Takes in a score in a workout.
    pub(super) fn put(&mut self, bib: u32, workout: usize, new: &NewScore<'_>) {
        let at = self.place(bib);
        if workout >= self.width {
            self.widen(workout + 1);
        }
        let slot = at * self.width + workout;
        let before = self.scores[slot].take().map(|score| score.text);
        let text = match before {
            Some(text) if self.text(text) == new.text.as_bytes() => text,
            _ => {
                self.unused += before.map_or(0, |text| self.text(text).len() + 1);
                self.tidy();
                self.write(new.text)
            }
        };
        let key = new.key.map_or(NO_KEY, |key| key.0).to_le_bytes();
        self.scores[slot] = Some(Score { key, text, attempt: new.attempt, state: new.state, level: new.level });
    }

    /// The index of a bib, which there is from here on.
    fn place(&mut self, bib: u32) -> usize {
        match self.bibs.binary_search(&bib) {
            Ok(at) => at,
            Err(at) => {
                self.bibs.insert(at, bib);
                self.facts.insert(at, None);
                let slot = at * self.width;
                self.scores.splice(slot..slot, std::iter::repeat_n(None, self.width));
                at
            }
        }
    }

    fn widen(&mut self, width: usize) {
        let mut scores = Vec::with_capacity(self.bibs.len() * width);
        for at in 0..self.bibs.len() {
            scores.extend_from_slice(&self.scores[at * self.width..(at + 1) * self.width]);
            scores.resize((at + 1) * width, None);
        }
        (self.scores, self.width) = (scores, width);
    }

    /// The written form that begins at a byte.
    fn text(&self, at: u32) -> &[u8] {
        let at = at as usize;
        let (start, long) = match self.texts.get(at).copied() {
            None => return &[],
            Some(LONG) => {
                let mut long = [0; 4];
                long.copy_from_slice(&self.texts[at + 1..at + 5]);
                (at + 5, u32::from_le_bytes(long) as usize)
            }
            Some(short) => (at + 1, usize::from(short)),
        };
        self.texts.get(start..start + long).unwrap_or_default()
    }

    /// Writes a text at the end and says where it begins.
    fn write(&mut self, text: &str) -> u32 {
        let at = u32::try_from(self.texts.len()).expect("a block's texts are less than 4 GiB");
        match u8::try_from(text.len()) {
            Ok(short) if short < LONG => self.texts.push(short),
            _ => {
                self.texts.push(LONG);
                let long = u32::try_from(text.len()).expect("a text is less than 4 GiB");
                self.texts.extend_from_slice(&long.to_le_bytes());
            }
        }
        self.texts.extend_from_slice(text.as_bytes());
        at
    }

    /// Writes the texts anew where much of them is not used any more.
    fn tidy(&mut self) {
        if self.unused < 256 || self.unused < self.texts.len() / 2 {
            return;
        }
        let mut other = Self::default();
        for slot in 0..self.scores.len() {
            if let Some(score) = self.scores[slot] {
                let text = String::from_utf8_lossy(self.text(score.text)).into_owned();
                self.scores[slot] = Some(Score { text: other.write(&text), ..score });
            }
        }
        (self.texts, self.unused) = (other.texts, 0);
    }

    /// The bytes it takes.
    pub(super) fn bytes(&self) -> usize {
        self.bibs.capacity() * 4
            + self.facts.capacity() * size_of::<Option<Facts>>()
            + self.scores.capacity() * size_of::<Option<Score>>()
            + self.texts.capacity()
            + size_of::<Self>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn score(text: &str) -> NewScore<'_> {
        NewScore { attempt: 1, text, state: State::Attested, level: 0, key: Some(Key(7)) }
    }

    #[test]
    fn a_score_takes_twenty_bytes_and_facts_fourteen() {
        assert_eq!(size_of::<Option<Score>>(), 20);
        assert_eq!(size_of::<Option<Facts>>(), 14);
    }

    #[test]
    fn a_name_is_its_number_as_long_as_there_is_one() {
        for number in [0, 1, 255, 256, 70_000, (1 << 24) - 1] {
            assert_eq!(Name::new(number).map(Name::number), Some(number));
        }
        assert_eq!([1 << 24, 1 << 32, usize::MAX].map(Name::new), [None; 3]);
    }

    #[test]
    fn texts_of_any_length_are_kept_and_old_ones_make_room() {
        let mut block = Block::default();
        let long = "12+".repeat(2_000);
        block.put(4, 2, &score(&long));
        block.put(3, 0, &score("278"));
        for n in 0..10_000 {
            block.put(3, 1, &score(&format!("{n} reps")));
        }
        let text = |bib, workout| block.record(bib).unwrap().score(workout).unwrap().text;
        assert_eq!(&*text(4, 2), long);
        assert_eq!(&*text(3, 0), "278");
        assert_eq!(&*text(3, 1), "9999 reps");
        assert!(block.texts.len() < 2 * long.len() + 512, "{}", block.texts.len());
        assert!(!block.record(4).unwrap().scored(0));
        assert!(block.record(5).is_none());
    }
}
