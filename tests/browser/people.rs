//! People with a browser in their hands, come in by their private links.

use crate::browser::Browser;
use crate::club::{Club, Driver, Inspector, Page, css};
use witnessmark::acts::hand_out::{self, Use};

/// A private link for another organizer: the first one's was used up when the club was opened.
pub async fn organizer_link(club: &Club, base: &str) -> String {
    let name = format!("M. Ashdown {}", club.new_id());
    let link = hand_out::organizer_link(&club.house, &name, Use::Often).await.expect("a link for an organizer");
    format!("{base}/in/{}", link.secret)
}

impl Browser {
    /// Comes in as an organizer and opens the event's board.
    pub async fn opens_the_board(&self, club: &Club) {
        self.opens(&organizer_link(club, &club.base).await).await;
        self.opens(&board(club)).await;
        self.sees(".counts", "pending").await;
    }

    /// Comes in as this driver: the car's first page.
    pub async fn comes_in_as(&self, driver: &Driver<'_>) {
        self.opens(&format!("{}/in/{}", driver.club.base, driver.secret)).await;
    }

    /// Comes in as this inspector: the lane.
    pub async fn comes_in_at_the_gate(&self, inspector: &Inspector<'_>) {
        self.comes_in_by(&inspector.club.base, &inspector.club.another_link_for(&inspector.name).await).await;
    }

    /// Opens a one-time link and uses it on this device.
    pub async fn comes_in_by(&self, base: &str, secret: &str) {
        self.opens(&format!("{base}/in/{secret}")).await;
        self.follows("form .go, form button").await;
    }

    /// Looks for a car by its number in the lane.
    pub async fn finds(&self, number: &str) {
        self.types("#number", number).await;
        self.follows(".find button").await;
        self.sees(".plate", number).await;
    }

    /// Sets the device's clock to the club's, in every page from now on: passes and lists are for the day.
    pub async fn has_the_clubs_time(&self, club: &Club) {
        self.has_a_clock_off_by(club, 0).await;
    }

    /// Sets the device's clock, in every page from now on: so many minutes ahead of the club's.
    pub async fn has_a_clock_off_by(&self, club: &Club, minutes: i64) {
        let now = club.house.now().as_millisecond() + minutes * 60_000;
        let source = format!("(() => {{ const real = Date.now; const off = {now} - real(); Date.now = () => real() + off; }})()");
        self.runs_first(&source).await;
    }

    /// Makes every check of a car's page by hand.
    pub async fn ticks_everything(&self) {
        let boxes = self.asks("return [...document.querySelectorAll('[data-must]')].map((box) => box.name)").await;
        for name in boxes.as_array().expect("a list") {
            self.taps(&format!("label:has(> [name=\"{}\"])", name.as_str().unwrap_or_default())).await;
        }
    }

    /// Puts a mark on the page that a reload would wipe off.
    pub async fn marks_the_page(&self) {
        self.asks("window.stays = true").await;
    }

    /// Whether the page is the one that was marked.
    pub async fn was_not_reloaded(&self) {
        let stays = self.asks("return window.stays === true").await;
        assert_eq!(stays, true, "{}: the page changed without a reload", self.who);
    }
}

impl Driver<'_> {
    /// The paths of the areas that the sheet asks of this car.
    pub async fn areas(&self) -> Vec<String> {
        self.looks().await.hrefs(".areas a")
    }
}

impl Page {
    /// Where the links of a kind lead.
    pub fn hrefs(&self, selector: &str) -> Vec<String> {
        self.html.select(&css(selector)).filter_map(|link| link.attr("href").map(str::to_owned)).collect()
    }
}

/// The board's address.
pub fn board(club: &Club) -> String {
    format!("{}/club/events/{}", club.base, club.event)
}

/// A row of the board.
pub fn row(number: &str) -> String {
    format!("tr[data-number=\"{number}\"]")
}
