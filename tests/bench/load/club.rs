//! A club of 500 entries in the middle of its day, made through the program's own acts into a file that every round copies.

use super::client::{Asks, Line};
use crate::machine::Machine;
use serde_json::{Value as Json, json};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;
use tempfile::TempDir;
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::enter::{Caller, enter};
use witnessmark::acts::hand_out::{Drivers, Use, to_drivers, to_inspector};
use witnessmark::acts::house::Outside;
use witnessmark::acts::open_event::{EventForm, open_event};
use witnessmark::acts::rights::Actor;
use witnessmark::acts::set_up::{CLUB_DAY, set_up_for};
use witnessmark::acts::sign_off::{SignOff, sign_off};
use witnessmark::acts::submit::{Submission, submit};
use witnessmark::acts::take_roster::take_roster;
use witnessmark::rules::sheet::Sheet;

/// A driver whose device is in, with the newest record of the entry.
pub struct Driver {
    entry: Uuid,
    cookie: String,
    newest: Uuid,
}

/// How many devices look at the board: together they may look more often than any machine answers.
const DEVICES: usize = 256;

pub struct Club {
    pub drivers: Vec<Driver>,
    pub records: u64,
    event: Uuid,
    edition: Uuid,
    /// The cookies of the organizer's devices: what one device looks at is counted.
    organizers: Vec<String>,
    answers: Json,
    folder: TempDir,
}

impl Club {
    pub async fn make(entries: usize) -> Club {
        // Beside the program and not in a folder that may live in memory: the disc is a part of what is measured.
        let folder = TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
        let house = House::open(&folder.path().join("club.sqlite"), Arc::new(Machine)).await.expect("a database");
        let first = set_up_for(&house, "Seven Fells Motor Club", "M. Ashdown", Use::Often)
            .await
            .expect("a set-up")
            .expect("a first organizer");
        let organizer = enter(&house, &first.secret, Caller::default()).await.expect("the organizer comes in");
        let mut organizers = vec![organizer.cookie.clone()];
        while organizers.len() < DEVICES {
            organizers.push(enter(&house, &first.secret, Caller::default()).await.expect("another device").cookie);
        }
        let (event, edition) = make_event(&house, &organizer.actor, entries).await;
        let sheet = witnessmark::rules::sheet_file::read(CLUB_DAY).expect("the default sheet");
        let day = house.event(event).await.expect("the event").event.day;
        let answers = Json::Object(witnessmark::demo::sound_answers(&sheet, day));
        let gate = to_inspector(&house, &organizer.actor, event, "R. Holt").await.expect("an inspector's link");
        let gate = enter(&house, &gate.secret, Caller::default()).await.expect("the inspector comes in").actor;
        let mut drivers = Vec::new();
        for (nth, (entry, out)) in
            to_drivers(&house, &organizer.actor, event, Drivers::WithoutLink).await.expect("links").into_iter().enumerate()
        {
            let entered = enter(&house, &out.secret, Caller::default()).await.expect("a driver comes in");
            let newest = morning(&house, &sheet, (edition, &answers), nth, (&entered.actor, &gate), entry.id).await;
            drivers.push(Driver { entry: entry.id, cookie: entered.cookie, newest });
        }
        let records = house.store.count_records().await.expect("a count") as u64;
        house.close().await;
        super::raw::settle(&folder.path().join("club.sqlite")).await;
        Club { drivers, records, event, edition, organizers, answers, folder }
    }

    /// A copy of the club's file as it stood after the morning.
    pub fn copy(&self, name: &str) -> PathBuf {
        let path = self.folder.path().join(format!("{name}.sqlite"));
        for ending in ["-wal", "-shm"] {
            // There may be none.
            let _ = std::fs::remove_file(self.folder.path().join(format!("{name}.sqlite{ending}")));
        }
        std::fs::copy(self.folder.path().join("club.sqlite"), &path).expect("a copy");
        path
    }

    /// A file of these bytes.
    pub fn keep_bytes(&self, bytes: &[u8]) -> PathBuf {
        let path = self.folder.path().join("bytes");
        std::fs::write(&path, bytes).expect("a file");
        path
    }

    /// Who sends: the drivers shared out to so many connections. Without `whole`, one answer is missing.
    pub fn senders(&self, connections: usize, whole: bool) -> Vec<Sender> {
        let each = self.drivers.len().div_ceil(connections);
        self.drivers.chunks(each).map(|drivers| Sender::new(self, drivers, whole)).collect()
    }

    /// A submission as it goes over the wire.
    fn body(&self, id: Uuid, seen: Uuid, whole: bool) -> String {
        let mut answers = self.answers.clone();
        if !whole && let Some(answers) = answers.as_object_mut() {
            answers.remove("pedal-firm");
        }
        json!({ "id": id, "seen": [seen], "edition": self.edition, "answers": answers }).to_string()
    }

    pub fn bytes_sent(&self) -> usize {
        self.body(Uuid::nil(), Uuid::nil(), true).len()
    }

    /// What the history keeps of it.
    pub fn bytes_kept(&self) -> usize {
        json!({ "edition": self.edition, "answers": self.answers }).to_string().len()
    }

    /// The board, asked for by each of the organizer's devices.
    pub fn board_requests(&self, to: SocketAddr) -> Vec<Vec<u8>> {
        self.organizers.iter().map(|cookie| self.board_request(to, cookie)).collect()
    }

    fn board_request(&self, to: SocketAddr, cookie: &str) -> Vec<u8> {
        format!(
            "GET /club/events/{} HTTP/1.1\r\nhost: {to}\r\ncookie: witnessmark={}\r\naccept-encoding: gzip\r\n\r\n",
            self.event, cookie
        )
        .into_bytes()
    }

    /// The organizer looks at the board: how many seconds it took, and the packed bytes.
    pub async fn look(&self, at: SocketAddr) -> (f64, Vec<u8>) {
        let mut line = Line::open(at).await;
        let began = Instant::now();
        assert!(line.ask(&self.board_request(at, &self.organizers[0])).await, "the organizer sees the board");
        (began.elapsed().as_secs_f64(), line.body().to_vec())
    }
}

async fn make_event(house: &House, organizer: &Actor, entries: usize) -> (Uuid, Uuid) {
    let edition = {
        let mut db = house.store.read().await.expect("a connection");
        witnessmark::store::club::editions(&mut db).await.expect("editions")[0].id
    };
    let form = EventForm {
        name: "Spring day".into(),
        venue: "Dunmere Ring".into(),
        // Today, so that what was done before the event was done before now.
        day: house.now().to_string()[..10].to_owned(),
        zone: "UTC".into(),
        groups: "A 08:50\nB 09:20\nC 09:50".into(),
        edition: edition.to_string(),
    };
    let event = open_event(house, organizer, &form).await.expect("an event");
    let rows: String = (1..=entries).map(|n| format!("{n},Driver {n},Alder 200 GT,{},\n", ["A", "B", "C"][n % 3])).collect();
    take_roster(house, organizer, event, format!("number,name,car,group,mail\n{rows}").into_bytes()).await.expect("a roster");
    (event, edition)
}

/// What becomes of an entry before the measurement: of ten, one is held, two have a thin pad, five are cleared, two wait.
async fn morning(
    house: &House,
    sheet: &Sheet,
    (edition, answers): (Uuid, &Json),
    nth: usize,
    (driver, gate): (&Actor, &Actor),
    entry: Uuid,
) -> Uuid {
    let mut given = answers.as_object().cloned().expect("answers");
    if nth % 10 < 2 {
        given["pad-front"]["at"]["lf"] = json!(2.1);
    }
    let sent = Submission { id: house.new_id(), seen: Vec::new(), edition, made_at: None, answers: Some(given) };
    let submission = sent.id;
    submit(house, driver, entry, sent).await.expect("a submission");
    let clear = match nth % 10 {
        2 => false,
        3..8 => true,
        _ => return submission,
    };
    let by_hand = sheet.items().filter(|item| item.by_hand.is_some()).map(|item| item.id.to_string()).collect();
    let reason = if clear { String::new() } else { "Oil at the gearbox.".into() };
    let (id, closes) = (house.new_id(), Default::default());
    sign_off(
        house,
        gate,
        entry,
        SignOff { id, clear, edition: Some(edition), seen: vec![submission], reason, closes, by_hand, ..SignOff::default() },
    )
    .await
    .expect("a sign-off");
    id
}

/// One connection that sends for some drivers in turn, each time a whole sheet with an id of its own.
pub struct Sender {
    requests: Vec<Template>,
    turn: usize,
    ids: Ids,
}

/// A request with the places of what changes in it.
struct Template {
    bytes: Vec<u8>,
    id: usize,
    seen: usize,
}

/// The length of an id as text.
const ID: usize = 36;

impl Sender {
    fn new(club: &Club, drivers: &[Driver], whole: bool) -> Sender {
        let requests = drivers.iter().map(|driver| Template::new(club, driver, whole)).collect();
        Sender { requests, turn: 0, ids: Ids::new(drivers[0].entry) }
    }
}

impl Template {
    fn new(club: &Club, driver: &Driver, whole: bool) -> Template {
        // A nil id stands where each turn's id goes; the newest record is the first that is seen.
        let body = club.body(Uuid::nil(), driver.newest, whole);
        let head = format!(
            "POST /my/{}/submissions HTTP/1.1\r\nhost: localhost\r\ncookie: witnessmark={}\r\n\
             content-type: application/json\r\ncontent-length: {}\r\n\r\n",
            driver.entry,
            driver.cookie,
            body.len()
        );
        let text = head + &body;
        let place = |id: Uuid| text.find(&id.to_string()).expect("the id is there");
        let (id, seen) = (place(Uuid::nil()), place(driver.newest));
        Template { bytes: text.into_bytes(), id, seen }
    }
}

impl Asks for Sender {
    fn next(&mut self) -> &[u8] {
        let count = self.requests.len();
        let request = &mut self.requests[self.turn % count];
        if self.turn >= count {
            // What was sent last for this driver is what this one has seen.
            request.bytes.copy_within(request.id..request.id + ID, request.seen);
        }
        self.turn += 1;
        self.ids.next().hyphenated().encode_lower(&mut request.bytes[request.id..request.id + ID]);
        &request.bytes
    }
}

/// Ids in a row, as a device makes them, without asking for chance at every turn.
struct Ids {
    milliseconds: u64,
    rest: u64,
}

impl Ids {
    fn new(seed: Uuid) -> Ids {
        Ids { milliseconds: Machine.now().as_millisecond() as u64, rest: seed.as_u64_pair().1 }
    }

    fn next(&mut self) -> Uuid {
        self.milliseconds += 1;
        self.rest = self.rest.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let mut bytes = [0; 10];
        bytes[2..].copy_from_slice(&self.rest.to_be_bytes());
        uuid::Builder::from_unix_timestamp_millis(self.milliseconds, &bytes).into_uuid()
    }
}
