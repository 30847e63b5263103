//! Every deed is made to fail at its first change, at its second, and so on; nothing may stay behind, and the same deed,
//! sent again, is done.

use crate::club::{Answer, Club, Person};
use crate::injury::{Breaker, Failing, Interruption, assert_all_agree, assert_unchanged, everything, on_the_writer, touch};
use image::{DynamicImage, ImageFormat};
use reqwest::StatusCode;
use serde_json::json;
use std::io::Cursor;
use witnessmark::acts::board::board;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::store::Touch;

#[tokio::test]
async fn a_deed_whose_nth_change_is_refused_leaves_nothing_behind_and_is_done_when_sent_again() {
    the_whole_day(Failing::Statement).await;
}

#[tokio::test]
async fn a_deed_whose_nth_change_ends_the_transaction_leaves_nothing_behind_and_the_club_goes_on_writing() {
    the_whole_day(Failing::Transaction).await;
}

/// A whole day of the club, each deed of it broken at each of its changes first.
async fn the_whole_day(failing: Failing) {
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    let event = &club.event;
    let day = Day { club: &club, breaker: Breaker::new(&club.house, failing).await };
    let organizer = &club.organizer;

    let page = organizer.get("/club").await.page().await;
    let edition = page.value_of("select[name=edition] option");
    let form = [
        ("name", "Summer day"),
        ("venue", "Dunmere Ring"),
        ("day", "2026-07-11"),
        ("zone", "Europe/London"),
        ("groups", "A 08:50\nB 09:20"),
        ("edition", edition.as_str()),
    ];
    day.breaks("an event with two groups", 3, &[], async || organizer.post("/club/events", &form).await).await;
    let more = "number,name,car,group\n31,Pia Solberg,Corvane S4,A\n32,Emil Brandt,Corvane S4,A\n33,Lena Farkas,Alder 90,B\n";
    day.breaks("a roster of three", 3, &[], async || club.take_roster(more).await).await;
    let links = format!("/club/events/{event}/links");
    day.breaks("links for six drivers", 6, &[], async || organizer.post(&links, &[("as", "csv")]).await).await;
    let people = format!("/club/events/{event}/people");
    let novak = [("role", "inspector"), ("name", "A. Novak")];
    day.breaks("a link for an inspector", 1, &[], async || organizer.post(&people, &novak).await).await;
    let door = format!("/in/{}", ines.secret);
    day.breaks("coming in", 1, &[], async || Person::stranger(&club.base).get(&door).await).await;

    day.breaks("two answers typed", 2, &[], async || {
        ines.types("brakes", &[("pad-front.lf", "2.1"), ("pad-front.rf", "9"), ("pad-front.unit", "mm"), ("pedal-firm", "yes")])
            .await
    })
    .await;
    let mut answers = crate::club::sound_answers();
    answers["pad-front"]["at"]["lf"] = json!(2.1);
    let state = ines.state().await;
    let body = json!({ "id": club.new_id(), "seen": state.seen, "edition": state.edition, "answers": answers });
    let send = format!("{}/submissions", ines.home());
    day.breaks("a device's submission", 1, &[], async || ines.person.post_json(&send, &body).await).await;
    ines.types("brakes", &[("pad-front.lf", "9"), ("pad-front.rf", "9"), ("pad-front.unit", "mm")]).await;
    let form = ines.ready_to_send().await;
    // What the page showed is kept as typed first, then sent: the first may stay without the second.
    day.breaks("the form sent", 2, &["draft"], async || ines.sends_form(&form).await).await;

    let open = holt.opens("27").await;
    let hold: Vec<_> = open.all_ticked().into_iter().filter(|(name, _)| name == "id" || name == "seen").collect();
    day.breaks("a hold", 1, &[], async || open.signs(&hold, "hold", "Oil at the gearbox.").await).await;
    let open = holt.opens("27").await;
    let ticked = open.all_ticked();
    day.breaks("a clear", 1, &[], async || open.signs(&ticked, "clear", "").await).await;
    assert_eq!(club.board_of("27").await.0, "cleared", "the car that was broken at every step is on the grid at last");
    let car = format!("/club/events/{event}/entries/{}", ines.entry);
    let page = organizer.get(&car).await.page().await;
    let (id, seen) = (page.value_of("form.stack input[name=id]"), page.value_of("form.stack input[name=seen]"));
    let form = [("id", id.as_str()), ("seen", seen.as_str()), ("reason", "Touched the wall.")];
    let withdrawals = format!("{car}/withdrawals");
    day.breaks("a withdrawal", 1, &[], async || organizer.post(&withdrawals, &form).await).await;
    assert_eq!(club.board_of("27").await.0, "flagged", "the clearance is taken back");

    let anew = format!("{car}/links");
    day.breaks("a driver's link anew", 2, &[], async || organizer.post(&anew, &[]).await).await;
    let file = CLUB_DAY.replacen("name = \"Club day\"", "name = \"Club day, second\"", 1);
    let editions = format!("/club/events/{event}/sheet/editions");
    let added = day.breaks("another edition", 1, &[], async || organizer.post(&editions, &[("file", &file)]).await).await;
    let shown = organizer.get(&added.location()).await.page().await;
    day.breaks("the event raised to it", 2, &[], async || club.raises_as_shown(event, &shown).await).await;
}

/// A photo is two deeds: the picture, then its place in the draft. A picture without a place hurts nobody.
#[tokio::test]
async fn a_photo_that_breaks_off_leaves_the_draft_as_it_was() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let day = Day { club: &club, breaker: Breaker::new(&club.house, Failing::Statement).await };
    let sheet = witnessmark::rules::sheet_file::read(CLUB_DAY).expect("the default sheet");
    let item = sheet.items().find(|item| item.kind.word() == "photo").expect("an item that takes photos").id.to_string();
    let mut png = Vec::new();
    DynamicImage::new_rgb8(8, 8).write_to(&mut Cursor::new(&mut png), ImageFormat::Png).expect("a picture");
    let path = format!("{}/items/{item}/photos", ines.home());
    let send = async || {
        let part = reqwest::multipart::Part::bytes(png.clone()).file_name("crack.png");
        let form = reqwest::multipart::Form::new().part("photo", part);
        ines.person.send(ines.person.client.post(ines.person.url(&path)).multipart(form)).await
    };
    day.breaks("a photo", 2, &["photo"], send).await;
}

/// A garage from its opening to its end, each deed of it broken at each of its changes first.
async fn a_whole_garage(failing: Failing) {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    ines.sends(|_| ()).await;
    let day = Day { club: &club, breaker: Breaker::new(&club.house, failing).await };
    let (door, id) = (format!("{}/garage", marta.home()), club.new_id());
    let form = [("id", id.as_str()), ("deed", "open")];
    let opened = day.breaks("a garage opened", 7, &[], async || marta.person.post(&door, &form).await).await;
    assert_ne!(opened.header("set-cookie"), "", "the browser that was refused so often is in it at last");

    let keeper = ines.opens_a_garage().await;
    ines.person.uses_link(&marta.secret).await;
    let (id, to) = (club.new_id(), &door);
    let form = [("id", id.as_str()), ("car", "new")];
    day.breaks("a sheet brought to a new car", 3, &[], async || ines.person.post(to, &form).await).await;
    let id = club.new_id();
    let facts = [("name", "The red one"), ("mass", "1200"), ("torque-asked", "117")];
    let path = format!("/cars/{}/facts", keeper.car);
    day.breaks("facts and a name", 2, &[], async || keeper.posts(&path, &id, &facts).await).await;
    let table = "day,what,place,value\n2026-05-01,tread,lf,6.1\n2026-05-02,tread,lf,6\n2026-05-02,track-time,,20\n";
    let path = format!("/cars/{}/log/import", keeper.car);
    day.breaks("a table of three", 3, &[], async || keeper.posts(&path, &id, &[("text", table)]).await).await;
    let job = keeper.has_to("Find the oil leak").await;
    let mut png = Vec::new();
    DynamicImage::new_rgb8(8, 8).write_to(&mut Cursor::new(&mut png), ImageFormat::Png).expect("a picture");
    let (path, files) = (format!("{}/photos-of/{job}", keeper.home()), [("a.png", "image/png", png.as_slice())]);
    day.breaks("a photo of a job", 2, &[], async || keeper.person.upload(&path, "photo", &files).await).await;
    let keep = format!("{}/keep", keeper.home());
    let (link, calendar) = (format!("{keep}/link"), format!("{keep}/calendar"));
    day.breaks("the link anew", 2, &[], async || keeper.person.post(&link, &[]).await).await;
    day.breaks("the calendar's address", 1, &[], async || keeper.person.post(&calendar, &[]).await).await;
    let noted = keeper.kinds().await.len();
    assert_eq!(noted, 3 + 3 + 2 + 3 + 2);
    let least = u32::try_from(noted + 3).expect("a count");
    let away = format!("{keep}/take-away");
    day.breaks("all of it taken away", least, &[], async || keeper.person.post(&away, &[("word", "everything")]).await).await;
    assert_eq!(everything(&club.house).await["garage_photo"].len(), 0);
    assert_eq!(everything(&club.house).await["garage_change"].len(), 3, "the other driver's is as it was");
}

#[tokio::test]
async fn a_garage_whose_nth_change_is_refused_keeps_nothing_by_halves() {
    a_whole_garage(Failing::Statement).await;
}

#[tokio::test]
async fn a_garage_whose_nth_change_ends_the_transaction_keeps_nothing_by_halves() {
    a_whole_garage(Failing::Transaction).await;
}

struct Day<'c> {
    club: &'c Club,
    breaker: Breaker<'c>,
}

impl Day<'_> {
    /// Breaks a deed at each of its changes, then lets it be done. Gives the answer that it was done.
    async fn breaks(&self, what: &str, least: u32, may_stay: &[&str], deed: impl AsyncFn() -> Answer) -> Answer {
        let house = &self.club.house;
        for nth in 1..=500 {
            let before = everything(house).await;
            self.breaker.set(nth).await.expect("the writer works before the blow");
            let answer = deed().await;
            let status = answer.status();
            if let Err(error) = self.breaker.set(0).await {
                panic!("{what} broke at change {nth} ({status}), and since then nobody can write any more: {error}");
            }
            if status.is_success() || status.is_redirection() {
                assert!(nth > least, "{what} makes at least {least} changes, and {nth} did not break it: is the test blunt?");
                assert_all_agree(self.club, &format!("{what}, done at last")).await;
                return answer;
            }
            assert_eq!(status, StatusCode::INTERNAL_SERVER_ERROR, "{what}, broken at change {nth}");
            assert_unchanged(&before, &everything(house).await, may_stay, &format!("{what}, broken at change {nth}"));
            assert_all_agree(self.club, &format!("{what}, broken at change {nth}")).await;
        }
        panic!("{what} is never done");
    }
}

/// Finer than changes: SQLite is interrupted anywhere in its work, in a look-up as in an insert.
#[tokio::test]
async fn a_sign_off_that_is_interrupted_anywhere_is_recorded_whole_or_not_at_all() {
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
    let countdown = Interruption::default();
    let (mut open, mut before) = (holt.opens("27").await, everything(&club.house).await);
    let (mut broken, mut looks) = (0, 0);
    loop {
        looks += 1;
        countdown.watch_the_writer(&club.house).await;
        countdown.after(looks);
        let status = open.signs(&open.all_ticked(), "clear", "").await.status();
        let was = countdown.was();
        countdown.after(0);
        if let Err(error) = on_the_writer(&club.house, "select 1").await {
            panic!("a clear was interrupted after {looks} looks ({status}), and since then nobody can write any more: {error}");
        }
        let after = everything(&club.house).await;
        let there = after["record"].len() > before["record"].len();
        let (standing, why) = (club.board_of("27").await.0, format!("a clear interrupted after {looks} looks ({status})"));
        // A commit may be done and then called a failure: there it may be, and nobody is told otherwise from here on.
        assert!(there || status == StatusCode::INTERNAL_SERVER_ERROR, "{why}: what was answered is there");
        assert_eq!(standing, if there { "cleared" } else { "flagged" }, "{why}");
        assert_unchanged(&before, &after, if there { &["record"] } else { &[] }, &why);
        broken += u32::from(was);
        if !was {
            break;
        }
        if there {
            let again = open.signs(&open.all_ticked(), "clear", "").await.status();
            assert_eq!(again, StatusCode::SEE_OTHER, "{why}: sent again, it is there already");
            assert_eq!(everything(&club.house).await["record"].len(), before["record"].len() + 1, "{why}: it is there once");
            holt.holds("27", "Look again.").await;
            (open, before) = (holt.opens("27").await, everything(&club.house).await);
        }
    }
    assert!(broken > 50, "only {broken} interruptions: is the test blunt?");
    assert_all_agree(&club, "a clear that was interrupted again and again").await;
}

/// A board that could not be read whole is neither shown nor kept.
#[tokio::test]
async fn a_board_whose_reading_is_interrupted_anywhere_is_not_shown_and_not_kept() {
    let club = Club::open().await;
    let event = club.event.parse().expect("an id");
    for number in ["7", "12"] {
        club.driver(number).await.sends(|_| ()).await;
    }
    let ines = club.driver("27").await;
    let countdown = Interruption::default();
    // All connections of the pool at once, so that each is watched.
    let mut readers = Vec::new();
    for _ in 0..4 {
        let mut reader = club.house.store.read().await.expect("a reader");
        countdown.watch(&mut reader).await.expect("a countdown");
        readers.push(reader);
    }
    drop(readers);
    let (mut looks, mut broken) = (1, 0);
    loop {
        let thin = broken % 2 == 0;
        let sent = ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(if thin { 2.1 } else { 9.0 })).await;
        assert_eq!(sent.status(), StatusCode::CREATED);
        if broken % 4 < 2 {
            // The whole board has to be read anew, and not one row of it.
            touch(&club.house, Touch::Event(event)).await;
        }
        countdown.after(looks);
        let read = board(&club.house, event).await;
        let was = countdown.was();
        countdown.after(0);
        assert_eq!(club.board_of("27").await.0, if thin { "flagged" } else { "pending" }, "after {looks} looks");
        if !was {
            assert!(read.is_ok(), "nothing was interrupted: {:?}", read.err());
            break;
        }
        broken += 1;
        looks += 1 + looks / 16;
    }
    assert!(broken > 10, "only {broken} interruptions: is the test blunt?");
    assert_all_agree(&club, "a board that was interrupted again and again").await;
}
