//! What a driver types is kept as typed, good or not, and judged at once: nothing is lost by leaving a page.

use crate::club::{Club, Driver, Page};
use crate::tools::{heard, listen};
use reqwest::StatusCode;
use serde_json::json;

async fn area(driver: &Driver<'_>, area: &str) -> Page {
    driver.person.get(&format!("{}/areas/{area}", driver.home())).await.page().await
}

#[tokio::test]
async fn garbage_is_kept_told_at_its_field_and_never_an_answer() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for garbage in
        ["thin-ish", "<b>9</b>", "2.5e1", "1,234.5", "NaN", "inf", "-", "9 mm", "٩", "'; drop table draft; --", "{{7*7}}"]
    {
        let kept = ines.types("brakes", &[("pad-front.lf", garbage), ("pad-front.rf", "9"), ("pad-front.unit", "mm")]).await;
        assert_eq!(kept.status(), StatusCode::UNPROCESSABLE_ENTITY, "{garbage}");
        let page = kept.page().await;
        assert!(page.first(".alert").contains("1 answer cannot be used yet. What you typed is kept"), "{garbage}");
        for page in [page, area(&ines, "brakes").await] {
            assert_eq!(page.value_of("input[name='pad-front.lf']"), garbage, "in the answer and on reload");
            assert_eq!(page.value_of("input[name='pad-front.rf']"), "9");
            assert!(page.first(".trouble[data-trouble='pad-front.lf']").contains("Type a number in mm"), "{garbage}");
            assert!(page.has("input[name='pad-front.lf'][aria-invalid=true]"), "a screen reader says so too");
        }
        let home = ines.looks().await;
        assert_eq!(home.all(".troubled a"), ["Brake pad"], "the first page says where it stands");
        assert!(!home.has("form.send"));
    }
    let too_much = ines.types("brakes", &[("pad-front.lf", "250"), ("pad-front.rf", "9")]).await.page().await;
    assert!(too_much.first(".trouble[data-trouble='pad-front.lf']").contains("Is the unit right?"));
}

#[tokio::test]
async fn every_kind_of_item_keeps_its_garbage() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for (id, field, garbage) in [
        ("tyres", "tyre-date.lf", "99 weeks"),
        ("brakes", "fluid-age", "last spring"),
        ("gear", "helmet-label.date", "2019ish"),
        ("tyres", "tyre-marking", &"x".repeat(81)),
        ("engine", "oil-leak.note", &"n".repeat(1001)),
        ("engine", "oil-leak.note", "bell\u{7}"),
    ] {
        let kept = ines.types(id, &[(field, garbage)]).await;
        assert_eq!(kept.status(), StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        let page = area(&ines, id).await;
        let (input, text) = (page.value_of(&format!("input[name='{field}']")), page.raw(&format!("textarea[name='{field}']")));
        assert!(input == garbage || text == garbage, "{field} still holds what was typed, not \"{input}{text}\"");
        assert!(page.html.select(&crate::club::css(".trouble:not([hidden])")).next().is_some(), "{field} has its red line");
        ines.types(id, &[(field, "")]).await;
    }
    for (id, field, forged) in
        [("car", "roof", "glass"), ("wheels", "lug-nuts-present", "perhaps"), ("wheels", "torque-asked.unit", "kg")]
    {
        let form = [(field, forged), ("torque-asked", "110")];
        assert_eq!(ines.types(id, &form).await.status(), StatusCode::UNPROCESSABLE_ENTITY, "{field} = {forged}");
    }
}

#[tokio::test]
async fn numbers_are_read_as_people_type_them() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for (typed, said) in [("2,1", "2.1 mm"), (" 2.1 ", "2.1 mm"), ("02.10", "2.1 mm"), ("+2.1", "2.1 mm"), ("0", "0.0 mm")] {
        let kept = ines.types("brakes", &[("pad-front.lf", typed), ("pad-front.rf", "9"), ("pad-front.unit", "mm")]).await;
        assert_eq!(kept.status(), StatusCode::SEE_OTHER, "{typed:?}");
        let page = area(&ines, "brakes").await;
        assert!(page.first("[data-verdict=pad-front]").contains(said), "{typed:?}: {}", page.first("[data-verdict=pad-front]"));
    }
}

#[tokio::test]
async fn an_answer_that_was_emptied_is_missing_even_after_it_was_sent() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    assert_eq!(ines.heading().await, "Sent: show the car at the gate");
    ines.types("brakes", &[("pad-front.lf", ""), ("pad-front.rf", ""), ("pad-front.unit", "mm")]).await;
    let home = ines.looks().await;
    assert_eq!(home.first("h1"), "1 thing is left to look at");
    assert!(!home.has("form.send"), "a sheet with a hole is not sent");
    assert_eq!(area(&ines, "brakes").await.value_of("input[name='pad-front.lf']"), "", "what was sent does not come back");
    assert_eq!(club.board_of("27").await.0, "pending", "what was sent stands until the next is sent");
    let form = [("id", club.new_id()), ("seen", String::new()), ("edition", ines.state().await.edition.to_string())];
    let form: Vec<_> = form.map(|(name, text)| (name.to_owned(), text)).into();
    let sent = ines.sends_form(&form).await;
    assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY, "nor by a form made by hand");
    assert!(sent.page().await.text().contains("Not answered yet"));
    ines.types("brakes", &[("pad-front.lf", "9"), ("pad-front.rf", ""), ("pad-front.unit", "mm")]).await;
    assert!(area(&ines, "brakes").await.first("[data-verdict=pad-front]").contains("Still to measure: front right"));
}

#[tokio::test]
async fn an_item_of_one_field_can_be_emptied_too() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|answers| answers["oil-leak"]["note"] = json!("dry since March")).await;
    ines.types("brakes", &[("fluid-age", "")]).await;
    assert_eq!(area(&ines, "brakes").await.value_of("input[name=fluid-age]"), "");
    assert_eq!(ines.heading().await, "1 thing is left to look at");
    ines.types("brakes", &[("fluid-age", "2026-04-01")]).await;
    ines.types("engine", &[("oil-leak", "yes"), ("oil-leak.note", "")]).await;
    assert_eq!(area(&ines, "engine").await.raw("textarea[name='oil-leak.note']"), "", "a note can be taken away");
    assert_eq!(ines.sends_form(&ines.ready_to_send().await).await.status(), StatusCode::SEE_OTHER);
    assert!(!club.car_page("27").await.all("dl.answers dd").join(" ").contains("dry since March"));
}

#[tokio::test]
async fn a_form_in_another_encoding_changes_nothing_and_says_so() {
    listen();
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.types("tyres", &[("tyre-marking", "225/45 R17")]).await;
    let path = format!("{}/areas/tyres", ines.home());
    for (what, body) in [
        ("latin-1, spelt out", &b"tyre-marking=225%2F45+Stra%DFe"[..]),
        ("latin-1, as it is", b"tyre-marking=225/45 Stra\xDFe"),
        ("half a letter", b"tyre-marking=%F0%9F%9A"),
        ("NUL, spelt out", b"tyre-marking=225%00"),
        ("NUL, as it is", b"tyre-marking=225\0"),
        ("NUL in a name", b"tyre%00marking=225"),
        ("a surrogate", b"tyre-marking=%ED%A0%80"),
    ] {
        let sent = ines.person.post_bytes(&path, "application/x-www-form-urlencoded", body).await;
        assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY, "{what}");
        assert!(sent.page().await.text().contains("type it again"), "{what}: it says what to do");
        assert_eq!(area(&ines, "tyres").await.value_of("input[name=tyre-marking]"), "225/45 R17", "{what}");
    }
    let utf_8 = ines.types("tyres", &[("tyre-marking", "225/45 Straße 山 🚗"), ("then", "stay")]).await;
    assert_eq!(utf_8.status(), StatusCode::SEE_OTHER);
    assert_eq!(area(&ines, "tyres").await.value_of("input[name=tyre-marking]"), "225/45 Straße 山 🚗");
    assert_eq!(heard(), "");
}

#[tokio::test]
async fn fields_that_no_item_of_the_area_has_are_left_alone() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let strange =
        [("roof", "open"), ("wings", "yes"), ("__proto__", "x"), ("", "y"), ("pad-front.lf", "9"), (".lf", "3"), ("then", "fly")];
    assert_eq!(ines.types("brakes", &strange).await.status(), StatusCode::SEE_OTHER);
    assert!(!area(&ines, "car").await.has("input[name=roof][checked]"), "another area's answer is not given here");
    assert_eq!(area(&ines, "brakes").await.value_of("input[name='pad-front.lf']"), "9");
}

/// The program's own promise at `fill_in::keep`: nothing that a person typed is lost.
#[tokio::test]
async fn one_field_beyond_all_measure_does_not_take_the_others_along() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let story = "n".repeat(5000);
    let sent = ines.types("brakes", &[("pad-front.lf", "7.7"), ("pad-front.rf", "7.9"), ("pedal-firm.note", &story)]).await;
    assert!(sent.status().is_client_error(), "{}", sent.status());
    let in_the_answer = sent.page().await.value_of("input[name='pad-front.lf']");
    let kept = area(&ines, "brakes").await.value_of("input[name='pad-front.lf']");
    assert!(
        in_the_answer == "7.7" || kept == "7.7",
        "the pads that were measured are neither kept nor in the page that came back"
    );
}

#[tokio::test]
async fn a_form_too_large_or_with_too_many_fields_is_refused() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let path = format!("{}/areas/brakes", ines.home());
    let kind = "application/x-www-form-urlencoded";
    let large = ines.person.post_bytes(&path, kind, format!("pedal-firm.note={}", "n".repeat(600_000))).await;
    assert_eq!(large.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(large.page().await.text().contains("too large"));
    let many = ines.person.post_bytes(&path, kind, "a=b&".repeat(5_000)).await;
    assert_eq!(many.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(many.page().await.text().contains("too many fields"));
    let json = ines.person.post_json(&path, &json!({ "pad-front.lf": "9" })).await;
    assert_eq!(json.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE);
}

/// The same item typed in two tabs: the later one stands, whole; the other items of the area are not touched by it.
#[tokio::test]
async fn the_later_of_two_tabs_stands_item_by_item() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.types("brakes", &[("pad-front.lf", "9"), ("pad-front.rf", "9"), ("fluid-age", "2026-04-01")]).await;
    ines.types("brakes", &[("pad-front.lf", "8"), ("pad-front.rf", "8")]).await;
    let page = area(&ines, "brakes").await;
    assert_eq!(page.value_of("input[name='pad-front.lf']"), "8");
    assert_eq!(page.value_of("input[name=fluid-age]"), "2026-04-01");
}
