//! Behind a proxy or not: the server's own TLS, plain http on the club's network, and whom it believes.

use crate::club::{Club, Person};
use reqwest::{Certificate as Trusted, Client, StatusCode, redirect};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tokio::time::timeout_at;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;
use tokio_rustls::rustls::{ClientConfig, RootCertStore};
use witnessmark::acts::House;
use witnessmark::acts::set_up::set_up;
use witnessmark::listen::{self, Bounds, Certificate};
use witnessmark::web::{Web, router};

/// A club's server with a certificate of its own, made for this test.
pub struct Tls {
    pub address: SocketAddr,
    pub client: Client,
    pub secret: String,
    /// The certificate, as a client that trusts it is given it.
    pub der: Vec<u8>,
    pub web: Web,
    _folder: tempfile::TempDir,
}

pub async fn serves_tls() -> Tls {
    let folder = tempfile::TempDir::new().expect("a folder");
    let made = rcgen::generate_simple_self_signed(vec!["localhost".into()]).expect("a certificate");
    let files = Certificate { chain: folder.path().join("chain.pem"), key: folder.path().join("key.pem") };
    std::fs::write(&files.chain, made.cert.pem()).expect("a file");
    std::fs::write(&files.key, made.signing_key.serialize_pem()).expect("a file");
    let house = Arc::new(House::open(&folder.path().join("club.sqlite"), crate::club::Still::new()).await.expect("a database"));
    let first = set_up(&house, "Seven Fells", "M. Ashdown").await.expect("a set-up").expect("a link");
    let listener = listen::bind(([127, 0, 0, 1], 0).into()).expect("a port");
    let address = listener.local_addr().expect("an address");
    let web = Web::new(house, &format!("https://localhost:{}", address.port()));
    tokio::spawn(listen::serve(listener, Some(files), router(web.clone()), Bounds::default(), web.closing.clone()));
    let client = Client::builder()
        .add_root_certificate(Trusted::from_pem(made.cert.pem().as_bytes()).expect("a certificate"))
        .redirect(redirect::Policy::none())
        .build()
        .expect("a client");
    Tls { address, client, secret: first.secret, der: made.cert.der().to_vec(), web, _folder: folder }
}

#[tokio::test]
async fn with_its_own_certificate_the_server_speaks_https_and_its_cookies_insist_on_it() {
    let tls = serves_tls().await;
    let door = format!("https://localhost:{}/in/{}", tls.address.port(), tls.secret);
    let answer = tls.client.get(&door).send().await.expect("the certificate is good");
    assert_eq!(answer.status(), StatusCode::OK);
    let header = |name: &str| answer.headers().get(name).and_then(|value| value.to_str().ok()).unwrap_or_default().to_owned();
    assert_eq!(header("strict-transport-security"), "max-age=2592000");
    let cookie = header("set-cookie");
    assert!(cookie.split("; ").any(|part| part == "Secure"), "{cookie}");
    let door_cookie = cookie.split(';').next().unwrap_or_default().to_owned();
    let form = [("sets", "passphrase"), ("passphrase", crate::club::PASSPHRASE)];
    let sent = tls.client.post(&door).header("cookie", door_cookie).header("sec-fetch-site", "same-origin").form(&form);
    let inside = sent.send().await.expect("an answer");
    let cookie = inside.headers().get("set-cookie").and_then(|value| value.to_str().ok()).unwrap_or_default();
    assert!(cookie.starts_with("__Host-witnessmark=") && cookie.contains("; Secure"), "{cookie}");
    tls.web.closing.cancel();
}

#[tokio::test]
async fn plain_http_at_the_tls_door_is_no_answer_and_a_stranger_to_the_certificate_gets_none() {
    let tls = serves_tls().await;
    let plain = reqwest::get(format!("http://localhost:{}/alive", tls.address.port())).await;
    assert!(plain.is_err(), "nothing is said in the open");
    let strange = reqwest::get(format!("https://localhost:{}/alive", tls.address.port())).await;
    assert!(strange.is_err(), "a client that does not know the certificate goes no further");
    let trusted = tls.client.get(format!("https://localhost:{}/alive", tls.address.port())).send().await;
    assert_eq!(trusted.expect("goes on").status(), StatusCode::OK);
    tls.web.closing.cancel();
}

#[tokio::test]
async fn a_certificate_that_cannot_be_read_is_named() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let house = Arc::new(House::open(&folder.path().join("club.sqlite"), crate::club::Still::new()).await.expect("a database"));
    let files = Certificate { chain: folder.path().join("chain.pem"), key: folder.path().join("key.pem") };
    std::fs::write(&files.chain, "no certificate").expect("a file");
    let listener = listen::bind(([127, 0, 0, 1], 0).into()).expect("a port");
    let web = Web::new(house, "https://localhost");
    let error = listen::serve(listener, Some(files), router(web.clone()), Bounds::default(), web.closing)
        .await
        .expect_err("it does not begin");
    assert!(error.to_string().contains("key.pem"), "{error}");
}

/// On the club's own network without a certificate: what then does not work is said where somebody would look for it.
#[tokio::test]
async fn on_plain_http_the_pages_say_what_does_not_work() {
    let club = Club::with(None, |web| Web::new(web.house, "http://192.0.2.10:8440")).await;
    let stranger = Person::stranger(&club.base);
    for (person, path) in [
        (&stranger, "/sign-in".to_owned()),
        (&club.organizer, "/club/you".into()),
        (&club.organizer, format!("/club/events/{}/people", club.event)),
    ] {
        let page = person.get(&path).await.page().await;
        assert!(page.first(".plain-http").contains("whoever is on the same network can read along"), "{path}");
        assert!(page.first(".plain-http").contains("passkeys, the camera in the page, pages without signal"), "{path}");
        assert!(!page.has("[data-passkey-add]") && !page.has("[data-passkey-sign-in]"), "{path}");
    }
    let begun = club.organizer.post_json("/club/you/passkeys/begin", &serde_json::json!({})).await;
    assert_eq!(begun.status(), StatusCode::CONFLICT, "and none can be made");
    let on_the_machine = Club::open().await;
    assert!(!Person::stranger(&on_the_machine.base).get("/sign-in").await.page().await.has(".plain-http"));
}

/// A guesser who writes another address into every request is one guesser, unless the club's own proxy says otherwise.
#[tokio::test]
async fn an_address_that_the_asker_wrote_is_believed_from_the_clubs_proxy_only() {
    let count = async |club: &Club| {
        let guesser = Person::stranger(&club.base);
        let mut stopped = 0;
        for nth in 0..90 {
            let form = [("name", format!("Organizer {nth}")), ("passphrase", "longer than any passphrase ".repeat(9))];
            let request = guesser.client.post(guesser.url("/sign-in")).header("x-forwarded-for", format!("198.51.100.{nth}"));
            let answer = guesser.send(request.form(&form)).await;
            stopped += u32::from(answer.status() == StatusCode::TOO_MANY_REQUESTS);
        }
        stopped
    };
    assert!(count(&Club::open().await).await >= 25, "ninety invented addresses are one");
    let proxy = ["127.0.0.1/32".parse().expect("a network"), "::1/128".parse().expect("a network")];
    let behind = Club::with(None, |web| web.behind(&proxy)).await;
    assert_eq!(count(&behind).await, 0, "ninety people whom the proxy names are ninety");
}

/// A connection over TLS that speaks HTTP/2, as browsers do, and says these bytes.
async fn over_tls(tls: &Tls, said: &[u8]) -> TlsStream<TcpStream> {
    let mut roots = RootCertStore::empty();
    roots.add(tls.der.clone().into()).expect("a certificate");
    let provider = Arc::new(tokio_rustls::rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider).with_safe_default_protocol_versions().expect("versions");
    let mut config = config.with_root_certificates(roots).with_no_client_auth();
    config.alpn_protocols = vec![b"h2".to_vec()];
    let stream = TcpStream::connect(tls.address).await.expect("a connection");
    let name = "localhost".try_into().expect("a name");
    let mut stream = TlsConnector::from(Arc::new(config)).connect(name, stream).await.expect("a handshake");
    stream.write_all(said).await.expect("said");
    stream
}

#[tokio::test]
async fn over_tls_too_a_connection_that_asks_nothing_is_closed() {
    let tls = serves_tls().await;
    let begun = Instant::now();
    // RFC 9113, 3.4: the preface, then a SETTINGS frame, here without any setting.
    let preface = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\x04\0\0\0\0\0";
    let mut ends = JoinSet::new();
    for _ in 0..20 {
        let mut silent = TcpStream::connect(tls.address).await.expect("a connection");
        let (mut shaken, mut greeted) = (over_tls(&tls, b"").await, over_tls(&tls, preface).await);
        let limit = (begun + Duration::from_secs(20)).into();
        ends.spawn(async move { ("nothing", timeout_at(limit, silent.read_to_end(&mut Vec::new())).await.is_ok()) });
        ends.spawn(async move { ("a handshake", timeout_at(limit, shaken.read_to_end(&mut Vec::new())).await.is_ok()) });
        ends.spawn(async move { ("a preface", timeout_at(limit, greeted.read_to_end(&mut Vec::new())).await.is_ok()) });
    }
    while let Some(end) = ends.join_next().await {
        let (words, is_closed) = end.expect("an end");
        assert!(is_closed, "a connection that said {words} was open after 20 seconds");
    }
    tls.web.closing.cancel();
}
