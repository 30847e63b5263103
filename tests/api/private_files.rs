//! The club's file at rest: private to the user that runs the program, whatever the shell is set to.
#![cfg(unix)]

use std::io::{BufRead, BufReader, Read};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// The program in a shell that lets others read what is made in it.
fn in_a_shell_of_all(arguments: &str) -> Command {
    let mut command = Command::new("sh");
    let script = format!("umask 022; exec \"$0\" {arguments}");
    command.args(["-c", &script, env!("CARGO_BIN_EXE_witnessmark")]).env("NO_COLOR", "1");
    command
}

fn mode(path: &Path) -> String {
    format!("{:o}", std::fs::metadata(path).unwrap_or_else(|error| panic!("{path:?}: {error}")).permissions().mode() & 0o777)
}

fn makes_an_organizer(database: &Path) -> Output {
    let command = format!("organizer --name 'M. Ashdown' --database '{}'", database.display());
    in_a_shell_of_all(&command).output().expect("the program runs")
}

#[test]
fn a_new_file_and_the_folder_made_for_it_are_this_users_alone() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let database = folder.path().join("club/data/club.sqlite");
    let said = makes_an_organizer(&database);
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    assert_eq!((mode(&database), mode(&folder.path().join("club/data"))), ("600".into(), "700".into()));
    assert_eq!(mode(&folder.path().join("club")), "700", "the folder above it was made as well");
}

#[test]
fn a_file_that_others_could_read_is_closed_to_them_and_the_log_says_so() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let database = folder.path().join("club.sqlite");
    assert!(makes_an_organizer(&database).status.success());
    std::fs::set_permissions(&database, PermissionsExt::from_mode(0o644)).expect("a mode");
    let said = makes_an_organizer(&database);
    let log = String::from_utf8_lossy(&said.stderr).into_owned();
    assert_eq!(mode(&database), "600", "{log}");
    assert!(log.contains("could read this file") && log.contains("club.sqlite"), "{log}");
    let again = makes_an_organizer(&database);
    assert!(!String::from_utf8_lossy(&again.stderr).contains("could read"), "it is said once");
}

#[test]
fn a_folder_that_is_there_keeps_its_mode() {
    let folder = tempfile::TempDir::new().expect("a folder");
    std::fs::set_permissions(folder.path(), PermissionsExt::from_mode(0o755)).expect("a mode");
    assert!(makes_an_organizer(&folder.path().join("club.sqlite")).status.success());
    assert_eq!(mode(folder.path()), "755", "others may have things in it");
}

/// What is in the journal is in the file an hour later.
#[test]
fn the_journal_of_a_running_server_is_as_private_as_the_file() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let database = folder.path().join("club.sqlite");
    let command = format!("serve --listen 127.0.0.1:0 --database '{}'", database.display());
    let mut command = in_a_shell_of_all(&command);
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::piped()).env("RUST_LOG", "info").spawn().expect("it starts");
    let log = child.stderr.take().expect("a log");
    let listens = BufReader::new(log.take(100_000)).lines().map_while(Result::ok).any(|line| line.contains("listening"));
    let modes = ["", "-wal", "-shm"].map(|ending| mode(&folder.path().join(format!("club.sqlite{ending}"))));
    child.kill().and_then(|()| child.wait()).expect("it ends");
    assert!(listens);
    assert_eq!(modes, ["600", "600", "600"].map(str::to_owned));
}
