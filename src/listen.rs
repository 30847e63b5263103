//! The door to the network: plain http, or TLS with the club's own certificate; an end that waits for what was begun.

mod places;
mod watched;

use axum::Router;
use axum_server::Handle;
use axum_server::tls_rustls::{RustlsAcceptor, RustlsConfig};
use hyper_util::rt::{TokioExecutor, TokioTimer};
use hyper_util::server::conn::auto::Builder;
use places::{AtTheDoor, Places};
pub use places::{Bounds, raise_open_files};
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use watched::IDLE;

/// The most bytes that the head of one request may have. A browser with every cookie of ours sends about two thousand.
const LARGEST_HEAD: u32 = 32 * 1024;
/// The most requests that one connection of HTTP/2 may have open: a page with its scripts, and a stream in each of some tabs.
const MOST_AT_ONCE: u32 = 64;
/// How often a connection of HTTP/2 is asked whether anybody is there, and how long it may take to say so.
const ASK: Duration = Duration::from_secs(10);
/// How long the end waits for answers that were begun.
const END: Duration = Duration::from_secs(20);
/// How often the certificate's files are read again: a renewed one is in use within the hour.
const READ_AGAIN: Duration = Duration::from_secs(3600);

/// The files of a certificate: PEM, the chain with the server's own first, and its key.
#[derive(Clone, Debug)]
pub struct Certificate {
    pub chain: PathBuf,
    pub key: PathBuf,
}

/// Why the server could not begin, or broke off.
#[derive(Debug, thiserror::Error)]
pub enum ListenError {
    #[error("the certificate {}, {}: {source}", .files.chain.display(), .files.key.display())]
    Certificate { files: Certificate, source: std::io::Error },
    #[error("listening: {0}")]
    Socket(#[from] std::io::Error),
}

/// Opens a port; it is not listened at before [`serve`].
///
/// # Errors
/// What the operating system says: the port is taken, say.
pub fn bind(address: SocketAddr) -> Result<TcpListener, ListenError> {
    let listener = TcpListener::bind(address)?;
    listener.set_nonblocking(true)?;
    Ok(listener)
}

/// Serves until `closing` is cancelled; then what was begun is answered, and no more is taken on.
///
/// Connections are bounded in number by `bounds`, and one that asks nothing is closed within 20 seconds.
///
/// # Errors
/// A certificate that cannot be read, or a socket that breaks.
pub async fn serve(
    listener: TcpListener,
    certificate: Option<Certificate>,
    app: Router,
    bounds: Bounds,
    closing: CancellationToken,
) -> Result<(), ListenError> {
    let handle = Handle::new();
    let (ending, until) = (handle.clone(), closing.clone());
    tokio::spawn(async move {
        until.cancelled().await;
        ending.graceful_shutdown(Some(END));
    });
    let app = app.into_make_service_with_connect_info::<SocketAddr>();
    let door = AtTheDoor::new(Places::new(bounds));
    let server = axum_server::from_tcp(listener)?.handle(handle).first_request_timeout(IDLE).accept_error_handler(say_why);
    match certificate {
        None => {
            // Browsers speak HTTP/2 over TLS only. To tell the two apart a server would wait for bytes without a limit.
            let mut server = server.http1_only().acceptor(door);
            bound(server.http_builder());
            Ok(server.serve(app).await?)
        }
        Some(files) => {
            let config = RustlsConfig::from_pem_file(&files.chain, &files.key)
                .await
                .map_err(|source| ListenError::Certificate { files: files.clone(), source })?;
            tokio::spawn(renew(config.clone(), files, closing));
            let mut server = server.acceptor(RustlsAcceptor::new(config).acceptor(door));
            bound(server.http_builder());
            Ok(server.serve(app).await?)
        }
    }
}

/// What one connection may ask for at once, and how long its head may take.
fn bound(builder: &mut Builder<TokioExecutor>) {
    let mut one = builder.http1();
    one.timer(TokioTimer::new()).header_read_timeout(IDLE).max_buf_size(LARGEST_HEAD as usize);
    let mut two = builder.http2();
    two.timer(TokioTimer::new()).keep_alive_interval(ASK).keep_alive_timeout(ASK);
    two.max_concurrent_streams(MOST_AT_ONCE).max_header_list_size(LARGEST_HEAD);
}

/// Says why a connection could not be taken on. Strangers bring about most of these; what the operating system refuses is ours to mend.
fn say_why(from: Option<&SocketAddr>, error: &std::io::Error) {
    match from {
        None => tracing::error!(%error, "a connection could not be accepted"),
        Some(from) => tracing::debug!(%from, %error, "a connection was not taken on"),
    }
}

/// Reads the certificate again from time to time. One that cannot be read leaves the old one in use, and says so.
async fn renew(config: RustlsConfig, files: Certificate, closing: CancellationToken) {
    while closing.run_until_cancelled(tokio::time::sleep(READ_AGAIN)).await.is_some() {
        if let Err(error) = config.reload_from_pem_file(&files.chain, &files.key).await {
            tracing::error!(%error, chain = %files.chain.display(), "the certificate could not be read again; the old one stays");
        }
    }
}
