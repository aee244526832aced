//! A competition in which everybody is entered and nobody has a score, and a service on it.

use crate::server::Server;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::net::{SocketAddr, TcpListener};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Slug of the competition.
pub const SLUG: &str = "harbour";
/// Its divisions; odd bibs are in the first.
pub const DIVISIONS: [&str; 2] = ["women", "men"];

const FILE: &str = r#"[competition]
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
divisions = ["women", "men"]
"#;

/// A bare loop on a file: one plain row a commit, with the settings that the service has.
const BARE: &str = "
import sqlite3, sys, time
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute('PRAGMA journal_mode = WAL')
connection.execute('PRAGMA synchronous = FULL')
connection.execute('PRAGMA wal_autocheckpoint = 4000')
connection.execute('PRAGMA secure_delete = ON')
connection.execute('CREATE TABLE plain (bib INTEGER PRIMARY KEY, reps INTEGER)')
begun, done, seconds = time.perf_counter(), 0, float(sys.argv[2])
while time.perf_counter() - begun < seconds:
    connection.execute('INSERT INTO plain VALUES (?, ?)', (done, done))
    done += 1
print(done / (time.perf_counter() - begun))
";

/// Gyms, and how many a judge judges in one evening at most.
const GYMS: u32 = 20;
const A_JUDGE: u32 = 40;

/// The judge of a bib, who is of its gym.
pub fn judge(bib: u32) -> String {
    format!("J-{}-{}", bib % GYMS, bib / GYMS / A_JUDGE)
}

/// A database with everybody entered.
pub struct Ground {
    folder: tempfile::TempDir,
    url: String,
    /// How many are entered: bibs from 1.
    pub athletes: u32,
    /// Of somebody who enters scores for all.
    pub token: String,
}

/// A process that serves; ended when it is dropped.
pub struct Service {
    child: Child,
    /// Where.
    pub at: SocketAddr,
}

impl Ground {
    /// In a file.
    pub fn on_a_file(athletes: u32) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let url = format!("sqlite://{}", folder.path().join("harbour.db").display());
        Self::made(folder, url, athletes)
    }

    /// In a database of its own on this server.
    pub async fn on_a_server(server: &Server, athletes: u32) -> Self {
        Self::made(tempfile::tempdir().expect("a temporary folder"), server.database().await, athletes)
    }

    fn made(folder: tempfile::TempDir, url: String, athletes: u32) -> Self {
        let mut ground = Self { folder, url, athletes, token: String::new() };
        let mut entries = "bib,name,born,category,division,gym\n".to_owned();
        for bib in 1..=athletes {
            let division = DIVISIONS[usize::from(bib % 2 == 0)];
            let gym = bib % GYMS;
            writeln!(entries, "{bib},Athlete No{bib},1995-05-05,{division},{division},hall-{gym}")
                .expect("a text grows");
        }
        let mut gyms = "slug,name,country\n".to_owned();
        (0..GYMS).for_each(|gym| writeln!(gyms, "hall-{gym},Hall {gym},PT").expect("a text grows"));
        let mut judges = "code,name,gym,valid_from,valid_to\n".to_owned();
        let codes: BTreeMap<String, u32> = (1..=athletes).map(|bib| (judge(bib), bib % GYMS)).collect();
        for (code, gym) in codes {
            writeln!(judges, "{code},Vera No{code},hall-{gym},2025-01-01,2099-12-31").expect("a text grows");
        }
        for (name, text) in
            [("harbour.toml", FILE), ("gyms.csv", &gyms), ("judges.csv", &judges), ("entries.csv", &entries)]
        {
            std::fs::write(ground.folder.path().join(name), text).expect("a file is written");
        }
        ground.done(&["competition", "apply", "harbour.toml"]);
        for list in ["gyms", "judges", "entries"] {
            ground.done(&[list, "import", &format!("{list}.csv"), "--competition", SLUG]);
        }
        for gym in 0..GYMS {
            let gym = format!("hall-{gym}");
            let role = ["--role", "staff", "--competition", SLUG, "--gym", &gym];
            ground.done(&[&["account", "add", "ines@example.org"], &role[..]].concat());
        }
        ground.done(&["token", "issue", "ines@example.org"]).trim().clone_into(&mut ground.token);
        ground
    }

    /// Rows a second of a bare loop on the same disk, whatever the engine.
    pub fn bare_loop(&self, seconds: Duration) -> f64 {
        let file = self.folder.path().join("bare.db");
        let ran = Command::new("python3").args(["-c", BARE]).arg(file).arg(seconds.as_secs_f64().to_string()).output();
        let ran = ran.expect("python3");
        String::from_utf8_lossy(&ran.stdout).trim().parse().expect("a rate")
    }

    /// The service on it, ready.
    pub async fn serve(&self) -> Service {
        let at = TcpListener::bind(("127.0.0.1", 0)).and_then(|l| l.local_addr()).expect("a free port");
        let mut command = self.command(&["serve", "--listen", &at.to_string()]);
        let child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the program starts");
        let begun = Instant::now();
        while tokio::net::TcpStream::connect(at).await.is_err() {
            assert!(begun.elapsed() < Duration::from_mins(2), "the service does not start");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        Service { child, at }
    }

    /// The log of what is stored leads to what is stored.
    pub fn verify(&self) {
        self.done(&["log", "verify"]);
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tallywright"));
        command.args(args).current_dir(self.folder.path()).env("TALLYWRIGHT_DATABASE", &self.url);
        command.env("TALLYWRIGHT_LOG", "info").stdin(Stdio::null());
        command
    }

    fn done(&self, args: &[&str]) -> String {
        let ran = self.command(args).output().expect("the program starts");
        let (out, err) = (String::from_utf8_lossy(&ran.stdout), String::from_utf8_lossy(&ran.stderr));
        assert!(ran.status.success(), "{args:?}: {out}{err}");
        out.into_owned()
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        let told = Command::new("kill").args(["-s", "TERM", &self.child.id().to_string()]).status();
        if told.is_err() {
            let _ = self.child.kill();
        }
        let _ = self.child.wait();
    }
}
