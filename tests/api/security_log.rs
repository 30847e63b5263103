//! The log of a whole run: what happened at the doors is in it, and no secret is.

use crate::club::{PASSPHRASE, Person};
use serde_json::Value as Json;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The program as a service runs it: no terminal, the log in a file.
struct Service {
    child: Child,
    base: String,
}

impl Drop for Service {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn lines(log: &Path) -> Vec<Json> {
    let text = std::fs::read_to_string(log).expect("a log");
    text.lines().map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"))).collect()
}

async fn starts(folder: &Path, log: &Path) -> Service {
    let err = std::fs::File::create(log).expect("a log");
    let mut command = Command::new(env!("CARGO_BIN_EXE_witnessmark"));
    command.arg("serve").arg("--database").arg(folder.join("club.sqlite")).args(["--listen", "127.0.0.1:0", "--log-json"]);
    command.args(["--organizer", "M. Ashdown"]).env_remove("RUST_LOG");
    let out = std::fs::File::create(folder.join("out")).expect("an output");
    let child = command.stdin(Stdio::null()).stdout(out).stderr(err).spawn().expect("the program");
    let mut service = Service { child, base: String::new() };
    for _ in 0..400 {
        tokio::time::sleep(Duration::from_millis(50)).await;
        let text = std::fs::read_to_string(log).expect("a log");
        let Some(line) = text.lines().find(|line| line.contains("\"listening\"")) else { continue };
        let line: Json = serde_json::from_str(line).expect("JSON");
        let address = line["address"].as_str().expect("an address");
        service.base = format!("http://localhost:{}", address.rsplit(':').next().expect("a port"));
        return service;
    }
    panic!("it did not listen: {}", std::fs::read_to_string(log).expect("a log"));
}

#[tokio::test]
async fn the_log_of_a_run_has_what_happened_at_the_doors_and_no_secret() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let log = folder.path().join("log.jsonl");
    let service = starts(folder.path(), &log).await;
    let file = folder.path().join("first-organizer.link");
    let link = std::fs::read_to_string(&file).expect("the first organizer's link");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(&file).expect("a file").permissions().mode() & 0o777, 0o600);
    }
    assert_eq!(std::fs::read_to_string(folder.path().join("out")).expect("an output"), "", "it is in no output");
    let first = link.trim().rsplit('/').next().expect("a secret").to_owned();
    let ashdown = Person::come_in(&service.base, &first).await;
    let stranger = Person::stranger(&service.base);
    let mut secrets = vec![first, PASSPHRASE.to_owned(), ashdown.cookie("/club").replacen("witnessmark=", "", 1)];
    // A passphrase typed as the name happens to everybody once.
    stranger.post("/sign-in", &[("name", "a passphrase in the wrong field"), ("passphrase", "a guess that is wrong")]).await;
    secrets.extend(["a passphrase in the wrong field".to_owned(), "a guess that is wrong".to_owned()]);
    for nth in 0..12 {
        stranger.post("/sign-in", &[("name", "M. Ashdown"), ("passphrase", &format!("wrong guess {nth}"))]).await;
    }
    secrets.push("wrong guess".into());
    let anothers = ashdown.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();
    let ferrant = Person::come_in(&service.base, &anothers).await;
    let signed = ferrant.post("/club/organizers", &[("name", "N. Quayle"), ("proof", "not my passphrase")]).await;
    assert_eq!(signed.status(), reqwest::StatusCode::UNPROCESSABLE_ENTITY);
    let phone = Person::stranger(&service.base);
    phone.signs_in_again("L. Ferrant").await;
    secrets.push(phone.cookie("/club").replacen("witnessmark=", "", 1));
    ferrant.post("/club/you/passphrase", &[("old", PASSPHRASE), ("passphrase", "a kettle sings in Norwegian")]).await;
    secrets.extend([anothers, "not my passphrase".to_owned(), "a kettle sings".to_owned()]);
    secrets.push(ferrant.cookie("/club").replacen("witnessmark=", "", 1));
    stranger.get_with("/club", &format!("witnessmark={}", "b".repeat(32))).await;
    secrets.push("b".repeat(32));
    stranger.get(&format!("/in/{}", "c".repeat(32))).await;
    secrets.push("c".repeat(32));
    ashdown.get(&format!("/club/events/{}/entries/{}", uuid::Uuid::nil(), uuid::Uuid::nil())).await;
    let end = ashdown.get("/club/organizers").await.page().await.attr("form[action$='/end']", "action");
    ashdown.post(&end, &[]).await;
    drop(service);

    let told: Vec<Json> = lines(&log).into_iter().filter(|line| line["target"] == "security").collect();
    let has = |event: &str, field: &str, value: &Json| told.iter().any(|line| line["event"] == event && line[field] == *value);
    for (event, field, value) in [
        ("link", "what", Json::from("made")),
        ("link", "what", "used".into()),
        ("link", "what", "taken back".into()),
        ("link", "what", "device ended".into()),
        ("signed in", "way", "passphrase".into()),
        ("not signed in", "is_known_name", false.into()),
        ("not signed in", "is_known_name", true.into()),
        ("not signed in", "address", "127.0.0.1".into()),
        (
            "limit reached",
            "words",
            "Too many tries at this name from this network. A passkey lets you in, or another network.".into(),
        ),
        ("cookie refused", "address", "127.0.0.1".into()),
        ("proof failed", "way", "passphrase".into()),
        ("proof given", "way", "passphrase".into()),
        ("passphrase set", "level", "WARN".into()),
        ("organizer made", "level", "WARN".into()),
        ("organizer ended", "level", "WARN".into()),
    ] {
        assert!(has(event, field, &value), "{event} with {field} {value} is not in the log: {told:#?}");
    }
    let routes: Vec<&str> = told.iter().filter_map(|line| line["span"]["route"].as_str()).collect();
    assert!(routes.contains(&"/sign-in"), "the route is told: {routes:?}");
    let whole = std::fs::read_to_string(&log).expect("a log");
    for secret in secrets {
        assert!(!whole.contains(&secret), "{secret} is in the log");
    }
    assert!(!whole.replace("/in/{secret}", "").contains("/in/"), "no link is in the log, its route alone");
    // The next start: somebody can come in, and the file is gone.
    let again = starts(folder.path(), &log).await;
    assert!(!file.exists(), "the link's file goes once nobody needs it");
    drop(again);
}
