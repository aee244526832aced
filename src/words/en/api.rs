//! What the page about the API says around the description, which speaks for itself.

texts! {
    /// Every text of the page in one language.
    Api, API:
    title: "The API",
    lead: "Everything these pages do, a program may do too: read standings, store and attest scores, flag and rule.",
    token: "Reading needs no sign-in. To write, issue a token on your account's page and send it as “Authorization: Bearer …”.",
    document: "The description as an OpenAPI 3.1 document, for programs that make clients",
    caption: "Requests and what they do",
    request: "Request",
    does: "What it does",
    body: "What is sent",
}
