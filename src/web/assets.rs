//! Styles, scripts and the plate's font, carried in the binary, packed once, named by what is in them.

use axum::Router;
use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use flate2::{Compression, write::GzEncoder};
use rust_embed::RustEmbed;
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::io::Write;
use std::sync::LazyLock;

#[derive(RustEmbed)]
#[folder = "static/"]
#[exclude = "*.md"]
struct Files;

/// A file plain, and packed in the two ways that browsers unpack: the tighter one they take over https and from the machine itself.
struct Packed {
    plain: Vec<u8>,
    gzip: Option<Vec<u8>>,
    brotli: Option<Vec<u8>>,
}

impl Packed {
    fn new(plain: Vec<u8>) -> Packed {
        Packed { gzip: Some(pack(&plain, Compression::best())), brotli: pack_tightly(&plain), plain }
    }

    fn plain(plain: Vec<u8>) -> Packed {
        Packed { plain, gzip: None, brotli: None }
    }

    /// The bytes for a browser, with the name of how they are packed.
    fn as_taken(&self, headers: &HeaderMap) -> (&[u8], Option<&'static str>) {
        match (&self.brotli, &self.gzip) {
            (Some(brotli), _) if takes(headers, "br") => (brotli, Some("br")),
            (_, Some(gzip)) if takes_gzip(headers) => (gzip, Some("gzip")),
            _ => (&self.plain, None),
        }
    }
}

struct Asset {
    file: Packed,
    kind: &'static str,
}

struct Assets {
    /// Twelve figures of a digest over everything: one name for the whole set, so that scripts may import each other.
    version: String,
    by_path: HashMap<String, Asset>,
}

static ASSETS: LazyLock<Assets> = LazyLock::new(|| {
    let mut paths: Vec<_> = Files::iter().map(|path| path.to_string()).collect();
    paths.sort();
    let mut digest = Sha256::new();
    let mut by_path = HashMap::new();
    for path in paths {
        let Some(file) = Files::get(&path) else { continue };
        digest.update(path.as_bytes());
        digest.update(&file.data);
        let kind = kind_of(&path);
        let plain = if path.starts_with("js/") { without_comments(&file.data) } else { file.data.into_owned() };
        let file = if path.ends_with(".woff2") { Packed::plain(plain) } else { Packed::new(plain) };
        by_path.insert(path, Asset { file, kind });
    }
    let version = digest.finalize()[..6].iter().map(|byte| format!("{byte:02x}")).collect();
    Assets { version, by_path }
});

/// Our scripts without the lines that are for who reads the source: a quarter of what an old phone would load.
fn without_comments(script: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(script);
    let mut lean = String::with_capacity(text.len());
    let mut inside = false;
    for line in text.lines() {
        let begin = line.trim_start();
        inside |= begin.starts_with("/**");
        if !inside && !begin.starts_with("//") && !begin.is_empty() {
            lean.push_str(line);
            lean.push('\n');
        }
        inside &= !begin.ends_with("*/");
    }
    lean.into_bytes()
}

fn kind_of(path: &str) -> &'static str {
    match path.rsplit_once('.').map(|(_, ending)| ending) {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("woff2") => "font/woff2",
        Some("png") => "image/png",
        Some("txt") => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

/// Packs bytes as a browser unpacks them; `level` is low for what is packed often and high for what is packed once.
pub(super) fn pack(bytes: &[u8], level: Compression) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), level);
    // Writing into memory does not fail; were it to, an empty page is better than none.
    let _ = encoder.write_all(bytes);
    encoder.finish().unwrap_or_default()
}

/// As tightly as brotli can (quality 11, a window of 4 MB), for what is packed once.
fn pack_tightly(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut packed = Vec::new();
    let mut writer = brotli::CompressorWriter::new(&mut packed, 4096, 11, 22);
    writer.write_all(bytes).ok()?;
    drop(writer);
    Some(packed)
}

fn takes(headers: &HeaderMap, coding: &str) -> bool {
    let accepted = headers.get(header::ACCEPT_ENCODING).and_then(|value| value.to_str().ok()).unwrap_or_default();
    accepted.split(',').any(|one| one.trim() == coding || one.trim().starts_with(&format!("{coding};q=1")))
}

/// Whether the browser takes gzip.
pub(super) fn takes_gzip(headers: &HeaderMap) -> bool {
    headers.get(header::ACCEPT_ENCODING).and_then(|value| value.to_str().ok()).is_some_and(|value| value.contains("gzip"))
}

/// An answer with a file as this browser takes it.
fn answer<const N: usize>(
    file: &'static Packed,
    headers: &HeaderMap,
    common: [(header::HeaderName, &'static str); N],
) -> Response {
    let (bytes, coding) = file.as_taken(headers);
    let mut response = (common, [(header::VARY, "accept-encoding")], bytes).into_response();
    if let Some(coding) = coding {
        response.headers_mut().insert(header::CONTENT_ENCODING, header::HeaderValue::from_static(coding));
    }
    response
}

/// What the pages need that work without signal; readers of codes come when they are asked for.
fn is_for_every_page(path: &str) -> bool {
    let is_shown = [".css", ".js", ".woff2", ".svg"].iter().any(|ending| path.ends_with(ending));
    is_shown && path != "js/sw.js" && path != "js/passkey.js" && !path.starts_with("vendor/jsqr")
}

/// The worker that serves pages without signal. It stands at the root, for it may serve only what lies beneath it, and knows the
/// version it belongs to: a new program brings a new worker.
static WORKER: LazyLock<Packed> = LazyLock::new(|| {
    let mut paths: Vec<&str> = ASSETS.by_path.keys().map(String::as_str).filter(|path| is_for_every_page(path)).collect();
    paths.sort();
    let urls: Vec<String> = paths.into_iter().map(|path| format!("\"{}\"", url(path))).collect();
    let script = |path| ASSETS.by_path.get(path).map(|file| String::from_utf8_lossy(&file.file.plain)).unwrap_or_default();
    let parts = ["js/keep.js", "js/shelf.js", "js/sw.js"].map(|path| as_plain_script(&script(path)));
    let code = format!("const VERSION = \"{}\";\nconst ASSETS = [{}];\n{}", ASSETS.version, urls.join(", "), parts.concat());
    Packed::new(code.into_bytes())
});

/// A module's lines without its imports and exports: workers and pages share the shelf, and not every browser has modules in a
/// worker. Imports of ours are one line each.
fn as_plain_script(module: &str) -> String {
    let lines = module.lines().filter(|line| !line.starts_with("import "));
    lines.map(|line| format!("{}\n", line.strip_prefix("export ").unwrap_or(line))).collect()
}

async fn service_worker(headers: HeaderMap) -> Response {
    let kind = (header::CONTENT_TYPE, "text/javascript; charset=utf-8");
    answer(&WORKER, &headers, [kind, (header::CACHE_CONTROL, "no-cache")])
}

/// The version of the whole set.
pub(super) fn version() -> &'static str {
    &ASSETS.version
}

/// Where an asset is found: `css/base.css` becomes `/static/3f9c.../css/base.css`.
pub fn url(path: &str) -> String {
    format!("/static/{}/{path}", ASSETS.version)
}

pub(super) fn routes() -> Router {
    Router::new().route("/static/{version}/{*path}", get(asset)).route("/sw.js", get(service_worker))
}

/// Marks an answer that is never a document or a worker of its own: a style, a script that a page loads, a font.
#[derive(Clone, Copy)]
pub(super) struct PartOfAPage;

fn is_part_of_a_page(path: &str) -> bool {
    [".css", ".js", ".woff2"].iter().any(|ending| path.ends_with(ending)) && path != "js/stream.js" && path != "js/sw.js"
}

async fn asset(Path((version, path)): Path<(String, String)>, headers: HeaderMap) -> Response {
    let Some(asset) = ASSETS.by_path.get(&path) else { return StatusCode::NOT_FOUND.into_response() };
    // Never today's file under yesterday's name: an old page with half of the new program does neither's work.
    if version != ASSETS.version {
        return StatusCode::GONE.into_response();
    }
    let keep = "public, max-age=31536000, immutable";
    let mut response = answer(&asset.file, &headers, [(header::CONTENT_TYPE, asset.kind), (header::CACHE_CONTROL, keep)]);
    if is_part_of_a_page(&path) {
        response.extensions_mut().insert(PartOfAPage);
    }
    response
}
