//! The honest day that goes on beside every attack: drivers who fill in and send, inspectors who sign off, a board that is
//! looked at. Each answer's time and status is kept, and every record that was answered as taken.

use crate::club::{Club, Person, new_id};
use reqwest::{Client, RequestBuilder, StatusCode, redirect};
use scraper::{Html, Selector};
use serde_json::json;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// How long a person looks at a page before the next tap.
const BETWEEN_TAPS: Duration = Duration::from_millis(700);

/// What the honest were answered.
#[derive(Default)]
pub struct Ledger {
    kept: Mutex<Kept>,
}

#[derive(Default)]
struct Kept {
    times: Vec<Duration>,
    refused: Vec<String>,
    taken: Vec<Uuid>,
}

/// The honest side of one attack.
pub struct Share {
    pub answers: usize,
    pub middle: Duration,
    pub p99: Duration,
    pub refused: Vec<String>,
}

impl Ledger {
    fn with<T>(&self, look: impl FnOnce(&mut Kept) -> T) -> T {
        look(&mut self.kept.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// What came since the last time this was asked.
    pub fn share(&self) -> Share {
        let (mut times, refused) = self.with(|kept| (std::mem::take(&mut kept.times), std::mem::take(&mut kept.refused)));
        times.sort_unstable();
        let at = |share: usize| times.get((times.len() * share / 100).min(times.len().saturating_sub(1))).copied();
        let (middle, p99) = (at(50).unwrap_or_default(), at(99).unwrap_or_default());
        Share { answers: times.len(), middle, p99, refused }
    }

    /// Every record that was answered as taken.
    pub fn taken(&self) -> Vec<Uuid> {
        self.with(|kept| kept.taken.clone())
    }
}

/// Somebody honest at a browser.
#[derive(Clone)]
struct Hand {
    client: Client,
    base: String,
    cookie: String,
    ledger: Arc<Ledger>,
}

impl Hand {
    fn of(base: &str, person: &Person, ledger: &Arc<Ledger>) -> Hand {
        // A browser gives up much later; what takes this long has stopped the day.
        let client = Client::builder().redirect(redirect::Policy::none()).timeout(Duration::from_secs(25)).build();
        let cookie = format!("witnessmark={}", person.cookie);
        Hand { client: client.expect("a client"), base: base.to_owned(), cookie, ledger: ledger.clone() }
    }

    fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base)
    }

    /// Asks, and notes how long it took and whether it was what an honest person expects.
    async fn asks(&self, what: &str, request: RequestBuilder, expected: StatusCode) -> Option<String> {
        let begun = Instant::now();
        let answer = request.header("cookie", &self.cookie).header("sec-fetch-site", "same-origin").send().await;
        let (status, text) = match answer {
            Ok(answer) => (Ok(answer.status()), answer.text().await.unwrap_or_default()),
            Err(error) => (Err(error), String::new()),
        };
        let took = begun.elapsed();
        let is_fine = status.as_ref().is_ok_and(|status| *status == expected);
        self.ledger.with(|kept| {
            kept.times.push(took);
            if !is_fine {
                let words: String = text.split_whitespace().collect::<Vec<_>>().join(" ").chars().take(2000).collect();
                kept.refused.push(format!("{what}: {status:?} after {took:?}: {words}"));
            }
        });
        is_fine.then_some(text)
    }

    async fn looks(&self, what: &str, path: &str) -> Option<String> {
        self.asks(what, self.client.get(self.url(path)), StatusCode::OK).await
    }

    fn took(&self, id: Uuid) {
        self.ledger.with(|kept| kept.taken.push(id));
    }
}

fn fields(page: &str, form: &str) -> Vec<(String, String)> {
    let page = Html::parse_document(page);
    let selector = |text: &str| Selector::parse(text).expect("a selector");
    let hidden = selector(&format!("{form} input[type=hidden]"));
    let boxes = selector("input[type=checkbox][name]");
    let pair = |field: scraper::ElementRef<'_>, value: Option<&str>| {
        let value = value.or(field.attr("value")).unwrap_or_default().to_owned();
        Some((field.attr("name")?.to_owned(), value))
    };
    let hidden = page.select(&hidden).filter_map(|field| pair(field, None));
    hidden.chain(page.select(&boxes).filter_map(|field| pair(field, Some("1")))).collect()
}

/// A driver: looks, types in an area, sends the whole sheet, looks again.
async fn drives(hand: Hand, club: Arc<Club>, me: Person, nth: usize, end: CancellationToken) {
    let home = format!("/my/{}", me.of);
    let mut seen: Vec<Uuid> = Vec::new();
    pause(&end, BETWEEN_TAPS * u32::try_from(nth % 7).unwrap_or_default() / 4).await;
    while !end.is_cancelled() {
        hand.looks("a driver looks", &home).await;
        pause(&end, BETWEEN_TAPS).await;
        hand.looks("a driver opens an area", &format!("{home}/areas/wheels")).await;
        pause(&end, BETWEEN_TAPS).await;
        let id = new_id();
        let sheet = json!({ "id": id, "seen": seen, "edition": club.edition, "answers": club.answers });
        let sent = hand.client.post(hand.url(&format!("{home}/submissions"))).json(&sheet);
        if hand.asks("a driver sends", sent, StatusCode::CREATED).await.is_some() {
            hand.took(id);
            seen = vec![id];
        }
        // A person sends a handful of sheets in a day.
        for _ in 0..6 {
            pause(&end, BETWEEN_TAPS).await;
        }
    }
}

/// An inspector: looks at the lane, opens a car, holds it; the next time clears it.
async fn inspects(hand: Hand, club: Arc<Club>, nth: usize, end: CancellationToken) {
    let lane = format!("/gate/{}", club.event);
    let mine: Vec<&Person> = club.drivers.iter().skip(nth).step_by(2).collect();
    for (turn, car) in mine.iter().cycle().enumerate() {
        if end.is_cancelled() {
            return;
        }
        hand.looks("an inspector looks at the lane", &lane).await;
        pause(&end, BETWEEN_TAPS).await;
        let path = format!("{lane}/entries/{}", car.of);
        let Some(page) = hand.looks("an inspector opens a car", &path).await else { continue };
        pause(&end, BETWEEN_TAPS).await;
        let mut form = fields(&page, "form[data-sign-off]");
        let id = form.iter().find(|(name, _)| name == "id").and_then(|(_, id)| id.parse().ok());
        form.extend([("deed".into(), "hold".into()), ("reason".into(), format!("Look {turn}: oil on the sill."))]);
        let signed = hand.client.post(hand.url(&format!("{path}/sign-offs"))).form(&form);
        if hand.asks("an inspector holds a car", signed, StatusCode::SEE_OTHER).await.is_some() {
            hand.took(id.unwrap_or_default());
        }
        pause(&end, BETWEEN_TAPS).await;
    }
}

/// The organizer's board, and the watchdog.
async fn watches(hand: Hand, club: Arc<Club>, end: CancellationToken) {
    while !end.is_cancelled() {
        hand.looks("the board", &format!("/club/events/{}", club.event)).await;
        pause(&end, BETWEEN_TAPS / 2).await;
        hand.looks("the watchdog", "/alive").await;
        pause(&end, BETWEEN_TAPS / 2).await;
    }
}

async fn pause(end: &CancellationToken, time: Duration) {
    end.run_until_cancelled(tokio::time::sleep(time)).await;
}

/// Sets everybody honest to work until `end`.
pub fn set_to_work(
    base: &str,
    club: &Arc<Club>,
    ledger: &Arc<Ledger>,
    end: &CancellationToken,
) -> Vec<tokio::task::JoinHandle<()>> {
    let hand = |person: &Person| Hand::of(base, person, ledger);
    let mut work = vec![tokio::spawn(watches(hand(&club.organizer), club.clone(), end.clone()))];
    for (nth, inspector) in club.inspectors.iter().enumerate() {
        work.push(tokio::spawn(inspects(hand(inspector), club.clone(), nth, end.clone())));
    }
    for (nth, driver) in club.drivers.iter().enumerate() {
        work.push(tokio::spawn(drives(hand(driver), club.clone(), driver.clone(), nth, end.clone())));
    }
    work
}
