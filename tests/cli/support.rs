//! A folder with the program in it.

#[path = "../support/database.rs"]
#[expect(dead_code, reason = "each test binary uses its own part")]
pub mod database;

use database::{Database, Raw};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A competition that is open for a lifetime, so that no test depends on the day it runs.
pub const SERIES: &str = r#"[competition]
slug = "saltmarsh"
title = "Saltmarsh Winter Series"
time_zone = "Europe/Lisbon"
age_date = 2026-01-15

[[division]]
slug = "women"
title = "Women"
category = "women"
allow_lower = false

[[division]]
slug = "men"
title = "Men"
category = "men"
allow_lower = false

[[workout]]
slug = "w1"
title = "Low Tide"
format = "amrap"
cap = "12:00"
opens = "2026-01-01T19:00"
closes = "2099-01-01T21:00"
tiebreak = "each_round"
stations = [
  { movement = "kettlebell swing", reps = 20 },
  { movement = "box step-over", reps = 14 },
  { movement = "row", calories = 6 },
]
repeat = "round"

[[workout.prescription]]
divisions = ["women", "men"]
loads = [{ item = "kettlebell", kg = 16, lb = 35 }]

[[workout]]
slug = "w2"
title = "Breakwater"
format = "for_time"
cap = "8:00"
opens = "2026-01-01T19:00"
closes = "2099-01-01T21:00"
stations = [{ movement = "front squat" }, { movement = "burpee over the bar" }]
list = [[24, 24], [16, 16], [8, 8]]

[[workout.prescription]]
divisions = ["women", "men"]
loads = [{ item = "barbell", kg = 30, lb = 65 }]
"#;

/// Two gyms.
pub const GYMS: &str =
    "slug,name,country,region\nquayside,Quayside Barbell Room,PT,Norte\nslipway,Slipway Nine,IE,Munster\n";

/// A judge for each.
pub const JUDGES: &str = "code,name,gym,valid_from,valid_to\nJ-0101,Vera Lobo,quayside,2025-01-01,2099-12-31\nJ-0201,Nora Keane,slipway,2025-01-01,2099-12-31\n";

/// Four athletes.
pub const ENTRIES: &str = "bib,name,born,category,division,gym\n1042,Ines Duarte,1997-03-04,women,women,quayside\n1043,Rita Alves,1994-11-30,women,women,quayside\n1044,Aoife Byrne,1990-06-01,women,women,slipway\n2001,Rui Matos,1988-02-29,men,men,quayside\n";

/// A folder of its own, removed at the end. The database is the one that the program takes by
/// itself, there; where the run is for a server, one that the environment names.
pub struct Folder {
    folder: tempfile::TempDir,
    database: Option<Database>,
}

/// What a command came to.
pub struct Ran {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Folder {
    /// An empty one.
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder for temporary files");
        Self { folder, database: Some(Database::bare()).filter(Database::is_served) }
    }

    /// One with the competition applied and its people in.
    pub fn with_people() -> Self {
        let folder = Self::new();
        folder.write("series.toml", SERIES);
        folder.write("gyms.csv", GYMS);
        folder.write("judges.csv", JUDGES);
        folder.write("entries.csv", ENTRIES);
        folder.run(&["competition", "apply", "series.toml"]).done();
        folder.run(&["gyms", "import", "gyms.csv", "--competition", "saltmarsh"]).done();
        folder.run(&["judges", "import", "judges.csv", "--competition", "saltmarsh"]).done();
        folder.run(&["entries", "import", "entries.csv", "--competition", "saltmarsh"]).done();
        folder
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The database, as an address for `--database`.
    pub fn database(&self) -> &str {
        self.database.as_ref().map_or("sqlite://tallywright.db", |database| &database.url)
    }

    /// Whether it is on a server.
    pub fn is_served(&self) -> bool {
        self.database.is_some()
    }

    /// Goes round the program.
    pub async fn raw(&self) -> Raw {
        match &self.database {
            Some(database) => database.raw().await,
            None => Raw::open(&format!("sqlite://{}", self.path().join("tallywright.db").display())).await,
        }
    }

    /// Writes a file into it.
    pub fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path().join(name);
        std::fs::write(&path, text).expect("a file in the folder");
        path
    }

    /// The program, told nothing by the environment but where a database on a server is.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tallywright"));
        command.args(args).current_dir(self.path());
        for (name, _) in std::env::vars().filter(|(name, _)| name.starts_with("TALLYWRIGHT_")) {
            command.env_remove(name);
        }
        if let Some(database) = &self.database {
            command.env("TALLYWRIGHT_DATABASE", &database.url);
        }
        command
    }

    /// Runs a command to its end.
    pub fn run(&self, args: &[&str]) -> Ran {
        ran(&self.command(args).stdin(Stdio::null()).output().expect("the program starts"))
    }

    /// The same with something on standard input.
    pub fn run_with(&self, args: &[&str], input: &str) -> Ran {
        let mut command = self.command(args);
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        child.stdin.take().expect("a pipe").write_all(input.as_bytes()).expect("it reads");
        ran(&child.wait_with_output().expect("it ends"))
    }
}

fn ran(output: &Output) -> Ran {
    Ran {
        code: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout.clone()).expect("UTF-8"),
        err: String::from_utf8(output.stderr.clone()).expect("UTF-8"),
    }
}

impl Ran {
    /// It was done; gives the result.
    #[track_caller]
    pub fn done(self) -> String {
        assert_eq!(self.code, 0, "{}{}", self.out, self.err);
        self.out
    }

    /// It was refused; gives the reasons.
    #[track_caller]
    pub fn refused(self) -> String {
        assert_eq!(self.code, 1, "{}{}", self.out, self.err);
        self.err
    }

    /// It was used wrongly; gives what is said.
    #[track_caller]
    pub fn misused(self) -> String {
        assert_eq!(self.code, 2, "{}{}", self.out, self.err);
        assert_eq!(self.out, "", "talk goes to standard error");
        self.err
    }
}
