//! The live stream: says that something changed, to those who may see it, and ends when the house closes.

use crate::club::{Answer, Club, Person};
use crate::tools::png;
use reqwest::StatusCode;
use std::time::Duration;

const LONG: Duration = Duration::from_secs(10);

/// A stream that somebody listens to.
pub struct Stream {
    answer: Answer,
    heard: String,
}

impl Stream {
    pub async fn open(person: &Person, path: &str) -> Stream {
        let answer = person.get(path).await;
        assert_eq!(answer.status(), StatusCode::OK, "{path}");
        assert!(answer.header("content-type").starts_with("text/event-stream"), "{path}");
        assert_eq!(answer.header("content-encoding"), "", "a packed stream would hold back what is to be told at once");
        let mut stream = Stream { answer, heard: String::new() };
        assert_eq!(stream.next().await, Some(("open".into(), String::new())), "it says that it is open");
        stream
    }

    /// The next event with its data; `None` when the stream ended.
    pub async fn next(&mut self) -> Option<(String, String)> {
        loop {
            if let Some((event, rest)) = self.heard.split_once("\n\n") {
                let line =
                    |begin: &str| event.lines().find_map(|line| line.strip_prefix(begin)).map(|text| text.trim().to_owned());
                // A browser drops an event without data (WHATWG HTML, server-sent events): it was told nothing.
                let is_dropped = line("event:").as_deref() == Some("changed") && line("data:").is_none_or(|data| data.is_empty());
                assert!(!is_dropped, "a browser would not hear of this: {event:?}");
                let told = (line("event:"), line("data:").unwrap_or_default());
                self.heard = rest.to_owned();
                match told {
                    (Some(event), data) => return Some((event, data)),
                    // A comment that only keeps the line open.
                    (None, _) => continue,
                }
            }
            let piece = tokio::time::timeout(LONG, self.answer.piece()).await.expect("something is told within ten seconds");
            self.heard.push_str(&piece?);
        }
    }

    async fn hears_of(&mut self, entry: &str, what: &str) {
        assert_eq!(self.next().await, Some(("changed".into(), entry.to_owned())), "{what}");
    }
}

#[tokio::test]
async fn those_who_watch_are_told_which_car_changed_and_nothing_else() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let holt = club.inspector("R. Holt").await;
    let mut board = Stream::open(&club.organizer, &format!("/club/events/{}/live", club.event)).await;
    let mut lane = Stream::open(&holt.person, &format!("{}/live", holt.lane())).await;
    let mut hers = Stream::open(&ines.person, &format!("{}/live", ines.home())).await;
    let mut martas = Stream::open(&marta.person, &format!("{}/live", marta.home())).await;
    ines.sends(|_| ()).await;
    for (stream, who) in [(&mut board, "the organizer"), (&mut lane, "the inspector"), (&mut hers, "Ines")] {
        stream.hears_of(&ines.entry, &format!("{who} hears that car 27 was sent")).await;
    }
    holt.holds("27", "oil under the gearbox").await;
    for (stream, who) in [(&mut board, "the organizer"), (&mut lane, "the inspector"), (&mut hers, "Ines")] {
        stream.hears_of(&ines.entry, &format!("{who} hears that car 27 was held")).await;
    }
    marta.sends(|_| ()).await;
    martas.hears_of(&marta.entry, "the first that Marta hears is of her own car: nothing was told of car 27").await;
    board.hears_of(&marta.entry, "the organizer hears of car 7").await;
    holt.clears("27").await;
    hers.hears_of(&ines.entry, "and Ines hears of her clear next: nothing was told of car 7").await;
    assert!(!format!("{}{}{}", board.heard, hers.heard, martas.heard).contains("gearbox"), "no stream says what");
}

#[tokio::test]
async fn one_event_does_not_hear_of_another() {
    let club = Club::open().await;
    let autumn = club.another_event("Autumn day").await;
    let ines = club.driver("27").await;
    let mut watched = Stream::open(&club.organizer, &format!("/club/events/{autumn}/live")).await;
    ines.sends(|_| ()).await;
    let form = reqwest::multipart::Form::new().text("text", "number,name,car,group\n1,Ada Brandt,Alder,A\n");
    let roster = club.organizer.url(&format!("/club/events/{autumn}/roster"));
    club.organizer.send(club.organizer.client.post(roster).multipart(form)).await;
    watched.hears_of("all", "the first thing told is that its own roster changed: the whole event, so no entry").await;
}

#[tokio::test]
async fn a_raised_edition_is_told_to_every_driver() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let mut hers = Stream::open(&ines.person, &format!("{}/live", ines.home())).await;
    club.raise_to(&club.event, &crate::tools::sheet_with_a_new_item()).await;
    hers.hears_of("all", "the sheet changed for everybody").await;
}

#[tokio::test]
async fn what_a_driver_only_types_is_told_to_nobody() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let mut board = Stream::open(&club.organizer, &format!("/club/events/{}/live", club.event)).await;
    ines.types("brakes", &[("pad-front.lf", "9")]).await;
    ines.person.upload(&format!("{}/items/photos/photos", ines.home()), "photo", &[("a.png", "image/png", &png(4, 4))]).await;
    marta.sends(|_| ()).await;
    board.hears_of(&marta.entry, "a draft is nobody's business").await;
}

#[tokio::test]
async fn streams_end_and_nothing_hangs_when_the_house_closes() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let holt = club.inspector("R. Holt").await;
    let mut streams = vec![
        Stream::open(&club.organizer, &format!("/club/events/{}/live", club.event)).await,
        Stream::open(&holt.person, &format!("{}/live", holt.lane())).await,
        Stream::open(&ines.person, &format!("{}/live", ines.home())).await,
    ];
    tokio::time::timeout(LONG, club.close()).await.expect("closing does not wait for those who only listen");
    for stream in &mut streams {
        assert_eq!(stream.next().await, None, "the stream ends");
    }
    crate::club::until("the server lets go of its port", || async {
        Person::stranger(&club.base).client.get(format!("{}/alive", club.base)).send().await.is_err()
    })
    .await;
}

/// "Taken back" means out: somebody sent off the gate does not go on hearing what happens there.
#[tokio::test]
async fn an_inspector_taken_back_hears_nothing_more() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let holt = club.inspector("R. Holt").await;
    let mut lane = Stream::open(&holt.person, &format!("{}/live", holt.lane())).await;
    let end = club.forms_for("R. Holt").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
    assert_eq!(club.organizer.post(&end.expect("can be let go"), &[]).await.status(), StatusCode::SEE_OTHER);
    ines.sends(|_| ()).await;
    assert_eq!(lane.next().await, None, "the stream of a device that is out has ended");
}
