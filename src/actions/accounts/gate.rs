//! What slows guessing down: tries at one account, from one address and from all, tries from one
//! address, and the number of
//! password hashes worked out at once.
//!
//! Every try counts, right or wrong. A full throttle never locks an account: a one-time link, a
//! session and a token go on working. The counts are in memory: a restart forgets them.

use super::AccountError;
use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use std::hash::Hash;
use std::net::{IpAddr, Ipv6Addr};
use std::num::NonZeroU32;
use std::time::Duration;
use tokio::sync::Semaphore;

/// Tries at one account from one address in a row; then one a minute.
const TRIES_ACCOUNT: NonZeroU32 = NonZeroU32::new(10).expect("ten is not zero");
const PERIOD_ACCOUNT: Duration = Duration::from_mins(1);
/// Tries at one account from all addresses in a row; then one every six seconds. So much more than
/// from one that nobody keeps the owner out from a single address.
const TRIES_EVERYWHERE: NonZeroU32 = NonZeroU32::new(100).expect("a hundred is not zero");
const PERIOD_EVERYWHERE: Duration = Duration::from_secs(6);
/// Tries from one address in a row (a gym shares one); then one every ten seconds.
const TRIES_ADDRESS: NonZeroU32 = NonZeroU32::new(40).expect("forty is not zero");
const PERIOD_ADDRESS: Duration = Duration::from_secs(10);
/// Keys kept before those that have recovered are swept out.
const SWEEP: usize = 10_000;

/// An account as it is counted: the SHA-256 of its folded e-mail, so that a long one takes no room.
type Account = [u8; 32];

/// Throttles of sign-in and the bound on password hashing. One a process.
pub struct Gate {
    accounts: DefaultKeyedRateLimiter<(Account, Option<IpAddr>)>,
    everywhere: DefaultKeyedRateLimiter<Account>,
    addresses: DefaultKeyedRateLimiter<IpAddr>,
    pub(super) hashing: Semaphore,
}

impl Default for Gate {
    fn default() -> Self {
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        Self {
            accounts: RateLimiter::keyed(quota(TRIES_ACCOUNT, PERIOD_ACCOUNT)),
            everywhere: RateLimiter::keyed(quota(TRIES_EVERYWHERE, PERIOD_EVERYWHERE)),
            addresses: RateLimiter::keyed(quota(TRIES_ADDRESS, PERIOD_ADDRESS)),
            hashing: Semaphore::new(cores.saturating_sub(1).max(1)),
        }
    }
}

fn quota(burst: NonZeroU32, period: Duration) -> Quota {
    Quota::with_period(period).expect("the period is not zero").allow_burst(burst)
}

impl Gate {
    /// Counts a try at `account` (a folded e-mail) from `address`.
    pub(super) fn pass(&self, account: Option<&str>, address: Option<IpAddr>) -> Result<(), AccountError> {
        let network = address.map(network);
        if let Some(network) = network {
            check(&self.addresses, &network)?;
        }
        let Some(account) = account.map(super::hashed) else { return Ok(()) };
        // Who is stopped here does not use up what is left to others.
        check(&self.accounts, &(account, network))?;
        check(&self.everywhere, &account)
    }
}

fn check<K: Hash + Eq + Clone>(limiter: &DefaultKeyedRateLimiter<K>, key: &K) -> Result<(), AccountError> {
    if limiter.len() > SWEEP {
        limiter.retain_recent();
    }
    limiter.check_key(key).map_err(|until| AccountError::Throttled(until.wait_time_from(DefaultClock::default().now())))
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
    fn the_eleventh_try_at_an_account_waits_and_another_account_does_not() {
        let gate = Gate::default();
        for _ in 0..TRIES_ACCOUNT.get() {
            gate.pass(Some("a@example.org"), None).unwrap();
        }
        let refused = gate.pass(Some("a@example.org"), None).unwrap_err();
        assert!(matches!(refused, AccountError::Throttled(wait) if wait <= PERIOD_ACCOUNT && !wait.is_zero()));
        gate.pass(Some("b@example.org"), None).unwrap();
    }

    #[test]
    fn addresses_of_one_ipv6_network_share_their_tries() {
        let gate = Gate::default();
        for host in 0..u128::from(TRIES_ADDRESS.get()) {
            let address = IpAddr::V6(Ipv6Addr::from((0x2001_0db8_u128 << 96) + host));
            gate.pass(None, Some(address)).unwrap();
        }
        assert!(gate.pass(None, Some("2001:db8::ffff".parse().unwrap())).is_err());
        assert!(gate.pass(None, Some("2001:db8:0:1::1".parse().unwrap())).is_ok());
    }
}
