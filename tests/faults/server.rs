//! The real program as a process of its own, to be started, killed and started again.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// How long the program may take to be ready.
const READY: Duration = Duration::from_secs(20);

pub struct Server {
    child: Mutex<Child>,
    pub base: String,
    /// Where a new database's start leaves the organizer's link.
    link: Option<String>,
}

/// What the test runs: the program as it was built beside the test.
pub fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_witnessmark"))
}

impl Server {
    /// Starts the program on a database file, on any free port, and waits until it listens.
    pub fn start(database: &Path) -> Server {
        let mut command = program();
        command.arg("serve").arg("--database").arg(database).args(["--listen", "127.0.0.1:0"]);
        Server::start_as(command)
    }

    pub fn start_as(mut command: Command) -> Server {
        // Port 0: a port that was free before a kill may be somebody else's after it.
        command.env("NO_COLOR", "1").env("RUST_LOG", "info");
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program can be started");
        let logged = lines_of(child.stderr.take().expect("a log"));
        drop(lines_of(child.stdout.take().expect("an output")));
        let mut server = Server { child: Mutex::new(child), base: String::new(), link: None };
        let mut log = Vec::new();
        loop {
            let Ok(line) = logged.recv_timeout(READY) else { panic!("the program did not start to listen; it said {log:?}") };
            if let Some((_, address)) = line.split_once("listening address=") {
                server.base = format!("http://{}", address.trim());
                return server;
            }
            if let Some((_, file)) = line.split_once("one-time link file=") {
                server.link = Some(file.trim().to_owned());
            }
            log.push(line);
        }
    }

    /// The secret of the first organizer's private link, which a new database gives once.
    pub fn first_secret(&self) -> String {
        let file = self.link.as_ref().expect("a new database's start says where the organizer's link is");
        let link = std::fs::read_to_string(file).expect("the organizer's link");
        link.trim().rsplit('/').next().expect("a secret").to_owned()
    }

    pub fn process_id(&self) -> u32 {
        self.child.lock().expect("the process").id()
    }

    /// SIGKILL: no handler runs, nothing is flushed, nobody is told.
    pub fn kill(&self) {
        let mut child = self.child.lock().expect("the process");
        // It may have ended by itself; then there is nothing to kill.
        let _ = child.kill();
        let _ = child.wait();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.kill();
    }
}

/// The lines as they come; the pipe is emptied to its end, so that the program never waits for us.
fn lines_of(pipe: impl Read + Send + 'static) -> Receiver<String> {
    let (tell, hear) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(pipe).lines().map_while(Result::ok) {
            // Nobody may be listening any more; the pipe is still to be emptied.
            let _ = tell.send(line);
        }
    });
    hear
}
