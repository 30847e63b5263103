//! Every door of the program, every role, own things and other people's: held against the one table of rights.

use crate::club::{Club, Person};
use reqwest::{Method, StatusCode};
use std::collections::BTreeMap;
use uuid::Uuid;
use witnessmark::acts::rights::{Deed, Role, Whose, may};
use witnessmark::web::{all_doors, doors::Door};

/// Somebody with a cookie in hand, and what the table knows them as.
struct Walker {
    who: &'static str,
    role: Option<Role>,
    cookie: String,
}

/// Something a path may name: an event, an entry of it.
struct Ground {
    what: &'static str,
    event: String,
    entry: String,
    /// Whether the entry is there, and of that event.
    is_real: bool,
}

/// A club with two events, and somebody of every role at both.
struct Two {
    club: Club,
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
    let walkers = vec![
        Walker { who: "a stranger", role: None, cookie: "units=mm".into() },
        Walker { who: "somebody with an invented cookie", role: None, cookie: format!("witnessmark={}", "a".repeat(32)) },
        Walker { who: "an inspector who was let go", role: None, cookie: gone.person.cookie(&gone.lane()) },
        Walker { who: "the organizer", role: Some(Role::Organizer), cookie: club.organizer.cookie("/club") },
        Walker { who: "an inspector", role: Some(Role::Inspector { event }), cookie: holt.person.cookie(&holt.lane()) },
        Walker { who: "a marshal", role: Some(Role::Marshal { event }), cookie: marshal.cookie(&format!("/grid/{spring}")) },
        Walker { who: "a driver", role: Some(Role::Driver { event, entry }), cookie: ines.person.cookie(&ines.home()) },
    ];
    let end = club.forms_for("L. Eaver").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
    club.organizer.post(&end.expect("can be let go"), &[]).await;
    let ground = |what, event: &str, entry: &str, is_real| Ground { what, event: event.into(), entry: entry.into(), is_real };
    let grounds = vec![
        ground("their own", &spring, &ines.entry, true),
        ground("another entry's", &spring, &marta.entry, true),
        ground("another event's", &autumn, &theirs, true),
        ground("their entry's, under another event", &autumn, &ines.entry, false),
        ground("nobody's entry's", &spring, &club.new_id(), false),
        ground("nobody's", &club.new_id(), &club.new_id(), false),
    ];
    drop((ines, marta, holt, gone));
    Two { club, grounds, walkers }
}

impl Two {
    /// The door's path with these things in it, and something that is nobody's in every other place.
    fn path(&self, door: &Door, ground: &Ground) -> String {
        let real: BTreeMap<&str, &str> = BTreeMap::from([("event", ground.event.as_str()), ("entry", &ground.entry)]);
        let part = |part: &str| match part.strip_prefix('{').map(|name| name.trim_end_matches('}')) {
            None => part.to_owned(),
            Some("area") => "brakes".into(),
            Some("item") => "photos".into(),
            Some("name") => "tyre-date".into(),
            Some(name) => real.get(name).map_or_else(|| self.club.new_id(), |id| (*id).to_owned()),
        };
        door.path.split('/').map(part).collect::<Vec<_>>().join("/")
    }

    /// What the table says of this walker at this door.
    fn allowed(&self, door: &Door, ground: &Ground, role: Role) -> bool {
        let (has_event, has_entry) = (door.path.contains("{event}"), door.path.contains("{entry}"));
        let whose = match (has_event, has_entry) {
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
    let (mut walked, mut passed) = (0, BTreeMap::<String, usize>::new());
    for door in all_doors().iter().filter(|door| door.deed != Deed::LookIn) {
        for ground in &two.grounds {
            let path = two.path(door, ground);
            for walker in &two.walkers {
                let allowed = walker.role.is_some_and(|role| two.allowed(door, ground, role));
                if allowed && ends_the_walk(door) {
                    continue;
                }
                let (status, text) = two.asks(door, &path, &walker.cookie).await;
                let what = format!("{} {} as {} for {} things: {status}", door.method, door.path, walker.who, ground.what);
                walked += 1;
                match walker.role {
                    None => assert_eq!(status, StatusCode::UNAUTHORIZED, "{what}"),
                    Some(_) if !allowed => {
                        assert_eq!(status, StatusCode::NOT_FOUND, "{what}");
                        let (unknown, words) = two.asks(door, &two.path(door, nobodys), &walker.cookie).await;
                        assert_eq!((unknown, words), (status, text), "{what}: what is forbidden answers as what is not there");
                    }
                    Some(_) => {
                        assert!(status != StatusCode::UNAUTHORIZED && !status.is_server_error(), "{what}");
                        // Nothing is there to be found under nobody's things, nor where the path names nobody's device.
                        let names_more = ["{photo}", "{link}", "{device}", "{passkey}", "{edition}"];
                        let is_there = names_more.iter().all(|part| !door.path.contains(part));
                        let names_ground = door.path.contains("{event}") || door.path.contains("{entry}");
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
    assert!(walked > 2000, "{walked} were walked");
    assert_eq!(passed.len(), 4, "every role passed some door: {passed:?}");
    assert!(passed["the organizer"] > 60 && passed["a driver"] >= 5 && passed["an inspector"] >= 5, "{passed:?}");
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
            "/P/{pass}",
            "/privacy",
            "/alive",
            "/worksheets",
            "/worksheets/{name}"
        ],
        "a new door for everybody is a decision: make it here"
    );
    for path in ["/", "/sign-in", "/privacy", "/alive", "/worksheets", "/worksheets/tyre-date"] {
        assert_eq!(stranger.get(path).await.status(), StatusCode::OK, "{path}");
    }
}
