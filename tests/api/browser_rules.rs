//! What keeps a browser safe: cookies by role, posts from other sites, headers on every answer, secrets on no page.

use crate::club::{Club, Person, css};
use reqwest::StatusCode;
use std::collections::BTreeSet;

#[tokio::test]
async fn every_cookie_is_for_this_site_and_its_role_alone() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let holt = club.inspector("R. Holt").await;
    let gate_link = club.another_link_for(&holt.name).await;
    // Drivers' end thirty days after the event; the gate's devices are out the night after the day that follows the event: 41 hours.
    for (secret, path, age) in [(&ines.secret, ines.home(), (29 * 24 + 17) * 3600), (&gate_link, holt.lane(), 41 * 3600)] {
        let answer = Person::stranger(&club.base).uses_link(secret).await;
        assert_eq!((answer.status(), answer.location()), (StatusCode::SEE_OTHER, path.clone()));
        let cookie = answer.header("set-cookie");
        let parts: BTreeSet<&str> = cookie.split(';').map(str::trim).collect();
        for part in ["HttpOnly", "SameSite=Lax", &format!("Path={path}"), &format!("Max-Age={age}")] {
            assert!(parts.contains(part), "{part} in {cookie}");
        }
        assert!(!parts.iter().any(|part| part.starts_with("Domain")), "no other host gets it: {cookie}");
        assert!(!cookie.contains(secret.as_str()), "the cookie is not the link's secret");
    }
    let units = ines.person.post(&format!("{}/units", ines.home()), &[("length", "1/32 in")]).await.header("set-cookie");
    assert!(units.starts_with("units=") && units.contains("SameSite=Lax"), "{units}");
    assert!(units.contains("HttpOnly"), "no script of ours reads it: {units}");
}

/// A club's secretary who inspects and drives too: one browser, three links, three cookies of one name.
#[tokio::test]
async fn three_roles_in_one_browser_do_not_disturb_each_other() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let holt = club.inspector("R. Holt").await;
    let one = &club.organizer;
    for secret in [&ines.secret, &club.another_link_for(&holt.name).await, &marta.secret] {
        assert_eq!(one.uses_link(secret).await.status(), StatusCode::SEE_OTHER);
    }
    for _ in 0..2 {
        for path in ["/club".to_owned(), ines.home(), marta.home(), holt.lane(), format!("/club/events/{}", club.event)] {
            assert_eq!(one.get(&path).await.status(), StatusCode::OK, "{path}");
        }
    }
    assert!(one.get(&holt.lane()).await.page().await.first(".bar").contains("R. Holt"), "at the gate it is the inspector");
    let typed = [("pad-front.lf", "9")];
    assert_eq!(one.post(&format!("{}/areas/brakes", marta.home()), &typed).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(one.post(&format!("/club/events/{}/links", club.event), &[]).await.status(), StatusCode::OK);
}

#[tokio::test]
async fn a_post_from_another_site_does_nothing() {
    let club = Club::open().await;
    let organizer = &club.organizer;
    let path = format!("/club/events/{}/people", club.event);
    let host = club.base.trim_start_matches("http://").to_owned();
    let post = |headers: &[(&'static str, &str)]| {
        let mut request = organizer.client.post(organizer.url(&path)).form(&[("role", "inspector"), ("name", "Mallory")]);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        organizer.send(request)
    };
    for headers in [
        vec![("sec-fetch-site", "cross-site")],
        vec![("sec-fetch-site", "same-site")],
        vec![("sec-fetch-site", "cross-site"), ("origin", "https://elsewhere.example")],
        vec![("origin", "https://elsewhere.example")],
        vec![("origin", "http://localhost:1")],
        vec![("origin", "null")],
    ] {
        assert_eq!(post(&headers).await.status(), StatusCode::FORBIDDEN, "{headers:?}");
    }
    assert!(!organizer.get(&path).await.text().await.contains("Mallory"), "no link was made");
    assert_eq!(post(&[("sec-fetch-site", "same-origin")]).await.status(), StatusCode::OK);
    for headers in [vec![("sec-fetch-site", "none")], vec![("origin", &*club.base)]] {
        let there = post(&headers).await;
        assert_eq!(there.status(), StatusCode::UNPROCESSABLE_ENTITY, "{headers:?} at {host}");
        assert!(there.page().await.first(".trouble").contains("of this name already"), "it came through, and is there already");
    }
    let from_mail = organizer.client.get(organizer.url("/club")).header("sec-fetch-site", "cross-site");
    assert_eq!(organizer.send(from_mail).await.status(), StatusCode::OK, "a link in a mail may lead here");
}

#[tokio::test]
async fn every_kind_of_deed_is_closed_to_other_sites() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let holt = club.inspector("R. Holt").await;
    let (event, entry) = (&club.event, &ines.entry);
    let deeds: Vec<(&Person, String)> = vec![
        (&ines.person, format!("/my/{entry}/areas/brakes")),
        (&ines.person, format!("/my/{entry}/submissions")),
        (&ines.person, format!("/my/{entry}/units")),
        (&ines.person, format!("/my/{entry}/items/photos/photos")),
        (&holt.person, format!("/gate/{event}/entries/{entry}/sign-offs")),
        (&club.organizer, "/club/events".into()),
        (&club.organizer, format!("/club/events/{event}/roster")),
        (&club.organizer, format!("/club/events/{event}/people")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}/data.json")),
        (&club.organizer, "/club/organizers".into()),
        (&club.organizer, "/club/you".into()),
        (&club.organizer, format!("/club/events/{event}/links")),
        (&club.organizer, format!("/club/events/{event}/sheet")),
        (&club.organizer, format!("/club/events/{event}/sheet/editions")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}/links")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}/withdrawals")),
    ];
    for (person, path) in deeds {
        let request = person.client.post(person.url(&path)).header("sec-fetch-site", "cross-site");
        assert_eq!(person.send(request.form(&[("a", "b")])).await.status(), StatusCode::FORBIDDEN, "{path}");
    }
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "her link did not end");
}

#[tokio::test]
async fn every_answer_carries_the_headers_that_keep_it_safe() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let holt = club.inspector("R. Holt").await;
    let (event, entry) = (&club.event, &ines.entry);
    let style = {
        let page = club.organizer.get("/club").await.page().await;
        page.attr("link[rel=stylesheet]", "href")
    };
    let gets: Vec<(&Person, String)> = vec![
        (&club.organizer, "/".into()),
        (&club.organizer, "/alive".into()),
        (&club.organizer, "/no/such/page".into()),
        (&club.organizer, format!("/in/{}", "a".repeat(32))),
        (&club.organizer, "/club".into()),
        (&club.organizer, format!("/club/events/{event}")),
        (&club.organizer, format!("/club/events/{event}?part=news")),
        (&club.organizer, format!("/club/events/{event}/roster")),
        (&club.organizer, format!("/club/events/{event}/people")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}/data.json")),
        (&club.organizer, "/club/organizers".into()),
        (&club.organizer, "/club/you".into()),
        (&club.organizer, format!("/club/events/{event}/sheet")),
        (&club.organizer, format!("/club/events/{event}/cleared.csv")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}")),
        (&club.organizer, "/static/old/css/none.css".into()),
        (&ines.person, ines.home()),
        (&ines.person, format!("{}/areas/brakes", ines.home())),
        (&holt.person, holt.lane()),
        (&holt.person, format!("/gate/{event}/entries/{entry}")),
    ];
    for (person, path) in gets {
        let answer = person.get(&path).await;
        let policy = answer.header("content-security-policy");
        assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{path}: {policy}");
        assert!(!policy.contains("unsafe"), "{path}: {policy}");
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        let referrer = if path.starts_with("/in/") { "strict-origin" } else { "same-origin" };
        assert_eq!(answer.header("referrer-policy"), referrer, "{path}: a link's secret must not travel in a referrer");
        assert_eq!(answer.header("x-frame-options"), "DENY", "{path}");
        let keep = answer.header("cache-control");
        if path.starts_with("/static") { assert_ne!(keep, "", "{path}") } else { assert_eq!(keep, "no-store", "{path}") }
    }
    // What is no document and no worker of its own needs no word on what a document may do; a phone loads a dozen of them.
    let part = club.organizer.get(&style).await;
    assert_eq!(part.header("x-content-type-options"), "nosniff");
    assert_eq!(part.header("cross-origin-resource-policy"), "same-origin");
    assert!(part.header("cache-control").contains("immutable"));
    for worker in ["/sw.js".to_owned(), style.replace("css/base.css", "js/stream.js")] {
        let policy = club.organizer.get(&worker).await;
        assert!(policy.header("content-security-policy").contains("default-src 'none'"), "{worker} is a worker of its own");
    }
    let refused = club.organizer.client.post(club.organizer.url("/club/events")).header("sec-fetch-site", "cross-site");
    assert_eq!(club.organizer.send(refused).await.header("x-content-type-options"), "nosniff", "refusals too");
}

/// The policy forbids it; a page that has it anyway is broken for everybody.
#[tokio::test]
async fn no_page_has_a_script_or_a_style_inside() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = serde_json::json!(2.1)).await;
    let holt = club.inspector("R. Holt").await;
    let (event, entry) = (&club.event, &ines.entry);
    for (person, path) in [
        (&club.organizer, "/club".to_owned()),
        (&club.organizer, format!("/club/events/{event}")),
        (&club.organizer, format!("/club/events/{event}/roster")),
        (&club.organizer, format!("/club/events/{event}/people")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}/data.json")),
        (&club.organizer, "/club/organizers".into()),
        (&club.organizer, "/club/you".into()),
        (&club.organizer, format!("/club/events/{event}/sheet")),
        (&club.organizer, format!("/club/events/{event}/cleared")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}")),
        (&ines.person, ines.home()),
        (&ines.person, format!("{}/areas/brakes", ines.home())),
        (&ines.person, format!("{}/units", ines.home())),
        (&holt.person, holt.lane()),
        (&holt.person, format!("/gate/{event}/entries/{entry}")),
    ] {
        let page = person.get(&path).await.page().await;
        assert!(!page.has("script:not([src])") && !page.has("style") && !page.has("[style]"), "{path}");
        let every = css("*");
        let handler =
            page.html.select(&every).flat_map(|element| element.value().attrs()).find(|(name, _)| name.starts_with("on"));
        assert_eq!(handler, None, "{path}");
    }
}

#[tokio::test]
async fn no_page_shows_a_secret_but_the_one_that_makes_it() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    holt.clears("27").await;
    let mut secrets = vec![ines.secret.clone(), holt.secret.clone()];
    for cookie in [ines.person.cookie(&ines.home()), holt.person.cookie(&holt.lane()), club.organizer.cookie("/club")] {
        secrets.push(cookie.trim_start_matches("witnessmark=").to_owned());
    }
    let (event, entry) = (&club.event, &ines.entry);
    let mut pages = String::new();
    for (person, path) in [
        (&club.organizer, "/club".to_owned()),
        (&club.organizer, format!("/club/events/{event}")),
        (&club.organizer, format!("/club/events/{event}/roster")),
        (&club.organizer, format!("/club/events/{event}/people")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}/data.json")),
        (&club.organizer, "/club/organizers".into()),
        (&club.organizer, "/club/you".into()),
        (&club.organizer, format!("/club/events/{event}/sheet")),
        (&club.organizer, format!("/club/events/{event}/cleared.csv")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}")),
        (&ines.person, ines.home()),
        (&ines.person, format!("{}/areas/gear", ines.home())),
        (&holt.person, holt.lane()),
        (&holt.person, format!("/gate/{event}/entries/{entry}")),
    ] {
        pages.push_str(&person.get(&path).await.text().await);
    }
    assert!(pages.contains("Ines Okafor"), "the pages were read");
    for secret in secrets {
        assert_eq!(secret.len(), 32);
        assert!(!pages.contains(&secret), "a page shows {secret}");
    }
    let database = std::fs::read(club.database()).expect("the database");
    let wal = std::fs::read(club.database().with_extension("sqlite-wal")).unwrap_or_default();
    let holds = |bytes: &[u8], secret: &str| bytes.windows(secret.len()).any(|window| window == secret.as_bytes());
    assert!(!holds(&database, &ines.secret) && !holds(&wal, &ines.secret), "the file on disk keeps digests only");
}
