//! Long texts that people paste or upload: read in turn, one at a time, so that whoever is at the gate does not wait for them.

use super::Refusal;
use crate::store::apart;
use tokio::sync::Semaphore;

static AT_ONCE: Semaphore = Semaphore::const_new(1);
/// How many may wait for their turn: beyond it a person is asked to come back.
const MOST_WAITING: usize = 16;
static WAITING: Semaphore = Semaphore::const_new(MOST_WAITING);

/// Reads a text apart from the threads that answer, and gives what comes of it. The turn ends with the work and not with whoever
/// waits for it: a request that is cancelled makes no room for more work than there is.
///
/// # Errors
/// [`Refusal::NotNow`] where too many wait already.
pub async fn read_apart<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Refusal> {
    let busy = || Refusal::NotNow("The server reads several long files at this moment. Send it again in a few seconds.".into());
    let place = WAITING.try_acquire().map_err(|_| busy())?;
    let turn = AT_ONCE.acquire().await.map_err(|_| busy())?;
    let read = apart(move || {
        let (_place, _turn) = (place, turn);
        work()
    });
    Ok(read.await?)
}
