//! Work that keeps a core busy, done apart from the threads that answer, a few pieces at a time.

use super::StoreError;
use tokio::sync::Semaphore;

/// How many pieces are worked on at once: whoever is answered from memory has a core of two.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

/// Does a piece of work in its turn. The turn goes along with the work and not with whoever waits for it.
///
/// # Errors
/// [`StoreError::BrokeOff`] where the work panicked.
pub async fn apart<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, StoreError> {
    let turn = AT_ONCE.acquire().await.map_err(|_| StoreError::Closed)?;
    let done = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        work()
    });
    done.await.map_err(|_| StoreError::BrokeOff)
}
