//! Photos: taken in by their content, shown to those who may see the car and to nobody else.

use crate::club::{Club, Person};
use crate::tools::png;
use reqwest::StatusCode;

const TEXT: &[u8] = b"Dear inspector, trust me, the brakes are fine.";

fn path_of(home: &str) -> String {
    format!("{home}/items/photos/photos")
}

/// The photos that the driver's page shows.
async fn shown(person: &Person, home: &str) -> Vec<String> {
    let page = person.get(&format!("{home}/areas/papers")).await.page().await;
    let pictures = crate::club::css(".photos img");
    page.html.select(&pictures).filter_map(|img| img.attr("src")).map(str::to_owned).collect()
}

#[tokio::test]
async fn a_photo_is_seen_by_its_driver_the_gate_and_the_organizer_and_by_no_other_driver() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    ines.sends(|_| ()).await;
    let sent = ines.person.upload(&path_of(&ines.home()), "photo", &[("engine.png", "image/png", &png(64, 48))]).await;
    assert_eq!(sent.status(), StatusCode::SEE_OTHER);
    assert_eq!(sent.location(), format!("{}/areas/papers#photos", ines.home()));
    let photos = shown(&ines.person, &ines.home()).await;
    assert_eq!(photos.len(), 1);
    let seen = ines.person.get(&photos[0]).await;
    assert_eq!(seen.header("content-type"), "image/jpeg");
    assert_eq!(seen.header("x-content-type-options"), "nosniff");
    assert!(seen.header("cache-control").contains("private"), "no cache between keeps it for others");
    let jpeg = seen.bytes().await;
    let picture = image::load_from_memory_with_format(&jpeg, image::ImageFormat::Jpeg).expect("a JPEG, made anew");
    assert_eq!((picture.width(), picture.height()), (64, 48));
    assert_eq!(ines.sends_form(&ines.ready_to_send().await).await.status(), StatusCode::SEE_OTHER, "the photo is a change");

    let holt = club.inspector("R. Holt").await;
    let at_the_gate = holt.opens("27").await.page.attr("dl.answers img", "src");
    assert!(at_the_gate.starts_with(&holt.lane()), "{at_the_gate}");
    assert_eq!(holt.person.get(&at_the_gate).await.bytes().await, jpeg);
    let at_the_club = club.car_page("27").await.attr("dl.answers img", "src");
    assert_eq!(club.organizer.get(&at_the_club).await.bytes().await, jpeg);

    let id = photos[0].rsplit('/').next().expect("an id");
    let cookie = Person::cookie_by(&club.base, &marta.secret).await;
    for path in [photos[0].clone(), format!("{}/photos/{id}", marta.home()), at_the_gate, at_the_club] {
        let answer = marta.person.get_with(&path, &cookie).await;
        // A driver has no role at the gate or at the club: there they are asked who they are.
        let expected = if path.starts_with("/my") { StatusCode::NOT_FOUND } else { StatusCode::UNAUTHORIZED };
        assert_eq!(answer.status(), expected, "{path}");
        let stranger = Person::stranger(&club.base).get(&path).await;
        assert_eq!(stranger.status(), StatusCode::UNAUTHORIZED, "{path}");
    }
}

/// RFC 9110: 415 for a kind that is not taken, 422 for content that cannot be used. 409 would be the car's state.
#[tokio::test]
async fn a_text_that_is_called_a_photo_is_refused() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let svg = b"<svg xmlns=\"http://www.w3.org/2000/svg\"><script>alert(1)</script></svg>";
    let cut = &png(64, 48)[..60];
    for (name, kind, bytes) in [
        ("brakes.jpg", "image/jpeg", TEXT),
        ("a.svg", "image/svg+xml", &svg[..]),
        ("cut.png", "image/png", cut),
        ("a.gif", "image/gif", b"GIF89a"),
    ] {
        let sent = ines.person.upload(&path_of(&ines.home()), "photo", &[(name, kind, bytes)]).await;
        let status = sent.status();
        let said = sent.page().await.text();
        assert!(said.contains("JPEG, PNG or WebP"), "{name}: it says what to send: {said}");
        assert!(matches!(status, StatusCode::UNSUPPORTED_MEDIA_TYPE | StatusCode::UNPROCESSABLE_ENTITY), "{name}: {status}");
    }
    assert_eq!(shown(&ines.person, &ines.home()).await.len(), 0);
}

#[tokio::test]
async fn more_photos_than_the_sheet_asks_for_are_refused() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let one = png(8, 8);
    for nth in 1..=3 {
        let sent = ines.person.upload(&path_of(&ines.home()), "photo", &[("a.png", "image/png", &one)]).await;
        assert_eq!(sent.status(), StatusCode::SEE_OTHER, "photo {nth}");
    }
    let fourth = ines.person.upload(&path_of(&ines.home()), "photo", &[("a.png", "image/png", &one)]).await;
    assert!(fourth.status().is_client_error(), "{}", fourth.status());
    assert!(fourth.page().await.text().contains("at most 3 photos"));
    assert_eq!(shown(&ines.person, &ines.home()).await.len(), 3);
    let page = ines.person.get(&format!("{}/areas/papers", ines.home())).await.page().await;
    assert!(!page.has("form#photo-photos"), "the page offers no fourth");
}

/// What is refused leaves nothing behind: a driver who tried too many twenty times can still add one.
#[tokio::test]
async fn photos_of_a_refused_form_do_not_count_against_the_car() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let one = png(4, 4);
    let four: Vec<(&str, &str, &[u8])> = vec![("a.png", "image/png", &one); 4];
    for _ in 0..21 {
        assert!(ines.person.upload(&path_of(&ines.home()), "photo", &four).await.status().is_client_error());
    }
    let sent = ines.person.upload(&path_of(&ines.home()), "photo", &four[..1]).await;
    assert_eq!(sent.status(), StatusCode::SEE_OTHER, "the car has no photo yet: {}", sent.page().await.text());
}

#[tokio::test]
async fn a_photo_that_is_too_large_is_413() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let huge = vec![0u8; 13 * 1024 * 1024];
    let sent = ines.person.upload(&path_of(&ines.home()), "photo", &[("a.jpg", "image/jpeg", &huge)]).await;
    assert_eq!(sent.status(), StatusCode::PAYLOAD_TOO_LARGE, "{}", sent.page().await.text());
    let wide = png(13_000, 4);
    let sent = ines.person.upload(&path_of(&ines.home()), "photo", &[("a.png", "image/png", &wide)]).await;
    assert_eq!(sent.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(sent.page().await.text().contains("12000 pixels"));
    assert_eq!(shown(&ines.person, &ines.home()).await.len(), 0);
}

#[tokio::test]
async fn a_photo_belongs_to_an_item_that_takes_one() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let one = png(8, 8);
    for (item, status) in [("oil-leak", None), ("no-such-item", Some(StatusCode::NOT_FOUND))] {
        let path = format!("{}/items/{item}/photos", ines.home());
        let sent = ines.person.upload(&path, "photo", &[("a.png", "image/png", &one)]).await;
        assert!(sent.status().is_client_error(), "{item}: {}", sent.status());
        assert!(status.is_none_or(|status| status == sent.status()), "{item}: {}", sent.status());
    }
    let as_form = ines.person.post(&path_of(&ines.home()), &[("photo", "x")]).await;
    assert_eq!(as_form.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE);
    let without = ines.person.post_bytes(&path_of(&ines.home()), "multipart/form-data", "x").await;
    assert_eq!(without.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE, "no boundary");
    let cut = "--x\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"a.png\"\r\n\r\nabc";
    let broken = ines.person.post_bytes(&path_of(&ines.home()), "multipart/form-data; boundary=x", cut).await;
    assert!(broken.status().is_client_error(), "{}", broken.status());
    let nothing = ines.person.upload(&path_of(&ines.home()), "photo", &[("", "image/png", b"")]).await;
    assert_eq!(nothing.status(), StatusCode::SEE_OTHER, "a form without a file changes nothing");
    assert_eq!(shown(&ines.person, &ines.home()).await.len(), 0);
}

/// A form of the area that was opened before the photo was added must not take it away again.
#[tokio::test]
async fn saving_an_older_page_keeps_the_photos() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.person.upload(&path_of(&ines.home()), "photo", &[("a.png", "image/png", &png(8, 8))]).await;
    let saved = ines.types("papers", &[("photos.note", "engine bay"), ("photos.photo", ""), ("drivers-word", "yes")]).await;
    assert_eq!(saved.status(), StatusCode::SEE_OTHER);
    assert_eq!(shown(&ines.person, &ines.home()).await.len(), 1);
}

/// A photo taken at the gate goes with the hold that names it; sent twice it is there once.
#[tokio::test]
async fn an_inspectors_photo_goes_with_the_hold_and_the_driver_sees_it() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let (id, path) = (club.new_id(), format!("{}/photos", car.path));
    let adds = async |id: &str, path: &str, bytes: Vec<u8>| {
        let part = reqwest::multipart::Part::bytes(bytes).file_name("photo.jpg");
        let form = reqwest::multipart::Form::new().text("id", id.to_owned()).part("photo", part);
        holt.person.send(holt.person.client.post(holt.person.url(path)).multipart(form)).await.status()
    };
    for _ in 0..2 {
        assert_eq!(adds(&id, &path, png(64, 48)).await, StatusCode::NO_CONTENT, "and again, for its answer was lost");
    }
    assert_eq!(adds(&id, &path.replace(&ines.entry, &club.entry("7").await), png(8, 8)).await, StatusCode::CONFLICT);
    assert_eq!(adds(&club.new_id(), &path, b"<html>".to_vec()).await, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(adds("27", &path, png(8, 8)).await, StatusCode::UNPROCESSABLE_ENTITY);
    let mut fields: Vec<_> = car.all_ticked().into_iter().filter(|(name, _)| name == "id" || name == "seen").collect();
    fields.push(("photos".into(), club.new_id()));
    assert_eq!(car.signs(&fields, "hold", "Oil.").await.status(), StatusCode::UNPROCESSABLE_ENTITY, "a photo that is not here");
    fields.last_mut().expect("photos").1 = id.clone();
    assert_eq!(car.signs(&fields, "hold", "Oil.").await.status(), StatusCode::SEE_OTHER);
    let seen = format!("/my/{}/photos/{id}", ines.entry);
    assert!(ines.looks().await.has(&format!(".todo img[src='{seen}']")), "the driver sees what is meant");
    let jpeg = ines.person.get(&seen).await;
    assert_eq!((jpeg.status(), jpeg.header("content-type")), (StatusCode::OK, "image/jpeg".into()));
    assert!(club.car_page("27").await.has(&format!(".told img[src$='{id}']")), "and so does the organizer, years later");
    let marta = club.driver("7").await;
    let cookie = marta.person.cookie(&marta.home());
    assert_eq!(marta.person.get_with(&seen, &cookie).await.status(), StatusCode::NOT_FOUND, "another driver does not");
}
