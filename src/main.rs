//! The command line. Time and chance come in here and nowhere else.

use clap::{Args, Parser, Subcommand};
use jiff::Timestamp;
use serde::Serialize;
use std::io::Read;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::house::Outside;
use witnessmark::acts::set_up::{CLUB_DAY, set_up};
use witnessmark::rules::worksheet;
use witnessmark::rules::worksheet_input::InputError;
use witnessmark::web::{Web, router};
use witnessmark::{demo, terminal};

/// Tech inspection for a car club's track days, from the driver's garage to the grid.
#[derive(Parser)]
#[command(version, about)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Run the club's server.
    Serve(Serve),
    /// Run a server with an invented club, made anew at every start, and print the links to open.
    Demo(Demo),
    /// Judge a set of answers (JSON on standard input) by a sheet.
    Judge {
        /// The sheet's file.
        #[arg(long)]
        sheet: PathBuf,
        /// The day of the event, 2026-05-09.
        #[arg(long)]
        on: String,
    },
    /// Say where an entry stands, from its records (JSON on standard input).
    Standing,
    /// Turn raw readings (JSON on standard input) into an answer.
    Worksheet {
        /// Which one; `--list` names them.
        #[arg(required_unless_present = "list")]
        name: Option<String>,
        /// The names, a line each.
        #[arg(long)]
        list: bool,
    },
    /// Reckon a history's hashes anew and name the first record that does not fit.
    Verify(Verify),
    /// Work on tech sheet files.
    #[command(subcommand)]
    Sheet(Sheet),
}

#[derive(Subcommand)]
enum Sheet {
    /// Check a sheet's file: an error names line and key.
    Check { file: PathBuf },
    /// Print the sheet that a new club starts with.
    Default,
}

#[derive(Args)]
struct Serve {
    /// The club's database, one file; it is made if it is not there.
    #[arg(long, env = "WITNESSMARK_DATABASE", default_value = "witnessmark.sqlite")]
    database: PathBuf,
    /// Address and port to listen on.
    #[arg(long, env = "WITNESSMARK_LISTEN", default_value = "127.0.0.1:8440")]
    listen: SocketAddr,
    /// Where browsers reach the server, such as https://tech.example.org; links are made of it. With https, cookies insist on it.
    #[arg(long, env = "WITNESSMARK_BASE")]
    base: Option<String>,
    /// The club's name, for a new database.
    #[arg(long, env = "WITNESSMARK_CLUB", default_value = "The club")]
    club: String,
    /// The first organizer's name, for a new database.
    #[arg(long, env = "WITNESSMARK_ORGANIZER", default_value = "Organizer")]
    organizer: String,
}

#[derive(Args)]
struct Demo {
    /// The demo's database; what was in it is lost.
    #[arg(long, default_value = "data/demo.sqlite")]
    database: PathBuf,
    /// Address and port to listen on.
    #[arg(long, default_value = "127.0.0.1:8440")]
    listen: SocketAddr,
}

#[derive(Args)]
struct Verify {
    /// The club's database.
    #[arg(long, required_unless_present = "export", conflicts_with = "export")]
    database: Option<PathBuf>,
    /// A history taken away from the organizer's page: one record a line.
    #[arg(long)]
    export: Option<PathBuf>,
    /// A head noted earlier: the history must still reach it.
    #[arg(long)]
    head: Option<String>,
}

/// The machine's clock and the operating system's chance.
struct Machine;

#[expect(clippy::disallowed_methods, reason = "this is the one place where time and chance come in")]
impl Outside for Machine {
    fn now(&self) -> Timestamp {
        Timestamp::now()
    }

    fn new_id(&self) -> Uuid {
        Uuid::now_v7()
    }

    fn new_secret(&self) -> [u8; 20] {
        let mut secret = [0; 20];
        // Without chance from the operating system no link is safe: better to end than to give one out.
        getrandom::fill(&mut secret).expect("the operating system gives no random bytes");
        secret
    }
}

type Failure = Box<dyn std::error::Error>;

fn main() -> ExitCode {
    let filter = tracing_subscriber::EnvFilter::try_from_default_env().unwrap_or_else(|_| "info".into());
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).init();
    match run(Cli::parse().command) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("witnessmark: {error}");
            ExitCode::FAILURE
        }
    }
}

fn run(command: Command) -> Result<ExitCode, Failure> {
    match command {
        Command::Serve(serve) => in_runtime(serve_club(serve)),
        Command::Demo(demo) => in_runtime(serve_demo(demo)),
        Command::Worksheet { list: true, .. } => {
            worksheet::list().into_iter().for_each(say);
            Ok(ExitCode::SUCCESS)
        }
        Command::Worksheet { name, .. } => {
            Ok(answer(input().and_then(|input| terminal::worksheet(&name.unwrap_or_default(), &input))))
        }
        Command::Standing => Ok(answer(input().and_then(|input| terminal::standing(&input)))),
        Command::Verify(wanted) => verify(wanted),
        Command::Judge { sheet, on } => {
            let bytes = std::fs::read(&sheet).map_err(|error| format!("{}: {error}", sheet.display()))?;
            Ok(answer(input().and_then(|input| terminal::judge(terminal::sheet_text(&bytes)?, &on, &input))))
        }
        Command::Sheet(Sheet::Default) => {
            say(CLUB_DAY.trim_end());
            Ok(ExitCode::SUCCESS)
        }
        Command::Sheet(Sheet::Check { file }) => {
            let bytes = std::fs::read(&file).map_err(|error| format!("{}: {error}", file.display()))?;
            match terminal::sheet_text(&bytes).and_then(terminal::sheet_check) {
                Ok(words) => say(&words),
                Err(error) => {
                    eprintln!("{}: {}", file.display(), error.message);
                    return Ok(ExitCode::from(2));
                }
            }
            Ok(ExitCode::SUCCESS)
        }
    }
}

/// Prints a line. A reader that has seen enough and closed the pipe is no fault.
fn say(text: &str) {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{text}").and_then(|()| out.flush());
}

/// Exit status 0 where the history fits, 2 where it does not.
fn verify(wanted: Verify) -> Result<ExitCode, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let records = match (wanted.database, wanted.export) {
        (Some(path), _) => runtime.block_on(witnessmark::store::sealed_records(&path))?,
        (None, Some(path)) => {
            terminal::read_export(&std::fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))?)?
        }
        (None, None) => return Err("name a database or an export".into()),
    };
    let (words, fits) = terminal::verify(records, wanted.head.as_deref());
    say(&words);
    Ok(if fits { ExitCode::SUCCESS } else { ExitCode::from(2) })
}

/// Standard input as text.
fn input() -> Result<String, InputError> {
    let mut bytes = Vec::new();
    std::io::stdin().read_to_end(&mut bytes).map_err(|error| InputError::at("input", error.to_string()))?;
    String::from_utf8(bytes).map_err(|_| InputError::at("input", "The input is not UTF-8 text."))
}

/// Prints the answer, or the error with exit status 2.
fn answer<T: Serialize>(result: Result<T, InputError>) -> ExitCode {
    let (json, code) = match &result {
        Ok(value) => (serde_json::to_string_pretty(value), ExitCode::SUCCESS),
        Err(error) => (serde_json::to_string_pretty(error), ExitCode::from(2)),
    };
    match json {
        Ok(text) => say(&text),
        Err(error) => eprintln!("witnessmark: {error}"),
    }
    code
}

fn in_runtime(work: impl Future<Output = Result<(), Failure>>) -> Result<ExitCode, Failure> {
    tokio::runtime::Builder::new_multi_thread().enable_all().build()?.block_on(work)?;
    Ok(ExitCode::SUCCESS)
}

async fn serve_club(settings: Serve) -> Result<(), Failure> {
    let listener = TcpListener::bind(settings.listen).await.map_err(|error| format!("{}: {error}", settings.listen))?;
    let house = Arc::new(House::open(&settings.database, Arc::new(Machine)).await?);
    let base = settings.base.unwrap_or_else(|| base_of(&listener, settings.listen));
    let web = Web { house, base: base.trim_end_matches('/').into(), closing: CancellationToken::new() };
    if let Some(first) = set_up(&web.house, &settings.club, &settings.organizer).await? {
        println!("A new database. The organizer's private link, shown this once:\n\n  {}\n", web.link(&first.secret));
    }
    listen(web, listener).await
}

async fn serve_demo(settings: Demo) -> Result<(), Failure> {
    let listener = TcpListener::bind(settings.listen).await.map_err(|error| format!("{}: {error}", settings.listen))?;
    if let Some(folder) = settings.database.parent() {
        std::fs::create_dir_all(folder)?;
    }
    for ending in ["", "-wal", "-shm"] {
        let mut file = settings.database.clone().into_os_string();
        file.push(ending);
        // The first run has nothing to remove.
        let _ = std::fs::remove_file(file);
    }
    let clock = demo::DemoClock::new(Arc::new(Machine));
    let house = Arc::new(House::open(&settings.database, clock.clone()).await?);
    let web = Web { base: base_of(&listener, settings.listen).into(), house, closing: CancellationToken::new() };
    let made = demo::make(&web.house, &clock).await.map_err(|refusal| format!("the demo could not be made: {refusal:?}"))?;
    println!("{}", made.describe(|secret| web.link(secret)));
    listen(web, listener).await
}

fn base_of(listener: &TcpListener, asked: SocketAddr) -> String {
    let address = listener.local_addr().unwrap_or(asked);
    // `localhost` is a secure context for browsers, so that what needs one works in the demo.
    if address.ip().is_loopback() { format!("http://localhost:{}", address.port()) } else { format!("http://{address}") }
}

async fn listen(web: Web, listener: TcpListener) -> Result<(), Failure> {
    let (house, closing) = (web.house.clone(), web.closing.clone());
    tracing::info!(address = %listener.local_addr()?, "listening");
    let app = router(web);
    axum::serve(listener, app).with_graceful_shutdown(asked_to_end(closing)).await?;
    house.close().await;
    Ok(())
}

/// Waits for an interrupt or a request to end, then ends the event streams: the shutdown waits for every open answer.
async fn asked_to_end(closing: CancellationToken) {
    let interrupt = async { drop(tokio::signal::ctrl_c().await) };
    #[cfg(unix)]
    let end = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => drop(signal.recv().await),
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let end = std::future::pending::<()>();
    tokio::select! { () = interrupt => {}, () = end => {} }
    closing.cancel();
}
