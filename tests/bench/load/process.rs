//! The processes that are measured: the program itself, and one that knows nothing but some bytes.

use super::client::Load;
use axum::Router;
use axum::body::Bytes;
use axum::http::header;
use axum::routing::get;
use std::io::{BufRead, BufReader, Read};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The word by which this program starts itself again as [`serve_bytes`].
pub const SERVE_BYTES: &str = "serve-bytes";

pub struct Process {
    child: Child,
    pub address: SocketAddr,
}

impl Process {
    /// The program on a database, as a club runs it.
    pub fn serve(database: &Path) -> Process {
        let mut command = Command::new(env!("CARGO_BIN_EXE_witnessmark"));
        command.arg("serve").arg("--database").arg(database).args(["--listen", "127.0.0.1:0"]);
        Process::start(command)
    }

    /// A server that knows only these bytes.
    pub fn bytes(file: &Path) -> Process {
        let mut command = Command::new(std::env::current_exe().expect("this program"));
        command.arg(SERVE_BYTES).arg(file);
        Process::start(command)
    }

    fn start(mut command: Command) -> Process {
        command.env("NO_COLOR", "1").env("RUST_LOG", "info").stdout(Stdio::null()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the process can be started");
        let mut log = BufReader::new(child.stderr.take().expect("a log"));
        let address = loop {
            let mut line = String::new();
            assert!(log.read_line(&mut line).expect("a log") > 0, "the process ended before it listened");
            if let Some((_, address)) = line.split_once("listening address=") {
                break address.trim().parse().expect("an address");
            }
        };
        // The pipe is emptied to its end, so that the process never waits for us.
        std::thread::spawn(move || drop(log.read_to_end(&mut Vec::new())));
        Process { child, address }
    }

    /// Runs a load against this process and adds what processor time it took there.
    pub async fn load(&self, drive: impl AsyncFnOnce() -> Load) -> Load {
        let before = processor_time(&self.child.id().to_string());
        let load = drive().await;
        let after = processor_time(&self.child.id().to_string());
        Load { processor: before.zip(after).map(|(before, after)| after.saturating_sub(before)), ..load }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to kill.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The processor time of a process so far, `self` for this one; `None` where the system has no `/proc`.
pub fn processor_time(process: &str) -> Option<Duration> {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    // proc(5): after the name in brackets, user and system time are the 12th and 13th figure, in hundredths of a second.
    let (_, figures) = stat.rsplit_once(')')?;
    let hundredths =
        figures.split_whitespace().skip(11).take(2).map(|figure| figure.parse::<u64>().unwrap_or_default()).sum::<u64>();
    Some(Duration::from_millis(hundredths * 10))
}

/// How many processes wanted to run in the last minute, five and fifteen; `None` where the system has no `/proc`.
pub fn load_average() -> Option<String> {
    let text = std::fs::read_to_string("/proc/loadavg").ok()?;
    Some(text.split_whitespace().take(3).collect::<Vec<_>>().join(", "))
}

/// Serves the bytes of a file from memory, until it is killed.
pub fn serve_bytes(file: &str) {
    let bytes = Bytes::from(std::fs::read(file).expect("the bytes"));
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CONTENT_ENCODING, "gzip")];
        let app = Router::new().fallback(get(move || async move { (kind, bytes.clone()) }));
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
        eprintln!("listening address={}", listener.local_addr().expect("an address"));
        axum::serve(listener, app).await.expect("a server");
    });
}
