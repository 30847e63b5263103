//! The house's own rules, checked by machine: which room may know which, and how large a room may be.

use std::path::{Path, PathBuf};

/// Who may import what of ours. An arrow never points back.
const MAY: [(&str, &[&str]); 6] = [
    ("rules", &["rules"]),
    ("store", &["store", "rules"]),
    ("acts", &["acts", "store", "rules"]),
    ("output", &["output", "rules"]),
    ("web", &["web", "acts", "store", "output", "rules"]),
    ("demo", &["demo", "acts", "store", "rules"]),
];

/// What the rules must not know: databases, the web, clocks, chance, files.
const NOT_IN_RULES: [&str; 12] = [
    "sqlx",
    "axum",
    "tokio",
    "askama",
    "std::fs",
    "std::net",
    "std::env",
    "SystemTime",
    "Instant",
    "getrandom",
    "rand::",
    "tracing",
];

fn files(folder: &Path, ending: &str, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            files(&path, ending, found);
        } else if path.extension().is_some_and(|end| end == ending) {
            found.push(path);
        }
    }
}

fn under(folder: &str, ending: &str) -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut found = Vec::new();
    files(&root, ending, &mut found);
    assert!(!found.is_empty(), "{folder} has .{ending} files");
    found.sort();
    found.into_iter().map(|path| (path.clone(), std::fs::read_to_string(&path).expect("a text"))).collect()
}

/// The code without comments: an example may name what the code may not.
fn code(text: &str) -> String {
    text.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

#[test]
fn no_room_imports_from_a_room_above_it() {
    for (room, may) in MAY {
        for (path, text) in under(&format!("src/{room}"), "rs") {
            let code = code(&text);
            let named = code.match_indices("crate::").map(|(at, _)| &code[at + 7..]);
            for rest in named {
                let other: String = rest.chars().take_while(|c| c.is_ascii_lowercase() || *c == '_').collect();
                assert!(may.contains(&other.as_str()), "{}: src/{room} imports from src/{other}", path.display());
            }
        }
    }
}

#[test]
fn the_rules_know_no_database_no_web_no_clock_and_no_chance() {
    for (path, text) in under("src/rules", "rs") {
        let code = code(&text);
        for word in NOT_IN_RULES {
            assert!(!code.contains(word), "{}: the rules name {word}", path.display());
        }
        for clock in ["Timestamp::now", "Zoned::now", "ZonedDateTime::now"] {
            assert!(!code.contains(clock), "{}: the rules ask what time it is", path.display());
        }
    }
}

#[test]
fn only_the_store_speaks_sql() {
    for room in ["acts", "web", "output", "demo", "rules"] {
        for (path, text) in under(&format!("src/{room}"), "rs") {
            let code = code(&text);
            assert!(!code.contains("sqlx::query"), "{}: SQL outside the store", path.display());
        }
    }
}

/// What adds a route asks for its deed, and there is one place that does it: src/web/doors.rs.
#[test]
fn no_route_is_added_but_through_a_door_with_its_deed() {
    for (path, text) in under("src", "rs") {
        let is_a_door = path.ends_with("web/doors.rs") || path.ends_with("web/assets.rs");
        for word in [".route(", ".nest(", ".route_service(", ".nest_service("] {
            assert!(is_a_door || !code(&text).contains(word), "{}: {word} beside the doors", path.display());
        }
    }
}

#[test]
fn every_file_can_be_read_in_one_sitting() {
    for (folder, ending) in [("src", "rs"), ("tests", "rs"), ("static/js", "js"), ("static/css", "css"), ("templates", "html")] {
        for (path, text) in under(folder, ending) {
            let lines = text.lines().count();
            assert!(lines <= 500, "{} has {lines} lines: split it by subject", path.display());
        }
    }
}

#[test]
fn no_page_has_inline_script_or_style() {
    for (path, text) in under("templates", "html") {
        for word in ["style=\"", "<style", "onclick=", "onchange=", "onsubmit=", "javascript:"] {
            assert!(!text.contains(word), "{}: {word} is stopped by the content security policy", path.display());
        }
        for tag in text.split("<script").skip(1) {
            assert!(tag.contains("src=\"{{"), "{}: a script that is not a file of ours", path.display());
        }
        let outside = text.split("href=\"").chain(text.split("src=\"")).skip(1).any(|rest| rest.starts_with("http"));
        assert!(!outside, "{}: something is fetched from elsewhere", path.display());
    }
}
