//! Serving: where, beside other commands, and stopping in order.

use super::support::Folder;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc;
use std::time::Duration;

/// A service that is ended when it is dropped.
pub struct Serving {
    child: Child,
    address: String,
    /// Lines of standard error after the address.
    said: mpsc::Receiver<String>,
}

impl Serving {
    pub fn start(folder: &Folder, args: &[&str]) -> Self {
        let mut child = folder
            .command(&[&["serve", "--listen", "127.0.0.1:0"], args].concat())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let lines = BufReader::new(child.stderr.take().expect("a pipe")).lines();
        let (send, said) = mpsc::channel();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        let mut before = Vec::new();
        let address = loop {
            let line = said.recv_timeout(Duration::from_mins(1)).unwrap_or_else(|_| panic!("no address: {before:?}"));
            if let Some(rest) = line.strip_prefix("Serving http://") {
                break rest.split(' ').next().expect("an address").to_owned();
            }
            before.push(line);
        };
        Self { child, address, said }
    }

    pub fn get(&self, path: &str) -> String {
        let mut stream = TcpStream::connect(&self.address).expect("it listens");
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.address).expect("it reads");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("it answers");
        answer
    }

    fn signal(&mut self, name: &str) -> ExitStatus {
        let pid = self.child.id().to_string();
        assert!(Command::new("kill").args(["-s", name, &pid]).status().expect("kill").success());
        self.child.wait().expect("it ends")
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn it_serves_and_leaves_with_0_on_either_signal() {
    let folder = Folder::with_people();
    for signal in ["TERM", "INT"] {
        let mut serving = Serving::start(&folder, &[]);
        assert!(serving.get("/healthz").starts_with("HTTP/1.1 200"));
        assert!(serving.get("/readyz").starts_with("HTTP/1.1 200"));
        assert_eq!(serving.signal(signal).code(), Some(0), "{signal}");
        assert!(serving.said.iter().any(|l| l.starts_with("Stopping")), "{signal}");
    }
}

#[test]
fn what_another_command_stores_is_seen_by_the_service() {
    let folder = Folder::with_people();
    let serving = Serving::start(&folder, &[]);
    let path = "/api/v1/competitions/saltmarsh/divisions/women/standings";
    assert!(!serving.get(path).contains("11:24"));
    folder.write("w1.csv", "bib,performance,judge\n1042,6+14 tb 11:24,J-0101\n");
    folder.run(&["scores", "import", "w1.csv", "--competition", "saltmarsh", "--workout", "w1"]).done();
    let seen = (0..50).any(|_| {
        std::thread::sleep(Duration::from_millis(100));
        serving.get(path).contains("11:24")
    });
    assert!(seen, "{}", serving.get(path));
}

#[test]
fn a_competition_applied_beside_the_service_appears() {
    let folder = Folder::new();
    let serving = Serving::start(&folder, &[]);
    assert!(serving.get("/api/v1/competitions/saltmarsh").starts_with("HTTP/1.1 404"));
    folder.write("series.toml", super::support::SERIES);
    folder.run(&["competition", "apply", "series.toml"]).done();
    let seen = (0..50).any(|_| {
        std::thread::sleep(Duration::from_millis(100));
        serving.get("/api/v1/competitions/saltmarsh/divisions/women/standings").starts_with("HTTP/1.1 200")
    });
    assert!(seen);
}

#[test]
fn metrics_have_a_listener_of_their_own() {
    let free = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().to_string();
    let folder = Folder::with_people();
    let mut serving = Serving::start(&folder, &["--metrics-listen", &free]);
    assert!(!serving.get("/metrics").starts_with("HTTP/1.1 200"), "it wants a token on the main address");
    serving.address = free;
    assert!(serving.get("/metrics").starts_with("HTTP/1.1 200"));
    assert!(serving.get("/healthz").starts_with("HTTP/1.1 404"), "nothing else is there");
}

#[test]
fn plain_http_beyond_this_machine_is_warned_of() {
    let folder = Folder::with_people();
    let warned = |url: &str| {
        let mut child = folder
            .command(&["serve", "--listen", "127.0.0.1:0", "--public-url", url])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut warned = false;
        for line in BufReader::new(child.stderr.take().expect("a pipe")).lines().map_while(Result::ok) {
            warned |= line.contains("plain http");
            if line.starts_with("Serving") {
                break;
            }
        }
        let _ = child.kill();
        let _ = child.wait();
        warned
    };
    assert!(warned("http://scores.example"));
    assert!(!warned("https://scores.example"));
    assert!(!warned("http://localhost:8080"));
}

#[test]
fn a_taken_port_is_said_with_what_to_do() {
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let at = taken.local_addr().unwrap().to_string();
    let folder = Folder::new();
    for command in ["serve", "demo"] {
        let said = folder.run(&[command, "--listen", &at]).refused();
        assert!(said.contains("already") && said.contains("--listen"), "{said}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "no database was made");
}

#[test]
fn the_demo_refuses_a_database_that_is_there() {
    let folder = Folder::with_people();
    let said = folder.run(&["--database", folder.database(), "demo", "--listen", "127.0.0.1:0"]).refused();
    assert!(said.contains("fresh database"), "{said}");
}

#[test]
fn a_field_of_any_size_is_made_like_real_input() {
    let folder = Folder::new();
    let field = "demo --listen 127.0.0.1:0 --athletes 400 --workouts 2 --seed 7 --only-make --json";
    let args: Vec<&str> = ["--database", folder.database()].into_iter().chain(field.split(' ')).collect();
    let said: serde_json::Value = serde_json::from_str(&folder.run(&args).done()).unwrap();
    assert_eq!((said["competition"].as_str(), said["sign_in"].as_array().unwrap().len()), (Some("saltmarsh"), 5));
    folder.run(&["--database", folder.database(), "log", "verify"]).done();
    let table = ["--database", folder.database(), "standings", "--competition", "saltmarsh", "--division", "women"];
    let table = folder.run(&table).done();
    assert!(table.lines().count() > 60, "{table}");
    assert!(folder.run(&["demo", "--athletes", "400", "--workouts", "9"]).misused().contains("--workouts"));
    assert!(folder.run(&["demo", "--workouts", "2"]).misused().contains("--athletes"));
}
