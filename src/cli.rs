//! The command line: what the program can be asked, and the way from there to the library.
//!
//! Every option can also be given as an environment variable with the prefix `TAUTPOOL_`; the
//! option wins. Exit codes: 0 done, 1 the input has faults or something failed, 2 the command
//! line itself is wrong.

mod backup;
mod check;
mod demo;
mod export;
mod host;
mod invitations;
mod pool;
mod release;
mod security;
mod serve;
mod study;
mod telemetry;

use crate::access::MOST_A_MINUTE;
use crate::release::{NotPublic, PublicUrl};
use clap::builder::{FalseyValueParser, PossibleValuesParser};
use clap::{Args, Parser, Subcommand};
use ipnet::IpNet;
use std::io::{self, Read, Write};
use std::net::{IpAddr, SocketAddr, ToSocketAddrs};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Pools paired racquet sessions from many players.
#[derive(Debug, Parser)]
#[command(name = "tautpool", version, about, propagate_version = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve an invented study with data, to look around
    Demo(Demo),
    /// Serve the studies of a data folder
    Serve(Serve),
    /// Pool a table of effects (CSV), a downloaded aggregate or a release (JSON)
    Pool(Pool),
    /// Check a contribution offline, with the faults the server would find
    Check(Check),
    /// Write the host's own private copy of contributions and effects
    Export(Export),
    /// Copy a data folder, also while it is served, and check the copy
    Backup(MakeBackup),
    /// Make a data folder of a backup, or only check the backup
    Restore(Restore),
    /// Publish what is public for good, and check what was published
    #[command(subcommand)]
    Release(Release),
    /// What only the host does
    #[command(subcommand)]
    Host(Host),
}

/// One value of each moderator.
#[derive(Clone, Debug)]
struct Place(Vec<f64>);

fn place(text: &str) -> Result<Place, String> {
    let value = |part: &str| {
        let number = part.trim().parse::<f64>().ok();
        number.filter(|number| number.is_finite())
    };
    let values: Option<Vec<f64>> = text.split(',').map(value).collect();
    values
        .map(Place)
        .ok_or_else(|| "write finite numbers with decimal points, with commas between".to_owned())
}

#[derive(Debug, Args)]
struct Listen {
    /// Where to listen
    #[arg(
        long,
        env = "TAUTPOOL_LISTEN",
        value_name = "ADDR:PORT",
        default_value = "127.0.0.1:8080",
        value_parser = address
    )]
    listen: SocketAddr,
    /// Threads that answer requests
    #[arg(long, env = "TAUTPOOL_WORKERS", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=64))]
    workers: u8,
    /// Requests for reading that a client may make of the data interface and of files in a minute; a
    /// fifth of that may be ones that change something. 0 is no limit
    #[arg(long, env = "TAUTPOOL_REQUESTS_A_MINUTE", value_name = "N", default_value_t = 600, value_parser = clap::value_parser!(u32).range(0..=i64::from(MOST_A_MINUTE)))]
    requests_a_minute: u32,
    /// Log filter: error, warn, info, debug, or a filter such as tautpool=debug
    #[arg(
        long,
        env = "TAUTPOOL_LOG",
        value_name = "FILTER",
        default_value = "warn,actix_http=off"
    )]
    log: String,
}

#[derive(Debug, Args)]
struct Demo {
    #[command(flatten)]
    listen: Listen,
    /// Instead of serving, send this many more invented contributions to a running demo
    #[arg(long, env = "TAUTPOOL_SEND", value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1000))]
    send: Option<u16>,
    /// The running demo that they are sent to
    #[arg(
        long,
        env = "TAUTPOOL_TO",
        value_name = "URL",
        default_value = "http://127.0.0.1:8080"
    )]
    to: String,
}

#[derive(Debug, Args)]
struct Data {
    /// The data folder
    #[arg(long, env = "TAUTPOOL_DATA", value_name = "DIR")]
    data: PathBuf,
}

#[derive(Debug, Args)]
struct Serve {
    #[command(flatten)]
    listen: Listen,
    #[command(flatten)]
    data: Data,
    #[arg(long, env = "TAUTPOOL_PUBLIC_URL", value_name = "URL", value_parser = public_url, help = PUBLIC_URL)]
    public_url: Option<PublicUrl>,
    /// A proxy in front does TLS, so listening beyond this machine is meant
    #[arg(long, env = "TAUTPOOL_BEHIND_TLS_PROXY", value_parser = FalseyValueParser::new())]
    behind_tls_proxy: bool,
    /// Addresses or networks of the proxies whose X-Forwarded-For is believed, with commas between;
    /// left out, those of this machine
    #[arg(long, env = "TAUTPOOL_TRUSTED_PROXIES", value_name = "NETWORKS", requires = "behind_tls_proxy", value_delimiter = ',', value_parser = network)]
    trusted_proxies: Vec<IpNet>,
    #[command(flatten)]
    security: security::Security,
    #[command(flatten)]
    backups: Backups,
}

/// Backups by schedule.
#[derive(Debug, Args)]
struct Backups {
    /// Folder for scheduled backups, which are made while it serves; left out, there are none
    #[arg(long, env = "TAUTPOOL_BACKUP_TO", value_name = "DIR")]
    backup_to: Option<PathBuf>,
    /// Hours from one backup to the next
    #[arg(long, env = "TAUTPOOL_BACKUP_EVERY", value_name = "HOURS", default_value_t = 24, value_parser = clap::value_parser!(u16).range(1..=720))]
    backup_every: u16,
    /// Days after which a backup is removed once there is a newer one; what players withdraw stands in
    /// older backups until then
    #[arg(long, env = "TAUTPOOL_BACKUPS_KEPT", value_name = "DAYS", default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=3650))]
    backups_kept: u16,
}

/// A network such as 10.0.0.0/24, or one address.
fn network(text: &str) -> Result<IpNet, String> {
    let text = text.trim();
    let one = text
        .parse::<IpAddr>()
        .map(|one| IpNet::from(one.to_canonical()));
    let network = one.or_else(|_| text.parse::<IpNet>());
    network.map_err(|_| "write addresses or networks, such as 10.0.0.5 or 10.0.0.0/24".to_owned())
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool pool effects.csv\n  tautpool pool effects.csv --moderator gap --cluster player\n  tautpool pool --json aggregate.json\n  tautpool pool aggregate.json --where 'outcome=speed&string_family=polyester&gap_from=8'\n  curl -s http://127.0.0.1:8080/api/v1/studies/STUDY/aggregate | tautpool pool -"
)]
struct Pool {
    /// CSV with the columns estimate,variance (and cluster), an aggregate or a release; - is standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Write the whole pooled document as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    json: bool,
    /// Which model to show
    #[arg(long, env = "TAUTPOOL_ESTIMATOR", default_value = "reml", value_parser = PossibleValuesParser::new(["fixed", "dl", "pm", "reml"]))]
    estimator: String,
    /// Which interval to show; left out, the safeguarded one, or the cluster-robust one when clusters repeat
    #[arg(long, env = "TAUTPOOL_INTERVAL", value_parser = PossibleValuesParser::new(["hartung_knapp", "hartung_knapp_safe", "cluster_robust", "wald"]))]
    interval: Option<String>,
    /// Level of the intervals, from 0.5 to under 1; left out, that of the aggregate, or 0.95
    #[arg(long, env = "TAUTPOOL_LEVEL")]
    level: Option<f64>,
    /// Column of the CSV on which the effects are regressed; may be repeated. Rows where it is blank are left out
    #[arg(long = "moderator", env = "TAUTPOOL_MODERATOR", value_name = "COLUMN")]
    moderators: Vec<String>,
    /// Regress through the origin: where all moderators are 0 there is no effect
    #[arg(long, env = "TAUTPOOL_NO_INTERCEPT", requires = "moderators")]
    no_intercept: bool,
    /// Say what the regression predicts where the moderators have these values, in their order with commas between; may be repeated
    #[arg(long = "at", env = "TAUTPOOL_AT", value_name = "VALUES", requires = "moderators", value_parser = place, allow_negative_numbers = true)]
    at: Vec<Place>,
    /// Column of the CSV that says which effects belong together; left out, the column named cluster if there is one
    #[arg(long, env = "TAUTPOOL_CLUSTER", value_name = "COLUMN")]
    cluster: Option<String>,
    /// Pool only the rows of an aggregate or a release that this asks about, in the words behind the question mark of the query address, such as `outcome=speed&gap_from=8`
    #[arg(long = "where", env = "TAUTPOOL_WHERE", value_name = "QUESTION", conflicts_with_all = ["estimator", "interval", "level", "moderators", "cluster"])]
    question: Option<String>,
}

#[derive(Debug, Args)]
struct Check {
    /// The contribution; - is standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The study it is for; left out, the demo's rules hold, whatever its name and consent version
    #[arg(long, env = "TAUTPOOL_STUDY_FILE", value_name = "STUDY_FILE")]
    study: Option<PathBuf>,
    /// Write faults and flags as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    json: bool,
}

#[derive(Debug, Args)]
struct Export {
    #[command(flatten)]
    data: Data,
    /// Short name of the study; left out, every study
    #[arg(long, env = "TAUTPOOL_STUDY", value_name = "STUDY")]
    study: Option<String>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  tautpool backup --data DIR --to BACKUPS\n\nA backup is a folder named after the time. It holds the key behind every receipt and contributions word for word, so keep it as the data folder."
)]
struct MakeBackup {
    #[command(flatten)]
    data: Data,
    /// The folder in which the backup is made, itself made where it is not there
    #[arg(long, env = "TAUTPOOL_BACKUP_TO", value_name = "DIR")]
    to: PathBuf,
    /// Write what was made as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    json: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool restore BACKUPS/tautpool-20270101T030000Z --data NEW\n  tautpool restore BACKUPS/tautpool-20270101T030000Z --check"
)]
struct Restore {
    /// The backup: a folder that `tautpool backup` or a scheduled backup made
    #[arg(value_name = "BACKUP")]
    backup: PathBuf,
    /// The data folder to make; it must be new or empty
    #[arg(
        long,
        env = "TAUTPOOL_DATA",
        value_name = "DIR",
        required_unless_present = "check"
    )]
    data: Option<PathBuf>,
    /// A newer backup or data folder, also one that is in use: what was withdrawn there is withdrawn in the
    /// restored folder too. May be repeated
    #[arg(long, env = "TAUTPOOL_WITHDRAWN_IN", value_name = "FOLDER")]
    withdrawn_in: Vec<PathBuf>,
    /// Only check that the backup is whole
    #[arg(long, env = "TAUTPOOL_CHECK", value_parser = FalseyValueParser::new())]
    check: bool,
    /// Write what was found as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    json: bool,
}

#[derive(Debug, Subcommand)]
enum Release {
    /// Publish what is public now under a number, for good
    Make(MakeRelease),
    /// Check the file of a release: hash, schema, canonical form, every figure and word
    #[command(after_help = "Example:\n  tautpool release verify STUDY-release-1.json --sha256 HEX")]
    Verify {
        /// The release; - is standard input
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// The SHA-256 that the file has to have; left out, the one in FILE.sha256 where there is such a file
        #[arg(long, env = "TAUTPOOL_SHA256", value_name = "HEX", value_parser = sha256)]
        sha256: Option<String>,
    },
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool release make STUDY --data DIR --public-url https://pool.example\n  tautpool release make STUDY --data DIR --public-url https://pool.example --correction \"The gap of one pair was typed wrong\""
)]
struct MakeRelease {
    /// Short name of the study
    #[arg(value_name = "STUDY")]
    study: String,
    #[command(flatten)]
    data: Data,
    #[arg(long, env = "TAUTPOOL_PUBLIC_URL", value_name = "URL", value_parser = public_url, help = PUBLIC_URL)]
    public_url: Option<PublicUrl>,
    /// This release corrects the last one: what was wrong with that
    #[arg(long, env = "TAUTPOOL_CORRECTION", value_name = "REASON")]
    correction: Option<String>,
    /// What there is to say of this release
    #[arg(long, env = "TAUTPOOL_NOTE", value_name = "TEXT")]
    note: Option<String>,
}

/// What `--public-url` is for.
const PUBLIC_URL: &str = "Scheme and host under which readers reach the service, such as https://pool.example; releases carry it";

fn public_url(text: &str) -> Result<PublicUrl, NotPublic> {
    PublicUrl::parse(text)
}

/// A SHA-256 in hexadecimal, small letters or capitals.
fn sha256(text: &str) -> Result<String, &'static str> {
    let text = text.trim().to_ascii_lowercase();
    let is_hash = text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    is_hash
        .then_some(text)
        .ok_or("write the 64 hexadecimal digits that stand beside the release")
}

#[derive(Debug, Subcommand)]
enum Host {
    /// Make, open, change and close studies
    #[command(subcommand)]
    Study(HostStudy),
    /// What the host signs in with
    #[command(subcommand)]
    Credential(HostCredential),
    /// Let in only those whom the host invites
    #[command(subcommand)]
    Invitations(HostInvitations),
}

#[derive(Debug, Subcommand)]
enum HostInvitations {
    /// Make codes, which are shown once, a line each: one for every player, or one that a club shares
    #[command(
        after_help = "Examples:\n  tautpool host invitations make STUDY --count 40 --data DIR\n  tautpool host invitations make STUDY --uses 40 --data DIR"
    )]
    Make {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        /// How many codes
        #[arg(long, env = "TAUTPOOL_COUNT", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=1000))]
        count: u16,
        /// How many players each of them lets in
        #[arg(long, env = "TAUTPOOL_USES", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100_000))]
        uses: u32,
        #[command(flatten)]
        data: Data,
    },
    /// From now on a study takes contributions of new players only with an invitation
    Need {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        #[command(flatten)]
        data: Data,
    },
    /// From now on everybody may send to a study again
    Lift {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        #[command(flatten)]
        data: Data,
    },
    /// List the invitations of a study with how often each was used, without their codes
    List {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        #[command(flatten)]
        data: Data,
    },
    /// End an invitation
    End {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        /// Its number in the list
        #[arg(value_name = "NUMBER")]
        number: i64,
        #[command(flatten)]
        data: Data,
    },
}

#[derive(Debug, Subcommand)]
enum HostCredential {
    /// Make the credential, which is shown once; one made before ends, and every sign-in with it
    Make {
        #[command(flatten)]
        data: Data,
    },
}

#[derive(Debug, Subcommand)]
enum HostStudy {
    /// Add a study as a draft to a data folder, which is made when it does not exist
    Add {
        /// The study (schema/study.v1.schema.json, also served under /schema/); - is standard input
        #[arg(value_name = "FILE")]
        file: PathBuf,
        #[command(flatten)]
        data: Data,
    },
    /// Open recruiting of a draft, which freezes its analysis plan
    Open {
        /// Short name of the study
        #[arg(value_name = "NAME")]
        name: String,
        #[command(flatten)]
        data: Data,
    },
    /// Change a draft, or make a further version of a study that was opened, which readers are shown
    Amend {
        /// Short name of the study
        #[arg(value_name = "NAME")]
        name: String,
        /// The whole study anew; - is standard input
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Why, in words for readers; a draft needs none
        #[arg(long, env = "TAUTPOOL_REASON", value_name = "TEXT")]
        reason: Option<String>,
        #[command(flatten)]
        data: Data,
    },
    /// Close recruiting: no further contribution is taken, and this cannot be undone
    Close {
        /// Short name of the study
        #[arg(value_name = "NAME")]
        name: String,
        #[command(flatten)]
        data: Data,
    },
    /// List the studies with where they stand
    List {
        #[command(flatten)]
        data: Data,
    },
}

/// What went wrong, in words for whoever typed the command.
type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Runs the program.
#[must_use]
pub fn run() -> ExitCode {
    let result = match Cli::parse().command {
        Command::Demo(options) => demo::run(&options),
        Command::Serve(options) => serve::run(&options),
        Command::Pool(options) => pool::run(&options),
        Command::Check(options) => check::run(&options),
        Command::Export(options) => export::run(&options),
        Command::Host(Host::Study(command)) => study::run(&command),
        Command::Backup(options) => backup::make(&options),
        Command::Restore(options) => backup::restore(&options),
        Command::Host(Host::Invitations(command)) => invitations::run(&command),
        Command::Release(command) => release::run(&command),
        Command::Host(Host::Credential(HostCredential::Make { data })) => {
            host::make_credential(&data)
        }
    };
    match result {
        Ok(code) => code,
        Err(failure) if is_closed_pipe(failure.as_ref()) => ExitCode::SUCCESS,
        Err(failure) => {
            let _ = writeln!(io::stderr().lock(), "tautpool: {failure}");
            ExitCode::FAILURE
        }
    }
}

/// Whether the reader of our output went away, as `head` does.
fn is_closed_pipe(failure: &(dyn std::error::Error + 'static)) -> bool {
    failure
        .downcast_ref::<io::Error>()
        .is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
}

/// An address to listen on; a name such as `localhost` is looked up.
fn address(text: &str) -> Result<SocketAddr, String> {
    let wanted = "write an address and a port, such as 127.0.0.1:8080";
    let mut found = text
        .to_socket_addrs()
        .map_err(|error| format!("{error}: {wanted}"))?;
    found.next().ok_or_else(|| wanted.to_owned())
}

/// Reads a file, or standard input for `-`.
fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        io::stdin().lock().read_to_end(&mut bytes)?;
        return Ok(bytes);
    }
    std::fs::read(path).map_err(|error| format!("{}: {error}", path.display()).into())
}
