//! What a person does at a page and sees on it: open, tap, type, read, wait for.

use crate::browser::{Browser, PATIENCE};
use fantoccini::Locator;
use fantoccini::elements::Element;
use fantoccini::wd::WindowHandle;
use serde_json::{Value as Json, json};
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::time::Instant;

/// How often a page is looked at while something is waited for.
pub const GLANCE: Duration = Duration::from_millis(40);

/// Scrolls an element to the middle of the window, clear of the bar at the thumb, as a person does before tapping, and says
/// where it is; or says in words why it cannot be tapped.
const WHERE_TO_TAP: &str = "const found = document.querySelector(arguments[0]); \
    if (!found || !found.checkVisibility({ visibilityProperty: true })) return 'it is not to be seen'; \
    found.scrollIntoView({ block: 'center', behavior: 'instant' }); \
    const box = found.getClientRects()[0]; \
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2]; \
    const top = document.elementFromPoint(x, y); \
    if (top && (found.contains(top) || top.contains(found) || top.closest('label')?.contains(found))) return [x, y]; \
    return 'it is covered by ' + (top ? top.outerHTML.slice(0, 120) : 'nothing: it is out of sight')";

impl Browser {
    pub async fn opens(&self, url: &str) {
        // Shown where a story fails or hangs.
        println!("{} opens {url}", self.who);
        self.done(self.client.goto(url).await, &format!("opening {url}"));
    }

    /// The first of these elements, waited for.
    pub async fn element(&self, css: &str) -> Element {
        let end = Instant::now() + PATIENCE;
        loop {
            match self.client.find(Locator::Css(css)).await {
                Ok(found) => return found,
                Err(error) if Instant::now() > end => panic!("{}: no {css} on this page: {error}", self.who),
                Err(_) => tokio::time::sleep(GLANCE).await,
            }
        }
    }

    /// Taps with a finger, or clicks with a mouse, where a person would: on what is in sight and not covered.
    pub async fn taps(&self, css: &str) {
        println!("{} taps {css}", self.who);
        self.tapped.fetch_add(1, Ordering::Relaxed);
        let end = Instant::now() + PATIENCE;
        let at = loop {
            match self.client.execute(WHERE_TO_TAP, vec![json!(css)]).await {
                Ok(Json::Array(at)) => break at,
                Ok(found) if Instant::now() > end => panic!("{}: cannot tap {css}: {found}", self.who),
                Err(error) if Instant::now() > end => panic!("{}: cannot tap {css}: {error}", self.who),
                // It is not there yet, or the page is being made anew.
                _ => tokio::time::sleep(GLANCE).await,
            }
        };
        let place = |nth: usize| at[nth].as_f64().expect("a place");
        self.presses(place(0), place(1)).await;
    }

    /// Taps what opens another page, and waits until that page is there.
    pub async fn follows(&self, css: &str) {
        // A page that makes itself anew just now is no page for a moment.
        self.comes("the page that is left is marked", "document.documentElement.dataset.before = '1'; return true").await;
        self.taps(css).await;
        // Firefox shows an empty page for a moment, complete in its own way, where another of its processes makes the next.
        let gone = "return document.readyState === 'complete' && !document.documentElement.dataset.before && \
            location.protocol !== 'about:'";
        self.comes(&format!("{css} opens another page"), gone).await;
    }

    /// Types into a field, over what stood there.
    pub async fn types(&self, css: &str, text: &str) {
        self.taps(css).await;
        let field = self.element(css).await;
        let script = "arguments[0].select && arguments[0].select()";
        self.done(self.client.execute(script, vec![json!(field)]).await, &format!("marking what stands in {css}"));
        self.done(field.send_keys(text).await, &format!("typing \"{text}\" into {css}"));
    }

    /// What the first of these elements says, as it is shown. What is hidden says nothing.
    async fn text_of(&self, css: &str) -> Option<String> {
        let script = "const found = document.querySelector(arguments[0]); \
            return found && found.checkVisibility({ visibilityProperty: true }) ? found.innerText : null";
        self.client.execute(script, vec![json!(css)]).await.ok()?.as_str().map(|text| text.trim().to_owned())
    }

    /// What stands in a field.
    pub async fn value(&self, css: &str) -> String {
        let found = self.element(css).await;
        self.done(found.prop("value").await, &format!("reading {css}")).unwrap_or_default()
    }

    /// Waits until the first of these elements says this.
    pub async fn sees(&self, css: &str, words: &str) {
        println!("{} looks for \"{words}\" at {css}", self.who);
        let end = Instant::now() + PATIENCE;
        loop {
            let found = self.text_of(css).await;
            if found.as_ref().is_some_and(|text| text.contains(words)) {
                return;
            }
            if Instant::now() > end {
                let url = self.client.current_url().await.map(|url| url.path().to_owned()).unwrap_or_default();
                panic!("{}: waited for \"{words}\" at {css} of {url}, which says {found:?}", self.who);
            }
            tokio::time::sleep(GLANCE).await;
        }
    }

    /// Waits until a script in the page gives true.
    pub async fn comes(&self, what: &str, script: &str) {
        let end = Instant::now() + PATIENCE;
        while !matches!(self.client.execute(script, vec![]).await, Ok(Json::Bool(true))) {
            assert!(Instant::now() < end, "{}: {what}: it did not come to that", self.who);
            tokio::time::sleep(GLANCE).await;
        }
    }

    /// What a script in the page gives.
    pub async fn asks(&self, script: &str) -> Json {
        self.done(self.client.execute(script, vec![]).await, script)
    }

    pub async fn is_enabled(&self, css: &str) -> bool {
        let found = self.element(css).await;
        self.done(found.is_enabled().await, &format!("asking whether {css} can be tapped"))
    }

    /// Opens another tab and turns to it.
    pub async fn opens_a_tab(&self) {
        let tab = self.done(self.client.new_window(true).await, "opening a tab");
        self.turns_to(tab.handle).await;
    }

    pub async fn tabs(&self) -> Vec<WindowHandle> {
        self.done(self.client.windows().await, "looking at the tabs")
    }

    pub async fn turns_to(&self, tab: WindowHandle) {
        self.done(self.client.switch_to_window(tab).await, "turning to a tab");
    }

    /// Where the browser is, without the server's address.
    pub async fn path(&self) -> String {
        self.done(self.client.current_url().await, "reading the address").path().to_owned()
    }

    /// Day or night, as the device is set.
    pub async fn turns_dark(&self, dark: bool) {
        let scheme = if dark { "dark" } else { "light" };
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        self.devtools("Emulation.setEmulatedMedia", json!({ "features": features })).await;
    }
}
