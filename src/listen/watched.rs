//! A connection that is watched: it is closed where it asks for nothing, or takes nothing of what it asked for.

use super::places::Place;
use axum::http::Response;
use http_body::{Body, Frame, SizeHint};
use std::future::Future;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep_until};
use tower::Service;

/// How long a connection may ask for nothing. A slow network has a head of a few hundred bytes there by then.
pub(super) const IDLE: Duration = Duration::from_secs(15);
/// How long a connection may take nothing of what it asked for. A live stream says something every 20 seconds.
const STUCK: Duration = Duration::from_secs(60);

/// What is known of a connection: how many requests are on their way, and when something last went on with them.
#[derive(Clone)]
pub(super) struct Watch(Arc<Mutex<Known>>);

struct Known {
    open: usize,
    at: Instant,
}

impl Watch {
    pub(super) fn begin() -> Watch {
        Watch(Arc::new(Mutex::new(Known { open: 0, at: Instant::now() })))
    }

    fn with<T>(&self, look: impl FnOnce(&mut Known) -> T) -> T {
        look(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Something went on with a request that is on its way. Bytes of a head that never ends are nothing.
    fn goes_on(&self) {
        self.with(|known| {
            if known.open > 0 {
                known.at = Instant::now();
            }
        });
    }

    /// Until when it may stay as it is.
    fn until(&self) -> Instant {
        self.with(|known| known.at + if known.open == 0 { IDLE } else { STUCK })
    }

    fn request(&self) -> OnItsWay {
        self.with(|known| *known = Known { open: known.open + 1, at: Instant::now() });
        OnItsWay(self.clone())
    }
}

/// A request from its head to the last byte of its answer.
struct OnItsWay(Watch);

impl Drop for OnItsWay {
    fn drop(&mut self) {
        self.0.with(|known| *known = Known { open: known.open.saturating_sub(1), at: Instant::now() });
    }
}

/// The bytes of a connection, with its place. It ends with an error where nothing goes on.
pub(super) struct Watched<I> {
    inner: I,
    watch: Watch,
    alarm: Pin<Box<Sleep>>,
    _place: Place,
}

impl<I> Watched<I> {
    pub(super) fn new(inner: I, watch: Watch, place: Place) -> Watched<I> {
        let alarm = Box::pin(sleep_until(watch.until()));
        Watched { inner, watch, alarm, _place: place }
    }

    pub(super) fn watch(&self) -> Watch {
        self.watch.clone()
    }

    /// Nothing came, or nothing could go: fine until the time is over.
    fn wait<T>(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<T>> {
        loop {
            ready!(self.alarm.as_mut().poll(cx));
            let until = self.watch.until();
            if until <= Instant::now() {
                return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
            }
            self.alarm.as_mut().reset(until);
        }
    }

    /// What the connection says to a read or a write, or that its time is over.
    fn watched<T>(&mut self, cx: &mut Context<'_>, said: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        match said {
            Poll::Pending => self.wait(cx),
            Poll::Ready(done) => {
                self.watch.goes_on();
                Poll::Ready(done)
            }
        }
    }
}

impl<I: AsyncRead + Unpin> AsyncRead for Watched<I> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let said = Pin::new(&mut self.inner).poll_read(cx, into);
        self.watched(cx, said)
    }
}

impl<I: AsyncWrite + Unpin> AsyncWrite for Watched<I> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let said = Pin::new(&mut self.inner).poll_write(cx, bytes);
        self.watched(cx, said)
    }

    fn poll_write_vectored(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[io::IoSlice<'_>]) -> Poll<io::Result<usize>> {
        let said = Pin::new(&mut self.inner).poll_write_vectored(cx, bytes);
        self.watched(cx, said)
    }

    fn is_write_vectored(&self) -> bool {
        self.inner.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_shutdown(cx)
    }
}

/// The program as one connection asks it: every request is noted until its answer is through.
#[derive(Clone)]
pub(super) struct WatchedService<S> {
    inner: S,
    watch: Watch,
}

impl<S> WatchedService<S> {
    pub(super) fn new(inner: S, watch: Watch) -> WatchedService<S> {
        WatchedService { inner, watch }
    }
}

impl<S, R, B> Service<R> for WatchedService<S>
where
    S: Service<R, Response = Response<B>>,
    S::Future: Send + 'static,
    S::Error: Send,
    B: Send,
{
    type Response = Response<WatchedBody<B>>;
    type Error = S::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self::Response, S::Error>> + Send>>;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(cx)
    }

    fn call(&mut self, request: R) -> Self::Future {
        let on_its_way = self.watch.request();
        let answer = self.inner.call(request);
        Box::pin(async move { Ok(answer.await?.map(|inner| WatchedBody { inner, on_its_way })) })
    }
}

/// An answer's body; the request is over once it is dropped.
pub(super) struct WatchedBody<B> {
    inner: B,
    on_its_way: OnItsWay,
}

impl<B: Body + Unpin> Body for WatchedBody<B> {
    type Data = B::Data;
    type Error = B::Error;

    fn poll_frame(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<B::Data>, B::Error>>> {
        let frame = ready!(Pin::new(&mut self.inner).poll_frame(cx));
        self.on_its_way.0.goes_on();
        Poll::Ready(frame)
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}

#[cfg(test)]
mod tests {
    use super::super::places::{Bounds, Places};
    use super::*;
    use std::net::IpAddr;
    use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
    use tokio::time::{sleep, timeout};

    fn connection() -> (Watched<DuplexStream>, DuplexStream) {
        let (ours, theirs) = duplex(64);
        let place = Places::new(Bounds::default()).take(IpAddr::from([192, 0, 2, 1])).expect("a place");
        (Watched::new(ours, Watch::begin(), place), theirs)
    }

    /// Reads until the connection ends; how it ended, and after how long.
    async fn end_of(mut connection: Watched<DuplexStream>) -> (io::ErrorKind, Duration) {
        let begun = Instant::now();
        let error = connection.read_to_end(&mut Vec::new()).await.expect_err("an end with an error");
        (error.kind(), begun.elapsed())
    }

    #[tokio::test(start_paused = true)]
    async fn who_says_nothing_is_closed() {
        let (connection, _theirs) = connection();
        let (kind, after) = end_of(connection).await;
        assert_eq!(kind, io::ErrorKind::TimedOut);
        assert!(after >= IDLE && after < IDLE + Duration::from_secs(1), "{after:?}");
    }

    #[tokio::test(start_paused = true)]
    async fn a_head_that_comes_byte_by_byte_without_end_is_no_request() {
        let (connection, mut theirs) = connection();
        tokio::spawn(async move {
            while theirs.write_all(b"x").await.is_ok() {
                sleep(Duration::from_secs(1)).await;
            }
        });
        assert!(end_of(connection).await.1 < IDLE + Duration::from_secs(2));
    }

    #[tokio::test(start_paused = true)]
    async fn a_form_that_goes_on_coming_is_waited_for() {
        let (connection, mut theirs) = connection();
        let watch = connection.watch();
        let request = watch.request();
        tokio::spawn(async move {
            for _ in 0..20 {
                sleep(Duration::from_secs(30)).await;
                theirs.write_all(b"x").await.expect("it is still open");
            }
            drop(request);
            sleep(Duration::from_secs(120)).await;
        });
        let (_, after) = end_of(connection).await;
        assert!(after >= Duration::from_secs(600) + IDLE, "{after:?}");
    }

    #[tokio::test(start_paused = true)]
    async fn who_takes_nothing_of_an_answer_is_closed() {
        let (mut connection, _theirs) = connection();
        let watch = connection.watch();
        let _request = watch.request();
        let begun = Instant::now();
        let sent = timeout(Duration::from_secs(300), connection.write_all(&[7; 1_000])).await.expect("no wait without end");
        assert_eq!(sent.map_err(|error| error.kind()), Err(io::ErrorKind::TimedOut));
        assert!(begun.elapsed() < STUCK + Duration::from_secs(1), "{:?}", begun.elapsed());
    }
}
