//! The server's clock and the phone's are a year apart: ages and ends are told by the server's, and outlive its being killed.

use crate::browser::{Browser, in_time};
use crate::club::Person;
use crate::server::{Server, program};
use crate::wire::Wire;
use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde_json::json;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::sheet_file;

/// Where Debian puts what `faketime` has a program load first. The command itself starts the program as its child, and a SIGKILL
/// would be the command's.
fn library() -> PathBuf {
    let folders = std::fs::read_dir("/usr/lib").expect("libraries").flatten();
    let found = folders.map(|one| one.path().join("faketime/libfaketimeMT.so.1")).find(|library| library.exists());
    found.expect("faketime is there; if not: apt-get install faketime")
}

/// The real program, by a clock that is so far off.
fn starts(database: &Path, off: &str, listen: &str) -> Server {
    let mut command = program();
    // What a program waits for goes on evenly, whatever the time of day is.
    command.env("LD_PRELOAD", library()).env("FAKETIME", off).env("FAKETIME_DONT_FAKE_MONOTONIC", "1");
    command.arg("serve").arg("--database").arg(database).args(["--listen", listen]);
    Server::start_as(command)
}

/// Today, by a clock that is so many days off.
#[expect(clippy::disallowed_methods, reason = "the machine's clock is what the server's is off from")]
fn day_by_the_server(days: i64) -> Date {
    let now = SystemTime::now().duration_since(UNIX_EPOCH).expect("a time").as_secs() as i64;
    Timestamp::from_second(now + days * 86_400).expect("a time").to_zoned_datetime(TimeZone::UTC).date()
}

/// An event today by the server's clock with one car, whose sheet is sent. Gives the organizer, the event and the car's page.
async fn a_day(server: &Server, day: Date) -> (Person, String, String) {
    let organizer = Person::come_in(&server.base, &server.first_secret()).await;
    let edition = organizer.get("/club").await.page().await.value_of("select[name=edition] option");
    let day_ = day.to_string();
    let form = [
        ("name", "Spring day"),
        ("venue", "Dunmere Ring"),
        ("day", &*day_),
        ("zone", "UTC"),
        ("groups", "B 09:20"),
        ("edition", &*edition),
    ];
    let event = organizer.post("/club/events", &form).await.location().split('/').nth(3).expect("an event").to_owned();
    let roster = "number,name,car,group,mail\n27,Ines Okafor,Corvane S4,B,\n";
    let roster = reqwest::multipart::Form::new().text("text", roster);
    let path = format!("/club/events/{event}/roster");
    organizer.send(organizer.client.post(organizer.url(&path)).multipart(roster)).await;
    let cars = organizer.get(&path).await.page().await.hrefs("table.cars tbody tr a");
    let car = cars.into_iter().find(|to| to.contains("/entries/")).expect("a link to the car");
    let entry = car.rsplit('/').next().expect("an id").to_owned();
    let secret = organizer.post(&format!("{car}/links"), &[]).await.page().await.secret();
    let driver = Person::come_in(&server.base, &secret).await;
    let home = format!("/my/{entry}");
    let edition = driver.get(&home).await.page().await.attr("main", "data-edition");
    let answers = witnessmark::demo::sound_answers(&sheet_file::read(CLUB_DAY).expect("the default sheet"), day);
    let body = json!({ "id": crate::dice::Dice::new(1).id(), "seen": [], "edition": edition, "answers": answers });
    let sent = driver.post_json(&format!("{home}/submissions"), &body).await;
    assert!(sent.status().is_success(), "the sheet is sent: {}", sent.status());
    (organizer, event, car)
}

async fn link_for(organizer: &Person, event: &str, role: &str, name: &str) -> String {
    let made = organizer.post(&format!("/club/events/{event}/people"), &[("role", role), ("name", name)]).await;
    made.page().await.secret()
}

async fn is_told_by_the_servers_clock(days: i64) {
    let off = format!("{days:+}d");
    let folder = tempfile::TempDir::new().expect("a folder");
    let database = folder.path().join("club.sqlite");
    let server = starts(&database, &off, "127.0.0.1:0");
    let day = day_by_the_server(days);
    let (organizer, event, car) = a_day(&server, day).await;
    let wire = Wire::to(&server.base).await;
    let lane = format!("{}/gate/{event}", wire.base);
    let phone = Browser::phone("servers-clock", "inspector").await;
    phone.forgives("ERR_");
    phone.comes_in_by(&wire.base, &link_for(&organizer, &event, "inspector", "R. Holt").await).await;
    phone.holds_the_gate(&event).await;
    phone.sees("[data-held]", "1 of 1 cars on this phone").await;
    phone.sees("[data-as-of]", "just now").await;
    // Without signal the pages are there, and not over.
    wire.is_cut();
    phone.opens(&lane).await;
    phone.sees("[data-held]", "1 of 1 cars on this phone").await;
    phone.sees("[data-as-of]", "just now").await;
    phone.finds("27").await;
    phone.sees("[data-age]", "just now").await;
    phone.opens(&lane).await;
    phone.signs("27", "clear").await;
    phone.sees(".queue", "1 sign-off waits on this device for signal: 27").await;
    phone.keeps("1-waits").await;
    // The server is killed and started anew, by the same clock.
    let address = server.base.trim_start_matches("http://").to_owned();
    server.kill();
    let server = starts(&database, &off, &address);
    wire.is_sound();
    phone.taps(".queue button").await;
    phone.has_sent_all().await;
    let history = organizer.get(&car).await.page().await.all("ol.told li b");
    assert_eq!(history.len(), 2, "{history:?}");
    assert_eq!(history[0], "clear by R. Holt (inspector)");
    phone.closes().await;

    let phone = Browser::phone("servers-clock", "marshal").await;
    phone.forgives("ERR_");
    phone.opens(&format!("{}/in/{}", wire.base, link_for(&organizer, &event, "marshal", "Pit exit").await)).await;
    phone.is_ready_for_no_signal().await;
    wire.is_cut();
    server.kill();
    phone.opens(&format!("{}/grid/{event}", wire.base)).await;
    phone.asks_for("27", "Cleared", "Group B").await;
    phone.sees(".verdict.whole [data-age]", "News of just now.").await;
    phone.keeps("2-cleared").await;
    phone.closes().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_a_year_behind_the_phone_is_believed() {
    in_time(is_told_by_the_servers_clock(-365)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_a_year_ahead_of_the_phone_is_believed() {
    in_time(is_told_by_the_servers_clock(365)).await;
}
