//! What a stranger, one driver or somebody at an open laptop tries, each in bounded numbers.

use crate::club::{Club, ORGANIZER, Person, new_id};
use reqwest::multipart::{Form, Part};
use reqwest::{Client, redirect};
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use uuid::Uuid;

/// Where the attack goes, and what the attacker has in hand.
#[derive(Clone)]
pub struct Field {
    pub base: String,
    pub address: SocketAddr,
    pub club: Arc<Club>,
    client: Client,
}

/// What the server said to the attacker: how often each status; 0 where it hung up.
pub type Said = BTreeMap<u16, usize>;

/// The names of the attacks, in the order in which they are tried.
pub const ATTACKS: [&str; 11] = [
    "sockets that say nothing",
    "sheets that name 499 others",
    "sheets as large as can be",
    "junk in the fields of an area",
    "uploads that never end",
    "large photos and bombs",
    "one page, again and again",
    "live pages",
    "garages and notes",
    "guesses at passphrases and links",
    "a roster of commas",
];

impl Field {
    pub fn new(base: &str, club: &Arc<Club>) -> Field {
        // HTTP/1.1, as many connections as it takes.
        let client = Client::builder().redirect(redirect::Policy::none()).timeout(Duration::from_secs(40)).build();
        let address = base.trim_start_matches("http://").replace("localhost", "127.0.0.1").parse().expect("an address");
        Field { base: base.to_owned(), address, club: club.clone(), client: client.expect("a client") }
    }

    /// Tries one attack, `times` as hard as the short one.
    pub async fn attack(&self, name: &str, times: usize) -> Said {
        match name {
            "sockets that say nothing" => self.sockets(times).await,
            "sheets that name 499 others" => self.sheets_that_name(times).await,
            "sheets as large as can be" => self.large_sheets(times).await,
            "junk in the fields of an area" => self.junk(times).await,
            "uploads that never end" => self.unfinished().await,
            "large photos and bombs" => self.photos(times).await,
            "one page, again and again" => self.one_page(times).await,
            "live pages" => self.live_pages().await,
            "garages and notes" => self.garages(times).await,
            "guesses at passphrases and links" => self.guesses(times).await,
            "a roster of commas" => self.commas().await,
            other => panic!("no attack is called {other}"),
        }
    }

    fn cookie(&self, person: &Person) -> String {
        format!("witnessmark={}", person.cookie)
    }

    /// Sends many requests, so many at once.
    async fn all(&self, at_once: usize, requests: impl IntoIterator<Item = reqwest::RequestBuilder>) -> Said {
        let (mut said, mut on_their_way) = (Said::new(), JoinSet::new());
        for request in requests {
            on_their_way.spawn(status_of(request.header("sec-fetch-site", "same-origin")));
            if on_their_way.len() >= at_once {
                note(&mut said, on_their_way.join_next().await);
            }
        }
        while !on_their_way.is_empty() {
            note(&mut said, on_their_way.join_next().await);
        }
        said
    }

    fn mine(&self, path: &str) -> String {
        format!("{}/my/{}{path}", self.base, self.club.hostile.of)
    }

    fn post(&self, path: &str) -> reqwest::RequestBuilder {
        self.client.post(self.mine(path)).header("cookie", self.cookie(&self.club.hostile))
    }

    fn get(&self, path: &str) -> reqwest::RequestBuilder {
        self.client.get(self.mine(path)).header("cookie", self.cookie(&self.club.hostile))
    }

    async fn sockets(&self, times: usize) -> Said {
        let kinds: [&[u8]; 5] =
            [b"", b"G", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", b"GET / HTTP/1.1\r\nx: ", b"GET /alive HTTP/1.1\r\nhost: x\r\n\r\n"];
        let mut held = Vec::new();
        for nth in 0..200 * times.min(3) {
            let Ok(mut one) = TcpStream::connect(self.address).await else { continue };
            // It may be closed already: there are no places without end.
            let _ = one.write_all(kinds[nth % kinds.len()]).await;
            held.push(one);
        }
        let mut closed = Said::new();
        let limit = tokio::time::Instant::now() + Duration::from_secs(20);
        for mut one in held {
            let end = tokio::time::timeout_at(limit, one.read_to_end(&mut Vec::new())).await;
            assert!(end.is_ok(), "a connection that asks nothing is closed within 20 seconds");
            *closed.entry(0).or_default() += 1;
        }
        closed
    }

    fn sheet(&self, seen: &[Uuid], answers: &Json) -> reqwest::RequestBuilder {
        let sheet = json!({ "id": new_id(), "seen": seen, "edition": self.club.edition, "answers": answers });
        self.post("/submissions").json(&sheet)
    }

    /// Sheets that each say to have seen all that were sent before, known and unknown; and looks at the car meanwhile.
    async fn sheets_that_name(&self, times: usize) -> Said {
        let answers = Json::Object(self.club.answers.clone());
        let mut said = Said::new();
        let mut ids: Vec<Uuid> = Vec::new();
        for turn in 0..60 * times.min(6) {
            // Of those that are there, and of those that may come.
            let mut seen = ids.clone();
            seen.resize_with(if turn % 3 == 0 { 499 } else { ids.len() + 18 }, new_id);
            let sheet = json!({ "id": new_id(), "seen": seen, "edition": self.club.edition, "answers": answers });
            let id = sheet["id"].as_str().and_then(|id| id.parse().ok()).unwrap_or_default();
            let status = status_of(self.post("/submissions").json(&sheet)).await;
            *said.entry(status).or_default() += 1;
            if status == 201 {
                ids.push(id);
            }
        }
        for (status, count) in self.all(8, (0..30 * times).map(|_| self.get(""))).await {
            *said.entry(status).or_default() += count;
        }
        said
    }

    async fn large_sheets(&self, times: usize) -> Said {
        let mut answers = self.club.answers.clone();
        for answer in answers.values_mut().filter_map(Json::as_object_mut) {
            answer.insert("note".into(), json!("x".repeat(1_500)));
            answer.insert("junk".into(), json!("y".repeat(4_000)));
        }
        let answers = Json::Object(answers);
        let sheets = (0..20 * times).map(|_| self.sheet(&[], &answers));
        let looks = (0..10 * times).map(|_| self.get(""));
        self.all(8, sheets.chain(looks)).await
    }

    async fn junk(&self, times: usize) -> Said {
        let form: Vec<(String, String)> = (0..400).map(|nth| (format!("junk-{nth}.x"), "z".repeat(1_000))).collect();
        self.all(8, (0..20 * times).map(|_| self.post("/areas/wheels").form(&form))).await
    }

    /// Uploads that begin and then send nothing.
    async fn unfinished(&self) -> Said {
        let mut held = JoinSet::new();
        for _ in 0..30 {
            let path = format!("/my/{}/items/photos/photos", self.club.hostile.of);
            let head = format!(
                "POST {path} HTTP/1.1\r\nhost: localhost\r\nsec-fetch-site: same-origin\r\ncookie: {}\r\ncontent-length: 11000000\r\n\
                 content-type: multipart/form-data; boundary=b\r\n\r\n--b\r\ncontent-disposition: form-data; name=\"photo\"; \
                 filename=\"a.jpg\"\r\n\r\n",
                self.cookie(&self.club.hostile)
            );
            let address = self.address;
            held.spawn(async move {
                let Ok(mut one) = TcpStream::connect(address).await else { return 0 };
                // The server may refuse before it has read all.
                let _ = one.write_all(head.as_bytes()).await;
                let _ = one.write_all(&vec![7; 10_000_000]).await;
                let mut answer = vec![0; 16];
                let read = tokio::time::timeout(Duration::from_secs(40), one.read(&mut answer)).await;
                let said = read.ok().and_then(Result::ok).map(|length| String::from_utf8_lossy(&answer[..length]).into_owned());
                said.and_then(|said| said.get(9..12)?.parse().ok()).unwrap_or_default()
            });
        }
        let mut said = Said::new();
        while let Some(status) = held.join_next().await {
            *said.entry(status.unwrap_or_default()).or_default() += 1;
        }
        said
    }

    async fn photos(&self, times: usize) -> Said {
        let large = Arc::new(noise(4_000, 3_000));
        let bomb = Arc::new(bomb());
        let file = |bytes: &Arc<Vec<u8>>| Form::new().part("photo", Part::bytes(bytes.to_vec()).file_name("a.jpg"));
        let send = |nth: usize| self.post("/items/photos/photos").multipart(file(if nth % 3 == 2 { &bomb } else { &large }));
        self.all(8, (0..12 * times).map(send)).await
    }

    async fn one_page(&self, times: usize) -> Said {
        self.all(16, (0..600 * times).map(|nth| self.get(if nth % 2 == 0 { "" } else { "/areas/wheels" }))).await
    }

    async fn live_pages(&self) -> Said {
        let (mut said, mut open) = (Said::new(), Vec::new());
        for _ in 0..100 {
            match self.get("/live").send().await {
                Ok(answer) => {
                    *said.entry(answer.status().as_u16()).or_default() += 1;
                    open.push(answer);
                }
                Err(_) => *said.entry(0).or_default() += 1,
            }
        }
        said
    }

    /// Opens garages from the sheet, and fills the last one with tables and gear.
    async fn garages(&self, times: usize) -> Said {
        let mut said = Said::new();
        let mut inside = None;
        for _ in 0..12 {
            let form = [("deed", "open".to_owned()), ("id", new_id().to_string())];
            let Ok(answer) = self.post("/garage").header("sec-fetch-site", "same-origin").form(&form).send().await else {
                continue;
            };
            *said.entry(answer.status().as_u16()).or_default() += 1;
            let cookie = answer.headers().get("set-cookie").and_then(|value| value.to_str().ok()).unwrap_or_default();
            let cookie = cookie.split(';').next().unwrap_or_default().to_owned();
            let page = answer.text().await.unwrap_or_default();
            if let Some(garage) = between(&page, "/my/garage/", 36).filter(|_| !cookie.is_empty()) {
                inside = Some((format!("{}/my/garage/{garage}", self.base), cookie));
            }
        }
        let Some((garage, cookie)) = inside else { return said };
        let get = |path: &str| self.client.get(format!("{garage}{path}")).header("cookie", &cookie);
        let home = get("").send().await.expect("the garage").text().await.unwrap_or_default();
        let car = between(&home, "/cars/", 36).expect("the car that the garage was opened for");
        let post = |path: &str, form: &[(&str, String)]| {
            self.client.post(format!("{garage}{path}")).header("cookie", &cookie).form(form)
        };
        let table = |turn: usize| {
            let line = |nth: usize| format!("2026-05-01,,track-time,,{},min,,{turn} {nth} {}\n", nth % 1400 + 1, "w".repeat(250));
            format!("day,time,what,place,value,unit,new,note\n{}", (0..1_000).map(line).collect::<String>())
        };
        let import = format!("/cars/{car}/log/import");
        let tables = (0..4 * times).map(|turn| post(&import, &[("id", new_id().to_string()), ("text", table(turn))]));
        let gear = (0..40 * times)
            .map(|_| post("/gear", &[("id", new_id().to_string()), ("what", "suit".into()), ("name", "n".repeat(100_000))]));
        let log = format!("/cars/{car}/log");
        let looks = (0..30 * times).map(|nth| get(if nth % 2 == 0 { "" } else { &log }));
        for (status, count) in self.all(8, tables.chain(gear).chain(looks)).await {
            *said.entry(status).or_default() += count;
        }
        said
    }

    async fn guesses(&self, times: usize) -> Said {
        let tries = 60 * times;
        let passphrases = (0..tries).map(|nth| {
            let form = [("name", ORGANIZER.to_owned()), ("passphrase", format!("a wrong guess number {nth}"))];
            self.client.post(format!("{}/sign-in", self.base)).form(&form)
        });
        let links = (0..tries).map(|nth| self.client.get(format!("{}/in/{:0>32}", self.base, nth)));
        let cookies = (0..tries).map(|nth| self.client.get(self.mine("")).header("cookie", format!("witnessmark={nth:0>32}")));
        self.all(16, passphrases.chain(links).chain(cookies)).await
    }

    /// One car and 80,000 lines of commas, as spreadsheets write a sheet that was once longer.
    async fn commas(&self) -> Said {
        let text = format!("number,name,car,group,mail\n7,Driver 7,Alder 200 GT,A,\n{}", ",,,,\n".repeat(80_000));
        let form = Form::new().text("text", text);
        let url = format!("{}/club/events/{}/roster", self.base, self.club.event);
        let request = self.client.post(url).header("cookie", self.cookie(&self.club.organizer)).multipart(form);
        self.all(1, [request]).await
    }
}

async fn status_of(request: reqwest::RequestBuilder) -> u16 {
    match request.send().await {
        Ok(answer) => {
            let status = answer.status().as_u16();
            // Read to its end, as an attacker who wants to know would.
            drop(answer.bytes().await);
            status
        }
        Err(_) => 0,
    }
}

fn note(said: &mut Said, status: Option<Result<u16, tokio::task::JoinError>>) {
    if let Some(Ok(status)) = status {
        *said.entry(status).or_default() += 1;
    }
}

/// So many characters after the first place where these words stand.
fn between<'p>(page: &'p str, words: &str, length: usize) -> Option<&'p str> {
    page.match_indices(words).find_map(|(at, _)| {
        let found = page.get(at + words.len()..at + words.len() + length)?;
        Uuid::parse_str(found).is_ok().then_some(found)
    })
}

/// A photo that packs badly.
fn noise(width: u32, height: u32) -> Vec<u8> {
    let mut state = 1_u32;
    let pixels = image::RgbImage::from_fn(width, height, |_, _| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let bytes = state.to_le_bytes();
        image::Rgb([bytes[1] / 16, bytes[2] / 16, bytes[3] / 16])
    });
    let mut jpeg = std::io::Cursor::new(Vec::new());
    pixels.write_to(&mut jpeg, image::ImageFormat::Jpeg).expect("a picture");
    jpeg.into_inner()
}

/// A small file that says to be a picture of 900 megapixels.
fn bomb() -> Vec<u8> {
    let mut png = std::io::Cursor::new(Vec::new());
    image::GrayImage::new(1, 1).write_to(&mut png, image::ImageFormat::Png).expect("a picture");
    let mut png = png.into_inner();
    // PNG (ISO/IEC 15948, 11.2.1): width and height follow the first chunk's name; its check of 32 bits follows its 13 bytes.
    png[16..20].copy_from_slice(&30_000_u32.to_be_bytes());
    png[20..24].copy_from_slice(&30_000_u32.to_be_bytes());
    let check = crc32(&png[12..29]);
    png[29..33].copy_from_slice(&check.to_be_bytes());
    png
}

/// ISO 3309's check, as PNG's annex D has it.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 })
    })
}
