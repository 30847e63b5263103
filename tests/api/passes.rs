//! Passes: for cleared cars and no others, worth what the car's standing is worth, and false ones are none.

use crate::club::{Club, Driver, Person, css};
use reqwest::StatusCode;
use serde_json::Value as Json;
use witnessmark::rules::pass::Pass;

/// The pass that a driver's page shows; empty where there is none.
async fn pass_of(driver: &Driver<'_>) -> bool {
    let page = driver.person.get(&format!("{}/pass", driver.home())).await.page().await;
    page.has("section.pass svg.code")
}

/// The address in the code, read out of the code's own squares.
pub async fn address_in(driver: &Driver<'_>) -> String {
    let page = driver.person.get(&format!("{}/pass", driver.home())).await.page().await;
    let view = page.attr("svg.code", "viewBox");
    let side: usize = view.rsplit(' ').next().and_then(|side| side.parse().ok()).expect("a side");
    let path = page.html.select(&css("svg.code .dark")).next().and_then(|path| path.attr("d")).expect("squares").to_owned();
    let mut dark = vec![false; side * side];
    for run in path.split('z').filter(|run| !run.is_empty()) {
        let numbers: Vec<usize> = run[1..].split([' ', 'h', 'v']).take(3).map(|part| part.parse().expect("a number")).collect();
        (0..numbers[2]).for_each(|more| dark[numbers[1] * side + numbers[0] + more] = true);
    }
    const DOTS: usize = 4;
    let grey = |x: usize, y: usize| if dark[y / DOTS * side + x / DOTS] { 0 } else { 255 };
    let mut seen = rqrr::PreparedImage::prepare_from_greyscale(side * DOTS, side * DOTS, grey);
    let grids = seen.detect_grids();
    grids.first().expect("a code").decode().expect("it can be read").1
}

async fn cleared(club: &Club) -> Driver<'_> {
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    club.inspector("R. Holt").await.clears("27").await;
    ines
}

#[tokio::test]
async fn a_pass_comes_with_the_clearance_and_goes_with_it() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    assert!(!pass_of(&ines).await, "nothing sent");
    ines.sends(|_| ()).await;
    assert!(!pass_of(&ines).await, "waiting for the gate");
    let holt = club.inspector("R. Holt").await;
    holt.clears("27").await;
    assert!(pass_of(&ines).await);
    assert!(ines.looks().await.has(&format!("a[href='{}/pass']", ines.home())), "the first page leads to it");
    holt.holds("27", "Oil at the gearbox.").await;
    assert!(!pass_of(&ines).await, "held");
    holt.clears("27").await;
    assert!(pass_of(&ines).await);
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = 8.5.into()).await;
    assert!(!pass_of(&ines).await, "a new submission waits for the gate again");
}

#[tokio::test]
async fn the_code_read_by_a_phones_own_camera_says_how_the_car_stands_now() {
    let club = Club::open().await;
    let ines = cleared(&club).await;
    let address = address_in(&ines).await;
    assert_eq!(address, address.to_uppercase(), "the code's denser alphabet");
    let (_, pass) = address.split_once("/P/").expect("a pass's address");
    assert!(address.len() < 320, "{} letters", address.len());
    let anybody = Person::stranger(&club.base);
    let path = format!("/P/{pass}");
    let says = async || {
        let page = anybody.get(&path).await.page().await;
        assert!(!page.text().contains("Okafor"), "a stranger learns no name");
        (page.first(".verdict h1"), page.first(".verdict .big"))
    };
    assert_eq!(says().await, ("27 Cleared".into(), "Group B".into()));
    club.inspector("R. Holt").await.holds("27", "Oil at the gearbox.").await;
    assert_eq!(says().await, ("27 Not cleared".into(), "The pass was true when it was made; it is not now.".into()));
    club.clock.pass(17 * 60);
    assert_eq!(says().await.0, "27 Over", "after midnight");
}

#[tokio::test]
async fn forged_altered_and_foreign_passes_are_answered_as_nothing_at_all() {
    let club = Club::open().await;
    let ines = cleared(&club).await;
    let address = address_in(&ines).await;
    let pass = address.rsplit('/').next().expect("a pass");
    let anybody = Person::stranger(&club.base);
    assert_eq!(anybody.get(&format!("/P/{pass}")).await.status(), StatusCode::OK);
    let altered = format!("{}{}", &pass[..pass.len() - 30], "A".repeat(30));
    for (what, text) in [("altered", altered.as_str()), ("cut", &pass[..40]), ("none", "HELLO"), ("empty", "%20")] {
        assert_eq!(anybody.get(&format!("/P/{text}")).await.status(), StatusCode::NOT_FOUND, "{what}");
    }
    // Somebody who knows all that stands in a pass, and has a key of their own.
    let forged = Pass::read(pass).expect("a pass").seal(&[9; 32]);
    assert_eq!(anybody.get(&format!("/P/{forged}")).await.status(), StatusCode::NOT_FOUND, "forged");
}

#[tokio::test]
async fn a_marshals_device_gets_every_car_and_the_key_and_no_secret() {
    let club = Club::open().await;
    cleared(&club).await;
    club.inspector("R. Holt").await.holds("7", "Oil at the gearbox.").await;
    let marshal = Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await;
    let list: Json = marshal.get(&format!("/grid/{}/cars.json", club.event)).await.json().await;
    let car =
        |number: &str| list["cars"].as_array().and_then(|cars| cars.iter().find(|car| car["number"] == number)).expect("a car");
    assert_eq!((car("27")["cleared"].clone(), car("27")["held"].clone()), (true.into(), false.into()));
    assert_eq!((car("7")["cleared"].clone(), car("7")["held"].clone()), (false.into(), true.into()));
    assert_eq!(car("7")["because"], "held at the gate: Oil at the gearbox.");
    assert_eq!(car("12")["because"], "no sheet was sent");
    assert_eq!(list["until"], 1_778_367_600_000_i64, "midnight in London: 2026-05-09T23:00:00Z");
    assert_eq!(list["key"].as_str().map(str::len), Some(43));
    assert!(!list.to_string().contains("@example.org"), "a marshal needs no mail address");
}
