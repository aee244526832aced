//! The service as a process: started, signalled, started again at the same address.

use crate::field::Field;
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// A process that serves; killed when it is dropped.
pub struct Service {
    child: Child,
    /// Where.
    pub at: SocketAddr,
}

/// An address that nobody has at the moment.
pub fn free() -> SocketAddr {
    TcpListener::bind(("127.0.0.1", 0)).and_then(|l| l.local_addr()).expect("a free port")
}

impl Service {
    /// Starts at this address and waits until it accepts connections.
    pub fn start(field: &Field, at: SocketAddr) -> Self {
        Self::start_on(field, &field.url, at)
    }

    /// The same, with another address of the database.
    pub fn start_on(field: &Field, url: &str, at: SocketAddr) -> Self {
        let mut service = Self::spawn(field, url, at);
        service.listens();
        service
    }

    /// Waits until it accepts connections.
    pub fn listens(&mut self) {
        let began = Instant::now();
        while TcpStream::connect(self.at).is_err() {
            if let Ok(Some(status)) = self.child.try_wait() {
                panic!("the service ended at its start: {status}");
            }
            assert!(began.elapsed() < Duration::from_mins(1), "the service does not start");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Starts at this address, and waits for nothing.
    pub fn spawn(field: &Field, url: &str, at: SocketAddr) -> Self {
        let mut command = field.command(&["serve", "--listen", &at.to_string()]);
        command.env("TALLYWRIGHT_DATABASE", url);
        let log = std::env::var_os("TALLYWRIGHT_FAULTS_LOG").map(|_| Stdio::inherit());
        let child = command.stdout(Stdio::null()).stderr(log.unwrap_or_else(Stdio::null)).spawn();
        Self { child: child.expect("the program starts"), at }
    }

    /// SIGKILL: nothing is said, nothing is written.
    pub fn kill(mut self) {
        self.child.kill().expect("a process of ours");
        self.child.wait().expect("it ends");
    }

    /// SIGTERM, and what it left with.
    pub fn stop(self) -> ExitStatus {
        self.stop_within(Duration::from_mins(1))
    }

    /// The same, where it may take so long.
    pub fn stop_within(mut self, time: Duration) -> ExitStatus {
        self.signal("TERM");
        let began = Instant::now();
        while self.runs() {
            assert!(began.elapsed() < time, "it does not end");
            std::thread::sleep(Duration::from_millis(10));
        }
        self.child.wait().expect("it has ended")
    }

    /// Sends a signal by name.
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args(["-s", name, &self.child.id().to_string()]).status();
        assert!(sent.expect("kill").success(), "SIG{name}");
    }

    /// The most memory that it has had so far, in KiB.
    pub fn peak_kib(&self) -> usize {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).expect("it runs");
        let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("its peak");
        peak.trim().trim_end_matches(" kB").parse().expect("a number")
    }

    /// Whether it still runs.
    pub fn runs(&mut self) -> bool {
        matches!(self.child.try_wait(), Ok(None))
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
