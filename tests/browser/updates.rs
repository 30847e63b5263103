//! New versions of the program, one after the other: no phone is stranded with an old page, and what waits on it is sent. A proxy
//! plays the versions: the same program under another name.

use crate::browser::{Browser, in_time};
use crate::club::{Club, until};
use crate::gate_offline::at_the_gate;
use crate::wire::Wire;
use reqwest::StatusCode;

/// The version that the server's own files stand under: `/static/VERSION/css/base.css`.
fn own_version() -> String {
    witnessmark::web::assets::url("").split('/').nth(2).expect("a version").to_owned()
}

const SECOND: &str = "222222222222";
const THIRD: &str = "333333333333";

/// The version that the page in front is of, and whether it is dressed: its style is there, and its script has run.
async fn shown(phone: &Browser) -> String {
    let script = "const sheets = [...document.styleSheets].filter((sheet) => sheet.cssRules.length > 0).length; \
        const links = document.querySelectorAll('link[rel=stylesheet]').length; \
        return document.querySelector('script[src]').src.split('/static/')[1].slice(0, 12) + (sheets === links ? '' : ' undressed')";
    phone.asks(script).await.as_str().unwrap_or_default().to_owned()
}

/// Waits until the whole gate on the phone is of a version.
async fn holds_the_gate_of(phone: &Browser, version: &str) {
    let files = format!("return caches.match('/static/{version}/whole').then(Boolean)");
    phone.comes("the version's files are here", &files).await;
    for _ in 0..200 {
        let whole = phone.whole_shelf().await;
        let pages = whole.matches("<!doctype html>").count();
        if pages == 5 && whole.matches(&format!("/static/{version}/js/")).count() == 5 {
            return;
        }
        tokio::time::sleep(crate::hands::GLANCE).await;
    }
    panic!("the gate of {version} did not come");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_goes_through_two_new_versions_and_no_kept_page_is_stranded() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let (first, lane) = (own_version(), format!("{}{}", wire.base, holt.lane()));
        let phone = at_the_gate(&club, &wire, &holt, "updates", "inspector").await;
        phone.forgives("503");
        assert_eq!(shown(&phone).await, first);
        // Signed without signal by the first version; the phone is put away with it.
        wire.is_cut();
        phone.finds("27").await;
        phone.ticks_everything().await;
        phone.follows(".clear").await;
        phone.sends_now().await;
        phone.sees(".queue", "1 sign-off waits on this device for signal").await;
        phone.opens("about:blank").await;

        // The club installs a second version, and a third, and nothing happens to any car.
        for version in [SECOND, THIRD] {
            wire.plays(&first, version);
            wire.is_sound();
            phone.opens(&lane).await;
            assert_eq!(shown(&phone).await, version, "with signal the page is new");
            phone.has_sent_all().await;
            holds_the_gate_of(&phone, version).await;
            wire.is_cut();
            phone.opens(&lane).await;
            assert_eq!(shown(&phone).await, version, "without signal too");
            // A car's page that nobody opened: it has its style and its scripts, and a hold is kept.
            phone.signs("7", "hold").await;
            phone.finds("7").await;
            assert_eq!(shown(&phone).await, version);
            phone.sees(".mine", "Your hold of just now is on this device").await;
            phone.keeps(&format!("of-{version}")).await;
        }
        let [cleared, held] = [club.history_of("27").await, club.history_of("7").await];
        assert_eq!(cleared[0], "clear by R. Holt (inspector)", "signed by the first version, taken from the second");
        assert_eq!(held.len(), 1, "the second version's hold came with the third: {held:?}");
        wire.is_sound();
        phone.opens(&lane).await;
        until("the third version's hold is there too", || async { club.history_of("7").await.len() == 2 }).await;
        // Kept pages and their files live and die together; the version before stays for tabs that are open.
        let files = "return caches.keys().then((names) => names.filter((name) => name.startsWith('static-')).sort().join(' '))";
        assert_eq!(phone.asks(files).await, format!("static-{SECOND} static-{THIRD}"));
        phone.closes().await;
    })
    .await;
}

#[tokio::test]
async fn an_old_versions_file_is_gone_and_never_todays_under_yesterdays_name() {
    let club = Club::open().await;
    let own = own_version();
    for path in ["js/lane.js", "css/base.css", "vendor/jsqr/jsQR.js"] {
        let today = club.organizer.get(&format!("/static/{own}/{path}")).await;
        assert_eq!(today.status(), StatusCode::OK, "{path}");
        let yesterday = club.organizer.get(&format!("/static/{SECOND}/{path}")).await;
        assert_eq!(yesterday.status(), StatusCode::GONE, "{path}");
        assert_eq!(yesterday.text().await, "", "{path}");
    }
}
