//! Files on their way in: few at a time from one device, given up when nothing comes, opened in turn, kept small.

use crate::club::{Answer, Club, Person};
use crate::tools::png;
use futures_util::StreamExt;
use reqwest::StatusCode;
use std::io::Cursor;
use std::time::{Duration, Instant};

fn photos_of(home: &str) -> String {
    format!("{home}/items/photos/photos")
}

/// A phone's own photo: 12 million pixels.
fn large_photo() -> Vec<u8> {
    let mut jpeg = Vec::new();
    let picture = image::DynamicImage::new_rgb8(4032, 3024);
    picture.write_to(&mut Cursor::new(&mut jpeg), image::ImageFormat::Jpeg).expect("a JPEG");
    jpeg
}

/// Begins to send a photo and never ends it. Gives what the server says, once it says something.
async fn begins(person: &Person, path: &str) -> Answer {
    let head = "--b\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\n\r\n".to_owned();
    let begun = futures_util::stream::iter([Ok::<_, std::io::Error>(head), Ok("x".repeat(600_000))]);
    let body = reqwest::Body::wrap_stream(begun.chain(futures_util::stream::pending()));
    person.post_bytes(path, "multipart/form-data; boundary=b", body).await
}

async fn is_alive(club: &Club) -> Duration {
    let asked = Instant::now();
    assert_eq!(Person::stranger(&club.base).get("/alive").await.status(), StatusCode::OK);
    asked.elapsed()
}

#[tokio::test]
async fn a_device_sends_two_files_at_a_time_and_a_third_is_told_when_to_come_back() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let path = photos_of(&ines.home());
    let two = async { tokio::join!(begins(&ines.person, &path), begins(&ines.person, &path)) };
    let meanwhile = async {
        tokio::time::sleep(Duration::from_millis(500)).await;
        let third = ines.person.upload(&path, "photo", &[("a.png", "image/png", &png(64, 48))]).await;
        assert_eq!(third.status(), StatusCode::TOO_MANY_REQUESTS);
        assert!(third.header("retry-after").parse::<u32>().is_ok(), "it says when to come back");
        let other = marta.person.upload(&photos_of(&marta.home()), "photo", &[("a.png", "image/png", &png(64, 48))]).await;
        assert_eq!(other.status(), StatusCode::SEE_OTHER, "nobody else is kept waiting");
    };
    tokio::select! {
        _ = two => panic!("they never end"),
        () = meanwhile => {}
    }
    // Both have hung up: their places are free again.
    crate::club::until("a photo is taken again", || async {
        let again = ines.person.upload(&path, "photo", &[("a.png", "image/png", &png(64, 48))]).await;
        again.status() == StatusCode::SEE_OTHER
    })
    .await;
}

#[tokio::test]
async fn thirty_devices_of_one_link_hold_six_places_and_the_club_goes_on() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let mut devices = Vec::new();
    for _ in 0..30 {
        devices.push(Person::come_in(&club.base, &ines.secret).await);
    }
    let path = photos_of(&ines.home());
    let all = devices.iter().map(|device| tokio::time::timeout(Duration::from_secs(3), begins(device, &path)));
    let (answers, slowest) = tokio::join!(futures_util::future::join_all(all), async {
        tokio::time::sleep(Duration::from_millis(700)).await;
        is_alive(&club).await
    });
    let refused = answers.iter().flatten().filter(|answer| answer.status() == StatusCode::TOO_MANY_REQUESTS).count();
    assert_eq!(refused, 24, "six of thirty are on their way");
    assert!(slowest < Duration::from_secs(1), "{slowest:?}");
}

#[tokio::test]
async fn a_file_of_which_nothing_comes_is_given_up_and_one_that_is_slow_is_not() {
    let club = Club::with(None, |web| web.patient_for(Duration::from_millis(600))).await;
    let ines = club.driver("27").await;
    let given_up = begins(&ines.person, &photos_of(&ines.home())).await;
    assert_eq!(given_up.status(), StatusCode::REQUEST_TIMEOUT);
    // RFC 7578: a form with a file, a piece of it every 200 ms, three times as long on its way as nothing may come.
    let head = "--b\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"a.png\"\r\n\r\n";
    let whole = [head.as_bytes(), &png(64, 48), b"\r\n--b--\r\n"].concat();
    let pieces: Vec<Vec<u8>> = whole.chunks(whole.len() / 9 + 1).map(<[u8]>::to_vec).collect();
    let slow = futures_util::stream::iter(pieces).then(|piece| async move {
        tokio::time::sleep(Duration::from_millis(200)).await;
        Ok::<_, std::io::Error>(piece)
    });
    let body = reqwest::Body::wrap_stream(slow);
    let taken = ines.person.post_bytes(&photos_of(&ines.home()), "multipart/form-data; boundary=b", body).await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn the_gates_photo_does_not_wait_for_the_paddocks() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let photo = large_photo();
    let mut drivers = Vec::new();
    for number in ["7", "12", "27"] {
        drivers.push(club.driver(number).await);
    }
    let paddock = futures_util::future::join_all(drivers.iter().flat_map(|driver| {
        let path = photos_of(&driver.home());
        let photo = &photo;
        (0..2).map(move |_| {
            let path = path.clone();
            async move { driver.person.upload(&path, "photo", &[("a.jpg", "image/jpeg", photo)]).await.status() }
        })
    }));
    let gate = async {
        tokio::time::sleep(Duration::from_millis(100)).await;
        let form = reqwest::multipart::Form::new().text("id", club.new_id());
        let form = form.part("photo", reqwest::multipart::Part::bytes(photo.clone()).file_name("a.jpg"));
        let path = format!("{}/entries/{}/photos", holt.lane(), ines.entry);
        let sent = holt.person.send(holt.person.client.post(holt.person.url(&path)).multipart(form)).await;
        assert_eq!(sent.status(), StatusCode::NO_CONTENT);
        Instant::now()
    };
    let paddock = async { (paddock.await, Instant::now()) };
    let ((taken, paddock_done), gate_done) = tokio::join!(paddock, gate);
    assert!(taken.iter().all(|status| *status == StatusCode::SEE_OTHER), "{taken:?}");
    assert!(gate_done < paddock_done, "six large photos of drivers came first");
    let slowest = is_alive(&club).await;
    assert!(slowest < Duration::from_secs(1), "{slowest:?}");
}

#[tokio::test]
async fn a_photo_of_too_many_megapixels_is_told_how_many_it_may_have() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let sent = ines.person.upload(&photos_of(&ines.home()), "photo", &[("a.png", "image/png", &png(8000, 6000))]).await;
    assert_eq!(sent.status(), StatusCode::PAYLOAD_TOO_LARGE);
    let said = sent.page().await.text();
    assert!(said.contains("48 megapixels") && said.contains("at most 16"), "{said}");
}

/// By name: `cargo test --release --test api what_uploads_cost -- --ignored --nocapture --test-threads 1`.
#[tokio::test]
#[ignore = "a measurement, told by name"]
async fn what_uploads_cost() {
    let memory = |name: &str| {
        let table = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        table.lines().find(|line| line.starts_with(name)).unwrap_or_default().to_owned()
    };
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    let photo = large_photo();
    println!("before: {}, {}", memory("VmRSS"), memory("VmHWM"));
    let mut devices = Vec::new();
    for _ in 0..25 {
        devices.push(Person::come_in(&club.base, &ines.secret).await);
    }
    let path = photos_of(&ines.home());
    let flood = futures_util::future::join_all(
        devices.iter().map(|device| async { device.upload(&path, "photo", &[("a.jpg", "image/jpeg", &photo)]).await.status() }),
    );
    let gate = async {
        tokio::time::sleep(Duration::from_millis(100)).await;
        let form = reqwest::multipart::Form::new().text("id", club.new_id());
        let form = form.part("photo", reqwest::multipart::Part::bytes(photo.clone()).file_name("a.jpg"));
        let path = format!("{}/entries/{}/photos", holt.lane(), ines.entry);
        let began = Instant::now();
        holt.person.send(holt.person.client.post(holt.person.url(&path)).multipart(form)).await;
        (began.elapsed(), is_alive(&club).await)
    };
    let (flood, (waited, alive)) = tokio::join!(flood, gate);
    let refused = flood.iter().filter(|status| **status == StatusCode::TOO_MANY_REQUESTS).count();
    println!("25 photos at once, {refused} told to come back; the gate's took {waited:.0?}, /alive {alive:.0?}");
    println!("after: {}, {}", memory("VmRSS"), memory("VmHWM"));
}
