//! Somebody who opens many connections and asks nothing: the club's day goes on, and they are closed.

use crate::club::Club;
use crate::live::Stream;
use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// What an attacker's connection says before it says no more.
const SAID: [(&str, &[u8]); 6] = [
    ("nothing", b""),
    ("one byte", b"G"),
    ("the preface of HTTP/2", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"),
    ("half a head", b"GET / HTTP/1.1\r\nhost: localhost\r\nx-slow: "),
    ("a whole request, and then nothing", b"GET /alive HTTP/1.1\r\nhost: localhost\r\n\r\n"),
    ("a form that never comes", b"POST /in HTTP/1.1\r\nhost: localhost\r\ncontent-length: 400\r\n\r\nname="),
];

fn address_of(club: &Club) -> SocketAddr {
    let port = club.base.rsplit(':').next().and_then(|port| port.parse().ok()).expect("a port");
    SocketAddr::from(([127, 0, 0, 1], port))
}

/// Opens connections that say this and no more.
async fn open(to: SocketAddr, how_many: usize, said: &[u8]) -> Vec<TcpStream> {
    let mut open = Vec::new();
    for _ in 0..how_many {
        let mut one = TcpStream::connect(to).await.expect("a connection");
        one.write_all(said).await.expect("said");
        open.push(one);
    }
    open
}

/// Reads until the server closes; how long it took, or `None` where it was still open after the limit.
async fn closed_after(mut one: TcpStream, begun: Instant, limit: Duration) -> Option<Duration> {
    let mut rest = Vec::new();
    let read = tokio::time::timeout_at((begun + limit).into(), one.read_to_end(&mut rest)).await;
    read.ok().map(|_| begun.elapsed())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_hundred_connections_of_each_kind_that_ask_nothing_stop_nobody_and_are_closed() {
    let club = Club::open().await;
    let begun = Instant::now();
    let mut held = Vec::new();
    for (words, said) in SAID {
        // A form that never comes is a request on its way: it has its own limit, of half a minute.
        let how_many = if words.starts_with("a form") { 20 } else { 100 };
        held.extend(open(address_of(&club), how_many, said).await.into_iter().map(|one| (words, one)));
    }
    assert!(held.len() >= 500);
    let ends: Vec<_> = held
        .into_iter()
        .map(|(words, one)| {
            let limit = Duration::from_secs(if words.starts_with("a form") { 40 } else { 20 });
            tokio::spawn(async move { (words, closed_after(one, begun, limit).await) })
        })
        .collect();
    let client = reqwest::Client::builder().pool_max_idle_per_host(0).build().expect("a client");
    let mut slowest = Duration::ZERO;
    while begun.elapsed() < Duration::from_secs(20) {
        let asked = Instant::now();
        let answer = client.get(format!("{}/alive", club.base)).timeout(Duration::from_secs(10)).send().await;
        assert!(answer.is_ok_and(|answer| answer.status().is_success()), "the server is alive");
        slowest = slowest.max(asked.elapsed());
        tokio::time::sleep(Duration::from_millis(250)).await;
    }
    assert!(slowest < Duration::from_secs(1), "the slowest answer took {slowest:?}");
    for end in ends {
        let (words, closed) = end.await.expect("an end");
        assert!(closed.is_some(), "a connection that said {words} was still open after its time");
    }
}

#[tokio::test]
async fn one_address_that_takes_all_its_places_gets_no_more_and_gets_them_back() {
    let club = Club::open().await;
    let held = open(address_of(&club), 640, b"G").await;
    let mut refused = 0;
    for mut one in held {
        // Who had no place is closed at once; who has one waits.
        let mut byte = [0; 1];
        let read = tokio::time::timeout(Duration::from_millis(20), one.read(&mut byte)).await;
        refused += usize::from(read.is_ok());
    }
    assert!((30..=60).contains(&refused), "{refused} of 640 were refused, with 600 places an address");
    tokio::time::sleep(Duration::from_millis(200)).await;
    club.organizer.get("/club").await.page().await;
}

#[tokio::test]
async fn a_live_page_goes_on_while_the_idle_are_closed() {
    let club = Club::open().await;
    let mut stream = Stream::open(&club.organizer, &format!("/club/events/{}/live", club.event)).await;
    tokio::time::sleep(Duration::from_secs(22)).await;
    club.driver("27").await.sends(|_| {}).await;
    let heard = tokio::time::timeout(Duration::from_secs(5), stream.next()).await;
    assert!(
        heard.is_ok_and(|heard| heard.is_some()),
        "the board hears of a sheet after more than the time that an idle connection has"
    );
}

#[tokio::test]
async fn a_device_has_room_for_its_tabs_and_not_for_a_thousand_streams() {
    let club = Club::open().await;
    let mut open = Vec::new();
    let path = format!("/club/events/{}/live", club.event);
    let mut refused = 0;
    for _ in 0..20 {
        let answer = club.organizer.get(&path).await;
        match answer.status().as_u16() {
            200 => open.push(answer),
            429 => refused += 1,
            other => panic!("{other}"),
        }
    }
    assert_eq!((open.len(), refused), (12, 8));
    drop(open);
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_eq!(club.organizer.get(&path).await.status().as_u16(), 200, "closed tabs make room");
}
