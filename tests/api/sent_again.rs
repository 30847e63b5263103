//! Forms that are sent again: a reload makes no other link, and letting an inspector go twice takes a clearance back once.

use crate::club::{Answer, Club, Person, css};
use reqwest::StatusCode;

/// The fields of a form on a page, by its action.
fn fields(page: &crate::club::Page, action: &str) -> Vec<(String, String)> {
    let inputs = css(&format!("form[action='{action}'] input[type=hidden]"));
    let field = |input: scraper::ElementRef<'_>| Some((input.attr("name")?.to_owned(), input.attr("value")?.to_owned()));
    page.html.select(&inputs).filter_map(field).collect()
}

async fn posts(club: &Club, path: &str, fields: &[(String, String)]) -> Answer {
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    club.organizer.post(path, &fields).await
}

/// Sends a form of a page twice, and then by the button that asks for another.
async fn is_made_once(club: &Club, page: &str, action: &str) {
    let page = club.organizer.get(page).await.page().await;
    let form = fields(&page, action);
    assert!(form.iter().any(|(name, _)| name == "id"), "{action} has an id");
    let first = posts(club, action, &form).await.page().await;
    let urls = first.all("code");
    assert!(!urls.is_empty(), "{action}: {}", first.text());
    let again = posts(club, action, &form).await;
    assert_eq!(again.status(), StatusCode::CONFLICT, "{action}");
    let asks = again.page().await;
    assert!(asks.first("h1").contains("A link was made just now by this form. Make another?"), "{}", asks.text());
    assert!(asks.all("code").is_empty(), "no secret is in it");
    for url in &urls {
        let opened = Person::stranger(&club.base).get(url.trim_start_matches(&club.base)).await;
        assert!(
            opened.status() == StatusCode::OK || opened.status() == StatusCode::SEE_OTHER,
            "{action}: the first link is good"
        );
    }
    let other = posts(club, action, &fields(&asks, action)).await.page().await;
    assert_eq!(other.all("code").len(), urls.len(), "asked for, another is made: {}", other.text());
    assert_ne!(other.all("code"), urls);
}

#[tokio::test]
async fn a_reload_of_a_link_made_anew_makes_no_other() {
    let club = Club::open().await;
    let (holt, ines) = (club.inspector("R. Holt").await, club.driver("27").await);
    club.link_for("marshal", "Pit exit").await;
    let under = |path: &str| format!("/club/events/{}{path}", club.event);
    for name in ["R. Holt", "Pit exit"] {
        let form = club.forms_for(name).await.into_iter().find(|form| form.ends_with("/links")).expect("a form for a link");
        is_made_once(&club, &under("/people"), &form).await;
    }
    is_made_once(&club, &under("/roster"), &under(&format!("/entries/{}/links", ines.entry))).await;
    drop(holt);
}

#[tokio::test]
async fn a_reload_of_all_links_made_anew_ends_none_of_them() {
    let club = Club::open().await;
    club.organizer.post(&format!("/club/events/{}/links", club.event), &[]).await;
    let id = club.new_id();
    let all = [("id", id.as_str()), ("which", "all")];
    let path = format!("/club/events/{}/links", club.event);
    let first = club.organizer.post(&path, &all).await.page().await.all("code");
    assert_eq!(first.len(), 4);
    let csv = [("id", id.as_str()), ("which", "all"), ("as", "csv")];
    for form in [&all[..], &csv[..]] {
        let again = club.organizer.post(&path, form).await;
        assert_eq!(again.status(), StatusCode::CONFLICT);
    }
    let page = club.organizer.post(&path, &csv).await.page().await;
    assert_eq!(page.value_of("input[name=which]"), "all", "the button would do the same");
    for url in first {
        let secret = url.rsplit('/').next().expect("a secret").to_owned();
        Person::come_in(&club.base, &secret).await;
    }
}

#[tokio::test]
async fn a_reload_of_a_garages_link_or_calendar_makes_no_other() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    for what in ["link", "calendar"] {
        let id = club.new_id();
        let made = keeper.posts(&format!("/keep/{what}"), &id, &[]).await.page().await;
        let url = made.first(".link");
        assert!(url.contains("http"), "{what}: {}", made.text());
        let again = keeper.posts(&format!("/keep/{what}"), &id, &[]).await;
        assert_eq!(again.status(), StatusCode::CONFLICT, "{what}");
        let page = again.page().await;
        assert!(page.first("[role=alert]").contains("was made just now by this form, and it is good"), "{}", page.text());
        let opened = Person::stranger(&club.base).get(url.trim_start_matches(&club.base)).await;
        assert_eq!(opened.status(), StatusCode::OK, "{what}: the first is good");
        let other = keeper.posts(&format!("/keep/{what}"), &page.value_of(&format!("form[action$='{what}'] input")), &[]).await;
        assert_ne!(other.page().await.first(".link"), url, "asked for, another is made");
    }
}

/// The page that asks before an inspector is let go, with its fields as a browser sends them.
async fn asked(club: &Club, name: &str) -> (String, crate::club::Page, Vec<(String, String)>) {
    let forms = club.forms_for(name).await;
    let path = forms.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end")).expect("can be let go");
    let page = club.organizer.get(&path).await.page().await;
    let mut form = fields(&page, &path);
    let ticked = css("input[type=checkbox][checked]");
    form.extend(page.html.select(&ticked).filter_map(|tick| Some((tick.attr("name")?.to_owned(), "1".to_owned()))));
    form.push(("reason".into(), page.raw("textarea[name=reason]")));
    (path, page, form)
}

#[tokio::test]
async fn letting_an_inspector_go_offers_to_take_back_what_they_cleared() {
    let club = Club::open().await;
    for number in ["7", "12", "27", "114B"] {
        club.driver(number).await.sends(|_| ()).await;
    }
    let (holt, okoro) = (club.inspector("R. Holt").await, club.inspector("P. Okoro").await);
    for number in ["7", "27"] {
        holt.clears(number).await;
    }
    okoro.clears("12").await;
    holt.holds("114B", "Oil at the gearbox.").await;
    let (path, page, form) = asked(&club, "R. Holt").await;
    assert_eq!(page.all(".plate"), ["7", "27"], "what stands cleared by him, and nothing else");
    let empty: Vec<_> = form.iter().cloned().map(|(n, t)| if n == "reason" { (n, " ".into()) } else { (n, t) }).collect();
    let unsaid = posts(&club, &path, &empty).await;
    assert_eq!(unsaid.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unsaid.page().await.first(".trouble").contains("Say why"));
    assert_eq!(holt.person.get(&holt.lane()).await.status(), StatusCode::OK, "nothing is done yet");
    for _ in 0..2 {
        assert_eq!(posts(&club, &path, &form).await.status(), StatusCode::SEE_OTHER, "sent twice is once");
    }
    assert_eq!(holt.person.get(&holt.lane()).await.status(), StatusCode::UNAUTHORIZED);
    for number in ["7", "27", "114B"] {
        assert_eq!(club.board_of(number).await.0, "flagged", "{number}");
    }
    assert_eq!(club.board_of("12").await.0, "cleared", "another inspector's");
    let history = club.history_of("27").await;
    assert_eq!(history.iter().filter(|line| line.contains("M. Ashdown")).count(), 1, "{history:?}");
    assert!(club.car_page("27").await.text().contains("R. Holt works at the gate no more"));
    okoro.clears("27").await;
    assert_eq!(club.board_of("27").await.0, "cleared", "looked at again");
}

#[tokio::test]
async fn what_is_not_ticked_stays_cleared_and_a_car_that_another_cleared_since_is_not_ticked() {
    let club = Club::open().await;
    for number in ["7", "27"] {
        club.driver(number).await.sends(|_| ()).await;
    }
    let (holt, okoro) = (club.inspector("R. Holt").await, club.inspector("P. Okoro").await);
    holt.clears("7").await;
    holt.clears("27").await;
    okoro.clears("27").await;
    let (path, page, form) = asked(&club, "R. Holt").await;
    assert!(page.text().contains("it stands by a later clear of P. Okoro"), "{}", page.text());
    let ticked: Vec<_> = form.iter().filter(|(name, _)| name.starts_with("back-")).collect();
    assert_eq!(ticked.len(), 1, "only what stands by his own clear");
    let none: Vec<_> = form.iter().filter(|(name, _)| !name.starts_with("back-")).cloned().collect();
    assert_eq!(posts(&club, &path, &none).await.status(), StatusCode::SEE_OTHER);
    for number in ["7", "27"] {
        assert_eq!(club.board_of(number).await.0, "cleared", "{number}");
    }
    // Later on: he is let go, and his clearance can still be taken back from the same page.
    let page = club.organizer.get(&path).await.page().await;
    assert!(page.first("h1").contains("R. Holt was let go"), "{}", page.text());
    assert_eq!(posts(&club, &path, &form).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("7").await.0, "flagged");
}
