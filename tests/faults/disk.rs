//! The disk is full, and free again; the disk may only be read.
//!
//! Of a server two disks may be full. Where its tables stand, what needs room is refused, and the
//! server goes on. Where its write-ahead log stands, it ends itself and cannot start either until
//! somebody makes room. One disk for both is either, by which of the two asks first.
//!
//! A disk that fails is made read-only by the system, while files on it are open for writing; of an `ext4`
//! the mount option `abort` does the same.
//!
//! A small disk of its own is a `tmpfs`, or a file with an `ext4` in it, which only root may mount
//! (directly or by `sudo -n`). Elsewhere these say that they did nothing; under CI they fail.

use crate::field::Field;
use crate::load::Load;
use crate::server::{End, Server, skipped};
use crate::service::{Service, free};
use crate::{check, pause, times, until};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Of what those are told who want to store something.
pub const NOT_STORED: &str = "Nothing was stored: what you sent is safe to send again";

/// A file system of a few megabytes, taken away when it is dropped.
struct Disk(tempfile::TempDir);

/// One that stands in a file, and can fail.
struct Image {
    disk: Disk,
    file: tempfile::NamedTempFile,
}

impl Image {
    fn new() -> Option<Self> {
        let file = tempfile::NamedTempFile::new().expect("a temporary file");
        file.as_file().set_len(48 << 20).expect("a file with holes");
        let made = ["mkfs.ext4", "/usr/sbin/mkfs.ext4"].iter().any(|mkfs| as_root(&[mkfs, "-q", "-F"], file.path()));
        let image = Self { disk: Disk(tempfile::tempdir().expect("a temporary folder")), file };
        if made && image.mount() && as_root(&["chmod", "1777"], image.disk.path()) {
            return Some(image);
        }
        skipped("a file cannot be mounted here, so a disk that fails was not tried");
        None
    }

    fn mount(&self) -> bool {
        let file = self.file.path().to_str().expect("a name in UTF-8");
        as_root(&["mount", "-o", "loop,errors=remount-ro", file], self.disk.path())
    }

    /// Nothing can be written to it any more.
    fn fail(&self) {
        assert!(as_root(&["mount", "-o", "remount,abort"], self.disk.path()), "it can be made to fail");
    }

    /// As an operator puts it back: nothing uses it meanwhile.
    fn mend(&self) {
        assert!(as_root(&["umount"], self.disk.path()), "nothing is open on it");
        assert!(self.mount(), "it is mounted again");
    }
}

impl Disk {
    fn new(size: &str) -> Option<Self> {
        let disk = Self(tempfile::tempdir().expect("a temporary folder"));
        if as_root(&["mount", "-t", "tmpfs", "-o", &format!("size={size},mode=1777"), "tmpfs"], disk.path()) {
            return Some(disk);
        }
        skipped("a tmpfs cannot be mounted here, so a full disk and one that may only be read were not tried");
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
    // So large that what the clients store never fills it by itself, the write-ahead log beside the tables with it.
    let Some(disk) = Disk::new("192m") else { return };
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
        until("it says that it takes no changes", async || {
            let (head, body) = tokio::task::block_in_place(|| check::raw(service.at, "/readyz"));
            check::is_ok(&head) && [r#""database":true"#, r#""writable":false"#].iter().all(|said| body.contains(said))
        })
        .await;
        std::fs::remove_file(ballast).unwrap();
        load.goes_on().await;
        check::meanwhile(field, &[service.at], &load);
        until("it says that it takes changes", async || {
            tokio::task::block_in_place(|| check::raw(service.at, "/readyz").1.contains(r#""writable":true"#))
        })
        .await;
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
        check::meanwhile(&field, &[service.at], &load);
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

#[test]
fn a_copy_that_finds_no_room_leaves_none_of_it() {
    let Some(disk) = Disk::new("128k") else { return };
    let field = Field::new();
    let copy = disk.path().join("copy.db");
    for _ in 0..2 {
        let ran = field.run(&["backup", copy.to_str().expect("a name in UTF-8")]);
        assert!(!ran.status.success() && !String::from_utf8_lossy(&ran.stderr).contains("already there"), "{ran:?}");
        assert_eq!(std::fs::read_dir(disk.path()).expect("a folder").count(), 0);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_disk_that_may_only_be_read_any_more_refuses_changes_and_loses_none() {
    let Some(image) = Image::new() else { return };
    let field = Field::in_file(&image.disk.database());
    let mut service = Service::start(&field, free());
    let at = service.at;
    let before = Load::start_for(at, &field.token, 32, |bib| bib <= 128);
    before.goes_on().await;
    // Nothing is on its way when it happens: of what is, this kernel (6.18) says now and then that it is on
    // such a disk, and it is not. A bare loop that appends and waits for the disk shows it.
    let mut done = before.finish().await;
    image.fail();
    until("it says that it takes no changes, though nobody has tried to store any", async || {
        tokio::task::block_in_place(|| check::raw(at, "/readyz").1.contains(r#""writable":false"#))
    })
    .await;
    let load = Load::start_for(at, &field.token, 32, |bib| bib > 128);
    until("it is said", async || load.refusals().iter().any(|why| why.contains(NOT_STORED))).await;
    pause(500).await;
    assert!(service.runs(), "it stays up");
    let (read, ready) =
        tokio::task::block_in_place(|| (check::raw(at, "/c/harbour/divisions/women").0, check::raw(at, "/readyz")));
    assert!(check::is_ok(&read), "standings are read all the same: {read}");
    assert!(check::is_ok(&ready.0) && ready.1.contains(r#""writable":false"#), "{ready:?}");
    assert_eq!(load.changes(), 0);
    service.kill();
    image.mend();
    service = Service::start(&field, at);
    load.goes_on().await;
    let after = load.finish().await;
    assert!(after.again > 0);
    done.made.extend(after.made);
    check::whole(&field, at, &done);
    println!("{} changes, {} sent again", done.changes(), after.again);
    drop(service);
}
