//! The command line. Time and chance come in here and nowhere else.

use clap::{Args, Parser, Subcommand};
use ipnet::IpNet;
use jiff::Timestamp;
use serde::Serialize;
use std::io::Read;
use std::net::{IpAddr, SocketAddr, TcpListener};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::garage;
use witnessmark::acts::hand_out::{Use, organizer_link};
use witnessmark::acts::house::Outside;
use witnessmark::acts::pass::end_keys_of_past_events;
use witnessmark::acts::personal::{Term, keep_the_term};
use witnessmark::acts::set_up::{CLUB_DAY, FAULT_GUIDE, set_up};
use witnessmark::listen::{self, Bounds, Certificate};
use witnessmark::rules::worksheet;
use witnessmark::rules::worksheet_input::InputError;
use witnessmark::verify::{self, Kept};
use witnessmark::web::{Web, router};
use witnessmark::{demo, first_link, terminal};

/// A submission is a few thousand small pieces of memory; this allocator hands them out faster (`cargo bench --bench load`).
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Tech inspection for a car club's track days, from the driver's garage to the grid.
#[derive(Parser)]
#[command(version, about)]
struct Cli {
    /// Write the log as JSON, a line an event.
    #[arg(long, global = true, env = "WITNESSMARK_LOG_JSON")]
    log_json: bool,
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
    /// Print a new one-time link for an organizer: for a first one, or one who is locked out. The server may run meanwhile.
    Organizer(NewOrganizer),
    /// Verify a club's file or an export: name what does not fit what its records bind, and print the heads to keep.
    Verify(Verify),
    /// Work on tech sheet files.
    #[command(subcommand)]
    Sheet(Sheet),
    /// Work on fault guide files.
    #[command(subcommand)]
    Guide(Guide),
}

#[derive(Subcommand)]
enum Guide {
    /// Check a fault guide's file: an error names line and key.
    Check { file: PathBuf },
    /// Print the guide that comes with the program.
    Default,
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
    /// The server's own TLS: the certificate chain, a PEM file. Read again every hour.
    #[arg(long, env = "WITNESSMARK_CERTIFICATE", requires = "key")]
    certificate: Option<PathBuf>,
    /// The certificate's key, a PEM file.
    #[arg(long, env = "WITNESSMARK_KEY", requires = "certificate")]
    key: Option<PathBuf>,
    /// Addresses or networks of proxies in front of the server, with commas: only what these say of who asks is believed.
    #[arg(long, env = "WITNESSMARK_TRUSTED_PROXY", value_delimiter = ',', value_parser = network)]
    trusted_proxy: Vec<IpNet>,
    /// Erase drivers' names, mail and photos so many days after their event. Without it they stay until an organizer does it.
    #[arg(long, env = "WITNESSMARK_KEEP_DAYS", value_parser = clap::value_parser!(u32).range(1..=36_500))]
    keep_days: Option<u32>,
    /// Browsers insist on https for a year after each visit, in place of thirty days. Say it once https is there to stay.
    #[arg(long, env = "WITNESSMARK_HSTS", value_parser = clap::builder::BoolishValueParser::new())]
    hsts: bool,
}

#[derive(Args)]
struct NewOrganizer {
    /// The club's database.
    #[arg(long, env = "WITNESSMARK_DATABASE", default_value = "witnessmark.sqlite")]
    database: PathBuf,
    /// Where browsers reach the server; the link is made of it.
    #[arg(long, env = "WITNESSMARK_BASE", default_value = "http://localhost:8440")]
    base: String,
    /// The organizer's name. Who has it already gets a new link and a new passphrase with it.
    #[arg(long)]
    name: String,
}

/// An address, or a network: 10.0.0.0/24.
fn network(text: &str) -> Result<IpNet, String> {
    let one = || text.parse::<IpAddr>().map(IpNet::from);
    text.parse::<IpNet>().or_else(|_| one()).map_err(|_| "an address (10.0.0.2) or a network (10.0.0.0/24) is wanted".into())
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
    /// A head from a printed cleared list or an export: the history must still reach it. May be given several times.
    #[arg(long)]
    head: Vec<String>,
    /// A file with what verify printed before: every event in it must be there, and every chain must still reach its head.
    #[arg(long)]
    heads: Option<PathBuf>,
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
    // What this program writes is private to the user that runs it, whatever the shell is set to.
    #[cfg(unix)]
    rustix::process::umask(rustix::fs::Mode::RWXG | rustix::fs::Mode::RWXO);
    let cli = Cli::parse();
    // The demo's links are not to be looked for among the hundred lines that its making would log.
    let usual = if matches!(cli.command, Command::Demo(_)) { "info,security=warn" } else { "info" };
    let filter = tracing_subscriber::EnvFilter::try_from_default_env().unwrap_or_else(|_| usual.into());
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    if cli.log_json {
        log.json().flatten_event(true).init();
    } else {
        log.init();
    }
    match run(cli.command) {
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
        Command::Organizer(new) => in_runtime(new_organizer(new)),
        Command::Worksheet { list: true, .. } => {
            worksheet::list().into_iter().for_each(say);
            Ok(ExitCode::SUCCESS)
        }
        Command::Worksheet { name, .. } => {
            Ok(answer(input().and_then(|input| terminal::worksheet(&name.unwrap_or_default(), &input))))
        }
        Command::Standing => Ok(answer(input().and_then(|input| terminal::standing(&input)))),
        Command::Verify(wanted) => verify_history(wanted),
        Command::Judge { sheet, on } => {
            let bytes = std::fs::read(&sheet).map_err(|error| format!("{}: {error}", sheet.display()))?;
            Ok(answer(input().and_then(|input| terminal::judge(terminal::sheet_text(&bytes)?, &on, &input))))
        }
        Command::Sheet(Sheet::Default) => {
            say(CLUB_DAY.trim_end());
            Ok(ExitCode::SUCCESS)
        }
        Command::Sheet(Sheet::Check { file }) => check(&file, terminal::sheet_check),
        Command::Guide(Guide::Default) => {
            say(FAULT_GUIDE.trim_end());
            Ok(ExitCode::SUCCESS)
        }
        Command::Guide(Guide::Check { file }) => check(&file, terminal::guide_check),
    }
}

/// Reads a file and says what it holds, or what is wrong with it.
fn check(
    file: &std::path::Path,
    read: impl Fn(&str) -> Result<String, witnessmark::rules::worksheet_input::InputError>,
) -> Result<ExitCode, Failure> {
    let bytes = std::fs::read(file).map_err(|error| format!("{}: {error}", file.display()))?;
    match terminal::sheet_text(&bytes).and_then(read) {
        Ok(words) => say(&words),
        Err(error) => {
            eprintln!("{}: {}", file.display(), error.message);
            return Ok(ExitCode::from(2));
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Prints a line. A reader that has seen enough and closed the pipe is no fault.
fn say(text: &str) {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{text}").and_then(|()| out.flush());
}

/// Exit status 0 where the history fits, 2 where it does not.
fn verify_history(wanted: Verify) -> Result<ExitCode, Failure> {
    let kept = Kept::of(wanted.heads.as_deref(), &wanted.head)?;
    let verdict = match (wanted.database, wanted.export) {
        (Some(path), _) => {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
            runtime.block_on(verify::database(&path, kept)).map_err(|error| format!("{}: {error}", path.display()))?
        }
        (None, Some(path)) => verify::export(verify::read_export(&path)?, kept),
        (None, None) => return Err("name a database or an export".into()),
    };
    say(&verdict.words);
    Ok(if verdict.fits { ExitCode::SUCCESS } else { ExitCode::from(2) })
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
    let listener = listen::bind(settings.listen).map_err(|error| format!("{}: {error}", settings.listen))?;
    let house = Arc::new(House::open(&settings.database, Arc::new(Machine)).await?);
    let certificate = settings.certificate.zip(settings.key).map(|(chain, key)| Certificate { chain, key });
    let scheme = if certificate.is_some() { "https" } else { "http" };
    let base = settings.base.unwrap_or_else(|| base_of(scheme, &listener, settings.listen));
    let term = settings.keep_days.map_or(Term::UntilErased, Term::Days);
    let web = Web::new(house, &base).behind(&settings.trusted_proxy).keeping(term);
    let web = if settings.hsts { web.insisting_on_https() } else { web };
    let first = set_up(&web.house, &settings.club, &settings.organizer).await?;
    first_link::give(&settings.database, first.map(|first| web.link(&first.secret)).as_deref())?;
    if base.starts_with("http://") && !settings.listen.ip().is_loopback() {
        tracing::warn!("plain http: whoever is on the same network can read along; see the README, \"On the club's network\"");
    }
    if base.starts_with("https://") && certificate.is_none() && settings.trusted_proxy.is_empty() {
        tracing::warn!(
            "https without a certificate of ours: name the proxy in front with --trusted-proxy, or all visitors count as one"
        );
    }
    tokio::spawn(keep_the_term_daily(web.house.clone(), term, web.closing.clone()));
    run_until_asked(web, listener, certificate, settings.trusted_proxy).await
}

/// Erases drivers and garages whose time is over and the keys of past events, now and every day.
async fn keep_the_term_daily(house: Arc<House>, term: Term, closing: CancellationToken) {
    loop {
        if let Err(error) = end_keys_of_past_events(&house).await {
            tracing::error!(%error, "the keys of past events could not be deleted");
        }
        match keep_the_term(&house, term).await {
            Ok(0) => {}
            Ok(erased) => tracing::info!(erased, "drivers of events past the club's term were erased"),
            Err(error) => tracing::error!(%error, "the club's term could not be kept"),
        }
        match garage::ends::keep_the_term(&house).await {
            Ok(0) => {}
            Ok(erased) => tracing::info!(erased, "garages whose time was over were erased"),
            Err(error) => tracing::error!(%error, "the term of garages could not be kept"),
        }
        if closing.run_until_cancelled(tokio::time::sleep(Duration::from_secs(24 * 3600))).await.is_none() {
            return;
        }
    }
}

async fn new_organizer(settings: NewOrganizer) -> Result<(), Failure> {
    let house = Arc::new(House::open(&settings.database, Arc::new(Machine)).await?);
    let web = Web::new(house, &settings.base);
    let made = organizer_link(&web.house, &settings.name, Use::Once).await?;
    say(&format!(
        "The one-time link for {}, for setting a passphrase within seven days:\n\n  {}\n",
        made.link.holder,
        web.link(&made.secret)
    ));
    web.house.close().await;
    Ok(())
}

async fn serve_demo(settings: Demo) -> Result<(), Failure> {
    let listener = listen::bind(settings.listen).map_err(|error| format!("{}: {error}", settings.listen))?;
    for ending in ["", "-wal", "-shm"] {
        let mut file = settings.database.clone().into_os_string();
        file.push(ending);
        // The first run has nothing to remove.
        let _ = std::fs::remove_file(file);
    }
    let clock = demo::DemoClock::new(Arc::new(Machine));
    let house = Arc::new(House::open(&settings.database, clock.clone()).await?);
    let web = Web::new(house, &base_of("http", &listener, settings.listen));
    let made = demo::make(&web.house, &clock).await.map_err(|refusal| format!("the demo could not be made: {refusal:?}"))?;
    println!("{}", made.describe(|secret| web.link(secret)));
    run_until_asked(web, listener, None, Vec::new()).await
}

fn base_of(scheme: &str, listener: &TcpListener, asked: SocketAddr) -> String {
    let address = listener.local_addr().unwrap_or(asked);
    // `localhost` is a secure context for browsers, so that what needs one works in the demo.
    let host = if address.ip().is_loopback() { "localhost".to_owned() } else { address.ip().to_string() };
    format!("{scheme}://{host}:{}", address.port())
}

async fn run_until_asked(
    web: Web,
    listener: TcpListener,
    certificate: Option<Certificate>,
    proxies: Vec<IpNet>,
) -> Result<(), Failure> {
    let bounds = listen::raise_open_files(Bounds { proxies, ..Bounds::default() })?;
    let (house, closing) = (web.house.clone(), web.closing.clone());
    tracing::info!(address = %listener.local_addr()?, "listening");
    tokio::spawn(asked_to_end(closing.clone()));
    listen::serve(listener, certificate, router(web), bounds, closing).await?;
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
