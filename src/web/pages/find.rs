//! Finding somebody, or a gym, among those that a page of standings shows; and who is asked for but is not
//! among them.

use super::form;
use super::scope::{Asked, Found, ScopeForm, anchor, find_gym, found, gym_name};
use super::shell::{Link, encoded, words};
use crate::actions::lists;
use crate::actions::standings::Desk;
use crate::actions::views::{EntryView, GymView, ScopeView};
use crate::app::App;
use crate::rules::people::fold_name;
use crate::store::names::NameFilter;
use crate::web::problem::Answer;
use crate::words::put;
use std::collections::BTreeSet;

/// How many namesakes are offered.
const OFFERED: usize = 20;

/// How many of a name are looked through for those that are shown.
const LOOKED: usize = 1_000;

/// The page on which somebody is looked for.
#[derive(Clone, Copy)]
pub(super) struct Page<'a> {
    pub(super) division: &'a str,
    /// Its address.
    pub(super) action: &'a str,
    /// Whether the reader may see all of the division there, and not only some.
    pub(super) whole: bool,
}

/// Where a search leads, or the form with what it came to.
pub(super) async fn find(
    app: &App,
    desk: &Desk,
    page: Page<'_>,
    asked: Asked,
    gyms: &[GymView],
    form: ScopeForm,
) -> Answer<Found> {
    if let Some(gym) = asked.scope.gym.as_deref().filter(|gym| find_gym(gyms, gym).is_none()) {
        let gym = gym.to_owned();
        return Ok(named_gym(form, asked, page.action, gyms, &gym));
    }
    let search = Search { app, desk, page, gyms };
    if asked.q.is_empty() { search.pinned(asked, form).await } else { search.typed(asked, form).await }
}

/// The gym that was meant by a name, or by a part of one.
fn named_gym(mut form: ScopeForm, asked: Asked, action: &str, gyms: &[GymView], name: &str) -> Found {
    let (w, wanted) = (words(), fold_name(name));
    let named = |fits: &dyn Fn(&str) -> bool| gyms.iter().filter(|gym| fits(&fold_name(&gym.name))).collect::<Vec<_>>();
    let there = |gym: &GymView| {
        let scope = ScopeView { gym: Some(gym.slug.clone()), ..asked.scope.clone() };
        let address = Asked { scope, ..asked.clone() }.address(action, None, None);
        // Who is looked for is looked for there.
        if asked.q.is_empty() { address } else { format!("{address}&q={}", encoded(&asked.q)) }
    };
    let same = named(&|name| name == wanted);
    let found = if same.is_empty() && !wanted.is_empty() { named(&|name| name.contains(&wanted)) } else { same };
    match found.as_slice() {
        [one] => return Found::There(there(one)),
        [] => form.find_text = Some(put(w.find_gym_none, &[("gym", &name)])),
        many => {
            let template = if many.len() > OFFERED { w.find_too_many } else { w.find_gym_many };
            form.find_text = Some(put(template, &[("q", &name), ("gym", &name)]));
            form.found = many.iter().take(OFFERED).map(|gym| Link::new(there(gym), &gym.name)).collect();
        }
    }
    // Nobody is of a gym that is not there.
    Found::Form(Box::new((form, Asked { bib: None, ..asked })))
}

struct Search<'a> {
    app: &'a App,
    desk: &'a Desk,
    page: Page<'a>,
    gyms: &'a [GymView],
}

impl Search<'_> {
    /// Whoever is asked for by bib. Who is not among those that are shown is named above them.
    async fn pinned(&self, asked: Asked, mut form: ScopeForm) -> Answer<Found> {
        let Some(bib) = asked.bib.filter(|bib| !self.desk.lists(self.page.division, *bib)) else {
            return Ok(Found::Form(Box::new((form, asked))));
        };
        let w = words();
        let entry = self.by_bib(bib).await?;
        form.find_text = Some(match &entry {
            Some(entry) => put(w.find_not_here, &[("name", &entry.name)]),
            None => put(w.find_bib_none, &[("bib", &bib)]),
        });
        let elsewhere = entry.filter(|entry| asked.partial() && self.is_elsewhere(entry));
        let way = |entry: EntryView| {
            let text = if self.page.whole { w.scope_all } else { &entry.name };
            Link::new(self.everybody(&asked, bib), text)
        };
        form.found = elsewhere.map(way).into_iter().collect();
        Ok(Found::Form(Box::new((form, Asked { bib: None, ..asked }))))
    }

    /// Whoever was typed, by bib or by name.
    async fn typed(&self, asked: Asked, mut form: ScopeForm) -> Answer<Found> {
        let w = words();
        // What is shown below is not what was asked for before.
        let shown = Asked { bib: None, ..asked.clone() };
        let number = form::bib(&asked.q);
        if number.is_none() && asked.q.chars().count() < 2 {
            form.find_text = Some(w.find_short.to_owned());
            return Ok(Found::Form(Box::new((form, shown))));
        }
        let (here, unsure) = match number {
            Some(bib) => (self.by_bib(bib).await?.filter(|e| self.lists(e)).into_iter().collect(), false),
            None => self.by_name(&asked).await?,
        };
        let said = |template: &str| put(template, &[("q", &asked.q)]);
        match here.as_slice() {
            [] if unsure => form.find_text = Some(said(w.find_unsure)),
            [] => {
                let elsewhere = if asked.partial() { self.elsewhere(&asked, number).await? } else { Vec::new() };
                form.found = self.links(&elsewhere, |bib| self.everybody(&asked, bib));
                form.find_text = Some(match number {
                    _ if !elsewhere.is_empty() => said(w.find_elsewhere),
                    Some(bib) => put(w.find_bib_none, &[("bib", &bib)]),
                    None => said(w.find_none),
                });
            }
            [one] if !unsure => return Ok(Found::There(self.there(&asked, one.bib))),
            several => {
                let many = unsure || several.len() > OFFERED;
                form.find_text = Some(said(if many { w.find_too_many } else { w.find_many }));
                form.found = self.links(several, |bib| self.there(&asked, bib));
            }
        }
        Ok(Found::Form(Box::new((form, shown))))
    }

    fn lists(&self, entry: &EntryView) -> bool {
        self.desk.lists(self.page.division, entry.bib)
    }

    /// Whether somebody is in the whole division now.
    fn is_elsewhere(&self, entry: &EntryView) -> bool {
        entry.state != "removed" && self.parts().contains(&entry.division)
    }

    async fn by_bib(&self, bib: u32) -> Answer<Option<EntryView>> {
        let reader = self.desk.reader();
        found(lists::entry(self.app, &reader.actor, reader.now, &reader.competition.slug, bib).await)
    }

    /// Those of a name that are shown, and whether there may be more of them. Many of a name may stand before
    /// the few that are of a region: of those that are not shown some are looked through.
    ///
    /// In a state of the past somebody may have been of another gym or division than now, by which names are
    /// found: then all of that name are looked through for those who were there.
    async fn by_name(&self, asked: &Asked) -> Answer<(Vec<EntryView>, bool)> {
        let (gym, past) = (asked.scope.gym.as_deref(), asked.as_of.is_some());
        let parts = if past { self.all_parts() } else { self.parts() };
        let mut limit = OFFERED + 1;
        loop {
            let mut named = self.named(asked, &parts, gym, limit).await?;
            let mut all = named.len() < limit;
            if past && gym.is_some() {
                // Both: who is of the gym now may know names there that nobody else is shown.
                let others = self.named(asked, &parts, None, limit).await?;
                all &= others.len() < limit;
                let known: BTreeSet<u32> = named.iter().map(|e| e.bib).collect();
                named.extend(others.into_iter().filter(|e| !known.contains(&e.bib)));
            }
            let here: Vec<EntryView> = named.into_iter().filter(|e| self.lists(e)).take(OFFERED + 1).collect();
            if all || here.len() > OFFERED || limit >= LOOKED {
                return Ok((here, !all));
            }
            limit = (limit * 8).min(LOOKED);
        }
    }

    /// Those that would be found among all of the division.
    async fn elsewhere(&self, asked: &Asked, number: Option<u32>) -> Answer<Vec<EntryView>> {
        let found = match number {
            Some(bib) => self.by_bib(bib).await?.into_iter().collect(),
            None => self.named(asked, &self.parts(), None, OFFERED).await?,
        };
        Ok(found.into_iter().filter(|e| self.is_elsewhere(e)).collect())
    }

    async fn named(
        &self,
        asked: &Asked,
        divisions: &[String],
        gym: Option<&str>,
        limit: usize,
    ) -> Answer<Vec<EntryView>> {
        let limit = u32::try_from(limit).unwrap_or(u32::MAX);
        let filter = NameFilter { q: &asked.q, divisions, gym, limit };
        Ok(lists::find_by_name(self.app, self.desk.reader(), &filter).await?)
    }

    /// The plain divisions that the division ranks.
    fn parts(&self) -> Vec<String> {
        match self.desk.reader().competition.division(self.page.division) {
            Some(d) if !d.combines.is_empty() => d.combines.clone(),
            _ => vec![self.page.division.to_owned()],
        }
    }

    /// The plain divisions that there were then, and that there are now.
    fn all_parts(&self) -> Vec<String> {
        let reader = self.desk.reader();
        let now = self.app.board.view(reader.id);
        let now = now.iter().flat_map(|view| &view.definition().divisions);
        let plain = reader.competition.divisions.iter().chain(now).filter(|d| d.combines.is_empty());
        plain.map(|d| d.slug.clone()).collect::<BTreeSet<_>>().into_iter().collect()
    }

    fn there(&self, asked: &Asked, bib: u32) -> String {
        asked.address(self.page.action, None, Some(bib)) + &anchor(bib)
    }

    /// Somebody's row among all of the division, as it is now; where that may not be seen yet, their own page.
    fn everybody(&self, asked: &Asked, bib: u32) -> String {
        if !self.page.whole {
            return format!("/c/{}/athletes/{bib}", self.desk.reader().slug);
        }
        self.there(&Asked { running: asked.running, ..Asked::default() }, bib)
    }

    fn links(&self, entries: &[EntryView], to: impl Fn(u32) -> String) -> Vec<Link> {
        let link = |e: &EntryView| {
            let gym = e.gym.as_deref().map_or(String::new(), |g| format!(" · {}", gym_name(self.gyms, g)));
            Link::new(to(e.bib), format!("{} · {}{gym}", e.name, e.bib))
        };
        entries.iter().take(OFFERED).map(link).collect()
    }
}
