//! WebDriver BiDi, as far as the stories need it: commands as JSON over a web socket, and the browser's log in between.

use fantoccini::wd::WindowHandle;
use futures_util::{SinkExt, StreamExt};
use serde_json::{Value as Json, json};
use tokio::net::TcpStream;
use tokio::sync::Mutex;
use tokio_tungstenite::tungstenite::Message;
use tokio_tungstenite::{MaybeTlsStream, WebSocketStream, connect_async};

/// The second wire to a browser.
pub struct Bidi(Mutex<Wire>);

struct Wire {
    socket: WebSocketStream<MaybeTlsStream<TcpStream>>,
    /// The number of the last command.
    last: u64,
    /// What the browser has logged and nobody has asked for yet.
    said: Vec<String>,
}

impl Bidi {
    /// Opens it, and has the browser tell what it logs from here on.
    pub async fn open(url: &str) -> Bidi {
        let (socket, _) = connect_async(url).await.unwrap_or_else(|error| panic!("no second wire at {url}: {error}"));
        let bidi = Bidi(Mutex::new(Wire { socket, last: 0, said: Vec::new() }));
        bidi.does("session.subscribe", json!({ "events": ["log.entryAdded"] })).await;
        bidi
    }

    /// Gives the pages of all tabs this size, in pixels, with so many dots a pixel. No window is as narrow: its bars need 450.
    pub async fn measures(&self, width: u32, height: u32, scale: u32) {
        let viewport = json!({ "width": width, "height": height });
        let size = json!({ "userContexts": ["default"], "viewport": viewport, "devicePixelRatio": scale });
        self.does("browsingContext.setViewport", size).await;
    }

    /// Has every page that is opened from now on run this before its own scripts.
    pub async fn runs_first(&self, script: &str) {
        self.does("script.addPreloadScript", json!({ "functionDeclaration": format!("() => {{ {script} }}") })).await;
    }

    /// Loads the page of a tab anew, and waits until it is there.
    pub async fn reloads(&self, tab: &WindowHandle) {
        self.does("browsingContext.reload", json!({ "context": String::from(tab.clone()), "wait": "complete" })).await;
    }

    /// What was logged since it was last asked: script errors, broken policies, and whatever a page says itself. Of requests that
    /// fail the browser tells nothing here.
    pub async fn said(&self) -> Vec<String> {
        // Whatever was logged before comes before the answer.
        self.does("session.status", json!({})).await;
        let said = std::mem::take(&mut self.0.lock().await.said);
        // A picture that was on its way through the worker when its page was left. What a worker does wrong reads otherwise.
        let left = "A ServiceWorker intercepted the request and encountered an unexpected error.";
        said.into_iter().filter(|line| !line.contains(left)).collect()
    }

    async fn does(&self, method: &str, params: Json) -> Json {
        let mut wire = self.0.lock().await;
        wire.last += 1;
        let id = wire.last;
        let command = json!({ "id": id, "method": method, "params": params }).to_string();
        wire.socket.send(Message::text(command)).await.unwrap_or_else(|error| panic!("{method}: {error}"));
        loop {
            let message = wire.socket.next().await.unwrap_or_else(|| panic!("{method}: the browser hung up"));
            let message = message.unwrap_or_else(|error| panic!("{method}: {error}"));
            let Message::Text(text) = message else { continue };
            let told: Json = serde_json::from_str(&text).expect("JSON");
            if told["method"] == "log.entryAdded" {
                let (level, text) = (&told["params"]["level"], &told["params"]["text"]);
                wire.said.push(format!("{}: {}", level.as_str().unwrap_or_default(), text.as_str().unwrap_or_default()));
            }
            if told["id"] == id {
                assert_eq!(told["type"], "success", "{method}: {told}");
                return told["result"].clone();
            }
        }
    }
}
