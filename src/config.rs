//! Settings: flags > environment > defaults, in one struct.

use std::net::SocketAddr;

/// Everything a process is told at its start.
#[derive(Clone, Debug)]
pub struct Config {
    /// `sqlite://PATH` (another engine by its own URL).
    pub database: String,
    /// Where HTTP is served. No `Forwarded` or `X-Forwarded-*` header is believed: behind a proxy all
    /// requests share its address, and so its tries to sign in.
    pub listen: SocketAddr,
    /// The address people use, without a trailing slash.
    pub public_url: String,
    /// Where metrics are served without a token; `None`: only on `/metrics` for a token.
    pub metrics_listen: Option<SocketAddr>,
}

impl Config {
    /// Whether cookies may carry the `__Host-` prefix and `Secure`.
    #[must_use]
    pub fn secure(&self) -> bool {
        self.public_url.starts_with("https://")
    }
}
