//! What is said of lateness, and what happens next: the same at the desk, on the receipt and on the
//! form. `static/desk/brought.js` says it from the same texts.

use super::shell::words;
use crate::actions::language;
use crate::actions::views::ScoreView;
use crate::words::{self, put};

/// Sentences about a score that came, or was corrected or vouched for, after the close; none where
/// all was in time.
#[must_use]
pub fn lines(score: &ScoreView) -> Vec<String> {
    let (w, l) = (words(), words::late(language::reader()));
    let mut said = Vec::new();
    if let Some(ms) = score.late_by_ms {
        // A started minute is one: nothing is "0 min late".
        let late = (w.duration)(ms.div_ceil(60_000).saturating_mul(60));
        let template = match (score.state, score.refused) {
            ("late", true) => Some(l.refused),
            ("late", false) => Some(l.stored),
            ("withdrawn" | "struck", _) => None,
            _ => Some(l.counted),
        };
        said.extend(template.map(|t| put(t, &[("late", &late)])));
    }
    if let Some(waiting) = &score.waiting {
        let template = if waiting.refused { l.correction_refused } else { l.correction };
        said.push(put(template, &[("text", &waiting.performance.text), ("now", &score.performance.text)]));
    }
    if let Some(attestation) = &score.waiting_attestation {
        said.push(put(l.attestation, &[("judge", &attestation.judge)]));
    }
    said
}
