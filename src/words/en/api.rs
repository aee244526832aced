//! What the page about the API says around the description, which speaks for itself.

/// Every text of the page in one language.
pub struct Api {
    /// Of the page.
    pub title: &'static str,
    /// What it is for.
    pub lead: &'static str,
    /// How a program shows who it is.
    pub token: &'static str,
    /// The link to the document.
    pub document: &'static str,
    /// Of each table.
    pub caption: &'static str,
    /// The column of methods and paths.
    pub request: &'static str,
    /// The column of what they do.
    pub does: &'static str,
}

/// English.
pub const API: Api = Api {
    title: "The API",
    lead: "Everything these pages do, a program may do too: read standings, store and attest scores, flag and rule.",
    token: "Reading needs no sign-in. To write, issue a token on your account's page and send it as “Authorization: Bearer …”.",
    document: "The description as an OpenAPI 3.1 document, for programs that make clients",
    caption: "Requests and what they do",
    request: "Request",
    does: "What it does",
};
