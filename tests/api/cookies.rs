//! Cookies over https, whom a question without an answer lets in, and what a page says of where it was reached from.

use crate::club::{Club, PASSPHRASE, Person};
use crate::own_tls::{Tls, serves_tls};
use axum::body::Body;
use axum::http::Request;
use reqwest::{Method, Response, StatusCode};
use tower::ServiceExt;
use witnessmark::web::router;

impl Tls {
    async fn asks(&self, method: Method, path: &str, cookie: &str, form: &[(&str, &str)]) -> Response {
        let url = format!("https://localhost:{}{path}", self.address.port());
        let request = self.client.request(method, url).header("cookie", cookie).header("sec-fetch-site", "same-origin");
        let request = if form.is_empty() { request } else { request.form(form) };
        request.send().await.expect("an answer")
    }

    async fn gets(&self, path: &str, cookie: &str) -> StatusCode {
        self.asks(Method::GET, path, cookie, &[]).await.status()
    }
}

/// What an answer sets: name and value, and what is said of it.
fn set_by(answer: &Response) -> Vec<(String, String)> {
    let all = answer.headers().get_all("set-cookie").iter().filter_map(|value| value.to_str().ok());
    all.filter_map(|cookie| cookie.split_once("; ")).map(|(pair, rest)| (pair.to_owned(), rest.to_owned())).collect()
}

/// RFC 6265bis, "The __Host- Prefix": set over https with `Secure`, with `Path=/` and without a domain.
#[tokio::test]
async fn an_organizers_cookie_and_the_doors_can_come_from_this_host_alone() {
    let tls = serves_tls().await;
    let door_path = format!("/in/{}", tls.secret);
    let door = set_by(&tls.asks(Method::GET, &door_path, "", &[]).await).remove(0);
    let form = [("sets", "passphrase"), ("passphrase", PASSPHRASE)];
    let own = set_by(&tls.asks(Method::POST, &door_path, &door.0, &form).await).remove(0);
    for ((pair, rest), name) in [(&door, "__Host-door="), (&own, "__Host-witnessmark=")] {
        assert!(pair.starts_with(name), "{pair}");
        let parts: Vec<&str> = rest.split("; ").collect();
        assert!(["Path=/", "Secure", "HttpOnly", "SameSite=Lax"].iter().all(|part| parts.contains(part)), "{rest}");
        assert!(!rest.contains("Domain"), "{rest}");
    }
    let secret = own.0.split_once('=').expect("a pair").1;
    assert_eq!(tls.gets("/club", &own.0).await, StatusCode::OK);
    // Signed in before the update: the phone is not thrown out by it.
    assert_eq!(tls.gets("/club", &format!("witnessmark={secret}")).await, StatusCode::OK);
    // Another host of the domain can plant one of the old name, and none of the new one.
    let planted = format!("witnessmark={}; {}", "a".repeat(32), own.0);
    assert_eq!(tls.gets("/club", &planted).await, StatusCode::OK);
    assert_eq!(
        tls.gets("/club", &format!("{}; witnessmark={secret}", own.0.replace(secret, "x"))).await,
        StatusCode::UNAUTHORIZED
    );
    let ends = set_by(&tls.asks(Method::POST, "/club/sign-out", &own.0, &[("x", "")]).await);
    let ended: Vec<String> =
        ends.iter().map(|(pair, rest)| format!("{pair} {}", rest.split("; ").next().unwrap_or_default())).collect();
    assert_eq!(ended, ["__Host-witnessmark= Path=/", "witnessmark= Path=/club"], "under every name it may have");
    assert_eq!(tls.gets("/club", &own.0).await, StatusCode::UNAUTHORIZED);
    tls.web.closing.cancel();
}

/// Everybody else's stays on its own path, so that one phone can be several people's: browsers take it over https alone.
#[tokio::test]
async fn a_drivers_cookie_over_https_is_secure_by_its_name_and_stays_on_its_own_path() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let tls = router(witnessmark::web::Web::new(club.house.clone(), "https://tech.example.org"));
    let ask = |path: String, cookie: String| {
        let request = Request::get(path).header("cookie", cookie).body(Body::empty()).expect("a request");
        let connected = axum::extract::ConnectInfo(std::net::SocketAddr::from(([127, 0, 0, 1], 1)));
        let mut request = request;
        request.extensions_mut().insert(connected);
        tls.clone().oneshot(request)
    };
    let answer = ask(format!("/in/{}", ines.secret), String::new()).await.expect("an answer");
    let set: Vec<&str> = answer.headers().get_all("set-cookie").iter().filter_map(|value| value.to_str().ok()).collect();
    let own = set.iter().find(|cookie| cookie.starts_with("__Secure-witnessmark=")).expect("the device's cookie");
    assert!(own.contains(&format!("; Path={};", ines.home())) && own.contains("; Secure"), "{own}");
    let pair = own.split(';').next().unwrap_or_default().to_owned();
    let old = ines.person.cookie(&ines.home());
    for cookie in [pair, old] {
        assert_eq!(ask(ines.home(), cookie.clone()).await.expect("an answer").status(), StatusCode::OK, "{cookie}");
    }
}

#[tokio::test]
async fn a_year_of_https_is_promised_on_the_clubs_word_and_on_plain_http_never() {
    let club = Club::open().await;
    let says = async |base: &str, insists: bool| {
        let web = witnessmark::web::Web::new(club.house.clone(), base);
        let app = router(if insists { web.insisting_on_https() } else { web });
        let answer = app.oneshot(Request::get("/alive").body(Body::empty()).expect("a request")).await.expect("an answer");
        answer.headers().get("strict-transport-security").and_then(|value| value.to_str().ok()).unwrap_or_default().to_owned()
    };
    assert_eq!(says("https://tech.example.org", false).await, "max-age=2592000");
    assert_eq!(says("https://tech.example.org", true).await, "max-age=31536000");
    assert_eq!(says("http://192.0.2.10:8440", true).await, "", "RFC 6797, 7.2");
}

/// Programs that look at links in mail often ask for the head alone (RFC 9110, 9.3.2: "safe").
#[tokio::test]
async fn who_asks_for_the_head_of_a_link_lets_no_device_in() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let devices = async || {
        let mut db = club.house.store.read().await.expect("the store");
        let event = club.event.parse().expect("an id");
        witnessmark::store::device::of_event(&mut db, event).await.expect("devices").len()
    };
    let before = devices().await;
    let anybody = Person::stranger(&club.base);
    let head = async |path: &str| anybody.send(anybody.client.head(anybody.url(path))).await;
    let asked = head(&format!("/in/{}", ines.secret)).await;
    assert_eq!((asked.status(), asked.headers("set-cookie").len()), (StatusCode::OK, 0));
    assert_eq!(devices().await, before, "no device came in");
    assert_eq!(head(&format!("/in/{}", "a".repeat(32))).await.status(), StatusCode::UNAUTHORIZED);
    for path in [ines.home(), format!("/club/events/{}", club.event), "/gate/x".into()] {
        let refused = head(&path).await;
        assert_eq!((refused.status(), refused.header("allow")), (StatusCode::METHOD_NOT_ALLOWED, "GET".into()), "{path}");
    }
    assert_eq!(head("/").await.status(), StatusCode::OK, "what is for everybody");
}

/// The secret is in the address of one page: the pages and files that it leads to are not told of it.
#[tokio::test]
async fn a_links_secret_is_exchanged_and_told_to_nobody() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let secret = club.link_for("inspector", "R. Holt").await;
    let anybody = Person::stranger(&club.base);
    let opened = anybody.get(&format!("/in/{}", ines.secret)).await;
    assert_eq!(opened.location(), ines.home(), "the address is clean after it");
    let one_time = anybody.get(&format!("/in/{secret}")).await;
    assert_eq!(one_time.header("referrer-policy"), "strict-origin");
    let used = anybody.post(&format!("/in/{secret}"), &[]).await;
    assert_eq!((used.status(), used.header("referrer-policy")), (StatusCode::SEE_OTHER, "strict-origin".into()));
    assert!(!used.location().contains(&secret));
    let wrong = anybody.get(&format!("/in/{}", "a".repeat(32))).await;
    assert_eq!(wrong.header("referrer-policy"), "strict-origin");
    assert_eq!(anybody.get("/privacy").await.header("referrer-policy"), "same-origin");
}
