//! The door to the network: plain http, or TLS with the club's own certificate; an end that waits for what was begun.

use axum::Router;
use axum_server::Handle;
use axum_server::tls_rustls::RustlsConfig;
use hyper_util::rt::TokioTimer;
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// How long a browser may take to say what it wants: a slow network has its head of a few hundred bytes there by then.
const HEAD: Duration = Duration::from_secs(20);
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
/// # Errors
/// A certificate that cannot be read, or a socket that breaks.
pub async fn serve(
    listener: TcpListener,
    certificate: Option<Certificate>,
    app: Router,
    closing: CancellationToken,
) -> Result<(), ListenError> {
    let handle = Handle::new();
    let (ending, until) = (handle.clone(), closing.clone());
    tokio::spawn(async move {
        until.cancelled().await;
        ending.graceful_shutdown(Some(END));
    });
    let app = app.into_make_service_with_connect_info::<SocketAddr>();
    match certificate {
        None => {
            let mut server = axum_server::from_tcp(listener)?.handle(handle);
            server.http_builder().http1().timer(TokioTimer::new()).header_read_timeout(HEAD);
            Ok(server.serve(app).await?)
        }
        Some(files) => {
            let config = RustlsConfig::from_pem_file(&files.chain, &files.key)
                .await
                .map_err(|source| ListenError::Certificate { files: files.clone(), source })?;
            tokio::spawn(renew(config.clone(), files, closing));
            let mut server = axum_server::from_tcp_rustls(listener, config)?.handle(handle);
            server.http_builder().http1().timer(TokioTimer::new()).header_read_timeout(HEAD);
            Ok(server.serve(app).await?)
        }
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
