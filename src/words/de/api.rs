//! What the page about the API says in German around the description, which is English.

use crate::words::en::api::Api;

/// German.
pub const API: Api = Api {
    title: "Die API",
    lead: "Was diese Seiten können, kann auch ein Programm: Ranglisten lesen, Ergebnisse speichern und bestätigen, anzweifeln und entscheiden.",
    token: "Zum Lesen braucht es keine Anmeldung. Zum Schreiben stell dir auf der Seite deines Kontos einen Token aus und schick ihn als „Authorization: Bearer …“.",
    document: "Die Beschreibung als OpenAPI-3.1-Dokument, für Programme, die Clients erzeugen",
    caption: "Anfragen und was sie tun",
    request: "Anfrage",
    body: "Was gesendet wird",
    does: "Was sie tut",
};
