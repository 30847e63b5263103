//! The wire between a browser and the club: what was asked for, how many bytes came back, and what happens when it is slow or cut.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

/// One request and all that came back for it, heads included.
#[derive(Clone, Debug)]
pub struct Asked {
    pub path: String,
    pub bytes: usize,
    pub is_post: bool,
    /// By the worker that keeps pages, and not for what is on the screen.
    pub by_worker: bool,
    /// The connection it went over.
    connection: usize,
}

impl Asked {
    pub fn is_script(&self) -> bool {
        self.path.ends_with(".js")
    }

    pub fn is_stream(&self) -> bool {
        self.path.ends_with("/live")
    }
}

/// How the wire does just now.
#[derive(Clone, Copy, PartialEq)]
enum State {
    Sound,
    /// Event streams do not get through; all else does.
    StreamsWait,
    /// Nothing that is sent gets through.
    PostsWait,
    /// What is sent arrives, and its answer does not come back.
    AnswersLost,
    /// The next thing that is sent does not get through; what comes after it does.
    NextPostWaits,
    /// Nothing that is asked for or sent gets through; no connection breaks.
    AllWaits,
    Cut,
}

/// Another version of the program, as a proxy plays it: the server's own version stands in none of what the browser sees.
#[derive(Clone)]
struct Played {
    own: String,
    shown: String,
}

/// What went over the wire, and how it does: shared by its connections.
#[derive(Clone)]
struct Seen {
    played: Arc<Mutex<Option<Played>>>,
    asked: Arc<Mutex<Vec<Asked>>>,
    state: watch::Receiver<State>,
    /// Whether something sent is waiting.
    post_waits: Arc<AtomicBool>,
    /// How many answers were lost.
    lost: Arc<AtomicUsize>,
}

/// A wire to one club. The browser goes to `base` instead of the club's own address.
pub struct Wire {
    pub base: String,
    seen: Seen,
    state: watch::Sender<State>,
}

impl Wire {
    /// Lays a wire to a server.
    pub async fn to(base: &str) -> Wire {
        let server = base.trim_start_matches("http://").replace("localhost", "127.0.0.1");
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let base = format!("http://localhost:{}", listener.local_addr().expect("an address").port());
        let (state, receiver) = watch::channel(State::Sound);
        let seen = Seen {
            played: Arc::default(),
            asked: Arc::default(),
            state: receiver,
            post_waits: Arc::default(),
            lost: Arc::default(),
        };
        let wire = Wire { base, seen: seen.clone(), state };
        tokio::spawn(async move {
            for connection in 0.. {
                let Ok((browser, _)) = listener.accept().await else { return };
                let (seen, server) = (seen.clone(), server.clone());
                tokio::spawn(async move {
                    let mut state = seen.state.clone();
                    tokio::select! {
                        biased;
                        // An error means that the test is over and the wire with it.
                        _ = state.wait_for(|state| *state == State::Cut) => {}
                        _ = carry(browser, &server, connection, &seen) => {}
                    }
                });
            }
        });
        wire
    }

    /// Everything that was asked for so far, in order.
    pub fn asked(&self) -> Vec<Asked> {
        self.seen.asked.lock().expect("a list").clone()
    }

    /// From now on the browser sees a program of this version, twelve figures; the server's own is `own`. What it asks for by
    /// another version's name reaches the server under that name.
    pub fn plays(&self, own: &str, shown: &str) {
        assert_eq!(own.len(), shown.len(), "lengths stay as they were announced");
        *self.seen.played.lock().expect("a version") = Some(Played { own: own.to_owned(), shown: shown.to_owned() });
    }

    /// Begins the count anew.
    pub fn forgets(&self) {
        self.seen.asked.lock().expect("a list").clear();
    }

    /// From now on event streams wait until the wire is sound again.
    pub fn holds_streams(&self) {
        self.state.send_replace(State::StreamsWait);
    }

    /// Whatever is sent waits until the wire is sound again.
    pub fn holds_posts(&self) {
        self.seen.post_waits.store(false, Ordering::Relaxed);
        self.state.send_replace(State::PostsWait);
    }

    /// The next thing that is sent waits until the wire is sound again; later things overtake it.
    pub fn holds_the_next_post(&self) {
        self.seen.post_waits.store(false, Ordering::Relaxed);
        self.state.send_replace(State::NextPostWaits);
    }

    /// Whatever is asked for or sent waits until the wire is sound again: a weak signal.
    pub fn holds_all(&self) {
        self.state.send_replace(State::AllWaits);
    }

    pub fn post_waits(&self) -> bool {
        self.seen.post_waits.load(Ordering::Relaxed)
    }

    /// From now on what is sent arrives, and the connection breaks before the answer comes back.
    pub fn loses_answers(&self) {
        self.seen.lost.store(0, Ordering::Relaxed);
        self.state.send_replace(State::AnswersLost);
    }

    /// How many answers were lost.
    pub fn lost(&self) -> usize {
        self.seen.lost.load(Ordering::Relaxed)
    }

    /// Every connection breaks, and no new one comes about.
    pub fn is_cut(&self) {
        self.state.send_replace(State::Cut);
    }

    pub fn is_sound(&self) {
        self.state.send_replace(State::Sound);
    }
}

async fn carry(browser: TcpStream, server: &str, connection: usize, seen: &Seen) -> std::io::Result<()> {
    let server = TcpStream::connect(server).await?;
    // Small writes at once, as the browser and the server make them.
    browser.set_nodelay(true)?;
    server.set_nodelay(true)?;
    let (mut from_browser, mut to_browser) = browser.into_split();
    let (mut from_server, mut to_server) = server.into_split();
    tokio::try_join!(
        ask(&mut from_browser, &mut to_server, connection, seen),
        answer(&mut from_server, &mut to_browser, connection, seen),
    )?;
    Ok(())
}

async fn ask<R, W>(browser: &mut R, server: &mut W, connection: usize, seen: &Seen) -> std::io::Result<()>
where
    R: AsyncRead + Unpin,
    W: AsyncWrite + Unpin,
{
    let mut bytes = vec![0; 16 * 1024];
    loop {
        let read = browser.read(&mut bytes).await?;
        if read == 0 {
            return server.shutdown().await;
        }
        // A browser sends the next request on a connection only after the answer to the one before.
        if let Some((method, path)) = request_of(&bytes[..read]) {
            let head = String::from_utf8_lossy(&bytes[..read]).to_ascii_lowercase();
            let by_worker = head.lines().any(|line| line.starts_with("referer:") && line.ends_with("/sw.js"));
            let asked = Asked { path, bytes: 0, is_post: method == "POST", by_worker, connection };
            let mut state = seen.state.clone();
            let now = *state.borrow();
            let is_first_post = method == "POST" && !seen.post_waits.swap(true, Ordering::Relaxed);
            let waits = match now {
                State::StreamsWait => asked.is_stream(),
                State::PostsWait => method == "POST",
                State::NextPostWaits => is_first_post,
                State::AllWaits => true,
                State::Sound | State::Cut | State::AnswersLost => false,
            };
            if waits {
                // An error means that the test is over and the wire with it.
                let _ = state.wait_for(|state| *state != now).await;
            }
            seen.asked.lock().expect("a list").push(asked);
        }
        let played = seen.played.lock().expect("a version").clone();
        let mut sent = bytes[..read].to_vec();
        if let Some(Played { own, shown }) = played {
            // What the server's own version was before is no version to this server.
            replace(&mut sent, own.as_bytes(), "0".repeat(own.len()).as_bytes());
            replace(&mut sent, shown.as_bytes(), own.as_bytes());
            // Packed, the version could not be found in the answer.
            replace(&mut sent, b"Accept-Encoding:", b"Accept-Xncoding:");
        }
        server.write_all(&sent).await?;
    }
}

/// Puts `to` wherever `from` stands; both are of one length.
fn replace(bytes: &mut [u8], from: &[u8], to: &[u8]) {
    for at in 0..bytes.len().saturating_sub(from.len() - 1) {
        if bytes[at..].starts_with(from) {
            bytes[at..at + from.len()].copy_from_slice(to);
        }
    }
}

/// How many bytes at the end may be the beginning of this text.
fn begins_at_the_end(bytes: &[u8], text: &[u8]) -> usize {
    (1..text.len()).rev().find(|length| bytes.ends_with(&text[..*length])).unwrap_or_default()
}

async fn answer<R, W>(server: &mut R, browser: &mut W, connection: usize, seen: &Seen) -> std::io::Result<()>
where
    R: AsyncRead + Unpin,
    W: AsyncWrite + Unpin,
{
    let mut bytes = vec![0; 16 * 1024];
    // The beginning of a version that the next bytes may go on with.
    let mut held = Vec::new();
    loop {
        let more = server.read(&mut bytes);
        let read = match tokio::time::timeout(Duration::from_millis(50), more).await {
            Ok(read) => read?,
            Err(_) => {
                browser.write_all(&std::mem::take(&mut held)).await?;
                continue;
            }
        };
        if read == 0 {
            browser.write_all(&held).await?;
            return browser.shutdown().await;
        }
        if let Some(asked) = seen.asked.lock().expect("a list").iter_mut().rev().find(|asked| asked.connection == connection) {
            if asked.is_post && asked.bytes == 0 && *seen.state.borrow() == State::AnswersLost {
                seen.lost.fetch_add(1, Ordering::Relaxed);
                return Err(std::io::ErrorKind::ConnectionReset.into());
            }
            asked.bytes += read;
        }
        let played = seen.played.lock().expect("a version").clone();
        held.extend_from_slice(&bytes[..read]);
        let whole = match played {
            Some(Played { own, shown }) => {
                replace(&mut held, own.as_bytes(), shown.as_bytes());
                held.len() - begins_at_the_end(&held, own.as_bytes())
            }
            None => held.len(),
        };
        browser.write_all(&held[..whole]).await?;
        held.drain(..whole);
    }
}

/// Method and path, without its query, of the request that begins here.
fn request_of(bytes: &[u8]) -> Option<(String, String)> {
    let line = bytes.split(|byte| *byte == b'\r').next().and_then(|line| std::str::from_utf8(line).ok())?;
    let mut words = line.split(' ');
    let method = words.next().filter(|method| ["GET", "POST", "HEAD"].contains(method))?;
    let target = words.next().filter(|_| words.next() == Some("HTTP/1.1"))?;
    Some((method.to_owned(), target.split('?').next().unwrap_or(target).to_owned()))
}
