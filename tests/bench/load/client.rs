//! A light generator: HTTP/1.1 over kept connections, no more of it than is needed to count answers.

use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// What somebody on one connection asks, again and again.
pub trait Asks {
    fn next(&mut self) -> &[u8];
}

/// The same by one device after the other.
pub struct InTurn {
    requests: Vec<Vec<u8>>,
    nth: usize,
}

impl InTurn {
    /// Begins with the device of this place.
    pub fn from(requests: &[Vec<u8>], nth: usize) -> InTurn {
        InTurn { requests: requests.to_vec(), nth }
    }
}

impl Asks for InTurn {
    fn next(&mut self) -> &[u8] {
        self.nth += 1;
        &self.requests[self.nth % self.requests.len()]
    }
}

/// What a round gave.
#[derive(Clone, Debug, Default)]
pub struct Load {
    pub answered: u64,
    pub refused: u64,
    pub seconds: f64,
    /// Processor time of the measured process, where the system tells it.
    pub processor: Option<Duration>,
    /// How long answers took, in order.
    pub times: Vec<Duration>,
}

/// Sends requests over as many connections as there are who ask, for a while; each at least once.
pub async fn drive<A: Asks + 'static>(to: SocketAddr, who: Vec<A>, span: Duration) -> Load {
    let began = Instant::now();
    let local = tokio::task::LocalSet::new();
    let mut load = local
        .run_until(async {
            let lines: Vec<_> = who.into_iter().map(|asks| tokio::task::spawn_local(one(to, began + span, asks))).collect();
            let mut all = Load::default();
            for line in lines {
                let one = line.await.expect("a connection lives to the end");
                all.refused += one.refused;
                all.times.extend(one.times);
            }
            all
        })
        .await;
    load.seconds = began.elapsed().as_secs_f64();
    load.answered = load.times.len() as u64 - load.refused;
    load.times.sort_unstable();
    load
}

async fn one(to: SocketAddr, end: Instant, mut asks: impl Asks) -> Load {
    let mut line = Line::open(to).await;
    let mut load = Load::default();
    loop {
        let began = Instant::now();
        let good = line.ask(asks.next()).await;
        load.times.push(began.elapsed());
        load.refused += u64::from(!good);
        if Instant::now() >= end {
            return load;
        }
    }
}

/// A kept connection.
pub struct Line {
    stream: TcpStream,
    buffer: Vec<u8>,
    /// Where the body of the last answer begins.
    body: usize,
}

impl Line {
    pub async fn open(to: SocketAddr) -> Line {
        let stream = TcpStream::connect(to).await.expect("the server takes a connection");
        stream.set_nodelay(true).expect("a socket");
        Line { stream, buffer: Vec::with_capacity(64 * 1024), body: 0 }
    }

    /// Asks and reads one whole answer; whether its status is of the 200s.
    pub async fn ask(&mut self, request: &[u8]) -> bool {
        self.stream.write_all(request).await.expect("the server reads");
        self.buffer.clear();
        let mut whole = None;
        loop {
            if whole.is_none()
                && let Some(head) = self.buffer.windows(4).position(|four| four == b"\r\n\r\n")
            {
                self.body = head + 4;
                whole = Some(self.body + length(&self.buffer[..head]).expect("answers say how long they are"));
            }
            if whole.is_some_and(|whole| self.buffer.len() >= whole) {
                return self.buffer.starts_with(b"HTTP/1.1 20");
            }
            assert!(self.stream.read_buf(&mut self.buffer).await.expect("the server answers") > 0, "the server hung up");
        }
    }

    /// The body of the last answer.
    pub fn body(&self) -> &[u8] {
        &self.buffer[self.body..]
    }
}

fn length(head: &[u8]) -> Option<usize> {
    let name = b"content-length:";
    let line = head
        .split(|byte| *byte == b'\n')
        .find(|line| line.len() > name.len() && line[..name.len()].eq_ignore_ascii_case(name))?;
    std::str::from_utf8(&line[name.len()..]).ok()?.trim().parse().ok()
}
