//! What a browser shows, as pictures that are kept.

use super::{Browser, Kind};
use serde_json::{Value as Json, json};
use std::path::{Path, PathBuf};

impl Browser {
    /// Keeps what the window shows, named by story and step.
    pub async fn keeps(&self, step: &str) {
        self.keeps_as(&self.file(step)).await;
    }

    /// Keeps what the window shows under a name of its own.
    pub async fn keeps_as(&self, file: &Path) {
        write(file, &self.picture().await);
    }

    /// What the window shows, as a PNG file.
    pub async fn picture(&self) -> Vec<u8> {
        match self.kind {
            Kind::Chromium => bytes_of(&self.devtools("Page.captureScreenshot", json!({ "format": "png" })).await["data"]),
            Kind::Firefox => self.done(self.client.screenshot().await, "a picture of the window"),
        }
    }

    /// Keeps the whole page, as far down as it goes: the window is made as tall as the page, so that a bar that sticks to its
    /// lower edge lies where the page ends.
    pub async fn keeps_whole(&self, step: &str) {
        let height = match self.kind {
            Kind::Chromium => self.devtools("Page.getLayoutMetrics", json!({})).await["cssContentSize"]["height"].as_f64(),
            Kind::Firefox => self.asks("return document.documentElement.scrollHeight").await.as_f64(),
        };
        let height = height.expect("a height").ceil() as u32;
        self.is_tall(height.max(self.window.size().1)).await;
        self.keeps(step).await;
        self.is_tall(self.window.size().1).await;
    }

    /// Sets the window's height; all else stays as it is.
    pub(super) async fn is_tall(&self, height: u32) {
        let (width, scale) = (self.window.size().0, self.window.scale());
        match &self.bidi {
            None => self.measures_in_chromium(width, height, scale).await,
            Some(bidi) => bidi.measures(width, height, scale).await,
        }
    }

    fn file(&self, step: &str) -> PathBuf {
        let which = match self.kind {
            Kind::Chromium => String::new(),
            Kind::Firefox => format!("-{}", self.kind.name()),
        };
        screenshots().join(format!("{}-{step}-{}{which}.png", self.story, self.who))
    }
}

/// Where screenshots are kept.
pub fn screenshots() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser/screenshots")
}

fn write(file: &Path, png: &[u8]) {
    assert!(png.starts_with(b"\x89PNG"), "the browser gives a picture for {}", file.display());
    std::fs::create_dir_all(file.parent().expect("a folder")).expect("a folder for screenshots");
    std::fs::write(file, png).expect("a screenshot can be kept");
}

/// Bytes that a browser gives as base64.
fn bytes_of(base64: &Json) -> Vec<u8> {
    data_encoding::BASE64.decode(base64.as_str().unwrap_or_default().as_bytes()).expect("base64")
}
