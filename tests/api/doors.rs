//! Every door of the program, every role, own things and other people's: held against the one table of rights.

use crate::club::{Club, Person};
use reqwest::{Method, StatusCode};
use std::collections::BTreeMap;
use uuid::Uuid;
use witnessmark::acts::rights::{Deed, Reach, Role, Whose, may, reach};
use witnessmark::web::{all_doors, doors::Door};

/// Somebody with a cookie in hand, and what the table knows them as.
struct Walker {
    who: &'static str,
    role: Option<Role>,
    cookie: String,
}

/// Something a path may name: an event, an entry of it, a garage.
struct Ground {
    what: &'static str,
    event: String,
    entry: String,
    garage: String,
    /// Whether the entry is there, and of that event.
    is_real: bool,
}

/// A club with two events, and somebody of every role at both; two drivers have a garage.
struct Two {
    club: Club,
    /// A car of the first driver's garage.
    car: String,
    grounds: Vec<Ground>,
    walkers: Vec<Walker>,
}

fn id(text: &str) -> Uuid {
    text.parse().expect("an id")
}

async fn entry_at(club: &Club, event: &str) -> String {
    let form = reqwest::multipart::Form::new().text("text", "number,name,car,group\n27,Ines Okafor,Corvane S4,B\n");
    let roster = format!("/club/events/{event}/roster");
    club.organizer.send(club.organizer.client.post(club.organizer.url(&roster)).multipart(form)).await;
    let page = club.organizer.get(&roster).await.page().await;
    page.attr("table.cars tbody a", "href").rsplit('/').next().expect("an id").to_owned()
}

async fn two_events() -> Two {
    let club = Club::open().await;
    let autumn = club.another_event("Autumn day").await;
    let (spring, theirs) = (club.event.clone(), entry_at(&club, &autumn).await);
    let (ines, marta, holt) = (club.driver("27").await, club.driver("7").await, club.inspector("R. Holt").await);
    let gone = club.inspector("L. Eaver").await;
    let marshal = Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await;
    let (event, entry) = (id(&spring), id(&ines.entry));
    // Before the browser is in the garage as well.
    let driver = ines.person.cookie(&ines.home());
    let (keeper, other) = (ines.opens_a_garage().await, marta.opens_a_garage().await);
    let (home, garage, lost) = (keeper.home(), id(&keeper.garage), keeper.cookie());
    keeper.person.post(&format!("{home}/sign-out"), &[]).await;
    let back = Person::come_in(&club.base, &keeper.secret).await;
    let walkers = vec![
        Walker { who: "a garage's device that was signed out", role: None, cookie: lost },
        Walker { who: "who keeps a garage", role: Some(Role::Garage { garage }), cookie: back.cookie(&home) },
        Walker {
            who: "who keeps another garage",
            role: Some(Role::Garage { garage: id(&other.garage) }),
            cookie: other.cookie(),
        },
        Walker { who: "a stranger", role: None, cookie: "units=mm".into() },
        Walker { who: "somebody with an invented cookie", role: None, cookie: format!("witnessmark={}", "a".repeat(32)) },
        Walker { who: "an inspector who was let go", role: None, cookie: gone.person.cookie(&gone.lane()) },
        Walker { who: "the organizer", role: Some(Role::Organizer), cookie: club.organizer.cookie("/club") },
        Walker { who: "an inspector", role: Some(Role::Inspector { event }), cookie: holt.person.cookie(&holt.lane()) },
        Walker { who: "a marshal", role: Some(Role::Marshal { event }), cookie: marshal.cookie(&format!("/grid/{spring}")) },
        Walker { who: "a driver", role: Some(Role::Driver { event, entry }), cookie: driver },
    ];
    let end = club.forms_for("L. Eaver").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
    club.organizer.post(&end.expect("can be let go"), &[]).await;
    let ground = |what, event: &str, entry: &str, garage: &str, is_real| {
        let [event, entry, garage] = [event, entry, garage].map(str::to_owned);
        Ground { what, event, entry, garage, is_real }
    };
    let nobody = club.new_id();
    let grounds = vec![
        ground("their own", &spring, &ines.entry, &keeper.garage, true),
        ground("another entry's", &spring, &marta.entry, &other.garage, true),
        ground("another event's", &autumn, &theirs, &nobody, true),
        ground("their entry's, under another event", &autumn, &ines.entry, &nobody, false),
        // An id of one kind is no key to another.
        ground("nobody's entry's", &spring, &keeper.garage, &ines.entry, false),
        ground("nobody's", &club.new_id(), &club.new_id(), &nobody, false),
    ];
    let car = keeper.car.clone();
    drop((ines, marta, holt, gone, keeper, other));
    Two { club, car, grounds, walkers }
}

impl Two {
    /// The door's path with these things in it, and something that is nobody's in every other place.
    fn path(&self, door: &Door, ground: &Ground) -> String {
        let real: BTreeMap<&str, &str> = BTreeMap::from([
            ("event", ground.event.as_str()),
            ("entry", &ground.entry),
            ("garage", &ground.garage),
            ("car", &self.car),
            // The day that came with the sheet bears its entry's id.
            ("day", &self.grounds[0].entry),
        ]);
        let part = |part: &str| match part.strip_prefix('{').map(|name| name.trim_end_matches('}')) {
            None => part.to_owned(),
            Some("area") => "brakes".into(),
            Some("item") => "photos".into(),
            Some("name") => "compression".into(),
            Some("kind") => "pad".into(),
            Some(name) => real.get(name).map_or_else(|| self.club.new_id(), |id| (*id).to_owned()),
        };
        door.path.split('/').map(part).collect::<Vec<_>>().join("/")
    }

    /// What the table says of this walker at this door.
    fn allowed(&self, door: &Door, ground: &Ground, role: Role) -> bool {
        let (has_event, has_entry) = (door.path.contains("{event}"), door.path.contains("{entry}"));
        let whose = match (has_event, has_entry) {
            _ if door.path.contains("{garage}") => Whose::Garage(id(&ground.garage)),
            (false, false) => Whose::Club,
            (true, false) => Whose::Event(id(&ground.event)),
            (_, true) => {
                // Under `/my` the entry alone is named: it is where it is.
                let event = if has_event { id(&ground.event) } else { role.event().unwrap_or_default() };
                Whose::Entry { event, entry: id(&ground.entry) }
            }
        };
        may(role, door.deed, whose)
    }

    async fn asks(&self, door: &Door, path: &str, cookie: &str) -> (StatusCode, String) {
        let person = Person::stranger(&self.club.base);
        let answer = if door.method == Method::GET {
            person.get_with(path, cookie).await
        } else {
            person.post_with(path, cookie, &[]).await
        };
        let status = answer.status();
        // A stream that lets somebody in does not end.
        let text = if status.is_success() && path.ends_with("/live") { String::new() } else { answer.text().await };
        (status, text)
    }
}

/// Doors at which who passes is out afterwards: they are walked last, and only by who is refused.
fn ends_the_walk(door: &Door) -> bool {
    door.path.ends_with("/sign-out") || door.path.ends_with("/links/end") || door.path.ends_with("{entry}/links")
}

#[tokio::test]
async fn every_role_at_every_door_is_answered_as_the_table_of_rights_says() {
    let two = two_events().await;
    let nobodys = two.grounds.last().expect("nobody's");
    let (mut walked, mut exceptions, mut passed) = (0, 0, BTreeMap::<String, usize>::new());
    for door in all_doors().iter().filter(|door| door.deed != Deed::LookIn) {
        for ground in &two.grounds {
            let path = two.path(door, ground);
            for walker in &two.walkers {
                let allowed = walker.role.is_some_and(|role| two.allowed(door, ground, role));
                // Wrong cookies are counted, and many of them told to go slower: their own and nobody's are enough.
                let is_between = !["their own", "nobody's"].contains(&ground.what);
                if (allowed && ends_the_walk(door)) || (walker.role.is_none() && is_between) {
                    continue;
                }
                let (status, text) = two.asks(door, &path, &walker.cookie).await;
                let what = format!("{} {} as {} for {} things: {status}", door.method, door.path, walker.who, ground.what);
                walked += 1;
                match walker.role {
                    // The one exception: a hold of theirs counts, so they are told that this is none.
                    None if door.admits_ended && walker.who == "an inspector who was let go" && ground.what == "their own" => {
                        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{what}");
                        exceptions += 1;
                    }
                    None => assert_eq!(status, StatusCode::UNAUTHORIZED, "{what}"),
                    Some(_) if !allowed => {
                        // With no role for such a deed at all they are asked who they are.
                        let is_elsewhere = walker.role.is_some_and(|role| reach(door.deed, role) == Reach::Nowhere);
                        let expected = if is_elsewhere { StatusCode::UNAUTHORIZED } else { StatusCode::NOT_FOUND };
                        assert_eq!(status, expected, "{what}");
                        let (unknown, words) = two.asks(door, &two.path(door, nobodys), &walker.cookie).await;
                        assert_eq!((unknown, words), (status, text), "{what}: what is forbidden answers as what is not there");
                    }
                    Some(_) => {
                        assert!(status != StatusCode::UNAUTHORIZED && !status.is_server_error(), "{what}");
                        // Nothing is there to be found under nobody's things, nor where the path names nobody's device.
                        let names_more = [
                            "{photo}",
                            "{link}",
                            "{device}",
                            "{passkey}",
                            "{edition}",
                            "{job}",
                            "{part}",
                            "{gear}",
                            "{line}",
                            "{of}",
                            "{which}",
                        ];
                        let is_there = names_more.iter().all(|part| !door.path.contains(part));
                        let names_ground = ["{event}", "{entry}", "{garage}"].iter().any(|part| door.path.contains(part));
                        // The car is the first driver's.
                        let is_there = is_there && (!door.path.contains("{car}") || walker.who == "who keeps a garage");
                        let is_real = ground.is_real || (!door.path.contains("{entry}") && ground.what != "nobody's");
                        if is_there && (is_real || !names_ground) {
                            assert_ne!(status, StatusCode::NOT_FOUND, "{what}: the table lets them");
                            *passed.entry(walker.who.to_owned()).or_default() += 1;
                        }
                    }
                }
            }
        }
    }
    assert!(walked > 5000, "{walked} were walked");
    assert_eq!(exceptions, 1, "an ended device is heard at one door");
    assert_eq!(passed.len(), 6, "every role passed some door: {passed:?}");
    assert!(passed["the organizer"] > 60 && passed["a driver"] >= 5 && passed["an inspector"] >= 5, "{passed:?}");
    assert!(passed["who keeps a garage"] > 30, "{passed:?}");
}

#[test]
fn one_door_hears_an_ended_device() {
    let doors: Vec<Door> = all_doors().into_iter().filter(|door| door.admits_ended).collect();
    let doors: Vec<_> = doors.iter().map(|door| (door.method.as_str(), door.path.as_str(), door.deed)).collect();
    let wanted = [("POST", "/gate/{event}/entries/{entry}/sign-offs", Deed::WorkTheGate)];
    assert_eq!(doors, wanted, "another such door is a decision: make it here");
}

#[tokio::test]
async fn doors_for_everybody_ask_nobody_who_they_are() {
    let club = Club::open().await;
    let stranger = Person::stranger(&club.base);
    let open: Vec<Door> = all_doors().into_iter().filter(|door| door.deed == Deed::LookIn).collect();
    let paths: Vec<&str> = open.iter().map(|door| door.path.as_str()).collect();
    assert_eq!(
        paths,
        [
            "/",
            "/in/{secret}",
            "/in/{secret}",
            "/sign-in",
            "/sign-in",
            "/sign-in/passkey/begin",
            "/sign-in/passkey",
            "/sign-in/second",
            "/P/{pass}",
            "/privacy",
            "/alive",
            // A worksheet's figures on their way to the garage that this browser is in; who is in none is told so.
            "/my/garage/worksheets/{name}",
            // A telephone asks for its calendar without a cookie: its secret is the key.
            "/calendar/{secret}",
            "/worksheets",
            "/worksheets/{name}"
        ],
        "a new door for everybody is a decision: make it here"
    );
    for path in ["/", "/sign-in", "/privacy", "/alive", "/worksheets", "/worksheets/tyre-date"] {
        assert_eq!(stranger.get(path).await.status(), StatusCode::OK, "{path}");
    }
    let figures = stranger.get("/my/garage/worksheets/compression?dry_kpa=1200").await;
    assert_eq!(figures.status(), StatusCode::CONFLICT, "there is no garage to put them in");
    assert!(figures.page().await.text().contains("in no garage"), "and it says so");
    for secret in ["", "nobody", &"a".repeat(32), &format!("{}.ics", "a".repeat(32))] {
        let calendar = stranger.get(&format!("/calendar/{secret}")).await;
        assert_eq!(calendar.status(), StatusCode::NOT_FOUND, "a calendar that nobody has: {secret}");
    }
}
