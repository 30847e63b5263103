//! What the driver's form weighs on a phone with one bar of signal.

use crate::browser::{Browser, in_time};
use crate::club::{Club, Driver};
use crate::wire::{Asked, Wire};

/// Bytes over the wire, heads included, of the first load of the driver's form all told (this project's own bound).
const ALL: usize = 60_000;

/// The scripts' part of it.
const SCRIPTS: usize = 25_000;

/// What the worker fetches besides, once the page stands: every area, and what the other pages are made of.
const FOR_LATER: usize = 110_000;

/// What a driver's pages are made of, whoever fetched it first.
const DRIVERS: [&str; 17] = [
    "base.css",
    "drawings.css",
    "driver.css",
    "door-plate.woff2",
    "driver.js",
    "fill.js",
    "keep.js",
    "live.js",
    "news.js",
    "offline.js",
    "photos.js",
    "queue.js",
    "shelf.js",
    "shrink.js",
    "stream.js",
    "sw.js",
    "when.js",
];

fn is_for_later(asked: &Asked, opened: &str) -> bool {
    asked.by_worker && asked.path != opened && !DRIVERS.iter().any(|name| asked.path.ends_with(name))
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_load_of_a_drivers_form_is_light_enough_for_a_paddock() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("sizes", "driver").await;
        // From the tap on the link in the mail, with nothing kept from before, to an area's page ready to be filled in.
        phone.opens(&format!("{}/in/{}", wire.base, ines.secret)).await;
        phone.sees("[data-ready]", "opens without signal").await;
        let home = wire.asked();
        let heaviest = heaviest_area(&ines).await;
        phone.opens(&format!("{}{}", wire.base, heaviest)).await;
        phone.taps("h1").await;
        let (later, all): (Vec<Asked>, Vec<Asked>) = wire.asked().into_iter().partition(|asked| is_for_later(asked, &heaviest));
        assert!(all.iter().any(|asked| asked.path.ends_with("fill.js")), "the form's own script is among them: {all:?}");
        assert!(all.iter().any(|asked| asked.path.ends_with("stream.js")), "the worker's script is counted too: {all:?}");

        let told =
            |asked: &[Asked]| asked.iter().map(|one| format!("{:>7} {}", one.bytes, one.path)).collect::<Vec<_>>().join("\n");
        let sum = |asked: &[Asked]| asked.iter().map(|one| one.bytes).sum::<usize>();
        let scripts: Vec<Asked> = all.iter().filter(|asked| asked.is_script()).cloned().collect();
        println!("for later {} bytes\n{}", sum(&later), told(&later));
        assert!(!later.is_empty(), "the worker's own requests can be told from the page's");
        assert!(sum(&later) <= FOR_LATER, "{} bytes for later, at most {FOR_LATER}:\n{}", sum(&later), told(&later));
        println!("home {} bytes, with an area {} bytes, scripts {} bytes\n{}", sum(&home), sum(&all), sum(&scripts), told(&all));
        assert!(sum(&all) <= ALL, "{} bytes, at most {ALL}:\n{}", sum(&all), told(&all));
        assert!(sum(&scripts) <= SCRIPTS, "{} bytes of scripts, at most {SCRIPTS}:\n{}", sum(&scripts), told(&scripts));
        phone.closes().await;
    })
    .await;
}

/// The area whose page is the largest.
async fn heaviest_area(driver: &Driver<'_>) -> String {
    let mut sizes = Vec::new();
    for area in driver.areas().await {
        sizes.push((driver.person.get(&area).await.text().await.len(), area));
    }
    sizes.into_iter().max().expect("the sheet has areas").1
}
