//! A competition to send scores to: two workouts that are open for a lifetime, two divisions and one
//! for guests, two gyms, a judge for each, and a token of somebody who enters scores.

use crate::server::Server;
use std::fmt::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// Slug of the competition.
pub const SLUG: &str = "harbour";
/// Its divisions; odd bibs are in the first.
pub const DIVISIONS: [&str; 2] = ["women", "men"];
/// Its workouts, both as many reps as possible.
pub const WORKOUTS: [&str; 2] = ["w1", "w2"];
/// Bibs 1 to this number.
pub const ATHLETES: u32 = 256;

/// Where somebody with this bib takes part.
pub fn gym(bib: u32) -> &'static str {
    if bib % 4 < 2 { "quayside" } else { "slipway" }
}

/// Its file.
pub const FILE: &str = r#"[competition]
slug = "harbour"
title = "Harbour Trials"
time_zone = "Europe/Lisbon"
age_date = 2026-01-15

[[division]]
slug = "women"
title = "Women"
category = "women"

[[division]]
slug = "men"
title = "Men"
category = "men"

[[division]]
slug = "guests"
title = "Guests"
category = "any"

[[workout]]
slug = "w1"
title = "Rope Store"
format = "amrap"
cap = "12:00"
opens = "2026-01-01T19:00"
closes = "2099-01-01T21:00"
stations = [{ movement = "row", calories = 12 }, { movement = "lunge", reps = 20 }]
repeat = "round"

[[workout.prescription]]
divisions = ["women", "men", "guests"]

[[workout]]
slug = "w2"
title = "Slack Water"
format = "max_count"
measure = "reps"
cap = "6:00"
opens = "2026-01-01T19:00"
closes = "2099-01-01T21:00"

[[workout.prescription]]
divisions = ["women", "men", "guests"]
"#;

/// A folder, removed at the end, and a database: there, or on a server.
pub struct Field {
    folder: tempfile::TempDir,
    /// The address of the database.
    pub url: String,
    /// Enters scores for both gyms.
    pub token: String,
}

impl Field {
    /// With everybody entered, in a file.
    pub fn new() -> Self {
        let folder = folder();
        let file = folder.path().join("harbour.db");
        Self::made(folder, format!("sqlite://{}", file.display()))
    }

    /// The same in this file.
    pub fn in_file(file: &Path) -> Self {
        Self::at(format!("sqlite://{}", file.display()))
    }

    /// The same in a database of its own on this server.
    pub async fn on(server: &Server) -> Self {
        Self::at(server.database().await)
    }

    /// The same in this database, which is empty.
    pub fn at(url: String) -> Self {
        Self::made(folder(), url)
    }

    fn made(folder: tempfile::TempDir, url: String) -> Self {
        let mut field = Self { folder, url, token: String::new() };
        field.write("harbour.toml", FILE);
        field.write("gyms.csv", "slug,name,country\nquayside,Quayside,PT\nslipway,Slipway,IE\n");
        field.write(
            "judges.csv",
            "code,name,gym,valid_from,valid_to\nJ-1,Vera Lobo,quayside,2025-01-01,2099-12-31\nJ-2,Nora Keane,slipway,2025-01-01,2099-12-31\n",
        );
        let mut entries = "bib,name,born,category,division,gym\n".to_owned();
        for bib in 1..=ATHLETES {
            let division = DIVISIONS[usize::from(bib % 2 == 0)];
            let gym = gym(bib);
            writeln!(entries, "{bib},Athlete No{bib},1995-05-05,{division},{division},{gym}").expect("a text grows");
        }
        field.write("entries.csv", &entries);
        field.done(&["competition", "apply", "harbour.toml"]);
        for list in ["gyms", "judges", "entries"] {
            field.done(&[list, "import", &format!("{list}.csv"), "--competition", SLUG]);
        }
        field.done(&["account", "add", "ines@example.org", "--role", "organiser", "--competition", SLUG]);
        for gym in ["quayside", "slipway"] {
            let role = ["--role", "staff", "--competition", SLUG, "--gym", gym];
            field.done(&[&["account", "add", "ines@example.org"], &role[..]].concat());
        }
        field.done(&["token", "issue", "ines@example.org"]).trim().clone_into(&mut field.token);
        field
    }

    /// The name of its database on a server.
    pub fn database(&self) -> &str {
        let (address, _) = self.url.split_once('?').unwrap_or((&self.url, ""));
        address.rsplit('/').next().unwrap_or_default()
    }

    /// Puts a file into the folder.
    pub fn write(&self, name: &str, text: &str) {
        std::fs::write(self.folder.path().join(name), text).expect("a file is written");
    }

    /// The program, to be run in the folder on this database.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tallywright"));
        command.args(args).current_dir(self.folder.path()).env("TALLYWRIGHT_DATABASE", &self.url);
        command.env("TALLYWRIGHT_LOG", "warn").stdin(Stdio::null());
        command
    }

    /// Runs another program in the folder, which must end well.
    pub fn tool(&self, args: &[&str]) {
        let ran = Command::new(args[0]).args(&args[1..]).current_dir(self.folder.path()).output().expect("it is there");
        assert!(ran.status.success(), "{args:?}: {}", String::from_utf8_lossy(&ran.stderr));
    }

    /// Runs a command to its end.
    pub fn run(&self, args: &[&str]) -> Output {
        self.command(args).output().expect("the program starts")
    }

    /// Runs a command that must end well; what it printed.
    pub fn done(&self, args: &[&str]) -> String {
        let ran = self.run(args);
        let (out, err) = (String::from_utf8_lossy(&ran.stdout), String::from_utf8_lossy(&ran.stderr));
        assert!(ran.status.success(), "{args:?}: {out}{err}");
        out.into_owned()
    }
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}
