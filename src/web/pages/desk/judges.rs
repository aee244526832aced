//! Which judge is meant: by code, or by name among those of the gym; and how judges vouch.

use crate::actions::Failure;
use crate::actions::lists::{self, Find};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::people::fold_name;
use crate::web::pages::form::Choice;
use crate::web::pages::say;
use crate::web::pages::shell::{Link, words};
use crate::web::session::Caller;
use crate::words::put;

/// The judges of a gym: code and name.
pub(in crate::web::pages) async fn of_gym(
    app: &App,
    caller: &Caller,
    competition: &str,
    gym: &str,
) -> Result<Vec<Link>, Failure> {
    let find = Find { gym: Some(gym.to_owned()), q: None };
    let judges = lists::judges(app, &caller.actor, caller.received, competition, &find).await?;
    Ok(judges.into_iter().map(|j| Link::new(j.code, j.name.unwrap_or_default())).collect())
}

/// The code that is meant: itself, or of the one judge whose name has this in it. A text without
/// spaces that fits nobody is taken for the code of a judge from elsewhere; storing says if it is
/// none.
pub(in crate::web::pages) fn meant(judges: &[Link], typed: &str) -> Result<String, String> {
    let typed = typed.trim();
    let w = words().desk_words;
    if typed.is_empty() {
        return Ok(String::new());
    }
    // "Vera Lopes (J-1)" is how a judge is called here: what was filled in is read back.
    let code = typed.strip_suffix(')').and_then(|t| t.rsplit_once('(')).map_or(typed, |(_, code)| code.trim());
    if let Some(judge) = judges.iter().find(|j| j.href.eq_ignore_ascii_case(typed) || j.href.eq_ignore_ascii_case(code))
    {
        return Ok(judge.href.clone());
    }
    let q = fold_name(typed);
    let named: Vec<&Link> = judges.iter().filter(|j| fold_name(&j.text).contains(&q)).collect();
    match named.as_slice() {
        [one] => Ok(one.href.clone()),
        [] if typed.contains('-') && !typed.contains(char::is_whitespace) => Ok(typed.to_owned()),
        [] => Err(put(w.judge_unknown, &[("typed", &typed)])),
        _ => Err(put(w.judge_several, &[("typed", &typed)])),
    }
}

/// The ways to vouch that this reader may state, `chosen` or else a sheet of paper among them marked: that
/// the judge was signed in says only who holds a judge's code.
pub(in crate::web::pages) fn hows(actor: &Actor, competition: &str, chosen: &str) -> Vec<Choice> {
    let offered: &[&str] =
        if actor.judges_in(competition) { &["paper_sheet", "signed_in", "video"] } else { &["paper_sheet", "video"] };
    let chosen = if offered.contains(&chosen) { chosen } else { "paper_sheet" };
    offered.iter().map(|h| Choice::new(*h, say::how(h), chosen)).collect()
}

/// A judge for people: the name where it is known.
pub(in crate::web::pages) fn called(judges: &[Link], code: &str) -> String {
    let known = judges.iter().find(|j| j.href == code && !j.text.is_empty());
    known.map_or_else(|| code.to_owned(), |j| format!("{} ({code})", j.text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_judge_is_meant_by_code_or_by_part_of_a_name() {
        let judges = [Link::new("J-1", "Vera Lopes"), Link::new("J-2", "Vera Maas")];
        assert_eq!(meant(&judges, " j-1 "), Ok("J-1".to_owned()));
        assert_eq!(meant(&judges, "maas"), Ok("J-2".to_owned()));
        assert_eq!(meant(&judges, "X-77"), Ok("X-77".to_owned()));
        assert_eq!(meant(&judges, "Vera Maas (J-2)"), Ok("J-2".to_owned()));
        assert!(meant(&judges, "vera").unwrap_err().contains("Several"));
        assert!(meant(&judges, "nobody").unwrap_err().contains("nobody"));
        assert_eq!(meant(&judges, ""), Ok(String::new()));
        assert_eq!(called(&judges, "J-1"), "Vera Lopes (J-1)");
        assert_eq!(called(&judges, "J-9"), "J-9");
    }
}
