//! A walk through every door with hands full of rubbish: whatever is asked, the answer is a sentence and never a fault of
//! the program. The routes are the program's own list, so a new one is walked without anybody remembering to add it.

use crate::club::{Answer, Club, Driver, Person, job as job_form};
use crate::tools::{heard, listen};
use reqwest::{Method, RequestBuilder, StatusCode};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;

/// Path patterns such as `/my/{entry}/areas/{area}`: every door of the program, and what it carries in itself.
fn routes() -> Vec<String> {
    let doors = witnessmark::web::all_doors().into_iter().map(|door| door.path);
    let mut routes: Vec<String> = doors.chain(["/static/{version}/{*path}".to_owned()]).collect();
    routes.dedup();
    assert!(routes.len() > 50 && routes.iter().any(|route| route == "/my/{entry}/areas/{area}"), "{routes:?}");
    routes
}

/// A club where car 27 is cleared, with something real for every placeholder.
struct Ground {
    club: Club,
    real: BTreeMap<&'static str, String>,
    /// Who walks, with what cookie, behind which doors.
    people: Vec<(&'static str, String, &'static str)>,
    /// Answers that are none for a person.
    faults: Mutex<BTreeSet<String>>,
}

async fn ground() -> Ground {
    listen();
    let club = Club::open().await;
    let (entry, driver, inspector, garage) = {
        let ines = club.driver("27").await;
        ines.sends(|_| ()).await;
        let driver = ines.person.cookie(&ines.home());
        let holt = club.inspector("R. Holt").await;
        holt.clears("27").await;
        club.inspector("S. Pare").await;
        (ines.entry.clone(), driver, holt.person.cookie(&holt.lane()), full_garage(&ines).await)
    };
    let spare = club.another_link_for("S. Pare").await;
    let marshal = Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await;
    let marshal = marshal.cookie(&format!("/grid/{}", club.event));
    let forms = club.forms_for("S. Pare").await;
    let id_in = |part: &str| forms.iter().find(|form| form.contains(part)).and_then(|form| form.split('/').rev().nth(1));
    let sheet = club.organizer.get(&format!("/club/events/{}/sheet", club.event)).await.page().await;
    let mut real = BTreeMap::from([
        ("entry", entry.clone()),
        ("event", club.event.clone()),
        ("area", "brakes".into()),
        ("item", "photos".into()),
        ("photo", club.new_id()),
        ("link", id_in("/people/").expect("a link").to_owned()),
        ("device", id_in("/devices/").expect("a device").to_owned()),
        ("passkey", "00".into()),
        ("edition", sheet.attr("a[href^='/club/editions/']", "href").rsplit('/').next().expect("an id").to_owned()),
        ("secret", spare),
        ("kind", "pad".into()),
        // The day that came with the sheet bears its entry's id.
        ("day", entry.clone()),
        ("version", "old".into()),
        ("name", "compression".into()),
        ("pass", "NOTAPASS".into()),
        ("*path", "css/base.css".into()),
    ]);
    let (keeper, of_garage) = garage;
    real.extend(of_garage);
    let people = vec![
        ("a garage keeper", keeper, "/my/garage"),
        ("a driver", driver, "/my"),
        ("an inspector", inspector, "/gate"),
        ("a marshal", marshal, "/grid"),
        // The organizer's cookie is in the browser of `club.organizer`.
        ("the organizer", String::new(), "/club"),
    ];
    Ground { club, real, people, faults: Mutex::default() }
}

/// Ines' garage with one of everything in it: its keeper's cookie, and the ids.
async fn full_garage(ines: &Driver<'_>) -> (String, Vec<(&'static str, String)>) {
    let keeper = ines.opens_a_garage().await;
    let job = keeper.has_to("Find the oil leak").await;
    let part = keeper.notes(&format!("/jobs/{job}/parts"), &[("name", "A seal"), ("lead", "5"), ("price", "12.50")]).await;
    let symptom = keeper.looks_at_car("/faults").await.page().await.attr("ul.jobs a", "href");
    let symptom = symptom.split("symptom=").nth(1).and_then(|rest| rest.split('&').next()).expect("a symptom").to_owned();
    let card = [job_form("Find the oil leak").as_slice(), &[("symptom", symptom.as_str())]].concat();
    keeper.notes(&format!("/jobs/{job}/card"), &card).await;
    let day = "2026-05-09";
    let gear = keeper.notes("/gear", &[("what", "helmet"), ("name", "The white one"), ("label", "SA2020")]).await;
    let line = keeper.notes_of_car("/readings/pad", &[("day", day), ("lf", "9"), ("unit", "mm")]).await;
    let photo = crate::tools::png(8, 8);
    let path = format!("{}/photos-of/{line}", keeper.home());
    assert_eq!(keeper.person.upload(&path, "photo", &[("a.png", "image/png", &photo)]).await.status(), StatusCode::SEE_OTHER);
    let photo =
        keeper.file().await["changes"].as_array().and_then(|all| all.last()?["change"]["photo"].as_str().map(str::to_owned));
    let ids = vec![
        ("garage", keeper.garage.clone()),
        ("car", keeper.car.clone()),
        ("job", job.clone()),
        ("part", part),
        ("gear", gear),
        ("line", line),
        ("of", job),
        ("photo", photo.expect("the photo is noted")),
    ];
    (keeper.cookie(), ids)
}

impl Ground {
    /// The route with real things in it, but for the n-th placeholder, which is `rubbish`.
    fn path(&self, route: &str, rubbish: Option<(usize, &str)>) -> String {
        let mut nth = 0;
        let part = |part: &str| {
            let Some(name) = part.strip_prefix('{').map(|name| name.trim_end_matches('}')) else { return part.to_owned() };
            nth += 1;
            match rubbish {
                Some((which, text)) if which == nth => text.to_owned(),
                _ => self.real.get(name).cloned().unwrap_or_else(|| "1".into()),
            }
        };
        route.split('/').map(part).collect::<Vec<_>>().join("/")
    }

    fn request(&self, method: Method, path: &str, cookie: &str) -> RequestBuilder {
        let organizer = &self.club.organizer;
        let request = organizer.client.request(method, organizer.url(path));
        if cookie.is_empty() { request } else { request.header("cookie", cookie) }
    }

    /// Asks, and holds the answer against what every answer must be.
    async fn asks(&self, request: RequestBuilder, what: &str) -> StatusCode {
        let answer = match request.send().await {
            Ok(response) => Answer::of(response),
            // What the client itself cannot put on a wire has not been asked.
            Err(error) if error.is_builder() => return StatusCode::OK,
            Err(error) => panic!("{what}: the server broke off: {error}"),
        };
        let (status, kind) = (answer.status(), answer.header("content-type"));
        let fault = |why: &str| {
            self.faults.lock().expect("no test broke off here").insert(format!("{what}: {status}: {why}"));
        };
        if status.as_u16() >= 500 {
            fault("a fault of the program");
        }
        if answer.header("x-content-type-options") != "nosniff" {
            fault("without the headers that keep it safe");
        }
        if kind.starts_with("text/event-stream") || what.starts_with("HEAD") || what.contains("/static/") {
            return status;
        }
        let text = String::from_utf8_lossy(&answer.bytes().await).into_owned();
        let needs_words = [400, 401, 404, 409, 413, 415, 422].contains(&status.as_u16());
        if needs_words && !["<h1>", "role=\"alert\">", "\"error\""].iter().any(|words| text.contains(words)) {
            fault(&format!("no page for a person, but \"{}\"", text.chars().take(120).collect::<String>()));
        }
        if ["panicked", "sqlx", "SQLITE", "deserialize"].iter().any(|word| needs_words && text.contains(word)) {
            fault("it shows the program's inside");
        }
        status
    }

    async fn nothing_broke(&self) {
        assert_eq!(self.club.organizer.get("/alive").await.status(), StatusCode::OK);
        assert_eq!(heard(), "", "the log has no error and no panic");
        let faults = std::mem::take(&mut *self.faults.lock().expect("no test broke off here"));
        assert!(
            faults.is_empty(),
            "{} answers are none:\n{}",
            faults.len(),
            faults.iter().take(40).cloned().collect::<Vec<_>>().join("\n")
        );
        assert_eq!(self.club.board_of("27").await, ("cleared".into(), "07:00, R. Holt".into()), "nothing moved the car");
    }
}

fn paths() -> Vec<String> {
    let plain = [
        "%00",
        "%FF%FE",
        "..%2f..%2f..%2fetc%2fpasswd",
        "%20",
        "27",
        "-1",
        "null",
        "{}",
        "%F0%9F%9A%97",
        "%25s%25n",
        "'%20or%201=1--",
    ];
    let mut paths: Vec<String> = plain.map(str::to_owned).into();
    paths.push("00000000-0000-0000-0000-000000000000".into());
    paths.push("8c1f5b0e-3b7a-4e0c-9d55-0b7f2f1a6c11".into());
    paths.push("a".repeat(3000));
    paths.push("%41".repeat(1000));
    paths
}

const QUERIES: [&str; 13] = [
    "?number=%00",
    "?number=%FF%FE",
    "?number=27%0d%0aset-cookie:x=y",
    "?find=%27%20or%201=1--",
    "?find=<script>alert(1)</script>",
    "?edition=zzz",
    "?edition=",
    "?edition=8c1f5b0e-3b7a-4e0c-9d55-0b7f2f1a6c11",
    "?part=news&part=news",
    "?part=everything&standing=flying&group=%00",
    "?=&&&=&",
    "?%zz=%",
    "?number=99999999999999999999",
];

#[tokio::test]
async fn every_page_answers_every_path_and_query() {
    let ground = ground().await;
    for route in routes() {
        let mut asked: Vec<String> = QUERIES.iter().map(|query| format!("{}{query}", ground.path(&route, None))).collect();
        asked.push(format!("{}?find={}", ground.path(&route, None), "x".repeat(6000)));
        for nth in 1..=route.matches('{').count() {
            asked.extend(paths().iter().map(|rubbish| ground.path(&route, Some((nth, rubbish)))));
        }
        for (who, cookie, _) in ground.people.iter().filter(|(_, _, doors)| doors_fit(&route, doors)) {
            for path in &asked {
                let what = format!("GET {path} by {who}").chars().take(200).collect::<String>();
                ground.asks(ground.request(Method::GET, path, cookie), &what).await;
            }
        }
    }
    ground.nothing_broke().await;
}

/// Everybody walks behind their own doors; the doors that are nobody's are walked by all.
fn doors_fit(route: &str, doors: &str) -> bool {
    let rooms = ["/my", "/gate", "/grid", "/club"];
    route.starts_with(doors) || !rooms.iter().any(|room| route.starts_with(room))
}

#[tokio::test]
async fn every_page_answers_everybody_by_every_method() {
    let ground = ground().await;
    for route in routes() {
        let path = ground.path(&route, None);
        for (who, cookie, _) in ground.people.iter().rev().chain([&("a stranger", "witnessmark=nobody".to_owned(), "")]) {
            for method in [Method::GET, Method::HEAD, Method::PUT, Method::DELETE, Method::PATCH, Method::OPTIONS, Method::TRACE]
            {
                let what = format!("{method} {path} by {who}");
                let status = ground.asks(ground.request(method.clone(), &path, cookie), &what).await;
                let reads = [Method::GET, Method::HEAD].contains(&method);
                assert!(
                    reads || status.is_client_error() || method == Method::OPTIONS,
                    "{what}: {status}: nothing is done by it"
                );
            }
        }
    }
    ground.nothing_broke().await;
}

#[tokio::test]
async fn every_page_answers_whatever_headers() {
    let ground = ground().await;
    let long = "x".repeat(9000);
    let headers: Vec<(&str, Vec<u8>)> = vec![
        ("cookie", b"witnessmark=\xFF\xFE".to_vec()),
        ("cookie", b"witnessmark; =; ;;; units=%00; witnessmark=".to_vec()),
        ("cookie", format!("witnessmark={long}").into_bytes()),
        ("accept", b"application/json".to_vec()),
        ("accept", b"\xE9\xE9".to_vec()),
        ("accept-encoding", b"gzip;q=0, br, zstd, *;q=0.1".to_vec()),
        ("content-type", b"application/json; charset=utf-7".to_vec()),
        ("range", b"bytes=0-0,5-1,-99999".to_vec()),
        ("if-none-match", b"\"x\", W/\"y\", *".to_vec()),
        ("if-modified-since", b"yesterday".to_vec()),
        ("sec-fetch-site", b"\xFFelsewhere".to_vec()),
        ("origin", b"javascript:alert(1)".to_vec()),
        ("x-forwarded-host", b"evil.example".to_vec()),
        ("last-event-id", b"99999999999999999999".to_vec()),
        ("user-agent", b"<script>\xFF".to_vec()),
    ];
    for route in routes() {
        let path = ground.path(&route, None);
        for (who, cookie, _) in ground.people.iter().filter(|(_, _, doors)| doors_fit(&route, doors)) {
            for (name, value) in &headers {
                let cookie = if *name == "cookie" { "" } else { cookie.as_str() };
                let value = reqwest::header::HeaderValue::from_bytes(value).expect("a header that can be sent");
                let what = format!("GET {path} by {who} with {name}: {value:?}").chars().take(200).collect::<String>();
                ground.asks(ground.request(Method::GET, &path, cookie).header(*name, value), &what).await;
            }
        }
    }
    ground.nothing_broke().await;
}

/// Bodies, each with the content type that it claims.
fn bodies() -> Vec<(&'static str, Vec<u8>)> {
    let form = "application/x-www-form-urlencoded";
    let json = "application/json";
    let parts = "multipart/form-data; boundary=x";
    let part = |head: &str, body: &[u8]| {
        [b"--x\r\ncontent-disposition: form-data; ", head.as_bytes(), b"\r\n\r\n", body, b"\r\n--x--\r\n"].concat()
    };
    vec![
        (form, b"%".to_vec()),
        (form, b"%zz=%zz&&&=&=&a".to_vec()),
        (form, b"id=%FF&seen=%00&reason=\xFF\xFE".to_vec()),
        (form, b"id=&seen=,,,,&edition=&deed=clear&reason=".to_vec()),
        (form, b"id=27&seen=27&edition=27&deed=hold&reason=x&name=%0d%0a&file=%00".to_vec()),
        (form, b"deed=clear&deed=hold&id=8c1f5b0e-3b7a-4e0c-9d55-0b7f2f1a6c11&seen=".to_vec()),
        (form, "a=b&".repeat(5000).into_bytes()),
        (form, format!("reason={}", "x".repeat(700_000)).into_bytes()),
        (form, format!("seen={}", "8c1f5b0e-3b7a-4e0c-9d55-0b7f2f1a6c11,".repeat(200)).into_bytes()),
        ("application/x-www-form-urlencoded; charset=latin-1", b"name=J\xF6rg".to_vec()),
        ("APPLICATION/X-WWW-FORM-URLENCODED", b"name=\xFF".to_vec()),
        (json, Vec::new()),
        (json, b"{".to_vec()),
        (json, b"null".to_vec()),
        (json, b"{\"id\":1e999,\"seen\":[],\"edition\":0,\"answers\":{}}".to_vec()),
        (json, b"{\"answers\":{\"\\u0000\":{\"value\":\"\\ud800\"}}}".to_vec()),
        (json, "[".repeat(200_000).into_bytes()),
        (json, b"\xEF\xBB\xBF{}".to_vec()),
        (json, b"\xFF\xFE{\0}\0".to_vec()),
        ("multipart/form-data", b"x".to_vec()),
        ("multipart/form-data; boundary=", b"x".to_vec()),
        ("multipart/form-data; boundary=\"", b"x".to_vec()),
        (parts, b"no boundary at all".to_vec()),
        (parts, b"--x\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"a\"\r\n\r\ncut".to_vec()),
        (parts, part("name=\"photo\"; filename=\"../../etc/passwd\"", b"\xFF\xD8\xFF\xE0JFIF")),
        (parts, part("name=\"file\"; filename=\"\"", b"number,name,car,group\n\xFF,\x00,\"unclosed")),
        (parts, part("name=\"photo", b"x")),
        (parts, part("filename=x", b"x")),
        (parts, b"--x\r\nno-colon\r\n\r\nx\r\n--x--\r\n".to_vec()),
        (parts, b"--x--\r\n".to_vec()),
        ("text/plain", b"27".to_vec()),
        ("", b"27".to_vec()),
        ("\u{7f}", b"27".to_vec()),
    ]
}

#[tokio::test]
async fn every_post_answers_every_body() {
    let ground = ground().await;
    let before = ground.club.house.store.count_records().await.expect("a count");
    let keeper = ground.people[0].1.clone();
    let garage =
        async || ground.club.organizer.get_with(&ground.path("/my/garage/{garage}/keep/garage.json", None), &keeper).await;
    let noted = garage().await.text().await;
    // Who signs themselves out walks no further.
    for route in routes().into_iter().filter(|route| !route.ends_with("/sign-out")) {
        let path = ground.path(&route, None);
        for (who, cookie, _) in ground.people.iter().filter(|(_, _, doors)| doors_fit(&route, doors)) {
            // A body that is no form must not end the link of the one who walks: car 7's is made anew instead.
            let path = if path.contains("/links") && path.contains("/entries/") {
                path.replace(&ground.real["entry"], &ground.club.entry("7").await)
            } else {
                path.clone()
            };
            for (nth, (kind, body)) in bodies().into_iter().enumerate() {
                let mut request = ground.request(Method::POST, &path, cookie).body(body);
                if !kind.is_empty() {
                    request = request.header("content-type", kind);
                }
                ground.asks(request, &format!("POST {path} by {who}, body {nth} as \"{kind}\"")).await;
            }
        }
    }
    assert_eq!(ground.club.house.store.count_records().await.expect("a count"), before, "no rubbish became a record");
    assert!(noted == garage().await.text().await && noted.contains("Find the oil leak"), "nor was any noted in the garage");
    ground.nothing_broke().await;
}
