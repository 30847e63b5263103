//! Every main page in full sun, at night and under a gloved thumb: contrast, targets, width, and a silent console.

use crate::browser::{Browser, Window, in_time};
use crate::club::{Club, sound_answers};
use crate::people::{board, organizer_link};
use crate::sheet;
use serde_json::json;

/// A day in the middle of things: 7 has typed half, 12 is held, 27 is flagged, 114B is cleared.
async fn a_day(club: &Club) {
    let holt = club.inspector("R. Holt, lane 2").await;
    let marta = club.driver("7").await;
    for area in sheet::typed(&sound_answers()).iter().take(5) {
        marta.types(&area.area, &area.form()).await;
    }
    marta.types("tyres", &[("tread-depth.lf", "1.2"), ("tread-depth.rf", "abc")]).await;
    club.driver("12").await.sends(|_| ()).await;
    holt.holds("12", "Coolant drops from the hose at the radiator.").await;
    let two_things = |answers: &mut serde_json::Map<String, serde_json::Value>| {
        answers["pad-front"]["at"]["lf"] = json!(2.1);
        answers["tyre-date"]["at"]["rr"] = json!("1019");
    };
    club.driver("27").await.sends(two_things).await;
    club.driver("114B").await.sends(|_| ()).await;
    holt.clears("114B").await;
}

/// Opens each page and gathers what falls short.
pub async fn looks_through(browser: Browser, base: &str, pages: &[String]) {
    let mut short = Vec::new();
    for (nth, page) in pages.iter().enumerate() {
        browser.opens(&format!("{base}{page}")).await;
        short.extend(browser.falls_short().await);
        let name = page.split(['/', '?', '=']).filter(|part| part.len() < 32 && !part.is_empty()).collect::<Vec<_>>().join("-");
        browser.keeps_whole(&format!("{nth:02}-{name}")).await;
        browser.turns_dark(true).await;
        browser.keeps_whole(&format!("{nth:02}-{name}-dark")).await;
    }
    assert!(short.is_empty(), "{} things on {} pages fall short:\n{}", short.len(), pages.len(), short.join("\n"));
    browser.closes().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_measure_itself_agrees_with_published_contrast_ratios() {
    in_time(async {
        let browser = Browser::desktop("measure", "measurer").await;
        // Ratios of WCAG 2.2's formula: published anchors and PyPI wcag-contrast-ratio 0.9; each row names its own source.
        let table = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/reference/contrast.csv");
        let mut rows = 0;
        for row in csv::Reader::from_path(table).expect("the table").records() {
            let row = row.expect("a row");
            let wanted: f64 = row[4].parse().expect("a ratio");
            let found = browser.ratio(&rgb(&row[0]), &rgb(&row[1])).await;
            assert!((found - wanted).abs() <= 0.00006, "{} on {}: {found}, wanted {wanted} ({})", &row[0], &row[1], &row[8]);
            rows += 1;
        }
        assert_eq!(rows, 16, "every row of the table");
        browser.closes().await;
    })
    .await;
}

/// What all the stories rely on: a page that falls short is found, and a console that has something to say is heard.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_is_spoilt_on_purpose_is_found_out() {
    in_time(async {
        let club = Club::open().await;
        let phone = Browser::phone("measure", "spoiler").await;
        phone.opens(&club.base).await;
        assert_eq!(phone.falls_short().await, Vec::<String>::new(), "the first page as it is");
        // #777777 on white is 4.48:1, by contrast.csv.
        phone.asks("document.querySelector('h1').style.color = '#777777'").await;
        phone.asks("document.querySelector('.safe').style.width = '500px'").await;
        phone.asks("document.body.append(Object.assign(document.createElement('a'), { href: '/', textContent: 'x' }))").await;
        let short = phone.falls_short().await.join("\n");
        for fault in ["has 4.48:1", "px of page in a window of 390", "body > a \"x\" is"] {
            assert!(short.contains(fault), "{fault} is found:\n{short}");
        }
        assert_eq!(phone.console().await, Vec::<String>::new(), "nothing was said yet");
        phone.asks("document.body.append(Object.assign(document.createElement('script'), { textContent: '1' }))").await;
        let said = phone.console().await.join("\n");
        assert!(said.contains("Content Security Policy"), "a breach of the policy is heard: {said}");
        phone.closes().await;
    })
    .await;
}

/// `#rrggbb` as a page computes it.
fn rgb(hex: &str) -> String {
    let part = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).expect("a colour");
    format!("rgb({}, {}, {})", part(1), part(3), part(5))
}

#[tokio::test(flavor = "multi_thread")]
async fn the_drivers_pages_are_read_in_full_sun_and_tapped_with_gloves() {
    in_time(async {
        let club = Club::open().await;
        a_day(&club).await;
        let phone = Browser::phone("legible", "driver").await;
        let mut pages = Vec::new();
        // Each driver's cookie lies under their own car's path: one phone can hold them all.
        for number in ["7", "12", "27", "114B"] {
            let driver = club.driver(number).await;
            phone.comes_in_as(&driver).await;
            pages.push(driver.home());
            if number == "7" {
                pages.extend(driver.areas().await);
                pages.push(format!("{}/units", driver.home()));
            }
            if number == "27" {
                pages.push(format!("{}/areas/brakes", driver.home()));
            }
        }
        assert!(pages.len() > 14, "every area's page is among them");
        looks_through(phone, &club.base, &pages).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_inspectors_pages_are_read_in_full_sun_and_tapped_with_gloves() {
    in_time(async {
        let club = Club::open().await;
        a_day(&club).await;
        let vane = club.inspector("S. Vane").await;
        let phone = Browser::phone("legible", "inspector").await;
        phone.comes_in_at_the_gate(&vane).await;
        let mut pages = vec![vane.lane(), format!("{}?number=99", vane.lane())];
        for number in ["7", "12", "27", "114B"] {
            pages.push(vane.opens(number).await.path);
        }
        looks_through(phone, &club.base, &pages).await;
    })
    .await;
}

async fn the_organizers_pages(window: Window) {
    in_time(async {
        let club = Club::open().await;
        a_day(&club).await;
        let browser = match window {
            Window::Phone => Browser::phone("legible", "organizer-phone").await,
            Window::Desktop => Browser::desktop("legible", "organizer").await,
        };
        browser.opens(&organizer_link(&club, &club.base).await).await;
        let event = board(&club).trim_start_matches(&club.base).to_owned();
        let mut pages = vec!["/club".to_owned(), event.clone(), format!("{event}?standing=flagged")];
        pages.extend(["/club/organizers", "/club/you"].map(str::to_owned));
        pages.extend(["roster", "people", "sheet", "cleared"].map(|page| format!("{event}/{page}")));
        for number in ["12", "27", "114B"] {
            pages.push(format!("{event}/entries/{}", club.entry(number).await));
        }
        pages.push(format!("{event}/entries/{}/data", club.entry("27").await));
        looks_through(browser, &club.base, &pages).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_marshals_pages_are_read_in_a_second_in_full_sun() {
    in_time(async {
        let club = Club::open().await;
        a_day(&club).await;
        let phone = Browser::phone("legible", "marshal").await;
        phone.opens(&format!("{}/in/{}", club.base, club.link_for("marshal", "Pit exit").await)).await;
        let grid = format!("/grid/{}", club.event);
        let pages: Vec<String> = ["", "?number=27", "?number=12", "?number=99"].map(|asked| format!("{grid}{asked}")).into();
        looks_through(phone, &club.base, &pages).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_organizers_pages_are_legible_on_a_laptop() {
    the_organizers_pages(Window::Desktop).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_organizers_pages_are_legible_on_a_phone() {
    the_organizers_pages(Window::Phone).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stranger_and_a_lost_driver_are_told_what_to_do_legibly() {
    in_time(async {
        let club = Club::open().await;
        let phone = Browser::phone("legible", "stranger").await;
        // A page that is refused is told in the console too.
        for status in ["401", "404"] {
            phone.forgives(status);
        }
        let once = format!("/in/{}", club.link_for("inspector", "R. Holt").await);
        let pages = ["/", "/club", "/in/nonsense", "/nowhere", "/sign-in", "/privacy", &once].map(str::to_owned);
        looks_through(phone, &club.base, &pages).await;
    })
    .await;
}
