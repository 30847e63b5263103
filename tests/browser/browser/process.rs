//! The processes and the folder behind a browser, and their end.

use super::{Kind, Window};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

/// A device whose browser is closed or dead: what it kept.
pub struct Left {
    pub(super) profile: Profile,
    pub(super) kind: Kind,
    pub(super) window: Window,
    pub(super) story: &'static str,
    pub(super) who: &'static str,
}

/// The browser's process. A session that is not closed leaves it behind, so it is ended by its id.
pub struct Process(pub Option<u64>);

impl Drop for Process {
    fn drop(&mut self) {
        if let Some(pid) = self.0 {
            // Nothing more can be done here if it has ended already.
            let _ = Command::new("kill").args(["-9", &pid.to_string()]).stderr(Stdio::null()).status();
        }
    }
}

/// The browser's profile. Its processes write into it until the last of them has ended, a moment after the first.
pub struct Profile(TempDir);

impl Profile {
    pub fn new() -> Profile {
        Profile(TempDir::new().expect("a folder for the browser's profile"))
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// The ids of the processes that were started with this folder.
    pub fn processes(&self) -> Vec<u64> {
        let folder = self.path().display().to_string();
        let all = std::fs::read_dir("/proc").expect("the processes").flatten();
        let of_it =
            all.filter(|one| std::fs::read_to_string(one.path().join("cmdline")).is_ok_and(|line| line.contains(&folder)));
        of_it.filter_map(|one| one.file_name().to_str()?.parse().ok()).collect()
    }
}

impl Drop for Profile {
    fn drop(&mut self) {
        for nth in 0..40 {
            // A browser whose start was given up has told nobody its id.
            if nth == 20 {
                self.processes().into_iter().for_each(|pid| drop(Process(Some(pid))));
            }
            if std::fs::remove_dir_all(self.path()).is_ok() {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

/// The program that speaks for a browser, on a port that it chose itself.
pub struct Driver {
    child: Child,
    pub port: u16,
    // Closed early, its next line would end it.
    _says: BufReader<ChildStdout>,
}

impl Driver {
    /// Starts it and waits for the line in which the port follows these words. On a busy machine two drivers may reach for the
    /// same port; the one that comes too late ends, and is started again.
    pub fn start(program: &Path, arguments: &[&str], before_port: &str) -> Driver {
        let started = (0..5).find_map(|_| Driver::try_start(program, arguments, before_port));
        started.unwrap_or_else(|| panic!("{} says its port", program.display()))
    }

    fn try_start(program: &Path, arguments: &[&str], before_port: &str) -> Option<Driver> {
        let mut command = Command::new(program);
        command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap_or_else(|error| panic!("{} starts: {error}", program.display()));
        let mut says = BufReader::new(child.stdout.take().expect("its output"));
        let mut port = None;
        let mut line = String::new();
        while port.is_none() && says.read_line(&mut line).is_ok_and(|read| read > 0) {
            let words = line.trim_end().trim_end_matches('.');
            port = words.split_once(before_port).and_then(|(_, port)| port.parse().ok());
            line.clear();
        }
        match port {
            Some(port) => Some(Driver { child, port, _says: says }),
            None => {
                // It may have ended already.
                let _ = child.kill();
                let _ = child.wait();
                None
            }
        }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
