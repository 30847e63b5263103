//! A light generator: HTTP/1.1 over kept connections, no more of it than is needed to count answers.

use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// What a round gave.
pub struct Load {
    pub answered: u64,
    pub refused: u64,
    pub seconds: f64,
    /// The time within which 99 of 100 were answered.
    pub slowest_of_100: Duration,
}

/// Sends requests over some connections for a while; `request(connection, turn)` gives the bytes.
pub async fn drive(to: SocketAddr, connections: usize, span: Duration, request: impl Fn(usize, u64) -> Vec<u8>) -> Load {
    let began = Instant::now();
    let each = (0..connections).map(|nth| one(to, began + span, nth, &request));
    let done = futures_util::future::join_all(each).await;
    let seconds = began.elapsed().as_secs_f64();
    let mut times: Vec<Duration> = done.iter().flat_map(|one| one.times.iter().copied()).collect();
    times.sort();
    Load {
        answered: times.len() as u64,
        refused: done.iter().map(|one| one.refused).sum(),
        seconds,
        slowest_of_100: times.get(times.len().saturating_sub(1) * 99 / 100).copied().unwrap_or_default(),
    }
}

#[derive(Default)]
struct Done {
    times: Vec<Duration>,
    refused: u64,
}

async fn one(to: SocketAddr, end: Instant, nth: usize, request: &impl Fn(usize, u64) -> Vec<u8>) -> Done {
    let mut stream = TcpStream::connect(to).await.expect("the server takes a connection");
    stream.set_nodelay(true).expect("a socket");
    let mut done = Done::default();
    let mut buffer = Vec::with_capacity(64 * 1024);
    for turn in 0.. {
        if Instant::now() >= end {
            break;
        }
        let bytes = request(nth, turn);
        let began = Instant::now();
        stream.write_all(&bytes).await.expect("the server reads");
        let good = answer(&mut stream, &mut buffer).await;
        match good {
            true => done.times.push(began.elapsed()),
            false => done.refused += 1,
        }
    }
    done
}

/// Reads one whole answer; whether its status is of the 200s.
async fn answer(stream: &mut TcpStream, buffer: &mut Vec<u8>) -> bool {
    buffer.clear();
    let mut wanted = None;
    loop {
        if wanted.is_none()
            && let Some(head) = buffer.windows(4).position(|four| four == b"\r\n\r\n")
        {
            let text = String::from_utf8_lossy(&buffer[..head]).to_ascii_lowercase();
            let length = text
                .lines()
                .find_map(|line| line.strip_prefix("content-length:"))
                .and_then(|length| length.trim().parse::<usize>().ok());
            wanted = Some(head + 4 + length.expect("answers say how long they are"));
        }
        if wanted.is_some_and(|wanted| buffer.len() >= wanted) {
            return buffer.starts_with(b"HTTP/1.1 20");
        }
        assert!(stream.read_buf(buffer).await.expect("the server answers") > 0, "the server hung up");
    }
}
