//! The disk is full, and free again; the disk may only be read.
//!
//! Of a server two disks may be full. Where its tables stand, what needs room is refused, and the
//! server goes on. Where its write-ahead log stands, it ends itself and cannot start either until
//! somebody makes room. One disk for both is either, by which of the two asks first.
//!
//! A small disk of its own is a `tmpfs`, which only root may mount (directly or by `sudo -n`).
//! Elsewhere these say that they did nothing; under CI they fail.

use crate::field::Field;
use crate::load::Load;
use crate::server::{End, Server};
use crate::service::{Service, free};
use crate::{check, pause, times, until};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Of what those are told who want to store something.
const NOT_STORED: &str = "Nothing was stored: what you sent is safe to send again";

/// A file system of a few megabytes, taken away when it is dropped.
struct Disk(tempfile::TempDir);

impl Disk {
    fn new(size: &str) -> Option<Self> {
        let disk = Self(tempfile::tempdir().expect("a temporary folder"));
        if as_root(&["mount", "-t", "tmpfs", "-o", &format!("size={size},mode=1777"), "tmpfs"], disk.path()) {
            return Some(disk);
        }
        assert!(std::env::var_os("CI").is_none(), "a tmpfs cannot be mounted, and CI is to test that");
        eprintln!("SKIPPED: a tmpfs cannot be mounted here, so a full disk was not tried");
        None
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn database(&self) -> PathBuf {
        self.path().join("harbour.db")
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        as_root(&["umount", "-l"], self.path());
    }
}

fn as_root(command: &[&str], path: &Path) -> bool {
    let run = |command: &[&str]| {
        Command::new(command[0]).args(&command[1..]).arg(path).output().is_ok_and(|ran| ran.status.success())
    };
    run(command) || run(&[&["sudo", "-n"], command].concat())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_refuses_changes_until_there_is_room_and_loses_none() {
    let Some(disk) = Disk::new("24m") else { return };
    let field = Field::in_file(&disk.database());
    fill_again_and_again(&disk, &field).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_servers_tables_without_room_refuse_changes_until_there_is_some_and_lose_none() {
    let Some(disk) = Disk::new("40m") else { return };
    let Some(server) = Server::start() else { return };
    let field = Field::at(server.database_in(&disk.path().join("tables")).await);
    fill_again_and_again(&disk, &field).await;
}

/// Twice all room goes under load, and comes back.
async fn fill_again_and_again(disk: &Disk, field: &Field) {
    let mut service = Service::start(field, free());
    let load = Load::start(service.at, &field.token, 64);
    for _ in 0..2 {
        pause(500).await;
        let ballast = disk.path().join("ballast");
        fill(&ballast);
        until("no room is said", async || load.refusals().iter().any(|why| why.contains(NOT_STORED))).await;
        pause(500).await;
        assert!(service.runs(), "it stays up");
        let read = tokio::task::block_in_place(|| check::raw(service.at, "/c/harbour/divisions/women").0);
        assert!(check::is_ok(&read), "standings are read all the same: {read}");
        std::fs::remove_file(ballast).unwrap();
        load.goes_on().await;
    }
    let done = load.finish().await;
    check::whole(field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
    assert!(done.again > 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_ended_for_want_of_room_is_started_again_and_has_lost_nothing() {
    let Some(disk) = Disk::new("24m") else { return };
    let Some(server) = Server::start_with_log_in(&disk.path().join("log")) else { return };
    let field = Field::on(&server).await;
    let mut service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, 64);
    for _ in 0..times(1, 3) {
        load.goes_on().await;
        let ballast = disk.path().join("ballast");
        fill(&ballast);
        until("it is gone", async || !server.answers().await).await;
        until("no room is said", async || load.refusals().iter().any(|why| why.contains(NOT_STORED))).await;
        pause(500).await;
        assert!(service.runs(), "it stays up");
        std::fs::remove_file(ballast).unwrap();
        server.end(End::Immediate);
        server.start_again();
        load.goes_on().await;
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
    assert!(done.again > 0);
}

/// Takes all room that is left.
fn fill(file: &Path) {
    use std::io::Write;
    let mut ballast = std::fs::File::create(file).unwrap();
    let block = [0; 4_096];
    while ballast.write_all(&block).is_ok() {}
}

#[test]
fn a_disk_that_may_only_be_read_is_said_at_the_start() {
    let Some(disk) = Disk::new("24m") else { return };
    let field = Field::in_file(&disk.database());
    assert!(as_root(&["mount", "-o", "remount,ro"], disk.path()));
    let ran = field.run(&["serve", "--listen", "127.0.0.1:0"]);
    assert!(as_root(&["mount", "-o", "remount,rw"], disk.path()));
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(!ran.status.success() && said.contains("may only be read"), "{said}");
    field.done(&["log", "verify"]);
}
