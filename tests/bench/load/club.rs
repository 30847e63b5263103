//! A club of 500 entries, served as `witnessmark serve` serves it, made through the same acts.

use axum::Router;
use axum::body::Bytes;
use axum::http::header;
use axum::routing::get;
use jiff::Timestamp;
use serde_json::json;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tempfile::TempDir;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::enter::enter;
use witnessmark::acts::hand_out::to_drivers;
use witnessmark::acts::house::Outside;
use witnessmark::acts::open_event::{EventForm, open_event};
use witnessmark::acts::rights::Actor;
use witnessmark::acts::set_up::{CLUB_DAY, set_up};
use witnessmark::acts::take_roster::take_roster;
use witnessmark::web::{Web, router};

struct Machine;

#[expect(clippy::disallowed_methods, reason = "a measurement wants the machine's own clock and chance")]
impl Outside for Machine {
    fn now(&self) -> Timestamp {
        Timestamp::now()
    }

    fn new_id(&self) -> Uuid {
        Uuid::now_v7()
    }

    fn new_secret(&self) -> [u8; 20] {
        let mut secret = [0; 20];
        getrandom::fill(&mut secret).expect("random bytes");
        secret
    }
}

/// A driver whose device is in: entry and cookie.
pub struct Driver {
    entry: Uuid,
    cookie: String,
}

pub struct Club {
    pub address: SocketAddr,
    pub folder: PathBuf,
    pub drivers: Vec<Driver>,
    house: Arc<House>,
    event: Uuid,
    edition: Uuid,
    organizer: String,
    answers: String,
    closing: CancellationToken,
    _kept: TempDir,
}

impl Club {
    pub async fn open(entries: usize) -> Club {
        // Beside the program and not in a folder that may live in memory: the disc is a part of what is measured.
        let kept = TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
        let house = Arc::new(House::open(&kept.path().join("club.sqlite"), Arc::new(Machine)).await.expect("a database"));
        let first = set_up(&house, "Seven Fells Motor Club", "M. Ashdown").await.expect("a set-up").expect("a first organizer");
        let come_in = enter(&house, &first.secret).await.expect("the organizer comes in");
        let organizer: Actor = come_in.actor;
        let edition = {
            let mut db = house.store.read().await.expect("a connection");
            witnessmark::store::club::editions(&mut db).await.expect("editions")[0].id
        };
        let form = EventForm {
            name: "Spring day".into(),
            venue: "Dunmere Ring".into(),
            day: house.now().to_string()[..10].to_owned(),
            zone: "Europe/London".into(),
            groups: "A 08:50\nB 09:20\nC 09:50".into(),
            edition: edition.to_string(),
        };
        let event = open_event(&house, &organizer, &form).await.expect("an event");
        let rows: String = (1..=entries).map(|n| format!("{n},Driver {n},Alder 200 GT,{},\n", ["A", "B", "C"][n % 3])).collect();
        take_roster(&house, &organizer, event, format!("number,name,car,group,mail\n{rows}").as_bytes()).await.expect("a roster");
        let mut drivers = Vec::new();
        for (entry, out) in to_drivers(&house, &organizer, event, None).await.expect("links") {
            drivers.push(Driver { entry: entry.id, cookie: enter(&house, &out.secret).await.expect("a driver comes in").cookie });
        }
        let sheet = witnessmark::rules::sheet_file::read(CLUB_DAY).expect("the default sheet");
        let day = house.event(event).await.expect("the event").event.day;
        let answers = json!(witnessmark::demo::sound_answers(&sheet, day)).to_string();
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let closing = CancellationToken::new();
        let app = router(Web { house: house.clone(), base: format!("http://{address}").into(), closing: closing.clone() });
        let until = closing.clone().cancelled_owned();
        tokio::spawn(async move { axum::serve(listener, app).with_graceful_shutdown(until).await });
        let folder = kept.path().to_owned();
        Club { address, folder, drivers, house, event, edition, organizer: come_in.cookie, answers, closing, _kept: kept }
    }

    /// The bytes of a submission: connection `nth` sends for every 64th driver in turn, so that no history grows long.
    pub fn submission(&self, nth: usize, turn: u64) -> Vec<u8> {
        let own = self.drivers.len() / super::CONNECTIONS;
        let driver = &self.drivers[nth * own + turn as usize % own];
        let body = self.body(self.house.new_id());
        let (entry, cookie) = (driver.entry, &driver.cookie);
        let head = format!(
            "POST /my/{entry}/submissions HTTP/1.1\r\nhost: {}\r\ncookie: witnessmark={cookie}\r\ncontent-type: application/json\r\ncontent-length: {}\r\n\r\n",
            self.address,
            body.len()
        );
        (head + &body).into_bytes()
    }

    fn body(&self, id: Uuid) -> String {
        format!("{{\"id\":\"{id}\",\"seen\":[],\"edition\":\"{}\",\"answers\":{}}}", self.edition, self.answers)
    }

    pub fn body_bytes(&self) -> usize {
        self.body(Uuid::nil()).len()
    }

    /// What the store keeps of a submission: the raw measure inserts the same.
    pub fn record_body(&self) -> String {
        format!("{{\"edition\":\"{}\",\"answers\":{}}}", self.edition, self.answers)
    }

    pub async fn records(&self) -> u64 {
        self.house.store.count_records().await.expect("a count") as u64
    }

    pub fn board_request(&self) -> Vec<u8> {
        format!(
            "GET /club/events/{} HTTP/1.1\r\nhost: {}\r\ncookie: witnessmark={}\r\naccept-encoding: gzip\r\n\r\n",
            self.event, self.address, self.organizer
        )
        .into_bytes()
    }

    /// The board as it goes over the wire, packed.
    pub async fn board_bytes(&self) -> Bytes {
        let mut stream = TcpStream::connect(self.address).await.expect("a connection");
        let request = String::from_utf8(self.board_request()).expect("text").replace("\r\n\r\n", "\r\nconnection: close\r\n\r\n");
        stream.write_all(request.as_bytes()).await.expect("the server reads");
        let mut all = Vec::new();
        stream.read_to_end(&mut all).await.expect("an answer");
        assert!(all.starts_with(b"HTTP/1.1 200"), "the organizer sees the board");
        let head = all.windows(4).position(|four| four == b"\r\n\r\n").expect("a head");
        Bytes::from(all.split_off(head + 4))
    }

    pub async fn close(&self) {
        self.closing.cancel();
        self.house.close().await;
    }
}

/// A server that knows nothing but these bytes.
pub async fn serve_bytes(bytes: Bytes) -> SocketAddr {
    let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CONTENT_ENCODING, "gzip")];
    let app = Router::new().fallback(get(move || async move { (kind, bytes.clone()) }));
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("an address");
    tokio::spawn(async move { axum::serve(listener, app).await });
    address
}
