//! The README's pictures: eight pages of the demo's club in the middle of its morning.
//!
//! `WITNESSMARK_PICTURES=FOLDER cargo test --test browser pictures` writes them to a folder; without it they stay with the
//! screenshots.

use crate::browser::{Browser, in_time, screenshots};
use crate::club::Still;
use std::path::PathBuf;
use std::sync::Arc;
use tempfile::TempDir;
use tokio_util::sync::CancellationToken;
use witnessmark::acts::House;
use witnessmark::demo::{self, DemoClock};
use witnessmark::web::Web;

/// The demo's club on the wire, and the addresses of its people.
struct DemoClub {
    links: Vec<String>,
    closing: CancellationToken,
    _folder: TempDir,
}

impl DemoClub {
    async fn open() -> DemoClub {
        let folder = TempDir::new().expect("a folder for the database");
        let still = Still::new();
        // Ten to eight: the gate has been at work since six.
        still.pass(50);
        let clock = DemoClock::new(still);
        let house = Arc::new(House::open(&folder.path().join("demo.sqlite"), clock.clone()).await.expect("a new database"));
        let made = demo::make(&house, &clock).await.expect("the demo's club");
        let listener = witnessmark::listen::bind(([127, 0, 0, 1], 0).into()).expect("a port");
        let base = format!("http://localhost:{}", listener.local_addr().expect("an address").port());
        let web = Web::new(house, &base);
        let closing = web.closing.clone();
        let links = made.describe(|secret| web.link(secret));
        crate::club::serve(listener, web);
        let links = links.lines().map(str::to_owned).filter(|line| line.contains("http")).collect();
        DemoClub { links, closing, _folder: folder }
    }

    /// The link of the line that says this.
    fn link(&self, what: &str) -> &str {
        let line = self.links.iter().find(|line| line.contains(what)).unwrap_or_else(|| panic!("a link for {what}"));
        line.rsplit(' ').next().expect("an address")
    }
}

impl Drop for DemoClub {
    fn drop(&mut self) {
        self.closing.cancel();
    }
}

fn picture(name: &str) -> PathBuf {
    let folder = std::env::var_os("WITNESSMARK_PICTURES").map_or_else(|| screenshots().join("pictures"), PathBuf::from);
    folder.join(format!("{name}.png"))
}

#[tokio::test(flavor = "multi_thread")]
async fn eight_pictures_for_the_readme_are_made_of_the_demo() {
    in_time(async {
        let club = DemoClub::open().await;
        let phone = Browser::phone("pictures", "driver").await;
        phone.opens(club.link("not ready")).await;
        phone.sees("h1", "Two things stand between you and the grid").await;
        phone.keeps_as(&picture("driver")).await;
        phone.follows("a[href$=\"/areas/brakes\"]").await;
        phone.sees("[data-verdict=pad-front]", "2.1 mm").await;
        phone.asks("document.querySelector('#pad-front').scrollIntoView({ behavior: 'instant' })").await;
        phone.keeps_as(&picture("area")).await;

        phone.opens(club.link("the gate")).await;
        phone.sees("h1", "wait at the gate").await;
        phone.keeps_as(&picture("lane")).await;
        phone.follows(".wait a:has(.flagged)").await;
        phone.sees(".clear", "to check").await;
        phone.keeps_as(&picture("gate")).await;

        phone.opens(club.link("weeks before")).await;
        phone.follows("form .go").await;
        phone.follows(".cars a").await;
        phone.follows("a[href$=\"/wear\"]").await;
        phone.sees(".worn .said", "more sessions; your next event has 6.").await;
        phone.keeps_as(&picture("wear")).await;
        phone.follows(".bar .back").await;
        phone.follows("a.go").await;
        phone.sees("h1", "Not ready yet").await;
        phone.keeps_as(&picture("ready")).await;
        phone.closes().await;

        let clubhouse = Browser::desktop("pictures", "organizer").await;
        clubhouse.opens(club.link("the board")).await;
        // The demo's day is today's; the other event is still to come.
        let days = clubhouse.asks("return [...document.querySelectorAll('.events a')].map((day) => day.innerText)").await;
        let nth = days.as_array().and_then(|days| days.iter().position(|day| day.to_string().contains("Spring day")));
        clubhouse.follows(&format!(".events li:nth-child({}) a", nth.expect("the demo's day") + 1)).await;
        clubhouse.sees(".counts", "cleared").await;
        clubhouse.keeps_as(&picture("board")).await;
        clubhouse.follows("nav a[href$=\"/cleared\"]").await;
        clubhouse.sees("h1", "of 60").await;
        clubhouse.keeps_as(&picture("cleared")).await;
        clubhouse.closes().await;
    })
    .await;
}
