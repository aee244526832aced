//! What the command line says. It speaks English to everybody for now; what stands here is shown
//! where such a sentence reaches a page.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[
    ("cli_account_added", "Konto {account} wurde für {email} angelegt."),
    ("cli_account_changed", "{email} hatte schon Konto {account}: es hat die Rolle bekommen."),
    ("cli_account_link", "Ein Anmeldelink, der einmal gilt, 7 Tage lang; schick ihn der Person auf sicherem Weg:"),
    ("cli_applied", "{competition}: angewendet. Das hat sich geändert:"),
    ("cli_applied_dry_run", "{competition}: es wurde nichts gespeichert. Das würde sich ändern:"),
    (
        "cli_asked",
        "Zeilen mit einer Rückfrage: {rows}. Stimmt jede davon, lies sie noch einmal ein, mit: --confirm {confirm}",
    ),
    ("cli_applied_nothing", "{competition}: nichts zu ändern."),
    (
        "cli_backup_done",
        "Nach {file} kopiert. Prüf ab und zu, ob sie sich öffnen lässt: tallywright --database sqlite://{file} log verify",
    ),
    ("cli_backup_exists", "{file} gibt es schon: nenn eine neue Datei."),
    ("cli_backup_failed", "Es wurde keine Kopie gemacht, oder sie ist nicht schlüssig: {why}"),
    (
        "cli_backup_server",
        "{database} liegt auf einem PostgreSQL-Server, dessen eigenes Werkzeug sie im laufenden Betrieb kopiert: pg_dump --format=custom --file={file} --dbname=ADRESSE, mit der Adresse, die --database bekommt. Zurück geht es mit: pg_restore --exit-on-error --no-owner --dbname=ADRESSE {file}, in eine neue, leere Datenbank; prüf sie danach mit tallywright log verify.",
    ),
    ("cli_behind", "Die Rangliste ist noch nicht so weit: versuch es noch einmal."),
    ("cli_broken", "Etwas ist kaputtgegangen, und es wurde nichts weiter getan: {why}"),
    (
        "cli_busy",
        "Die Datenbank ist gerade anderweitig in Benutzung. Es wurde nichts getan: versuch es gleich noch einmal.",
    ),
    (
        "cli_database_full",
        "Der Datenträger der Datenbank ist voll. Es wurde nichts gespeichert: schaff Platz und starte den Befehl noch einmal.",
    ),
    (
        "cli_database_read_only",
        "Die Datenbank kann nur gelesen werden. Bei einer Datei: sieh nach ihren Rechten und denen ihres Ordners, und ob ihr Datenträger zum Schreiben eingehängt ist. Bei einem Server: ist er ein Standby, oder ist auf ihm default_transaction_read_only gesetzt?",
    ),
    (
        "cli_database_unavailable",
        "Die Datenbank ist gerade nicht erreichbar oder kann nicht beschrieben werden. Es wurde nichts gespeichert: sieh nach dem Weg zu ihr und nach ihrem Datenträger und starte den Befehl dann noch einmal.",
    ),
    ("cli_database_unreachable", "Die Datenbank ist nicht erreichbar: {why}"),
    ("cli_changed_meanwhile", "Inzwischen hat es jemand anderes geändert: schau es noch einmal an."),
    ("cli_database_address", "Die Datenbank {url} lässt sich nicht öffnen: {why}."),
    (
        "cli_demo_database",
        "Datenbank: {path}. Sie bleibt liegen, wenn die Vorführung endet; lösch sie, wann du willst.",
    ),
    ("cli_demo_making", "Der Beispielwettkampf entsteht:"),
    ("cli_demo_made", "{athletes} Athlet:innen aus {gyms} Gyms, {scores} Ergebnisse, in {seconds} s gemacht."),
    ("cli_demo_nobody_real", "Alle Personen, Gyms und Zahlen sind erfunden."),
    ("cli_demo_ready", "Tallywright ist bereit: {url}"),
    ("cli_demo_refused", "Ein Teil des Beispiels wurde abgelehnt: {why}"),
    ("cli_demo_sign_in", "Melde dich unter {url}/signin an, als eine dieser Personen:"),
    ("cli_demo_stop", "Mit Strg-C beenden."),
    (
        "cli_demo_used",
        "{url} gibt es schon, und die Vorführung braucht eine frische Datenbank: nenn eine andere, oder lass --database weg.",
    ),
    ("cli_file_holds", "{competition}: die Datei ist schlüssig. {divisions} Klassen, {workouts} Workouts."),
    ("cli_file_not_utf8", "{file} ist ab Zeile {line} nicht UTF-8: speichere sie als UTF-8."),
    ("cli_file_unreadable", "{file} lässt sich nicht lesen: {why}"),
    ("cli_file_unwritable", "{file} lässt sich nicht schreiben: {why}"),
    ("cli_imported", "{taken} übernommen, {unchanged} unverändert, {refused} abgelehnt"),
    (
        "cli_imported_late",
        "{late} davon kamen nach Schluss: als verspätet gespeichert, ohne Platz, bis die Wettkampfleitung sie zulässt.",
    ),
    ("cli_log_differs", "{competition}: der erste Unterschied in {records} Einträgen: {difference}"),
    (
        "cli_log_verified",
        "{competition}: {records} Einträge, die Tabellen sind, wie das Protokoll sagt. Wurzel des Baums: {root}",
    ),
    ("cli_no_competition", "Einen Wettkampf {competition} gibt es in dieser Datenbank nicht."),
    ("cli_no_competitions", "In dieser Datenbank gibt es noch keinen Wettkampf."),
    (
        "cli_no_database",
        "Bei {url} gibt es keine Datenbank: nenn sie mit --database, oder leg eine mit competition apply oder serve an.",
    ),
    (
        "cli_outcome_unknown",
        "Ob es gespeichert wurde, lässt sich nicht sagen: mach dasselbe noch einmal, es ändert nichts doppelt.",
    ),
    ("cli_password_unreadable", "Gib mit --password-stdin das Passwort als eine Zeile auf der Standardeingabe an."),
    ("cli_mail_from", "Briefe brauchen einen Absender: gib --mail-from an, etwa Scores <scores@example.org>."),
    (
        "cli_plain_http",
        "Vorsicht: {url} ist unverschlüsseltes http über diesen Rechner hinaus. Passwörter und Anmeldungen gehen lesbar durchs Netz, und Cookies verlieren ihren __Host--Schutz. Setz einen Proxy mit TLS davor und gib --public-url https://… an",
    ),
    ("cli_port_denied", "Auf {address} zu lauschen ist nicht erlaubt: nenn mit --listen einen Port über 1023."),
    (
        "cli_port_taken",
        "Auf {address} lauscht schon etwas anderes: beende es, oder nenn einen anderen Port, etwa --listen 127.0.0.1:8099 (Port 0 nimmt irgendeinen freien).",
    ),
    ("cli_port_unusable", "Auf {address} zu lauschen geht nicht: {why}"),
    (
        "cli_public_url",
        "{url} ist keine Adresse für --public-url: schreib nur Schema und Host, etwa https://scores.example",
    ),
    (
        "cli_refused_hint",
        "Was übernommen ist, bleibt. Mit --refused FILE kommen die abgelehnten Zeilen in eine Datei, zum Berichtigen und erneuten Senden.",
    ),
    ("cli_refused_written", "Die abgelehnten Zeilen stehen in {file}: berichtige sie und lies diese Datei ein."),
    (
        "cli_restore_done",
        "{database} ist, wie es war, als {file} gemacht wurde. So wird sie bedient: tallywright --database {database} serve",
    ),
    (
        "cli_restore_exists",
        "{database} gibt es schon, und nichts wird überschrieben: leg die Dateien beiseite (mit denen, die danebenliegen), oder nenn mit --database eine andere.",
    ),
    ("cli_restore_failed", "{database} wurde nicht aus {file} gemacht: {why}"),
    (
        "cli_restore_foreign",
        "{file} ist keine Datenbank von Tallywright: nenn eine Datei, die tallywright backup gemacht hat.",
    ),
    (
        "cli_restore_in_use",
        "{file} ist eine Datenbank in Benutzung, denn eine weitere Datei liegt daneben ({file}-wal). Kopier sie zuerst: tallywright --database sqlite://{file} backup KOPIE.db",
    ),
    ("cli_restore_nothing", "Es gibt keine Datei {file}."),
    (
        "cli_restore_server",
        "{database} liegt auf einem PostgreSQL-Server. Eine Kopie von pg_dump kommt mit pg_restore --exit-on-error --no-owner --dbname=ADRESSE {file} zurück; eine Datei von tallywright backup mit tallywright move --from sqlite://{file} --to ADRESSE; beides in eine neue, leere Datenbank.",
    ),
    ("cli_reworked", "  Ergebnis {workout}/{bib}: neu berechnet, jetzt {text}"),
    ("cli_reworked_stale", "  Ergebnis {workout}/{bib}: wird erst mit neuen Zahlen wieder bestätigt"),
    ("cli_reworked_void", "  Ergebnis {workout}/{bib}: jetzt {text}, neu zu bestätigen"),
    ("cli_row_stored", "trotzdem gespeichert: {said}"),
    ("cli_serving", "{url} wird aus {database} bedient. Mit Strg-C beenden."),
    ("cli_stopping", "Es wird beendet: was unterwegs ist, bekommt noch seine Antwort."),
    ("cli_token_issued", "Token {id} für {email}, gültig bis {expires}; er wird nur dieses eine Mal gezeigt:"),
    ("cli_token_revoked", "Token {id} ist widerrufen."),
    (
        "cli_trusted_proxy",
        "„{given}“ ist keine Adresse für --trusted-proxies: schreib Adressen oder Netze deiner eigenen Proxys, etwa 10.0.0.2 oder 10.0.0.0/24, mit Kommas dazwischen.",
    ),
    (
        "move_differs",
        "Was von der Tabelle {table} in {to} angekommen ist, ist nicht, was abgeschickt wurde. Dort ist nichts geblieben; {from} ist, wie es war.",
    ),
    (
        "move_done",
        "{rows} Zeilen aus {tables} Tabellen sind in {to}, eine für eine geprüft. {from} ist, wie es war: nimm das eine oder das andere in Betrieb, nie beide.",
    ),
    (
        "move_log",
        "Das Protokoll von {competition} passt nicht zu seinen Tabellen: {difference} In {to} ist nichts geblieben; find mit tallywright --database {from} log verify heraus, was geschehen ist.",
    ),
    (
        "move_not_empty",
        "{to} ist nicht leer: in der Tabelle {table} stehen Zeilen. Nenn eine Datenbank, in der nichts ist.",
    ),
    (
        "move_nul",
        "In der Spalte {column} der Tabelle {table} steht ein Text mit einem Nullzeichen, das PostgreSQL nicht aufnehmen kann. Es wurde nichts umgezogen: ändere diesen Text und zieh noch einmal um.",
    ),
    (
        "move_not_vacant",
        "In {to} ist schon etwas, das diese Version des Programms nicht gemacht hat. Es ist, wie es war: nenn eine Datenbank, in der nichts ist.",
    ),
    ("move_to_itself", "--from und --to sind beide {url}: nenn zwei Datenbanken."),
    ("move_under_way", "Umzug:"),
    (
        "move_unreachable",
        "Eine der beiden Datenbanken antwortet nicht mehr: {why}. Es ist nichts umgezogen: in {to} ist nichts, und {from} ist, wie es war. Sieh nach dem Weg zu ihnen und zieh dann noch einmal um.",
    ),
];
