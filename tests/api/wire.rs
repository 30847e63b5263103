//! What no browser sends: bytes put straight on the wire. The server answers with a refusal or hangs up, and goes on.

use crate::club::Club;
use crate::tools::{heard, listen};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// Sends bytes, closes its half and reads all that comes back.
fn speaks(address: &str, bytes: &[u8]) -> String {
    let mut line = TcpStream::connect(address).expect("the server listens");
    line.set_read_timeout(Some(Duration::from_secs(10))).expect("a limit");
    // The server may hang up before it has heard everything.
    let _ = line.write_all(bytes);
    let _ = line.shutdown(std::net::Shutdown::Write);
    let mut answer = Vec::new();
    let _ = line.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

#[tokio::test]
async fn bytes_that_are_no_request_are_refused_and_the_server_goes_on() {
    listen();
    let club = Club::open().await;
    let address = club.base.trim_start_matches("http://").to_owned();
    let end = "host: localhost\r\nconnection: close\r\n\r\n";
    let post = |headers: &str, body: &str| format!("POST /club/events HTTP/1.1\r\n{headers}{end}{body}").into_bytes();
    let form = "content-type: application/x-www-form-urlencoded\r\n";
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("nothing", Vec::new()),
        ("a greeting", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".to_vec()),
        ("no method", b"HELLO\r\n\r\n".to_vec()),
        ("a path with spaces", format!("GET /club events HTTP/1.1\r\n{end}").into_bytes()),
        ("a path that is no path", format!("GET club HTTP/1.1\r\n{end}").into_bytes()),
        ("a path of bytes", [b"GET /\xFF\xFE\xE9 HTTP/1.1\r\n", end.as_bytes()].concat()),
        ("a path with a broken escape", format!("GET /in/%zz%1 HTTP/1.1\r\n{end}").into_bytes()),
        ("many slashes", format!("GET ///club//events/// HTTP/1.1\r\n{end}").into_bytes()),
        ("dots", format!("GET /static/x/../../../../etc/passwd HTTP/1.1\r\n{end}").into_bytes()),
        ("dots, spelt out", format!("GET /static/x/%2e%2e/%2e%2e/Cargo.toml HTTP/1.1\r\n{end}").into_bytes()),
        ("another's address", format!("GET http://elsewhere.example/club HTTP/1.1\r\n{end}").into_bytes()),
        ("a star", format!("OPTIONS * HTTP/1.1\r\n{end}").into_bytes()),
        ("a tunnel", format!("CONNECT elsewhere.example:443 HTTP/1.1\r\n{end}").into_bytes()),
        ("no host", b"GET /club HTTP/1.1\r\nconnection: close\r\n\r\n".to_vec()),
        ("an old protocol", b"GET /club HTTP/0.9\r\n\r\n".to_vec()),
        ("HTTP/1.0", b"GET / HTTP/1.0\r\n\r\n".to_vec()),
        ("a header with NUL", format!("GET / HTTP/1.1\r\ncookie: a\0b\r\n{end}").into_bytes()),
        ("a header without a colon", format!("GET / HTTP/1.1\r\ncookie\r\n{end}").into_bytes()),
        ("a header without end", format!("GET / HTTP/1.1\r\ncookie: {}\r\n{end}", "x".repeat(1_000_000)).into_bytes()),
        ("headers without number", format!("GET / HTTP/1.1\r\n{}{end}", "a: b\r\n".repeat(1000)).into_bytes()),
        ("a path without end", format!("GET /{} HTTP/1.1\r\n{end}", "x".repeat(100_000)).into_bytes()),
        ("a length that is a word", post(&format!("{form}content-length: ten\r\n"), "name=x")),
        ("a length below nothing", post(&format!("{form}content-length: -1\r\n"), "name=x")),
        ("a length beyond all", post(&format!("{form}content-length: 99999999999999999999\r\n"), "name=x")),
        ("two lengths", post(&format!("{form}content-length: 6\r\ncontent-length: 7\r\n"), "name=x")),
        ("a body that stops early", post(&format!("{form}content-length: 600\r\n"), "name=x")),
        ("chunks that are none", post(&format!("{form}transfer-encoding: chunked\r\n"), "zz\r\nname\r\n0\r\n\r\n")),
        ("length and chunks", post(&format!("{form}content-length: 6\r\ntransfer-encoding: chunked\r\n"), "0\r\n\r\n")),
        ("a type of bytes", [b"POST /club/events HTTP/1.1\r\ncontent-type: \xFF\xFE\r\n", end.as_bytes()].concat()),
        ("another host", "GET / HTTP/1.1\r\nhost: \"><script>\r\nconnection: close\r\n\r\n".into()),
    ];
    for (what, bytes) in cases {
        let at = address.clone();
        let answer = tokio::task::spawn_blocking(move || speaks(&at, &bytes)).await.expect("spoken");
        let status = answer.split(' ').nth(1).unwrap_or_default();
        let refused = answer.is_empty() || ["2", "3", "4"].contains(&status.get(..1).unwrap_or_default());
        let not_http = status == "505" || status == "501";
        assert!(refused || not_http, "{what}: {}", answer.chars().take(300).collect::<String>());
        assert!(!answer.contains("root:") && !answer.contains("[package]"), "{what}: a file of the machine");
        assert!(!answer.contains("\"><script>"), "{what}: echoed");
    }
    assert_eq!(club.organizer.get("/alive").await.text().await, "alive\n", "the server goes on");
    assert_eq!(heard(), "");
}
