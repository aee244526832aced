//! Every form of the pages and every field in it: its label, and whether it is the reader's own words, a
//! secret, or machinery.

use crate::actions::language;
use crate::web::pages::say;
use crate::web::pages::shell::words;
use crate::words;

pub(super) type Text = fn() -> &'static str;

/// A field of a form.
pub(super) struct Field {
    /// Its name, or with [`Kind::Row`] and [`Kind::Ticks`] the beginning of names that end with a bib.
    pub(super) name: &'static str,
    pub(super) kind: Kind,
}

/// What a field holds.
pub(super) enum Kind {
    /// What was written, under its label.
    Own(Text),
    /// What was chosen of several, in the words it was offered with.
    Chosen(Text, fn(&str) -> Option<&'static str>),
    /// A box that was ticked.
    Ticked(Text),
    /// What was written in somebody's row.
    Row(Text),
    /// A box ticked in somebody's row.
    RowTicked,
    /// Boxes whose numbers mean nothing to a reader: how many were ticked.
    Ticks(Text),
    /// A file that was chosen.
    File(Text),
    /// Never shown.
    Secret,
    /// Nobody's words: what the page itself put there, buttons, and what has to be confirmed anew.
    Machinery,
}

/// A form, and the page that it stands on.
pub(super) struct Form {
    /// As in the pages' `ROUTES`.
    pub(super) route: &'static str,
    /// How many parts of the address lead from the page on: none where the form is sent to its own page.
    pub(super) below: usize,
    pub(super) fields: &'static [Field],
}

const fn own(name: &'static str, label: Text) -> Field {
    Field { name, kind: Kind::Own(label) }
}

const fn machinery(name: &'static str) -> Field {
    Field { name, kind: Kind::Machinery }
}

const fn secret(name: &'static str) -> Field {
    Field { name, kind: Kind::Secret }
}

const fn ticked(name: &'static str, label: Text) -> Field {
    Field { name, kind: Kind::Ticked(label) }
}

const HOW: Field =
    Field { name: "how", kind: Kind::Chosen(|| words().how, |how| HOWS.contains(&how).then(|| say::how(how))) };
const HOWS: [&str; 3] = ["signed_in", "paper_sheet", "video"];
const ETAG: Field = machinery("etag");
const REASON: Field = own("reason", || words().reason);
const DECISION: Field = Field { name: "decision", kind: Kind::Chosen(|| words().decision, decided) };

fn organise() -> &'static words::en::organise::Organise {
    words::organise(language::reader())
}

fn heats() -> &'static words::en::heats::Heats {
    words::heats(language::reader())
}

fn proposals() -> &'static words::en::proposals::Proposals {
    words::proposals(language::reader())
}

fn claims() -> &'static words::en::claims::Claims {
    words::claims(language::reader())
}

fn decided(value: &str) -> Option<&'static str> {
    match value {
        "admit" => Some(organise().late_admit),
        "refuse" => Some(organise().late_refuse),
        _ => None,
    }
}

fn ruled(value: &str) -> Option<&'static str> {
    ["stands", "deduct", "replace", "strike", "restore"].contains(&value).then(|| say::ruling(value))
}

fn proposed(value: &str) -> Option<&'static str> {
    match value {
        "entry" => Some(proposals().of_entry),
        "judge" => Some(proposals().of_judge),
        "staff" => Some(proposals().of_staff),
        _ => None,
    }
}

fn done_with(value: &str) -> Option<&'static str> {
    match value {
        "confirm" => Some(proposals().confirm_ticked),
        "refuse" => Some(proposals().refuse_ticked),
        _ => None,
    }
}

fn counted(value: &str) -> Option<&'static str> {
    match value {
        "previous" => Some(heats().judging_previous),
        "judges" => Some(heats().judging_judges),
        _ => None,
    }
}

fn moved(value: &str) -> Option<&'static str> {
    match value {
        "later" => Some(heats().late_way_later),
        "earlier" => Some(heats().late_way_earlier),
        _ => None,
    }
}

fn entered_as(value: &str) -> Option<&'static str> {
    match value {
        "active" => Some(organise().state_active),
        "withdrawn" => Some(organise().state_withdrawn),
        "removed" => Some(organise().state_removed),
        "guest" => Some(organise().state_guest),
        _ => None,
    }
}

fn shown_as(value: &str) -> Option<&'static str> {
    match value {
        "shown" => Some(organise().entry_name_shown),
        "hidden" => Some(organise().entry_name_hidden),
        _ => None,
    }
}

fn consent_as(value: &str) -> Option<&'static str> {
    match value {
        "given" => Some(organise().entry_consent_given),
        "missing" => Some(organise().entry_consent_missing),
        _ => None,
    }
}

fn role(value: &str) -> Option<&'static str> {
    ["staff", "judge", "referee", "organiser"].contains(&value).then(|| say::role(Some(value)))
}

fn order_of_days(value: &str) -> Option<&'static str> {
    match value {
        "day_first" => Some(organise().list_dates_day),
        "month_first" => Some(organise().list_dates_month),
        _ => None,
    }
}

/// A result, at a desk or one's own.
const SCORE: &[Field] = &[
    ETAG,
    machinery("attempt"),
    machinery("desk_judge"),
    own("performance", || words().performance),
    machinery("confirm-"),
    own("level", || words().level),
    own("judge", || words().judge),
    HOW,
    own("sheet", || words().sheet),
    own("performed_at", || words().performed_at),
    own("no_reps", || words().no_reps),
    own("video", || words().video),
    REASON,
    ticked("again", || words().again),
];
/// Buttons at a score: what the desk goes on with goes along.
const BUTTON: &[Field] = &[ETAG, machinery("attempt"), machinery("desk_judge"), machinery("how")];
const LATE: &[Field] = &[ETAG, own("reason", || organise().late_reason), DECISION];
const CODES: &[Field] = &[
    Field { name: "bib-", kind: Kind::RowTicked },
    ticked("as", || claims().make_csv),
    machinery("for"),
    machinery("q"),
    machinery("sure"),
    machinery("shown"),
    machinery("round"),
    machinery("last"),
];
const COMPETITION_FILE: &[Field] = &[
    ETAG,
    ticked("rescore", || organise().file_rescore),
    own("reason", || organise().file_reason),
    Field { name: "file", kind: Kind::File(|| organise().file_choose) },
    own("text", || organise().file_paste),
    machinery("do"),
];

/// Every form that the pages have.
pub(super) const FORMS: &[Form] = &[
    Form {
        route: "/signin",
        below: 0,
        fields: &[machinery("next"), own("email", || words().email), secret("password")],
    },
    Form { route: "/signin/link", below: 0, fields: &[secret("code")] },
    Form { route: "/signin/forgotten", below: 0, fields: &[own("email", || words().email)] },
    Form {
        route: "/claim",
        below: 0,
        fields: &[
            own("c", || claims().claim_competition),
            own("bib", || words().bib),
            secret("code"),
            own("email", || words().email),
            secret("password"),
        ],
    },
    Form { route: "/signout", below: 1, fields: &[] },
    Form { route: "/account/password", below: 1, fields: &[secret("current"), secret("new")] },
    Form { route: "/account/sessions/{id}/end", below: 3, fields: &[] },
    Form {
        route: "/account/tokens",
        below: 1,
        fields: &[own("name", || words().token_name), own("days", || words().token_days)],
    },
    Form { route: "/account/tokens/{id}/revoke", below: 3, fields: &[] },
    Form { route: "/account/name", below: 1, fields: &[machinery("competition"), machinery("bib"), machinery("show")] },
    Form { route: "/account/erase", below: 1, fields: &[machinery("me"), machinery("close")] },
    Form { route: "/c/{c}/athletes/{bib}/workouts/{w}", below: 0, fields: SCORE },
    Form { route: "/c/{c}/athletes/{bib}/workouts/{w}/withdrawal", below: 1, fields: BUTTON },
    Form {
        route: "/c/{c}/athletes/{bib}/workouts/{w}/appeal",
        below: 3,
        fields: &[ETAG, own("reason", || words::appeal(language::reader()).reason)],
    },
    Form { route: "/desk/{c}/{gym}/codes", below: 0, fields: CODES },
    Form {
        route: "/desk/{c}/{gym}/proposals",
        below: 0,
        fields: &[
            Field { name: "kind", kind: Kind::Chosen(|| proposals().link, proposed) },
            own("name", || proposals().name),
            own("born", || proposals().born),
            own("category", || proposals().category),
            own("division", || proposals().division),
            own("code", || proposals().code),
            own("valid_from", || proposals().valid_from),
            own("valid_to", || proposals().valid_to),
            own("email", || words().email),
            ticked("guardian_consent", || proposals().consent),
        ],
    },
    Form { route: "/desk/{c}/{gym}/proposals/{id}/withdraw", below: 2, fields: &[] },
    Form {
        route: "/desk/{c}/{gym}/heats/{w}",
        below: 0,
        fields: &[
            machinery("version"),
            machinery("do"),
            machinery("was-"),
            machinery("was_moved"),
            own("late_heat", || heats().late_heat),
            own("late_minutes", || heats().late_minutes),
            Field { name: "late_way", kind: Kind::Chosen(|| heats().late_way, moved) },
            own("visitor_bib", || heats().visitor_bib),
            own("visitor_heat", || heats().heat_n),
            own("visitor_lane", || heats().lane),
            own("visitor_judge", || heats().judge),
            Field { name: "heat-", kind: Kind::Row(|| heats().heat_n) },
            Field { name: "lane-", kind: Kind::Row(|| heats().lane) },
            Field { name: "judge-", kind: Kind::Row(|| heats().judge) },
            own("lanes", || heats().lanes),
            own("minutes", || heats().minutes),
            own("start", || heats().start),
            Field { name: "judging", kind: Kind::Chosen(|| heats().judging, counted) },
            machinery("sure"),
        ],
    },
    Form {
        route: "/desk/{c}/{gym}/file",
        below: 0,
        fields: &[
            own("workout", || words().workout),
            Field { name: "file", kind: Kind::File(|| organise().list_choose) },
            own("text", || organise().list_paste),
            machinery("confirm-"),
            machinery("do"),
        ],
    },
    Form {
        route: "/desk/{c}/{gym}/{w}/attestation",
        below: 2,
        fields: &[
            Field { name: "a-", kind: Kind::RowTicked },
            Field { name: "s-", kind: Kind::Row(|| words().sheet) },
            own("judge", || words().judge),
            HOW,
            machinery("desk_judge"),
            machinery("desk_how"),
            machinery("desk_workout"),
            machinery("statement"),
        ],
    },
    Form { route: "/desk/{c}/{gym}/{w}/{bib}", below: 0, fields: SCORE },
    Form { route: "/desk/{c}/{gym}/{w}/{bib}/withdrawal", below: 1, fields: BUTTON },
    Form { route: "/desk/{c}/{gym}/{w}/{bib}/not-taking-part", below: 1, fields: BUTTON },
    Form { route: "/desk/{c}/{gym}/{w}/{bib}/taking-part", below: 1, fields: BUTTON },
    Form {
        route: "/judge/{c}/{w}/attestation",
        below: 2,
        fields: &[Field { name: "a-", kind: Kind::RowTicked }, machinery("judge"), machinery("statement")],
    },
    Form {
        route: "/referee/{c}/{w}/{bib}/flag",
        below: 1,
        fields: &[
            ETAG,
            Field { name: "flag_reason", kind: Kind::Chosen(|| words().flag_reason, |r| Some(say::doubt(r))) },
            own("note", || words().flag_note),
            ticked("withhold", || words().withhold),
        ],
    },
    Form {
        route: "/referee/{c}/{w}/{bib}/ruling",
        below: 1,
        fields: &[
            ETAG,
            machinery("on_appeal"),
            Field { name: "kind", kind: Kind::Chosen(|| words().decision, ruled) },
            own("reps", || words().deduct_reps),
            own("seconds", || words().deduct_seconds),
            own("tiebreak", || words().deduct_tiebreak),
            ticked("no_tiebreak", || words().deduct_no_tiebreak),
            own("performance", || words().performance),
            own("reason", || words().ruling_reason),
            machinery("do"),
        ],
    },
    Form { route: "/new-competition", below: 0, fields: COMPETITION_FILE },
    Form {
        route: "/organise/{c}/late",
        below: 1,
        fields: &[
            Field { name: "t-", kind: Kind::RowTicked },
            machinery("s-"),
            ticked("all", || organise().late_many_title),
            own("many_reason", || organise().late_reason),
            DECISION,
        ],
    },
    Form { route: "/organise/{c}/late/{w}/{bib}", below: 3, fields: LATE },
    Form {
        route: "/organise/{c}/extensions",
        below: 1,
        fields: &[
            own("workout", || organise().extension_workout),
            own("gym", || organise().extension_gym),
            own("region", || organise().extension_region),
            own("closes", || organise().extension_closes),
            own("attest_by", || organise().extension_attest_by),
            own("reason", || organise().extension_reason),
        ],
    },
    Form {
        route: "/organise/{c}/erase",
        below: 1,
        fields: &[
            own("erase_bib", || words().bib),
            own("erase_gym", || organise().erase_gym),
            own("erase_judge", || organise().erase_judge),
            machinery("sure"),
            machinery("seen"),
            machinery("do"),
        ],
    },
    Form { route: "/organise/{c}/file", below: 0, fields: COMPETITION_FILE },
    Form {
        route: "/organise/{c}/lists/{list}",
        below: 0,
        fields: &[
            Field { name: "file", kind: Kind::File(|| organise().list_choose) },
            own("text", || organise().list_paste),
            Field { name: "dates", kind: Kind::Chosen(|| organise().list_dates, order_of_days) },
            machinery("do"),
        ],
    },
    Form {
        route: "/organise/{c}/entries/{bib}",
        below: 0,
        fields: &[
            machinery("seen"),
            machinery("do"),
            machinery("was_name"),
            machinery("was_email"),
            machinery("was_show"),
            machinery("was_consent"),
            own("name", || organise().list_name),
            own("email", || words().email),
            Field { name: "show_name", kind: Kind::Chosen(|| organise().entry_show, shown_as) },
            Field { name: "guardian_consent", kind: Kind::Chosen(|| organise().entry_consent, consent_as) },
            Field { name: "state", kind: Kind::Chosen(|| organise().list_state, entered_as) },
            own("division", || words().division),
            own("gym", || words().gym),
            REASON,
        ],
    },
    Form { route: "/organise/{c}/codes", below: 0, fields: CODES },
    Form {
        route: "/organise/{c}/proposals",
        below: 0,
        fields: &[
            machinery("upto"),
            Field { name: "p-", kind: Kind::Ticks(|| proposals().organise_title) },
            own("reason", || proposals().reason),
            Field { name: "do", kind: Kind::Chosen(|| words().decision, done_with) },
        ],
    },
    Form {
        route: "/organise/{c}/people",
        below: 0,
        fields: &[
            own("email", || words().email),
            Field { name: "role", kind: Kind::Chosen(|| organise().people_role, role) },
            own("gym", || words().gym),
            own("judge", || words().judge),
        ],
    },
    Form { route: "/organise/{c}/people/invite", below: 1, fields: &[machinery("do")] },
    Form { route: "/organise/{c}/people/{id}/remove", below: 2, fields: &[machinery("sure")] },
    Form { route: "/organise/{c}/people/{id}/link", below: 2, fields: &[] },
];
