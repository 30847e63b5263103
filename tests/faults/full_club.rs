//! A club's file with everything in it that a clearance can rest on, made through the program.

use crate::club::{Club, Driver, Inspector, Person};
use reqwest::StatusCode;
use serde_json::json;
use std::io::Cursor;
use witnessmark::acts::set_up::CLUB_DAY;

fn png() -> Vec<u8> {
    let mut bytes = Vec::new();
    let picture = image::DynamicImage::new_rgb8(32, 24);
    picture.write_to(&mut Cursor::new(&mut bytes), image::ImageFormat::Png).expect("a PNG");
    bytes
}

/// The driver adds a photo to the sheet and sends it.
async fn sends_with_a_photo(driver: &Driver<'_>) {
    assert_eq!(driver.sends(|_| ()).await.status(), StatusCode::CREATED);
    let path = format!("{}/items/photos/photos", driver.home());
    let added = driver.person.upload(&path, "photo", &[("engine.png", "image/png", &png())]).await;
    assert_eq!(added.status(), StatusCode::SEE_OTHER);
    let sent = driver.sends_form(&driver.ready_to_send().await).await;
    assert_eq!(sent.status(), StatusCode::SEE_OTHER, "the photo is a change");
}

/// The inspector takes a photo at the gate and holds the car with it.
async fn holds_with_a_photo(holt: &Inspector<'_>, club: &Club, number: &str) {
    let car = holt.opens(number).await;
    let (id, path) = (club.new_id(), format!("{}/photos", car.path));
    let part = reqwest::multipart::Part::bytes(png()).file_name("photo.png");
    let form = reqwest::multipart::Form::new().text("id", id.clone()).part("photo", part);
    let added = holt.person.send(holt.person.client.post(holt.person.url(&path)).multipart(form)).await;
    assert_eq!(added.status(), StatusCode::NO_CONTENT);
    let mut fields: Vec<_> = car.all_ticked().into_iter().filter(|(name, _)| name == "id" || name == "seen").collect();
    fields.push(("photos".into(), id));
    assert_eq!(car.signs(&fields, "hold", "Oil at the gearbox.").await.status(), StatusCode::SEE_OTHER);
}

/// The organizer takes a clearance back.
async fn withdraws(club: &Club, number: &str) {
    let page = club.car_page(number).await;
    let hidden = |name: &str| page.value_of(&format!("form[action$=withdrawals] input[name={name}]"));
    let (id, seen) = (hidden("id"), hidden("seen"));
    let path = format!("/club/events/{}/entries/{}/withdrawals", club.event, club.entry(number).await);
    let taken = club.organizer.post(&path, &[("id", &id), ("seen", &seen), ("reason", "Spun at turn 4.")]).await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER);
}

async fn erases(club: &Club, number: &str) {
    let path = format!("/club/events/{}/entries/{}/data/erase", club.event, club.entry(number).await);
    let erased = club.organizer.post(&path, &[("number", number)]).await;
    assert_eq!(erased.status(), StatusCode::SEE_OTHER);
}

/// A phone of the inspector is ended, and a person let go.
async fn lets_out(club: &Club) {
    let vane = club.inspector("S. Vane").await;
    let forms = club.forms_for(&vane.name).await;
    let phone = forms.iter().find(|form| form.contains("/devices/")).expect("a phone");
    assert_eq!(club.organizer.post(phone, &[]).await.status(), StatusCode::SEE_OTHER);
    let marshal = club.link_for("marshal", "Pit exit").await;
    Person::come_in(&club.base, &marshal).await;
    let forms = club.forms_for("Pit exit").await;
    let person = forms.iter().find(|form| form.contains("/people/") && form.ends_with("/end")).expect("a person");
    assert_eq!(club.organizer.post(person, &[]).await.status(), StatusCode::SEE_OTHER);
}

/// Two events. In one of them: submissions with photos, clears, holds, a withdrawal, a raise, a device that was ended, links that
/// were made anew and taken back, a driver who was erased, a garage.
pub async fn made() -> Club {
    let mut club = Club::open().await;
    let (other, day) = (club.event.clone(), "2026-06-13");
    club.driver("7").await.sends(|_| ()).await;
    club.turns_to_event("Summer day", day).await;
    assert_ne!(club.event, other);
    let holt = club.inspector("R. Holt").await;
    let ines = club.driver("27").await;
    sends_with_a_photo(&ines).await;
    holds_with_a_photo(&holt, &club, "27").await;
    assert_eq!(holt.clears("27").await.status(), StatusCode::SEE_OTHER);
    withdraws(&club, "27").await;
    assert_eq!(holt.clears("27").await.status(), StatusCode::SEE_OTHER);
    club.driver("12").await.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
    for nth in 0..14 {
        assert_eq!(holt.holds("12", &format!("Oil at the gearbox, look {nth}.")).await.status(), StatusCode::SEE_OTHER);
    }
    let file = CLUB_DAY.replacen("{ at_least = 3, severity = \"fix\"", "{ at_least = 2, severity = \"fix\"", 1);
    let event = club.event.clone();
    club.raise_to(&event, &file).await;
    let tomas = club.driver("114B").await;
    sends_with_a_photo(&tomas).await;
    erases(&club, "114B").await;
    lets_out(&club).await;
    let marta = club.driver("7").await;
    marta.sends(|_| ()).await;
    let opened = marta.person.post(&format!("{}/garage", marta.home()), &[("id", &club.new_id()), ("deed", "open")]).await;
    assert_eq!(opened.status(), StatusCode::OK, "a garage");
    // A second link of a driver takes the first back.
    club.driver("7").await;
    assert_eq!(holt.clears("7").await.status(), StatusCode::SEE_OTHER);
    club
}
