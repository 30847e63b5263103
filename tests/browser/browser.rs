//! A browser for a test: one Chromium with a driver of its own, both ended when the test ends, however it ends.

use fantoccini::error::CmdError;
use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value as Json, json};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;
use tempfile::TempDir;

const CHROMIUM: &str = "/usr/bin/chromium";
const DRIVER: &str = "/usr/bin/chromedriver";

/// The longest that a story may take. The longest of them, in which a whole sheet is typed, takes a fifth of it.
const LONGEST: Duration = Duration::from_secs(150);

/// How long a page may take to show what is waited for.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// What a person sits or stands in front of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Window {
    /// 390 x 844 with touch, two dots a pixel.
    Phone,
    /// 1280 x 900 with a mouse.
    Desktop,
}

impl Window {
    pub fn size(self) -> (u32, u32) {
        match self {
            Window::Phone => (390, 844),
            Window::Desktop => (1280, 900),
        }
    }

    /// Dots a pixel.
    fn scale(self) -> u32 {
        match self {
            Window::Phone => 2,
            Window::Desktop => 1,
        }
    }
}

/// Runs a story under a time limit: a browser that hangs is ended and the story fails.
pub async fn in_time(story: impl Future<Output = ()>) {
    assert!(tokio::time::timeout(LONGEST, story).await.is_ok(), "the story took longer than {LONGEST:?} and was ended");
}

/// As [`in_time`], for a story in which pages make themselves anew while they are tapped: Chromium's driver now and then waits for
/// ever for the end of a tap on a page that is gone. A story that hangs is told once more, from its beginning, with another
/// browser; one that fails has failed.
pub async fn in_time_or_told_again<F: Future<Output = ()>>(story: impl Fn() -> F) {
    if tokio::time::timeout(HANGS, story()).await.is_err() {
        println!("the browser hung: the story is told once more");
        in_time(story()).await;
    }
}

/// After which a story of half a minute is taken to hang.
const HANGS: Duration = Duration::from_secs(75);

/// Somebody's browser.
pub struct Browser {
    pub client: Client,
    pub window: Window,
    /// Whose browser this is, for a failing assertion and the screenshots' names.
    pub who: &'static str,
    story: &'static str,
    /// What the browser's own log may say in this story: a refused form is told there too.
    forgiven: Mutex<Vec<&'static str>>,
    scripts: AtomicBool,
    /// How often its person tapped.
    pub tapped: AtomicUsize,
    // In the order in which they are to end.
    chromium: Chromium,
    _driver: Chromedriver,
    _profile: Profile,
}

impl Browser {
    pub async fn phone(story: &'static str, who: &'static str) -> Browser {
        Browser::start(Window::Phone, story, who).await
    }

    pub async fn desktop(story: &'static str, who: &'static str) -> Browser {
        Browser::start(Window::Desktop, story, who).await
    }

    /// A phone whose camera shows this film (Y4M): a person holds something in front of it.
    pub async fn phone_with_a_camera(story: &'static str, who: &'static str, film: &Path) -> Browser {
        let camera = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"].map(str::to_owned);
        let film = format!("--use-file-for-fake-video-capture={}", film.display());
        let profile = Profile(TempDir::new().expect("a folder for the browser's profile"));
        Browser::start_with(Window::Phone, story, who, profile, camera.into_iter().chain([film]).collect()).await
    }

    async fn start(window: Window, story: &'static str, who: &'static str) -> Browser {
        let profile = Profile(TempDir::new().expect("a folder for the browser's profile"));
        Browser::start_with(window, story, who, profile, Vec::new()).await
    }

    /// The browser as it is opened again on the same device.
    pub async fn comes_back(left: Left) -> Browser {
        Browser::start_with(left.window, left.story, left.who, left.profile, Vec::new()).await
    }

    /// Is closed as a person closes it; what it keeps stays on the device.
    pub async fn puts_it_away(mut self) -> Left {
        let closed = self.client.clone().close().await;
        self.done(closed, "closing the browser");
        let pid = self.chromium.0.take();
        self.leaves(pid).await
    }

    /// SIGKILL, as a dead battery has it: nothing is finished, nothing is written that was not written.
    pub async fn dies(mut self) -> Left {
        let pid = self.chromium.0.take();
        drop(Chromium(pid));
        self.leaves(pid).await
    }

    /// Waits until none of the browser's processes is left that could still write into the profile.
    async fn leaves(self, pid: Option<u64>) -> Left {
        let Browser { window, story, who, _driver: driver, _profile: profile, .. } = self;
        drop(driver);
        assert!(pid.is_some(), "{who}: the browser's process is known");
        let folder = profile.0.path().display().to_string();
        for _ in 0..200 {
            let processes = std::fs::read_dir("/proc").expect("the processes").flatten();
            let commands = processes.filter_map(|one| std::fs::read_to_string(one.path().join("cmdline")).ok());
            if commands.filter(|command| command.contains(&folder)).count() == 0 {
                return Left { profile, window, story, who };
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("{who}: the browser's processes do not end");
    }

    async fn start_with(window: Window, story: &'static str, who: &'static str, profile: Profile, more: Vec<String>) -> Browser {
        for program in [CHROMIUM, DRIVER] {
            let there = Path::new(program).exists();
            assert!(there, "{program} is not there. Install the browser: apt-get install chromium chromium-driver");
        }
        let driver = Chromedriver::start();
        let capabilities = capabilities(window, profile.0.path(), more);
        let address = format!("http://127.0.0.1:{}", driver.port);
        let client = ClientBuilder::new(HttpConnector::new()).capabilities(capabilities).connect(&address).await;
        let client = client.unwrap_or_else(|error| panic!("chromium does not start: {error}"));
        let pid = client.capabilities().and_then(|found| found.get("goog:processID")).and_then(Json::as_u64);
        let browser = Browser {
            chromium: Chromium(pid),
            client,
            window,
            who,
            story,
            forgiven: Mutex::new(Vec::new()),
            scripts: AtomicBool::new(true),
            tapped: AtomicUsize::new(0),
            _driver: driver,
            _profile: profile,
        };
        // The window as it is asked for has the browser's own bars in it; what counts is the page's part.
        if window == Window::Desktop {
            browser.is_tall(window.size().1).await;
        }
        browser
    }

    /// Sends a DevTools command to the tab in front.
    pub async fn devtools(&self, command: &str, parameters: Json) -> Json {
        let body = json!({ "cmd": command, "params": parameters });
        self.done(self.client.issue_cmd(Own { path: "goog/cdp/execute", body }).await, command)
    }

    /// Switches the page's scripts off, as a careful person or an old phone has them.
    pub async fn runs_no_scripts(&self) {
        self.devtools("Emulation.setScriptExecutionDisabled", json!({ "value": true })).await;
        self.scripts.store(false, Ordering::Relaxed);
    }

    pub fn runs_scripts(&self) -> bool {
        self.scripts.load(Ordering::Relaxed)
    }

    /// What a command gave, or who failed at what.
    #[track_caller]
    pub fn done<T>(&self, result: Result<T, CmdError>, doing: &str) -> T {
        result.unwrap_or_else(|error| panic!("{}: {doing}: {error}", self.who))
    }

    /// A step that the server refuses is told in the browser's log as well; this story means to see it.
    pub fn forgives(&self, part: &'static str) {
        self.forgiven.lock().expect("a list").push(part);
    }

    /// What the browser's console has said since it was last asked: script errors, refused requests, policy violations.
    pub async fn console(&self) -> Vec<String> {
        let body = json!({ "type": "browser" });
        let log = self.done(self.client.issue_cmd(Own { path: "se/log", body }).await, "reading the console");
        let lines = log.as_array().cloned().unwrap_or_default();
        let said = lines.iter().filter_map(|line| Some(format!("{}: {}", line["level"].as_str()?, line["message"].as_str()?)));
        let forgiven = self.forgiven.lock().expect("a list").clone();
        // A busy machine uses a preloaded font later than the browser thinks it should: that says nothing of the page.
        let slow = "was preloaded using link preload but not used within a few seconds";
        said.filter(|line| !line.contains(slow) && !forgiven.iter().any(|part| line.contains(part))).collect()
    }

    /// Closes the browser at the end of a story. Its console must have stayed silent on every page.
    pub async fn closes(mut self) {
        let said = self.console().await;
        assert!(said.is_empty(), "{}: the console is not silent:\n{}", self.who, said.join("\n"));
        let closed = self.client.clone().close().await;
        self.done(closed, "closing the browser");
        self.chromium.0 = None;
    }

    /// Keeps what the window shows, named by story and step.
    pub async fn keeps(&self, step: &str) {
        let png = self.devtools("Page.captureScreenshot", json!({ "format": "png" })).await;
        write(&self.file(step), &png);
    }

    /// What the window shows, as a PNG file.
    pub async fn picture(&self) -> Vec<u8> {
        let png = self.devtools("Page.captureScreenshot", json!({ "format": "png" })).await;
        data_encoding::BASE64.decode(png["data"].as_str().unwrap_or_default().as_bytes()).expect("a picture")
    }

    /// Gives the browser an authenticator that knows its owner, as a phone with a screen lock is one.
    pub async fn has_an_authenticator(&self) {
        let body = json!({ "protocol": "ctap2", "transport": "internal", "hasResidentKey": true,
            "hasUserVerification": true, "isUserVerified": true });
        self.done(self.client.issue_cmd(Own { path: "webauthn/authenticator", body }).await, "an authenticator");
    }

    /// Keeps the whole page, as far down as it goes: the window is made as tall as the page, so that a bar that sticks to its
    /// lower edge lies where the page ends.
    pub async fn keeps_whole(&self, step: &str) {
        let size = self.devtools("Page.getLayoutMetrics", json!({})).await;
        let height = size["cssContentSize"]["height"].as_f64().expect("a height").ceil() as u32;
        self.is_tall(height.max(self.window.size().1)).await;
        self.keeps(step).await;
        self.is_tall(self.window.size().1).await;
    }

    /// Sets the window's height; all else stays as it is.
    async fn is_tall(&self, height: u32) {
        let (width, scale) = (self.window.size().0, self.window.scale());
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": scale,
            "mobile": self.window == Window::Phone });
        self.devtools("Emulation.setDeviceMetricsOverride", metrics).await;
    }

    /// Keeps what the window shows under a name of its own.
    pub async fn keeps_as(&self, file: &Path) {
        write(file, &self.devtools("Page.captureScreenshot", json!({ "format": "png" })).await);
    }

    fn file(&self, step: &str) -> PathBuf {
        screenshots().join(format!("{}-{step}-{}.png", self.story, self.who))
    }
}

/// Where screenshots are kept.
pub fn screenshots() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser/screenshots")
}

fn write(file: &Path, png: &Json) {
    let png = data_encoding::BASE64.decode(png["data"].as_str().unwrap_or_default().as_bytes()).expect("a picture");
    assert!(png.starts_with(b"\x89PNG"), "the browser gives a picture for {}", file.display());
    std::fs::create_dir_all(file.parent().expect("a folder")).expect("a folder for screenshots");
    std::fs::write(file, png).expect("a screenshot can be kept");
}

fn capabilities(window: Window, profile: &Path, more: Vec<String>) -> Capabilities {
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

/// A device whose browser is closed or dead: what it kept.
pub struct Left {
    profile: Profile,
    window: Window,
    story: &'static str,
    who: &'static str,
}

/// Chromium's process. A session that is not closed leaves it behind, so it is ended by its id.
struct Chromium(Option<u64>);

impl Drop for Chromium {
    fn drop(&mut self) {
        if let Some(pid) = self.0 {
            // Nothing more can be done here if it has ended already.
            let _ = Command::new("kill").args(["-9", &pid.to_string()]).stderr(Stdio::null()).status();
        }
    }
}

/// The browser's profile. Its processes write into it until the last of them has ended, a moment after the first.
struct Profile(TempDir);

impl Drop for Profile {
    fn drop(&mut self) {
        for _ in 0..40 {
            if std::fs::remove_dir_all(self.0.path()).is_ok() {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

/// The program that speaks for Chromium, on a port that it chose itself.
struct Chromedriver {
    child: Child,
    port: u16,
    // Closed early, its next line would end it.
    _says: BufReader<ChildStdout>,
}

impl Chromedriver {
    /// On a busy machine two drivers may reach for the same port; the one that comes too late ends, and is started again.
    fn start() -> Chromedriver {
        (0..5).find_map(|_| Chromedriver::try_start()).expect("chromedriver says its port")
    }

    fn try_start() -> Option<Chromedriver> {
        let mut command = Command::new(DRIVER);
        command.arg("--port=0").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().expect("chromedriver starts");
        let mut says = BufReader::new(child.stdout.take().expect("its output"));
        let mut port = None;
        let mut line = String::new();
        while port.is_none() && says.read_line(&mut line).is_ok_and(|read| read > 0) {
            let words = line.trim_end().trim_end_matches('.');
            port = words.split_once("started successfully on port ").and_then(|(_, port)| port.parse().ok());
            line.clear();
        }
        match port {
            Some(port) => Some(Chromedriver { child, port, _says: says }),
            None => {
                // It may have ended already.
                let _ = child.kill();
                let _ = child.wait();
                None
            }
        }
    }
}

impl Drop for Chromedriver {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
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
