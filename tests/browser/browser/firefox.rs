//! Firefox through geckodriver: plain WebDriver, and WebDriver BiDi over a second wire for its log and the size of its pages.

use super::bidi::Bidi;
use super::process::Driver;
use super::{Browser, Window, is_there};
use fantoccini::Client;
use fantoccini::actions::{InputSource, MOUSE_BUTTON_LEFT, MouseActions, PointerAction, TouchActions};
use fantoccini::wd::Capabilities;
use serde_json::{Value as Json, json};
use std::path::Path;

const FIREFOX: &str = "/usr/bin/firefox-esr";

/// Where `tests/all` puts it: Debian has none.
const DRIVER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/target/tools/bin/geckodriver");

/// Starts the program that speaks for Firefox.
pub fn driver() -> Driver {
    is_there(Path::new(FIREFOX), "apt-get install firefox-esr");
    is_there(Path::new(DRIVER), "tests/all does; or cargo install geckodriver --locked --debug --root target/tools");
    // Port 0 is any that is free: stories run side by side.
    Driver::start(Path::new(DRIVER), &["--port", "0", "--websocket-port", "0"], "Listening on 127.0.0.1:")
}

pub fn capabilities(profile: &Path) -> Capabilities {
    let arguments = ["-headless".to_owned(), "-profile".to_owned(), profile.display().to_string()];
    let options = json!({ "binary": FIREFOX, "args": arguments, "prefs": settings() });
    let all = json!({ "moz:firefoxOptions": options, "webSocketUrl": true });
    all.as_object().cloned().expect("an object").into_iter().collect()
}

/// What geckodriver does not set by itself.
fn settings() -> Json {
    json!({
        "intl.accept_languages": "en-GB, en",
        // A phone has touch, on its pages too.
        "dom.w3c_touch_events.enabled": 1,
        // Nothing but the club's own pages goes over the wire: what this machine does not answer itself goes to a proxy that is
        // not there.
        "network.proxy.type": 1,
        "network.proxy.http": "127.0.0.1",
        "network.proxy.http_port": 1,
        "network.proxy.ssl": "127.0.0.1",
        "network.proxy.ssl_port": 1,
        "network.proxy.no_proxies_on": "localhost, 127.0.0.1",
        "network.proxy.failover_direct": false,
        "network.proxy.allow_bypass": false,
        // And nothing is tried: what fails is tried again, and costs time.
        "app.normandy.enabled": false,
        "app.update.disabledForTesting": true,
        "browser.backup.enabled": false,
        "browser.region.network.url": "",
        "browser.safebrowsing.malware.enabled": false,
        "browser.safebrowsing.phishing.enabled": false,
        "browser.sessionstore.resume_from_crash": false,
        "browser.topsites.contile.enabled": false,
        "datareporting.healthreport.uploadEnabled": false,
        "datareporting.policy.dataSubmissionEnabled": false,
        "dom.push.connection.enabled": false,
        "extensions.getAddons.cache.enabled": false,
        "extensions.systemAddon.update.enabled": false,
        "extensions.update.enabled": false,
        "media.gmp-manager.updateEnabled": false,
        "messaging-system.rsexperimentloader.enabled": false,
        "network.captive-portal-service.enabled": false,
        "network.connectivity-service.enabled": false,
        "network.dns.disablePrefetch": true,
        "nimbus.rollouts.enabled": false,
        "services.settings.server": "data:,",
        "toolkit.telemetry.enabled": false,
        "toolkit.telemetry.unified": false,
    })
}

/// Opens the second wire to a Firefox that was started with it.
pub async fn second_wire(client: &Client) -> Bidi {
    let url = client.capabilities().and_then(|found| found.get("webSocketUrl")).and_then(Json::as_str).map(str::to_owned);
    Bidi::open(&url.expect("the address of the second wire")).await
}

impl Browser {
    pub(super) async fn presses_in_firefox(&self, x: f64, y: f64) {
        let to = PointerAction::MoveTo { duration: None, x, y };
        let [down, up] = [PointerAction::Down { button: MOUSE_BUTTON_LEFT }, PointerAction::Up { button: MOUSE_BUTTON_LEFT }];
        let pressed = match self.window {
            Window::Phone => {
                let finger = TouchActions::new("finger".into()).then(to).then(down).then(up);
                self.client.perform_actions(finger).await
            }
            Window::Desktop => {
                let mouse = MouseActions::new("mouse".into()).then(to).then(down).then(up);
                self.client.perform_actions(mouse).await
            }
        };
        self.done(pressed, "pressing");
    }
}
