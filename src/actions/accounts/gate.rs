//! What slows guessing down: tries at one account, from one address and from all, tries from one
//! address, letters asked for, and the number of password hashes worked out at once.
//!
//! Every try that is let through counts, right or wrong. A full throttle never locks an account: a
//! one-time link, a session and a token go on working. The counts stand in the database, for all
//! processes on it and beyond a restart; the bound on hashing is each process's own.

use super::{AccountError, hashed};
use crate::app::App;
use crate::store::StoreError;
use crate::store::throttles::Limit;
use jiff::SignedDuration;
use sha2::{Digest, Sha256};
use std::net::{IpAddr, Ipv6Addr};
use std::time::Duration;
use tokio::sync::{Semaphore, SemaphorePermit};

/// So often in a row, then once in this time.
struct Rate(&'static str, u32, SignedDuration);

/// Tries at one account from one address.
const ACCOUNT: Rate = Rate("account_and_address", 10, SignedDuration::from_mins(1));
/// Tries at one account from all addresses: so much more than from one that nobody keeps the owner
/// out from a single address.
const EVERYWHERE: Rate = Rate("account", 100, SignedDuration::from_secs(6));
/// Tries from one address: a gym shares one.
const ADDRESS: Rate = Rate("address", 40, SignedDuration::from_secs(10));
/// Letters about a forgotten password to one account, whoever asks.
const LETTERS: Rate = Rate("letters_to_account", 3, SignedDuration::from_mins(20));
/// Letters asked for from one address.
const ASKING: Rate = Rate("letters_from_address", 10, SignedDuration::from_mins(2));

/// The bounds on what costs a process and the database most.
pub struct Gate {
    /// Who is only asked whether they have to wait.
    asking: Semaphore,
    /// One try is counted at a time, so that a flood of them leaves the other connections to those
    /// who write scores.
    counting: Semaphore,
    hashing: Semaphore,
    room: Semaphore,
}

/// So many may wait for their turn at either: each has a place that a score could have.
const WAITING: usize = 64;
/// And so many may be asked at once whether they have to wait: all others together keep most of that room.
const AT_ONCE: usize = 64;
/// How long one waits to be asked.
const ASKED: Duration = Duration::from_secs(2);

impl Default for Gate {
    fn default() -> Self {
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        let hashing = Semaphore::new(cores.saturating_sub(1).max(1));
        let asking = Semaphore::new(AT_ONCE);
        Self { asking, counting: Semaphore::new(1), hashing, room: Semaphore::new(WAITING) }
    }
}

impl Gate {
    /// A turn at hashing; where many wait already, none.
    pub(super) async fn hash(&self) -> Result<SemaphorePermit<'_>, AccountError> {
        self.turn(&self.hashing).await
    }

    /// The same for somebody who is signed in and has it done many times, one after the other.
    pub(super) async fn hash_in_turn(&self) -> Result<SemaphorePermit<'_>, AccountError> {
        Ok(self.hashing.acquire().await.map_err(anyhow::Error::new)?)
    }

    async fn turn<'a>(&'a self, at: &'a Semaphore) -> Result<SemaphorePermit<'a>, AccountError> {
        let _room = self.room.try_acquire().map_err(|_| StoreError::Crowded)?;
        Ok(at.acquire().await.map_err(anyhow::Error::new)?)
    }
}

/// Counts a try at `account` (a folded e-mail, or what else is guessed at) from `address`.
pub(super) async fn pass(app: &App, account: Option<&str>, address: Option<IpAddr>) -> Result<(), AccountError> {
    let network = address.map(network);
    let mut limits = Vec::with_capacity(3);
    limits.extend(network.map(|network| ADDRESS.of("", Some(network))));
    if let Some(account) = account {
        limits.extend([ACCOUNT.of(account, network), EVERYWHERE.of(account, None)]);
    }
    count(app, &limits).await
}

/// Counts a try at `account` from `address`, where the address has been counted for this request already.
pub(super) async fn pass_at(app: &App, account: &str, address: Option<IpAddr>) -> Result<(), AccountError> {
    count(app, &[ACCOUNT.of(account, address.map(network)), EVERYWHERE.of(account, None)]).await
}

/// Counts a letter to `account` (a folded e-mail) that is asked for from `address`.
pub(super) async fn ask(app: &App, account: &str, address: Option<IpAddr>) -> Result<(), AccountError> {
    let mut limits = vec![LETTERS.of(account, None)];
    limits.extend(address.map(|address| ASKING.of("", Some(network(address)))));
    count(app, &limits).await
}

async fn count(app: &App, limits: &[Limit]) -> Result<(), AccountError> {
    let throttled = |wait| AccountError::Throttled(Duration::try_from(wait).unwrap_or_default());
    // Who has to wait is told so without a turn: a flood from one address keeps nobody waiting.
    let asking = tokio::time::timeout(ASKED, app.gate.asking.acquire()).await;
    let asking = asking.ok().and_then(Result::ok).ok_or(StoreError::Crowded)?;
    if let Some(wait) = app.store.find_wait(limits, app.clock.now()).await? {
        return Err(throttled(wait));
    }
    drop(asking);
    let _turn = app.gate.turn(&app.gate.counting).await?;
    app.store.count_try(limits, app.clock.now()).await?.map_or(Ok(()), |wait| Err(throttled(wait)))
}

impl Rate {
    /// For this account and this network. The key is of one length however long they are, and says
    /// neither.
    fn of(&self, account: &str, network: Option<IpAddr>) -> Limit {
        let Self(what, burst, period) = *self;
        let network = network.map(|n| n.to_string()).unwrap_or_default();
        let parts = [hashed(what), hashed(account), hashed(&network)];
        Limit { key: Sha256::digest(parts.concat()).into(), burst, period }
    }
}

/// One household or gym has a whole /64 of IPv6: it counts as one address.
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) => IpAddr::V6(Ipv6Addr::from(u128::from(v6) >> 64 << 64)),
        v4 @ IpAddr::V4(_) => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_of_one_ipv6_network_share_their_tries() {
        let of = |address: &str| network(address.parse().expect("an address"));
        assert_eq!(of("2001:db8::1"), of("2001:db8::ffff"));
        assert_ne!(of("2001:db8::1"), of("2001:db8:0:1::1"));
        assert_eq!(of("::ffff:198.51.100.7"), of("198.51.100.7"));
        assert_ne!(of("198.51.100.7"), of("198.51.100.8"));
    }

    #[test]
    fn what_is_counted_apart_has_keys_of_its_own() {
        let here = Some("198.51.100.7".parse().expect("an address"));
        let keys = [
            ACCOUNT.of("a@example.org", here),
            ACCOUNT.of("a@example.org", None),
            ACCOUNT.of("b@example.org", here),
            EVERYWHERE.of("a@example.org", None),
            ADDRESS.of("", here),
        ]
        .map(|limit| limit.key);
        assert!((0..keys.len()).all(|i| !keys[..i].contains(&keys[i])));
    }
}
