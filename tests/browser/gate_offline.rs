//! The gate without signal: the whole event on the device, sign-offs that wait, and what becomes of them when the signal is back.

use crate::browser::{Browser, Kind, in_time, tell_in_both};
use crate::club::{Club, Inspector, sound_answers};
use crate::wire::Wire;
use witnessmark::acts::enter::{Caller, enter};
use witnessmark::acts::hand_out::{Drivers, to_drivers};
use witnessmark::acts::submit::{Submission, submit};

/// An inspector with a phone that holds the whole gate.
pub async fn at_the_gate(club: &Club, wire: &Wire, inspector: &Inspector<'_>, story: &'static str, who: &'static str) -> Browser {
    at_the_gate_in(Kind::Chromium, club, wire, inspector, story, who).await
}

/// The same with either browser.
pub async fn at_the_gate_in(
    kind: Kind,
    club: &Club,
    wire: &Wire,
    inspector: &Inspector<'_>,
    story: &'static str,
    who: &'static str,
) -> Browser {
    let phone = kind.phone(story, who).await;
    phone.forgives("ERR_");
    phone.forgives("40");
    phone.has_the_clubs_time(club).await;
    phone.comes_in_by(&wire.base, &club.another_link_for(&inspector.name).await).await;
    phone.holds_the_gate(&club.event).await;
    phone
}

impl Browser {
    pub async fn holds_the_gate(&self, event: &str) {
        let script = "const held = document.querySelector('[data-held]')?.textContent ?? ''; \
            const [here, cars] = held.match(/^(\\d+) of (\\d+) cars/)?.slice(1) ?? []; \
            return !!navigator.serviceWorker.controller && !!cars && here === cars && location.pathname.endsWith(arguments[0])";
        let script = script.replace("arguments[0]", &format!("'{event}'"));
        self.comes("the whole gate is on the device", &script).await;
    }

    /// Finds a car by its number, makes the checks, and clears or holds it.
    pub async fn signs(&self, number: &str, deed: &str) {
        self.signs_and_goes_on(number, deed).await;
        self.sends_now().await;
    }

    /// The same, and the ten seconds in which it can be undone go on.
    pub async fn signs_and_goes_on(&self, number: &str, deed: &str) {
        self.finds(number).await;
        if deed == "clear" {
            self.ticks_everything().await;
            self.follows(".clear").await;
        } else {
            self.taps(".hold").await;
            self.types("[name=reason]", &format!("Oil at car {number}.")).await;
            self.follows(".hold").await;
        }
        self.element(".find").await;
    }

    /// Does not wait for the ten seconds in which what was signed can be undone.
    pub async fn sends_now(&self) {
        let is_told = "return document.querySelector('[data-told]')?.dataset.left !== undefined";
        self.comes("the lane says what was signed", is_told).await;
        let tap = "document.querySelector('.undo .now:not(:disabled)')?.click(); \
            return document.querySelector('[data-told]').dataset.left === '0'";
        self.comes("nothing is left to undo", tap).await;
    }

    /// Nothing waits on this device any more.
    pub async fn has_sent_all(&self) {
        self.comes(
            "all is sent",
            "return document.querySelector('[data-told]')?.dataset.left === '0' && document.querySelector('.queue').hidden",
        )
        .await;
    }
}

/// Every driver of the event sends a whole sheet of a sound car.
pub async fn everybody_sends(club: &Club) {
    let house = &club.house;
    let cookie = club.organizer.cookie("/club");
    let organizer = house.actor(cookie.trim_start_matches("witnessmark=")).await.expect("an answer").expect("the organizer");
    let event = club.event.parse().expect("an id");
    let edition = house.event(event).await.expect("the event").edition.id;
    for (entry, out) in to_drivers(house, &organizer, event, Drivers::All).await.expect("links") {
        let driver = enter(house, &out.secret, Caller::default()).await.map_err(|_| ()).expect("a driver comes in").actor;
        let id = house.new_id();
        let sheet = Submission { id, seen: Vec::new(), edition, made_at: None, answers: Some(sound_answers()) };
        submit(house, &driver, entry.id, sheet).await.expect("a sheet is sent");
    }
}

fn counts(history: &[String], deed: &str) -> usize {
    history.iter().filter(|line| line.starts_with(deed)).count()
}

#[tokio::test(flavor = "multi_thread")]
async fn an_inspector_works_thirty_of_five_hundred_cars_without_signal_and_all_are_there_exactly_once() {
    in_time(async {
        let club = Club::open().await;
        let more: String = (200..696).map(|n| format!("{n},Driver {n},Corvane S4,A,\n")).collect();
        club.take_roster(&format!("number,name,car,group,mail\n{more}")).await;
        let numbers: Vec<String> = (200..230).map(|n| n.to_string()).collect();
        everybody_sends(&club).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "gate-offline", "inspector").await;
        let bytes: usize = wire.asked().iter().map(|asked| asked.bytes).sum();
        println!("500 cars on the device: {bytes} bytes over the wire, all that was asked for");
        assert!(bytes <= 1_000_000, "{bytes} bytes for 500 cars");
        wire.is_cut();
        for (nth, number) in numbers.iter().enumerate() {
            phone.signs_and_goes_on(number, if nth % 3 == 2 { "hold" } else { "clear" }).await;
            if nth == 3 {
                phone.sends_now().await;
                phone.sees(".queue", "4 sign-offs wait on this device for signal").await;
                phone.keeps("1-waiting").await;
            }
            if nth == 14 {
                phone.sends_now().await;
                // The phone was put away: the page is opened anew, still without signal.
                phone.opens(&format!("{}/gate/{}", wire.base, club.event)).await;
                phone.sees(".queue", "15 sign-offs wait").await;
            }
        }
        phone.sends_now().await;
        phone.sees(".queue", "30 sign-offs wait").await;
        let quick = phone
            .asks(
                "const field = document.querySelector('[data-find]'); const from = performance.now(); field.value = '45'; \
                 field.dispatchEvent(new Event('input')); return performance.now() - from",
            )
            .await;
        println!("a search among 500 cars: {quick} ms in the page");
        assert!(quick.as_f64().is_some_and(|ms| ms < 100.0), "{quick} ms");
        assert_eq!(club.board_of("200").await.0, "pending", "nothing has arrived");
        // A car that was never opened on this device.
        phone.types("[data-find]", "690").await;
        phone.follows(".find button").await;
        phone.sees(".plate", "690").await;
        phone.sees(".hand", "lug nut").await;
        phone.keeps("2-never-opened").await;
        phone.follows(&format!("a.do[href=\"/gate/{}\"]", club.event)).await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.has_sent_all().await;
        phone.keeps("3-all-sent").await;
        for (nth, number) in numbers.iter().enumerate() {
            let (standing, deed) = if nth % 3 == 2 { ("flagged", "hold") } else { ("cleared", "clear") };
            assert_eq!(club.board_of(number).await.0, standing, "car {number}");
            assert_eq!(counts(&club.history_of(number).await, deed), 1, "car {number}, exactly once");
        }
        phone.closes().await;
    })
    .await;
}

tell_in_both!(of_two_inspectors_without_signal_the_one_who_holds_wins_in_either_order_and_the_other_is_told);

/// One clears, one holds, neither knows of the other: the hold stands, whoever comes back into signal first.
async fn of_two_inspectors_without_signal_the_one_who_holds_wins_in_either_order_and_the_other_is_told(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        for number in ["7", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane").await);
        let (wire_1, wire_2) = (Wire::to(&club.base).await, Wire::to(&club.base).await);
        let one = at_the_gate_in(kind, &club, &wire_1, &holt, "gate-two", "clears").await;
        let other = at_the_gate_in(kind, &club, &wire_2, &vane, "gate-two", "holds").await;
        wire_1.is_cut();
        wire_2.is_cut();
        for number in ["7", "27"] {
            one.signs(number, "clear").await;
            other.signs(number, "hold").await;
        }
        // Car 7: the hold arrives first. Car 27: it is sent again after the clear.
        wire_2.is_sound();
        other.taps(".queue button").await;
        other.has_sent_all().await;
        assert_eq!(club.board_of("7").await.0, "flagged");
        wire_1.is_sound();
        one.taps(".queue button").await;
        one.sees("[data-told]", "Car 7: your clear").await;
        one.sees("[data-told]", "was not recorded").await;
        one.sees("[data-told]", "by S. Vane: Oil at car 7.").await;
        one.keeps("1-brought-back").await;
        for number in ["7", "27"] {
            assert_eq!(club.board_of(number).await.0, "flagged", "car {number}: the hold was not seen by the clear");
            assert_eq!(counts(&club.history_of(number).await, "hold"), 1);
        }
        one.taps("[data-told] .alert button").await;
        one.closes().await;
        other.closes().await;
    })
    .await;
}

tell_in_both!(a_clear_that_arrives_before_a_hold_that_had_not_seen_it_gives_way_to_it);

async fn a_clear_that_arrives_before_a_hold_that_had_not_seen_it_gives_way_to_it(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane").await);
        let wire = Wire::to(&club.base).await;
        let holds = at_the_gate_in(kind, &club, &wire, &vane, "gate-late-hold", "inspector").await;
        wire.is_cut();
        holds.signs("27", "hold").await;
        holt.clears("27").await;
        assert_eq!(club.board_of("27").await.0, "cleared");
        wire.is_sound();
        holds.taps(".queue button").await;
        holds.has_sent_all().await;
        assert_eq!(club.board_of("27").await.0, "flagged", "a hold is never lost to a clear whose maker had not seen it");
        holds.closes().await;
    })
    .await;
}

tell_in_both!(a_clear_given_without_signal_to_an_older_submission_is_brought_back_with_the_reason);

async fn a_clear_given_without_signal_to_an_older_submission_is_brought_back_with_the_reason(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        ines.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate_in(kind, &club, &wire, &holt, "gate-older", "inspector").await;
        wire.is_cut();
        phone.signs("27", "clear").await;
        ines.sends(|answers| answers["pad-front"]["at"]["lf"] = 2.1.into()).await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.sees("[data-told] .alert", "Car 27: your clear").await;
        phone.sees("[data-told] .alert", "A new sheet came 07:00: 1 answer changed.").await;
        phone.keeps("1-brought-back").await;
        assert_eq!(club.board_of("27").await.0, "flagged", "the newer submission has an open finding");
        assert_eq!(counts(&club.history_of("27").await, "clear"), 0);
        phone.follows("[data-told] .alert a").await;
        phone.sees(".hand", "2.1 mm").await;
        phone.closes().await;
    })
    .await;
}

tell_in_both!(an_inspector_who_holds_and_then_clears_without_signal_has_cleared);

/// A hold and then a clear of the same car, both without signal: the clear has seen the hold.
async fn an_inspector_who_holds_and_then_clears_without_signal_has_cleared(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate_in(kind, &club, &wire, &holt, "gate-both", "inspector").await;
        wire.is_cut();
        phone.signs("27", "hold").await;
        phone.finds("27").await;
        phone.sees(".mine", "Your hold of just now is on this device and waits for signal").await;
        phone.keeps("1-mine").await;
        phone.ticks_everything().await;
        phone.follows(".clear").await;
        phone.sends_now().await;
        phone.sees(".queue", "2 sign-offs wait").await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.has_sent_all().await;
        assert_eq!(club.board_of("27").await.0, "cleared");
        assert_eq!(club.history_of("27").await.len(), 3);
        phone.closes().await;
    })
    .await;
}

tell_in_both!(a_phone_that_was_let_go_while_without_signal_is_told_that_its_clears_do_not_count);

async fn a_phone_that_was_let_go_while_without_signal_is_told_that_its_clears_do_not_count(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate_in(kind, &club, &wire, &holt, "gate-let-go", "inspector").await;
        wire.is_cut();
        phone.signs("27", "clear").await;
        let end = club.forms_for("R. Holt").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
        club.organizer.post(&end.expect("can be let go"), &[]).await;
        wire.is_sound();
        // The page leaves by itself, and the one that it leaves for tells.
        phone.sees("[data-unsent]", "Car 27: R. Holt's clear was not recorded.").await;
        phone.keeps("1-let-go").await;
        assert_eq!(club.board_of("27").await.0, "pending");
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        phone.sees("h1", "Who are you?").await;
        assert_eq!(phone.keeps_of("/gate/").await, 0, "a lost phone shows nothing more of the event");
        wire.is_cut();
        phone.forgives("503");
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        phone.sees("h1", "No signal").await;
        phone.closes().await;
    })
    .await;
}

tell_in_both!(a_hold_with_a_photo_taken_without_signal_arrives_with_its_photo);

/// A photo of what is wrong, taken where there is no signal: it is kept with the hold, and arrives with it.
async fn a_hold_with_a_photo_taken_without_signal_arrives_with_its_photo(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate_in(kind, &club, &wire, &holt, "gate-photo", "inspector").await;
        let folder = tempfile::TempDir::new().expect("a folder");
        let file = folder.path().join("leak.png");
        image::RgbImage::from_fn(2400, 1200, |x, y| image::Rgb([(x % 256) as u8, (y % 256) as u8, 90]))
            .save(&file)
            .expect("a picture");
        wire.is_cut();
        phone.finds("27").await;
        phone.taps(".hold").await;
        let input = phone.element("[data-photos] input").await;
        input.send_keys(&file.display().to_string()).await.expect("a photo is taken");
        phone.sees("[data-count]", "1 photo goes with it").await;
        phone.types("[name=reason]", "Oil, see the photo.").await;
        phone.keeps("1-photo").await;
        phone.follows(".hold").await;
        phone.sends_now().await;
        phone.sees(".queue", "1 sign-off waits").await;
        // The battery was dead for a while: what is kept is kept.
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        phone.sees(".queue", "1 sign-off waits").await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.has_sent_all().await;
        let page = club.car_page("27").await;
        assert_eq!(page.all(".told img").len(), 1, "the photo is in the history");
        let picture = club.organizer.get(&page.attr(".told img", "src")).await.bytes().await;
        let picture = image::load_from_memory(&picture).expect("a picture");
        assert_eq!((picture.width(), picture.height()), (1600, 800), "made smaller on the device");
        phone.closes().await;
    })
    .await;
}

/// Two hundred sign-offs, each cut at random: before it is sent, on its way, or after it arrived and before its answer did.
#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_random_cuts_lose_nothing_and_double_nothing() {
    in_time(async {
        let club = Club::open().await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "gate-cuts", "inspector").await;
        let entry = club.entry("27").await;
        let made = "const [own, uuid] = await Promise.all(['signing.js', 'keep.js'].map((file) => \
            import(document.querySelector('script[src*=lane]').src.replace('lane.js', file)))); ";
        // A dice of our own, so that a failing run can be run again.
        let mut dice = 0x5eed_u64;
        let mut throw = |sides: u64| {
            dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (dice >> 33) % sides
        };
        let mut ends = std::collections::BTreeMap::<String, usize>::new();
        for nth in 0..200 {
            match throw(4) {
                0 => wire.is_cut(),
                1 => wire.holds_posts(),
                2 => wire.loses_answers(),
                _ => wire.is_sound(),
            }
            let script = format!(
                "return (async () => {{ {made} \
                 const id = uuid.newId(); \
                 const fields = new URLSearchParams({{ id, seen: '', deed: 'hold', reason: 'Cut {nth}.' }}).toString(); \
                 const item = {{ id, path: '/gate/{}/entries/{entry}/sign-offs', number: '27', deed: 'hold', made: Date.now(), fields }}; \
                 await own.keep(item); return own.send(item, 150); }})()",
                club.event
            );
            let end = phone.asks(&script).await.as_str().unwrap_or_default().to_owned();
            *ends.entry(end).or_default() += 1;
            if throw(10) == 0 {
                wire.is_sound();
                phone.asks(&format!("return (async () => {{ {made} return own.sendAll('{}'); }})()", club.event)).await;
            }
        }
        wire.is_sound();
        let left = format!(
            "return (async () => {{ {made} await own.sendAll('{0}'); return (await own.waiting('{0}')).length; }})()",
            club.event
        );
        while phone.asks(&left).await != 0 {}
        let history = club.history_of("27").await;
        println!("how the first try ended: {ends:?}");
        assert_eq!(history.len(), 200, "no loss and no double");
        let page = club.car_page("27").await.text();
        for nth in 0..200 {
            assert_eq!(page.matches(&format!(": Cut {nth}. ")).count(), 1, "cut {nth} is there once");
        }
        assert!(ends["waits"] > 80 && ends["sent"] > 20, "{ends:?}");
        phone.closes().await;
    })
    .await;
}

tell_in_both!(a_hold_that_waited_on_a_device_that_was_ended_meanwhile_is_recorded_and_a_clear_is_not);

/// The phone was reported lost while its inspector stood without signal: what they saw is not lost with it.
async fn a_hold_that_waited_on_a_device_that_was_ended_meanwhile_is_recorded_and_a_clear_is_not(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        for number in ["7", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate_in(kind, &club, &wire, &holt, "gate-ended", "inspector").await;
        wire.is_cut();
        phone.signs("27", "clear").await;
        // It says that it has seen the clear, which will be in no history.
        phone.signs("27", "hold").await;
        phone.signs("7", "hold").await;
        let end = club.forms_for("R. Holt").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
        club.organizer.post(&end.expect("can be let go"), &[]).await;
        // The lane is put away first: it would send by itself.
        phone.opens("about:blank").await;
        wire.is_sound();
        phone.opens(&format!("{}/gate/{}", wire.base, club.event)).await;
        phone.sees("h1", "Who are you?").await;
        phone.sees("[data-unsent]", "Car 27: R. Holt's clear was not recorded.").await;
        phone.sees("[data-unsent]", "Car 7: R. Holt's hold is recorded.").await;
        phone.sees("[data-unsent]", "Car 27: R. Holt's hold is recorded.").await;
        phone.keeps("1-ended").await;
        for number in ["7", "27"] {
            assert_eq!(club.board_of(number).await.0, "flagged", "car {number}");
            let history = club.history_of(number).await;
            assert_eq!((counts(&history, "hold"), counts(&history, "clear")), (1, 0), "car {number}");
        }
        club.inspector("S. Vane").await.clears("27").await;
        assert_eq!(club.board_of("27").await.0, "cleared", "nothing that never comes stands in the way");
        phone.closes().await;
    })
    .await;
}
