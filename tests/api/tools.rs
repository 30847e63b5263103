//! What several stories need: pictures made on the spot, sheets changed by a line, ears for the program's log.

use crate::club::{Club, Driver, Inspector, Person};
use serde_json::{Map, Value as Json, json};
use std::io::{Cursor, Write};
use std::sync::{Mutex, OnceLock, PoisonError};
use witnessmark::acts::set_up::CLUB_DAY;

/// A PNG of one grey, made here.
pub fn png(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    let picture = image::DynamicImage::new_rgb8(width, height);
    picture.write_to(&mut Cursor::new(&mut bytes), image::ImageFormat::Png).expect("a PNG");
    bytes
}

/// The default sheet with a piece changed; fails if the piece is no longer there.
pub fn changed_sheet(from: &str, to: &str) -> String {
    assert!(CLUB_DAY.contains(from), "the default sheet has {from}");
    CLUB_DAY.replacen(from, to, 1)
}

/// The default sheet with one question more, which every driver has to answer.
pub fn sheet_with_a_new_item() -> String {
    let new = r#"[[area.item]]
id = "tow-eye-marked"
name = "Tow eye arrow"
ask = "Does an arrow of tape point at the tow eye?"
check = "Stand five steps away: it is seen at once."
kind = "yes-no"
yes_means = "Arrow on"
no_means = "No arrow"
right = "yes"
severity = "fix"
why = "No arrow points at the tow eye."
mend = "Stick on an arrow of bright tape."
source = "common practice, no source"

[[area.item]]
id = "drivers-word""#;
    changed_sheet("[[area.item]]\nid = \"drivers-word\"", new)
}

/// The default sheet that asks for front pads of 12 mm: every car of these stories has thinner ones.
pub fn sheet_with_thicker_pads() -> String {
    let (from, to) = ("{ at_least = 3, severity = \"fix\"", "{ at_least = 12, severity = \"fix\"");
    let at = CLUB_DAY.find("id = \"pad-front\"").expect("the default sheet has front pads");
    let (head, tail) = CLUB_DAY.split_at(at);
    assert!(tail.contains(from), "the front pads have a limit of 3 mm");
    format!("{head}{}", tail.replacen(from, to, 1))
}

/// A driver's file as a device would send it now, sound but for `change`.
pub async fn file_of(driver: &Driver<'_>, change: impl FnOnce(&mut Map<String, Json>)) -> Json {
    let mut answers = crate::club::sound_answers();
    change(&mut answers);
    let state = driver.state().await;
    json!({ "id": driver.club.new_id(), "seen": state.seen, "edition": state.edition, "answers": answers })
}

/// Where a driver's files and forms are sent to.
pub fn submissions(driver: &Driver<'_>) -> String {
    format!("{}/submissions", driver.home())
}

/// An inspector of any event, come in by a new one-time link.
pub async fn inspector_at(club: &Club, event: &str, name: &str) -> Person {
    let path = format!("/club/events/{event}/people");
    let secret = club.organizer.post(&path, &[("role", "inspector"), ("name", name)]).await.page().await.secret();
    Person::come_in(&club.base, &secret).await
}

/// Where an inspector signs a car off.
pub fn sign_offs(inspector: &Inspector<'_>, entry: &str) -> String {
    format!("{}/entries/{entry}/sign-offs", inspector.lane())
}

/// The value of a field in a list of them.
pub fn field<'f>(fields: &'f [(String, String)], name: &str) -> &'f str {
    fields.iter().find(|(key, _)| key == name).map_or("", |(_, text)| text)
}

/// The fields with one changed.
pub fn with_field(fields: &[(String, String)], name: &str, text: &str) -> Vec<(String, String)> {
    let others = fields.iter().filter(|(key, _)| key != name).cloned();
    others.chain([(name.to_owned(), text.to_owned())]).collect()
}

/// Fields as a form wants them.
pub fn pairs(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect()
}

static LOG: Mutex<Vec<u8>> = Mutex::new(Vec::new());
static PANICS: Mutex<Vec<String>> = Mutex::new(Vec::new());

struct Ear;

impl Write for Ear {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        LOG.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// From here on hears every error of the program's log, and every panic that does not come from a test's own assertion.
pub fn listen() {
    static ONCE: OnceLock<()> = OnceLock::new();
    ONCE.get_or_init(|| {
        let log = tracing_subscriber::fmt().with_max_level(tracing::Level::ERROR).with_ansi(false).with_writer(|| Ear);
        log.init();
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            let place = panic.location().map(ToString::to_string).unwrap_or_default();
            if !place.starts_with("tests/") {
                PANICS.lock().unwrap_or_else(PoisonError::into_inner).push(place);
            }
            before(panic);
        }));
    });
}

/// What was heard that no input of anybody may bring about: errors in the log, panics of the program.
pub fn heard() -> String {
    let log = String::from_utf8_lossy(&LOG.lock().unwrap_or_else(PoisonError::into_inner)).into_owned();
    format!("{log}{}", PANICS.lock().unwrap_or_else(PoisonError::into_inner).join("\n"))
}

/// What a command said, and how it ended.
pub struct Said {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

/// Runs the program with bytes on its standard input.
pub fn command(arguments: &[&str], input: &[u8]) -> Said {
    use std::process::{Command, Stdio};
    let mut command = Command::new(env!("CARGO_BIN_EXE_witnessmark"));
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().expect("the program starts");
    let mut stdin = child.stdin.take().expect("a standard input");
    let input = input.to_vec();
    // A program that has read enough may close its input before all is written.
    let writing = std::thread::spawn(move || drop(stdin.write_all(&input)));
    let output = child.wait_with_output().expect("the program ends");
    writing.join().expect("the writer ends");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("the program writes UTF-8");
    Said { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
}

impl Said {
    /// The answer as JSON, where the command ended well.
    pub fn answer(&self, what: &str) -> Json {
        assert_eq!(self.code, Some(0), "{what}: {}{}", self.out, self.err);
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{what}: {error}: {}", self.out))
    }

    /// Field and message, where the input could not be used: the contract's exit status and shape, and nothing else.
    pub fn refusal(&self, what: &str) -> (String, String) {
        assert!(!self.err.contains("panicked"), "{what}: {}", self.err);
        assert_eq!(self.code, Some(2), "{what}: {}{}", self.out, self.err);
        let json: Json = serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{what}: {error}: {}", self.out));
        let keys = |json: &Json| json.as_object().map(|object| object.keys().cloned().collect::<Vec<_>>()).unwrap_or_default();
        assert_eq!((keys(&json), keys(&json["error"])), (vec!["error".into()], vec!["field".into(), "message".into()]), "{what}");
        let text = |key: &str| json["error"][key].as_str().unwrap_or_default().to_owned();
        assert!(!text("field").is_empty() && text("message").len() > 5, "{what}: {json}");
        (text("field"), text("message"))
    }
}

/// Inputs that no command can use, whatever it wants to read.
pub fn rubbish() -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("nothing", b"".to_vec()),
        ("blanks", b" \n\t ".to_vec()),
        ("a list", b"[]".to_vec()),
        ("a list of an object", b"[{}]".to_vec()),
        ("a text", b"\"tyres\"".to_vec()),
        ("a number", b"7".to_vec()),
        ("null", b"null".to_vec()),
        ("true", b"true".to_vec()),
        ("no JSON", b"code: 1224".to_vec()),
        ("JSON cut short", b"{\"code\": \"12".to_vec()),
        ("two objects", b"{} {}".to_vec()),
        ("latin-1", b"{\"code\": \"J\xF6rg\"}".to_vec()),
        ("bytes that are no UTF-8", b"\xFF\xFE{\0}\0".to_vec()),
        ("half a surrogate", b"{\"code\": \"\\ud800\"}".to_vec()),
        ("an unknown field", b"{\"certainly_unknown\": 1}".to_vec()),
        ("a number beyond all", b"{\"code\": 1e999}".to_vec()),
        ("a number below all", b"{\"code\": -1e999}".to_vec()),
        ("NaN", b"{\"code\": NaN}".to_vec()),
        ("a key twice", b"{\"code\": \"1224\", \"code\": \"1225\"}".to_vec()),
        ("lists without end", "[".repeat(200_000).into_bytes()),
        ("objects without end", "{\"a\":".repeat(100_000).into_bytes()),
        ("an empty object", b"{}".to_vec()),
    ]
}
