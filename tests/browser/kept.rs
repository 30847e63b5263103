//! What lies on a device's shelf, read as the browser keeps it and not through the program's own scripts.

use crate::browser::Browser;
use serde_json::Value as Json;

/// Copies of pages and lists.
pub const COPIES: &str = "witnessmark shelf";
/// What was made here and not sent yet, and the clock.
pub const UNSENT: &str = "witnessmark";

/// Opens a database of the browser, does `look` with its one store, and gives what that puts into `said`.
fn in_the_store(of: &str, mode: &str, look: &str) -> String {
    format!(
        "return new Promise((resolve) => {{ const asked = indexedDB.open('{of}'); asked.onsuccess = () => {{ \
            const db = asked.result; if (!db.objectStoreNames.contains('kept')) {{ db.close(); return resolve(null); }} \
            const done = db.transaction('kept', '{mode}'); const store = done.objectStore('kept'); const said = {{ is: null }}; \
            done.oncomplete = () => {{ db.close(); resolve(said.is); }}; {look} }}; }})"
    )
}

impl Browser {
    /// The names of all that is kept here and holds this text.
    pub async fn shelf_names(&self, part: &str) -> Vec<String> {
        let look = "store.getAllKeys().onsuccess = ({ target }) => (said.is = target.result);";
        let mut found = Vec::new();
        for database in [COPIES, UNSENT] {
            let names = self.asks(&in_the_store(database, "readonly", look)).await;
            let names = names.as_array().cloned().unwrap_or_default();
            found.extend(names.iter().filter_map(Json::as_str).filter(|name| name.contains(part)).map(str::to_owned));
        }
        found
    }

    /// How many pages, lists and records of a part are kept here.
    pub async fn keeps_of(&self, part: &str) -> usize {
        let names = self.shelf_names(part).await;
        names.iter().filter(|name| ["page ", "list ", "part "].iter().any(|kind| name.starts_with(kind))).count()
    }

    /// Waits until the worker has put a page on the shelf.
    pub async fn keeps_the_page(&self, path: &str) {
        let look = format!("store.getKey('page {path}').onsuccess = ({{ target }}) => (said.is = target.result !== undefined);");
        self.comes(&format!("{path} is kept"), &in_the_store(COPIES, "readonly", &look)).await;
    }

    /// What is kept under a name of a copy.
    pub async fn shelf(&self, name: &str) -> Json {
        let look = format!("store.get('{name}').onsuccess = ({{ target }}) => (said.is = target.result ?? null);");
        self.asks(&in_the_store(COPIES, "readonly", &look)).await
    }

    /// Changes what is kept under the names that begin so, as a browser's own storage might come to: `change` has `value`.
    pub async fn changes_the_shelf(&self, database: &str, begin: &str, change: &str) {
        let look = format!(
            "store.openCursor(IDBKeyRange.bound('{begin}', '{begin}\\uffff')).onsuccess = ({{ target }}) => {{ \
                const cursor = target.result; if (!cursor) return; let value = cursor.value; {change}; \
                if (value === null) cursor.delete(); else cursor.update(value); cursor.continue(); }}; said.is = true;"
        );
        self.asks(&in_the_store(database, "readwrite", &look)).await;
    }

    /// The whole text of all that is kept here, names too: what a curious finder of the phone could read.
    pub async fn whole_shelf(&self) -> String {
        let look = "said.is = []; store.openCursor().onsuccess = ({ target }) => { const cursor = target.result; if (!cursor) return; \
            said.is.push(cursor.key + ' ' + JSON.stringify(cursor.value)); cursor.continue(); };";
        let shelf = self.asks(&in_the_store(COPIES, "readonly", look)).await.to_string();
        let unsent = self.asks(&in_the_store(UNSENT, "readonly", look)).await.to_string();
        let texts = self.asks("return JSON.stringify(localStorage)").await.to_string();
        let caches = "return (async () => { let all = ''; for (const name of await caches.keys()) { const cache = await caches.open(name); \
            for (const one of await cache.keys()) if (!one.url.includes('/static/')) all += await (await cache.match(one)).text(); } \
            return all; })()";
        [shelf, unsent, texts, self.asks(caches).await.to_string()].concat()
    }
}
