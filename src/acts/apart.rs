//! Work that keeps a core busy for a while, such as the reading of a long text: beside the runtime's own threads, and one at a
//! time, so that whoever is at the gate does not wait for it.

use super::Refusal;
use tokio::sync::Semaphore;

static AT_ONCE: Semaphore = Semaphore::const_new(1);
/// How many may wait for their turn: beyond it a person is asked to come back.
const MOST_WAITING: usize = 16;
static WAITING: Semaphore = Semaphore::const_new(MOST_WAITING);

/// Does the work and gives what comes of it. The turn ends with the work and not with whoever waits for it: a request that is
/// cancelled makes no room for more work than there is.
///
/// # Errors
/// [`Refusal::NotNow`] where too many wait already.
pub async fn apart<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Refusal> {
    let busy = || Refusal::NotNow("The server reads several long files at this moment. Send it again in a few seconds.".into());
    let place = WAITING.try_acquire().map_err(|_| busy())?;
    let turn = AT_ONCE.acquire().await.map_err(|_| busy())?;
    let done = tokio::task::spawn_blocking(move || {
        let (_place, _turn) = (place, turn);
        work()
    });
    done.await.map_err(|_| busy())
}
