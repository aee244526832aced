//! Work that takes a while on an async thread's time.

use tokio::runtime::{Handle, RuntimeFlavor};

/// Does work that takes a while, such as reading or deciding a whole competition file, so that what else
/// this thread was to do goes on meanwhile on another one. How many do so at once is the caller's.
pub fn aside<T>(work: impl FnOnce() -> T) -> T {
    match Handle::try_current().map(|runtime| runtime.runtime_flavor()) {
        Ok(RuntimeFlavor::MultiThread) => tokio::task::block_in_place(work),
        // A runtime of one thread has no other; and outside of any nobody waits.
        _ => work(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;
    use std::time::Duration;

    #[tokio::test(flavor = "multi_thread", worker_threads = 1)]
    async fn others_go_on_while_the_only_thread_is_at_work() {
        let (send, receive) = mpsc::channel();
        let at_work = tokio::spawn(async move { aside(|| receive.recv_timeout(Duration::from_mins(1))) });
        let other = tokio::spawn(async move {
            tokio::time::sleep(Duration::from_millis(10)).await;
            send.send("from another task").expect("it waits");
        });
        assert_eq!(at_work.await.expect("no panic"), Ok("from another task"));
        other.await.expect("no panic");
    }

    #[tokio::test]
    async fn on_a_runtime_of_one_thread_it_is_done_all_the_same() {
        assert_eq!(aside(|| 2 + 2), 4);
    }
}
