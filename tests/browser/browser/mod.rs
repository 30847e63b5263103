//! A browser for a test: one Chromium or one Firefox with a driver of its own, both ended when the test ends, however it ends.

mod bidi;
mod chromium;
mod firefox;
mod process;
mod screen;

use bidi::Bidi;
use fantoccini::error::CmdError;
use fantoccini::wd::Capabilities;
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use process::{Driver, Process, Profile};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

pub use process::Left;
pub use screen::screenshots;

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

/// Whose engine runs the pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Chromium,
    Firefox,
}

impl Kind {
    pub async fn phone(self, story: &'static str, who: &'static str) -> Browser {
        Browser::start_with(self, Window::Phone, story, who, Profile::new(), Vec::new()).await
    }

    fn name(self) -> &'static str {
        match self {
            Kind::Chromium => "chromium",
            Kind::Firefox => "firefox",
        }
    }
}

/// Tells one story in each browser: `tell_in_both!(a_story);` for an `async fn a_story(kind: Kind)`.
macro_rules! tell_in_both {
    ($story:ident) => {
        mod $story {
            use crate::browser::Kind;

            #[tokio::test(flavor = "multi_thread")]
            async fn in_chromium() {
                super::$story(Kind::Chromium).await;
            }

            #[tokio::test(flavor = "multi_thread")]
            async fn in_firefox() {
                super::$story(Kind::Firefox).await;
            }
        }
    };
}
pub(crate) use tell_in_both;

/// Somebody's browser.
pub struct Browser {
    pub client: Client,
    pub window: Window,
    /// Whose browser this is, for a failing assertion and the screenshots' names.
    pub who: &'static str,
    pub kind: Kind,
    story: &'static str,
    /// What the browser's own log may say in this story: a refused form is told there too.
    forgiven: Mutex<Vec<&'static str>>,
    scripts: AtomicBool,
    /// How often its person tapped.
    pub tapped: AtomicUsize,
    /// The second wire that Firefox has.
    bidi: Option<Bidi>,
    // In the order in which they are to end.
    process: Process,
    driver: Driver,
    profile: Profile,
}

impl Browser {
    pub async fn phone(story: &'static str, who: &'static str) -> Browser {
        Kind::Chromium.phone(story, who).await
    }

    pub async fn desktop(story: &'static str, who: &'static str) -> Browser {
        Browser::start_with(Kind::Chromium, Window::Desktop, story, who, Profile::new(), Vec::new()).await
    }

    /// A phone whose camera shows this film (Y4M): a person holds something in front of it.
    pub async fn phone_with_a_camera(story: &'static str, who: &'static str, film: &Path) -> Browser {
        let more = chromium::camera(film);
        Browser::start_with(Kind::Chromium, Window::Phone, story, who, Profile::new(), more).await
    }

    /// The browser as it is opened again on the same device.
    pub async fn comes_back(left: Left) -> Browser {
        Browser::start_with(left.kind, left.window, left.story, left.who, left.profile, Vec::new()).await
    }

    /// Is closed as a person closes it; what it keeps stays on the device.
    pub async fn puts_it_away(mut self) -> Left {
        let closed = self.client.clone().close().await;
        self.done(closed, "closing the browser");
        let pid = self.process.0.take();
        self.leaves(pid).await
    }

    /// SIGKILL, as a dead battery has it: nothing is finished, nothing is written that was not written.
    pub async fn dies(mut self) -> Left {
        let pid = self.process.0.take();
        drop(Process(pid));
        self.leaves(pid).await
    }

    /// Waits until none of the browser's processes is left that could still write into the profile.
    async fn leaves(self, pid: Option<u64>) -> Left {
        let Browser { window, story, who, kind, driver, profile, .. } = self;
        drop(driver);
        assert!(pid.is_some(), "{who}: the browser's process is known");
        for _ in 0..200 {
            if profile.processes().is_empty() {
                return Left { profile, kind, window, story, who };
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("{who}: the browser's processes do not end");
    }

    async fn start_with(
        kind: Kind,
        window: Window,
        story: &'static str,
        who: &'static str,
        profile: Profile,
        more: Vec<String>,
    ) -> Browser {
        let (driver, capabilities) = match kind {
            Kind::Chromium => (chromium::driver(), chromium::capabilities(window, profile.path(), more)),
            Kind::Firefox => (firefox::driver(), firefox::capabilities(profile.path())),
        };
        let (client, process) = connect(kind, &driver, capabilities).await;
        let bidi = match kind {
            Kind::Chromium => None,
            Kind::Firefox => Some(firefox::second_wire(&client).await),
        };
        let browser = Browser {
            process,
            client,
            window,
            who,
            kind,
            story,
            forgiven: Mutex::new(Vec::new()),
            scripts: AtomicBool::new(true),
            tapped: AtomicUsize::new(0),
            bidi,
            driver,
            profile,
        };
        // A window has the browser's own bars in it; what counts is the page's part.
        if kind == Kind::Firefox || window == Window::Desktop {
            browser.is_tall(window.size().1).await;
        }
        browser
    }

    /// Has every page that is opened from now on run this before its own scripts.
    pub async fn runs_first(&self, script: &str) {
        match &self.bidi {
            None => self.runs_first_in_chromium(script).await,
            Some(bidi) => bidi.runs_first(script).await,
        }
    }

    /// Presses one finger, or the mouse's button, at a place of the window and lets go.
    pub async fn presses(&self, x: f64, y: f64) {
        match self.kind {
            Kind::Chromium => self.presses_in_chromium(x, y).await,
            Kind::Firefox => self.presses_in_firefox(x, y).await,
        }
    }

    /// Loads the page anew, as a person does who pulls it down.
    pub async fn reloads(&self) {
        match &self.bidi {
            None => self.done(self.client.refresh().await, "a reload"),
            // Plain WebDriver's goes round the worker in Firefox, which a person's does not.
            Some(bidi) => bidi.reloads(&self.done(self.client.window().await, "the tab in front")).await,
        }
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

    /// What the browser's console has said since it was last asked: script errors, policy violations, and in Chromium refused
    /// requests too.
    pub async fn console(&self) -> Vec<String> {
        let said = match &self.bidi {
            None => self.log_of_chromium().await,
            Some(bidi) => bidi.said().await,
        };
        let forgiven = self.forgiven.lock().expect("a list").clone();
        said.into_iter().filter(|line| !forgiven.iter().any(|part| line.contains(part))).collect()
    }

    /// Closes the browser at the end of a story. Its console must have stayed silent on every page.
    pub async fn closes(mut self) {
        let said = self.console().await;
        assert!(said.is_empty(), "{}: the console is not silent:\n{}", self.who, said.join("\n"));
        let closed = self.client.clone().close().await;
        self.done(closed, "closing the browser");
        self.process.0 = None;
    }
}

/// Starts the browser through its driver.
async fn connect(kind: Kind, driver: &Driver, capabilities: Capabilities) -> (Client, Process) {
    let address = format!("http://127.0.0.1:{}", driver.port);
    let client = ClientBuilder::new(HttpConnector::new()).capabilities(capabilities).connect(&address).await;
    let client = client.unwrap_or_else(|error| panic!("{} does not start: {error}", kind.name()));
    let of_either = |found: &Capabilities| ["goog:processID", "moz:processID"].iter().find_map(|name| found.get(*name)?.as_u64());
    let pid = client.capabilities().and_then(of_either);
    (client, Process(pid))
}

/// A program that a story needs is there; or the test fails and says what to do.
fn is_there(program: &Path, else_do: &str) {
    assert!(program.exists(), "{} is not there. Install it: {else_do}", program.display());
}
