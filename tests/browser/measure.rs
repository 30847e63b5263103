//! Measures of a page as it is shown: contrast, targets, width. The page is asked; the bounds stand here.

use crate::browser::{Browser, Kind, Window};
use serde_json::{Value as Json, json};

const SCRIPT: &str = include_str!("measure.js");

/// Text against its ground, in both themes. WCAG 2.2, success criterion 1.4.6 (enhanced) asks for 7:1 of text of the usual size;
/// here it holds for large text too, since the page is read in full sun.
const LEAST_CONTRAST: f64 = 7.0;

/// The side of a touch target in CSS pixels. WCAG 2.2, success criterion 2.5.5 (enhanced) asks for 44; 48 is this project's own
/// bound, for a gloved thumb.
const LEAST_TARGET: f64 = 48.0;

impl Browser {
    async fn measures(&self, what: Json) -> Json {
        self.done(self.client.execute(SCRIPT, vec![what]).await, "measuring the page")
    }

    /// The contrast ratio of two colours as the page's script counts it.
    pub async fn ratio(&self, one: &str, other: &str) -> f64 {
        self.measures(json!([one, other])).await.as_f64().expect("a ratio")
    }

    /// What falls short on the page that is open, by day and by night. Nothing is the good answer.
    pub async fn falls_short(&self) -> Vec<String> {
        let page = format!("{} at {}", self.path().await, self.window.size().0);
        let mut short = Vec::new();
        for (theme, dark) in [("light", false), ("dark", true)] {
            self.turns_dark(dark).await;
            let texts = self.measures(json!("texts")).await;
            let texts = texts.as_array().expect("a list");
            assert!(texts.len() > 1, "{page}: there is text to measure");
            for text in texts {
                let ratio = text["ratio"].as_f64().expect("a ratio");
                if ratio < LEAST_CONTRAST {
                    short.push(format!("{page}, {theme}: {} has {ratio:.2}:1", text["name"].as_str().unwrap_or_default()));
                }
            }
        }
        self.turns_dark(false).await;
        // A mouse needs no such room.
        let what = if self.window == Window::Phone { json!("targets") } else { json!("none") };
        for target in self.measures(what).await.as_array().expect("a list") {
            let (width, height) = (target["width"].as_f64().expect("px"), target["height"].as_f64().expect("px"));
            // A fraction of a pixel is the browser's rounding.
            if width < LEAST_TARGET - 0.1 || height < LEAST_TARGET - 0.1 {
                short.push(format!("{page}: {} is {width:.0} x {height:.0} px", target["name"].as_str().unwrap_or_default()));
            }
        }
        let width = self.measures(json!("width")).await;
        let (window, whole) = (width["window"].as_u64().expect("px"), width["page"].as_u64().expect("px"));
        if window != u64::from(self.window.size().0) || whole > window {
            short.push(format!("{page}: {whole} px of page in a window of {window}: {}", width["beyond"]));
        }
        short
    }
}

/// That the window is what the stories say it is.
pub async fn is_as_said(browser: &Browser) {
    let found = browser.asks("return [innerWidth, innerHeight, devicePixelRatio, navigator.maxTouchPoints > 0]").await;
    match browser.window {
        // Firefox hears a finger, and tells no page that it has a screen for one.
        Window::Phone => assert_eq!(found, json!([390, 844, 2, browser.kind == Kind::Chromium]), "a phone of 390 x 844"),
        Window::Desktop => assert_eq!(found, json!([1280, 900, 1, false]), "a desktop window of 1280 x 900"),
    }
}
