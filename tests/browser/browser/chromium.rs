//! Chromium through its own driver: what it is told beyond WebDriver goes as DevTools commands.

use super::process::Driver;
use super::{Browser, Kind, Window, is_there};
use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use serde_json::{Value as Json, json};
use std::path::Path;
use std::sync::atomic::Ordering;

const CHROMIUM: &str = "/usr/bin/chromium";
const DRIVER: &str = "/usr/bin/chromedriver";

/// Starts the program that speaks for Chromium.
pub fn driver() -> Driver {
    for program in [CHROMIUM, DRIVER] {
        is_there(Path::new(program), "apt-get install chromium chromium-driver");
    }
    Driver::start(Path::new(DRIVER), &["--port=0"], "started successfully on port ")
}

/// The arguments for a camera that shows a film.
pub fn camera(film: &Path) -> Vec<String> {
    let camera = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"].map(str::to_owned);
    camera.into_iter().chain([format!("--use-file-for-fake-video-capture={}", film.display())]).collect()
}

pub fn capabilities(window: Window, profile: &Path, more: Vec<String>) -> Capabilities {
    let (width, height) = window.size();
    // `disable-quic` to `disable-sync`: nothing but the club's own pages goes over the wire.
    let mut arguments: Vec<String> = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-breakpad",
        "--hide-scrollbars",
        "--lang=en-GB",
    ]
    .map(str::to_owned)
    .into();
    arguments.extend(more);
    arguments.push(format!("--window-size={width},{height}"));
    arguments.push(format!("--user-data-dir={}", profile.display()));
    let mut options = json!({ "binary": CHROMIUM, "args": arguments });
    if window == Window::Phone {
        let metrics = json!({ "width": width, "height": height, "pixelRatio": window.scale(), "touch": true, "mobile": true });
        options["mobileEmulation"] = json!({ "deviceMetrics": metrics });
    }
    let all = json!({ "goog:chromeOptions": options, "goog:loggingPrefs": { "browser": "ALL" } });
    all.as_object().cloned().expect("an object").into_iter().collect()
}

impl Browser {
    /// Sends a DevTools command to the tab in front.
    pub async fn devtools(&self, command: &str, parameters: Json) -> Json {
        assert_eq!(self.kind, Kind::Chromium, "{}: {command} is for Chromium alone", self.who);
        let body = json!({ "cmd": command, "params": parameters });
        self.done(self.client.issue_cmd(Own { path: "goog/cdp/execute", body }).await, command)
    }

    /// Switches the page's scripts off, as a careful person or an old phone has them.
    pub async fn runs_no_scripts(&self) {
        self.devtools("Emulation.setScriptExecutionDisabled", json!({ "value": true })).await;
        self.scripts.store(false, Ordering::Relaxed);
    }

    /// Gives the browser an authenticator that knows its owner, as a phone with a screen lock is one.
    pub async fn has_an_authenticator(&self) {
        let body = json!({ "protocol": "ctap2", "transport": "internal", "hasResidentKey": true,
            "hasUserVerification": true, "isUserVerified": true });
        self.done(self.client.issue_cmd(Own { path: "webauthn/authenticator", body }).await, "an authenticator");
    }

    pub(super) async fn runs_first_in_chromium(&self, script: &str) {
        self.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": script })).await;
    }

    pub(super) async fn measures_in_chromium(&self, width: u32, height: u32, scale: u32) {
        let mobile = self.window == Window::Phone;
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": scale, "mobile": mobile });
        self.devtools("Emulation.setDeviceMetricsOverride", metrics).await;
    }

    pub(super) async fn presses_in_chromium(&self, x: f64, y: f64) {
        if self.window == Window::Phone {
            // A finger of our own: the driver's waits for a script of the page, which some stories switch off.
            let down = json!({ "type": "touchStart", "touchPoints": [{ "x": x, "y": y }] });
            self.devtools("Input.dispatchTouchEvent", down).await;
            self.devtools("Input.dispatchTouchEvent", json!({ "type": "touchEnd", "touchPoints": [] })).await;
        } else {
            for kind in ["mousePressed", "mouseReleased"] {
                let click = json!({ "type": kind, "x": x, "y": y, "button": "left", "clickCount": 1 });
                self.devtools("Input.dispatchMouseEvent", click).await;
            }
        }
    }

    pub(super) async fn log_of_chromium(&self) -> Vec<String> {
        let body = json!({ "type": "browser" });
        let log = self.done(self.client.issue_cmd(Own { path: "se/log", body }).await, "reading the console");
        let lines = log.as_array().cloned().unwrap_or_default();
        let said = lines.iter().filter_map(|line| Some(format!("{}: {}", line["level"].as_str()?, line["message"].as_str()?)));
        // A busy machine uses a preloaded font later than the browser thinks it should: that says nothing of the page.
        let slow = "was preloaded using link preload but not used within a few seconds";
        said.filter(|line| !line.contains(slow)).collect()
    }
}

/// A command that only Chromium's driver knows.
#[derive(Debug)]
struct Own {
    path: &'static str,
    body: Json,
}

impl WebDriverCompatibleCommand for Own {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.body.to_string()))
    }
}
