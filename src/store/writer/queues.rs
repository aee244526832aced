//! What waits for the writer: changes that somebody waits for, and rows of files, which make way for them and
//! leave other processes time.

use super::{GROUP, Job};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

/// How rows of files take the database: at most so many together, and how others come to it.
#[derive(Clone, Copy)]
pub(super) struct Pace {
    /// Rows committed together at most, where nobody else waits: the rows of a group go to pages all over the
    /// tables, and each page is written once a group.
    pub(super) rows: usize,
    /// Who else may want it.
    others: Others,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Others {
    /// Nobody.
    Nobody,
    /// Other processes look again and again whether it is free: a group has all of it in hand.
    Look,
    /// They wait in a line, for the one competition.
    Line,
}

impl Pace {
    /// A file that other processes may have open too.
    pub(super) const FILE: Self = Self { rows: 2_048, others: Others::Look };
    /// A file that nobody else knows of yet.
    pub(super) const NEW_FILE: Self = Self { rows: 16_384, others: Others::Nobody };
    /// A server.
    pub(super) const SERVER: Self = Self { rows: 2_048, others: Others::Line };
}

/// How long rows of files take the database at most at once, about: of a slower machine fewer go together.
const HELD: Duration = Duration::from_millis(250);
/// Rows of files that are committed beside a full group of other changes.
const BESIDE: usize = 32;
/// What part of the time that rows of a file took is left to other processes after them: who waits for a file
/// looks again and again whether it is free, and has to meet that moment.
const LEFT: u32 = 10;
/// How long after a change that somebody waited for the rows of files go in small groups: the next one is
/// waited for by somebody too.
const CALM: Duration = Duration::from_secs(1);

/// What waits. Rows of files make way for the changes that somebody waits for.
pub(super) struct Queues {
    waited_for: mpsc::Receiver<Job>,
    of_files: mpsc::Receiver<Job>,
    /// Rows committed together at most, where nobody else waits: as many as take no longer than [`HELD`].
    together: usize,
    pace: Pace,
    /// When somebody waited last.
    waited: Option<Instant>,
    /// Until when rows of files leave the database to other processes.
    free: Instant,
}

impl Queues {
    pub(super) fn new(waited_for: mpsc::Receiver<Job>, of_files: mpsc::Receiver<Job>, pace: Pace) -> Self {
        let together = if pace.others == Others::Nobody { pace.rows } else { GROUP };
        Self { waited_for, of_files, together, pace, waited: None, free: Instant::now() }
    }

    /// What is to be committed next, together; `None`: nothing comes any more. Once it is to stop, nothing
    /// new is taken, and what waits is given out.
    pub(super) async fn next(&mut self, stop: &CancellationToken) -> Option<Vec<Job>> {
        let free = self.free;
        let calm = self.waited.is_none_or(|at| at.elapsed() >= CALM);
        let together = if calm { self.together } else { GROUP };
        let (mut jobs, mut rows) = (Vec::new(), Vec::new());
        let mut ended = false;
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled(), if !self.waited_for.is_closed() => {
                    self.waited_for.close();
                    self.of_files.close();
                }
                n = self.waited_for.recv_many(&mut jobs, GROUP), if !ended => {
                    ended = n == 0;
                    if n > 0 {
                        self.waited = Some(Instant::now());
                        let beside = (GROUP - n).max(BESIDE);
                        jobs.extend((0..beside).map_while(|_| self.of_files.try_recv().ok()));
                        return Some(jobs);
                    }
                }
                n = async {
                    if free > Instant::now() {
                        tokio::time::sleep_until(free).await;
                    }
                    self.of_files.recv_many(&mut rows, together).await
                } => return (n > 0).then_some(rows),
            }
        }
    }

    /// So many rows of files took so long.
    pub(super) fn took(&mut self, rows: usize, time: Duration) {
        if self.pace.others != Others::Look {
            return;
        }
        self.free = Instant::now() + time / LEFT;
        if time > HELD {
            self.together = (self.together / 2).max(GROUP);
        } else if rows == self.together && time < HELD / 2 {
            self.together = (self.together * 2).min(self.pace.rows);
        }
    }
}
