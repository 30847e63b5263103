//! Guessers from many networks at one organizer's name: they keep the owner's own browser out for no second.

use crate::club::{Answer, Club, PASSPHRASE, Person};
use reqwest::StatusCode;
use std::time::{Duration, Instant};

/// A club behind a proxy that says from where somebody asks.
async fn behind_a_proxy() -> Club {
    Club::with(None, |web| web.behind(&["127.0.0.0/8".parse().expect("a network"), "::1/128".parse().expect("an address")])).await
}

async fn tries(person: &Person, from: &str, cookie: Option<&str>, name: &str, passphrase: &str) -> Answer {
    let form = [("name", name), ("passphrase", passphrase)];
    let asked = person.client.post(person.url("/sign-in")).header("x-forwarded-for", from).form(&form);
    person.send(if let Some(cookie) = cookie { asked.header("cookie", cookie) } else { asked }).await
}

/// Guesses from ever other networks until strangers have no try left.
async fn until_slowed(guesser: &Person, turn: usize) {
    for nth in 0..250 {
        let answer = tries(guesser, &format!("10.{turn}.{nth}.1"), None, "M. Ashdown", "one more guess").await;
        if answer.status() == StatusCode::TOO_MANY_REQUESTS {
            return;
        }
    }
    panic!("strangers are not slowed");
}

/// The cookie by which a browser is known at the door.
fn known_of(answer: &Answer) -> String {
    let cookies = answer.headers("set-cookie");
    let cookie = cookies.iter().find(|cookie| cookie.starts_with("known=")).expect("the browser is known from now on");
    assert!(cookie.contains("Path=/sign-in") && cookie.contains("HttpOnly"), "{cookie}");
    cookie.split(';').next().expect("a pair").to_owned()
}

#[tokio::test]
async fn guessers_from_everywhere_do_not_keep_the_owners_browser_out() {
    let club = behind_a_proxy().await;
    let laptop = Person::stranger(&club.base);
    let first = tries(&laptop, "203.0.113.9", None, "M. Ashdown", PASSPHRASE).await;
    let known = known_of(&first);
    let guesser = Person::stranger(&club.base);
    let mut stopped = 0;
    for nth in 0..300 {
        let from = format!("198.51.{}.7", nth / 9);
        let answer = tries(&guesser, &from, None, "M. Ashdown", &format!("guess number {nth} of many")).await;
        stopped += u32::from(answer.status() == StatusCode::TOO_MANY_REQUESTS);
    }
    assert!(stopped < 20, "the wide limit is for all strangers together: {stopped}");
    let mut strangers = Vec::new();
    for nth in 0..60 {
        strangers.push(tries(&guesser, &format!("192.0.2.{nth}"), None, "M. Ashdown", "one more guess").await.status());
    }
    assert!(strangers.contains(&StatusCode::TOO_MANY_REQUESTS), "strangers are slowed");
    // As many at once as the server has places, and more, while the owner comes in.
    let crowd: Vec<_> = (0..40)
        .map(|nth| {
            let (person, name) = (Person::stranger(&club.base), if nth % 2 == 0 { "M. Ashdown" } else { "Nobody At All" });
            tokio::spawn(
                async move { tries(&person, &format!("198.18.{nth}.1"), None, name, "a guess of a crowd").await.status() },
            )
        })
        .collect();
    let began = Instant::now();
    let owner = tries(&laptop, "203.0.113.9", None, "M. Ashdown", PASSPHRASE).await;
    assert_eq!(owner.status(), StatusCode::SEE_OTHER, "the owner's browser signs in at once");
    assert!(began.elapsed() < Duration::from_secs(5), "it took {:?}", began.elapsed());
    for guess in crowd {
        assert_ne!(guess.await.expect("an answer"), StatusCode::SEE_OTHER);
    }
    // The same from the guessers' own network: where a known browser is does not count.
    assert_eq!(tries(&laptop, "198.51.0.7", None, "M. Ashdown", PASSPHRASE).await.status(), StatusCode::SEE_OTHER);

    // An invented cookie is nobody's, and a stolen one is worth ten tries at its own organizer and none at another.
    let invented = format!("known={}", "a".repeat(32));
    let mut is_slowed = false;
    // The limit gives a place back every three seconds: on a slow machine the try may come just after that.
    for turn in 0..5 {
        until_slowed(&guesser, turn).await;
        let answer = tries(&guesser, &format!("192.0.2.{turn}"), Some(&invented), "M. Ashdown", PASSPHRASE).await;
        is_slowed |= answer.status() == StatusCode::TOO_MANY_REQUESTS;
    }
    assert!(is_slowed, "an invented cookie gains nothing");
    let mut looked_at = 0;
    for nth in 0..20 {
        let answer = tries(&guesser, "192.0.2.1", Some(&known), "M. Ashdown", &format!("stolen guess {nth}")).await;
        assert_ne!(answer.status(), StatusCode::SEE_OTHER);
        looked_at += u32::from(answer.status() == StatusCode::UNPROCESSABLE_ENTITY);
    }
    assert!(looked_at <= 12, "a stolen cookie is worth a few tries: {looked_at}");
    let session = guesser.get_with("/club", &known.replacen("known=", "witnessmark=", 1)).await;
    assert_eq!(session.status(), StatusCode::UNAUTHORIZED, "and it is no session");
}

#[tokio::test]
async fn a_shared_computer_is_as_strange_as_any_and_a_new_link_forgets_the_browsers() {
    let club = behind_a_proxy().await;
    let library = Person::stranger(&club.base);
    let shared = library.post("/sign-in", &[("name", "M. Ashdown"), ("passphrase", PASSPHRASE), ("shared", "1")]).await;
    assert!(shared.headers("set-cookie").iter().all(|cookie| !cookie.starts_with("known=")), "others use it");
    let secret = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();
    let ferrant = Person::stranger(&club.base);
    let known = known_of(&ferrant.uses_link(&secret).await);
    let anew = club.organizer.get("/club/organizers").await.page().await.attr("form[action$='/links']", "action");
    let secret = club.organizer.post(&anew, &[]).await.page().await.secret();
    Person::come_in(&club.base, &secret).await;
    let guesser = Person::stranger(&club.base);
    let mut statuses = Vec::new();
    for nth in 0..12 {
        statuses.push(tries(&guesser, "192.0.2.1", Some(&known), "L. Ferrant", &format!("guess {nth}")).await.status());
    }
    let slowed = statuses.iter().filter(|status| **status == StatusCode::TOO_MANY_REQUESTS).count();
    // Ten tries, and one more for each half minute that a slow machine takes.
    assert!((1..=2).contains(&slowed), "{statuses:?}");
}
