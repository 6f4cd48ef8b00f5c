//! A rolling restart is seen by nobody who repeats as the service config says.

use dashwright_tests::rolling::{Pair, roll};

/// Each server twice. `--example rolling` does any number.
const RESTARTS: usize = 4;

#[tokio::test(flavor = "multi_thread")]
async fn two_servers_are_restarted_in_turns_and_no_call_fails() {
    let pair = tokio::task::spawn_blocking(|| Pair::start().unwrap()).await.unwrap();
    let (pair, figures) = roll(pair, RESTARTS).await.unwrap();
    assert!(figures.failed.is_empty(), "{figures:#?}");
    assert!(figures.calls >= 100 * (RESTARTS as u64 + 1), "{figures:#?}");
    tokio::task::spawn_blocking(move || pair.end().unwrap()).await.unwrap();
}
