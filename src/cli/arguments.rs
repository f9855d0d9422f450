//! What each command takes. Every option has an environment variable; the option wins.

mod host;
mod release;

pub(in crate::cli) use host::{Host, HostCredential, HostInvitations, HostStudy};
pub(in crate::cli) use release::{MakeRelease, Release, sha256};

use super::security::Security;
use crate::access::MOST_A_MINUTE;
use crate::pooling::Level;
use crate::release::PublicUrl;
use clap::builder::{FalseyValueParser, PossibleValuesParser};
use clap::{Args, ValueEnum};
use clap_complete::Shell;
use ipnet::IpNet;
use release::{PUBLIC_URL, public_url};
use std::net::{IpAddr, SocketAddr, ToSocketAddrs};
use std::path::PathBuf;

/// Whether the outcome is for a program.
#[derive(Clone, Copy, Debug, Args)]
pub(in crate::cli) struct AsJson {
    /// Write the outcome as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) json: bool,
}

/// A data folder, and whether the outcome is for a program.
#[derive(Debug, Args)]
pub(in crate::cli) struct Folder {
    #[command(flatten)]
    pub(in crate::cli) data: Data,
    #[command(flatten)]
    pub(in crate::cli) json: AsJson,
}

/// How log lines are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum LogFormat {
    /// One JSON object a line
    Json,
    /// Words for people
    Text,
}

/// One value of each moderator.
#[derive(Clone, Debug)]
pub(in crate::cli) struct Place(pub(in crate::cli) Vec<f64>);

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
pub(in crate::cli) struct Listen {
    /// Where to listen
    #[arg(
        long,
        env = "TAUTPOOL_LISTEN",
        value_name = "ADDR:PORT",
        default_value = "127.0.0.1:8080",
        value_parser = address
    )]
    pub(in crate::cli) listen: SocketAddr,
    /// Threads that answer requests
    #[arg(long, env = "TAUTPOOL_WORKERS", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=64))]
    pub(in crate::cli) workers: u8,
    /// Requests for reading that a client may make of the data interface and of files in a minute; a
    /// fifth of that may be ones that change something. 0 is no limit
    #[arg(long, env = "TAUTPOOL_REQUESTS_A_MINUTE", value_name = "N", default_value_t = 600, value_parser = clap::value_parser!(u32).range(0..=i64::from(MOST_A_MINUTE)))]
    pub(in crate::cli) requests_a_minute: u32,
    /// Log filter: error, warn, info, debug, or a filter such as tautpool=debug
    #[arg(
        long,
        env = "TAUTPOOL_LOG",
        value_name = "FILTER",
        default_value = "warn,actix_http=off"
    )]
    pub(in crate::cli) log: String,
    /// How log lines are written
    #[arg(
        long,
        env = "TAUTPOOL_LOG_FORMAT",
        value_name = "FORMAT",
        default_value = "json"
    )]
    pub(in crate::cli) log_format: LogFormat,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool demo\n  tautpool demo --listen 127.0.0.1:9000\n  tautpool demo --send 5 --to http://127.0.0.1:9000"
)]
pub(in crate::cli) struct Demo {
    #[command(flatten)]
    pub(in crate::cli) listen: Listen,
    /// Instead of serving, send this many more invented contributions to a running demo
    #[arg(long, env = "TAUTPOOL_SEND", value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1000))]
    pub(in crate::cli) send: Option<u16>,
    /// The running demo that they are sent to
    #[arg(
        long,
        env = "TAUTPOOL_TO",
        value_name = "URL",
        default_value = "http://127.0.0.1:8080",
        value_parser = demo_address
    )]
    pub(in crate::cli) to: String,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct Data {
    /// The data folder
    #[arg(long, env = "TAUTPOOL_DATA", value_name = "DIR")]
    pub(in crate::cli) data: PathBuf,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool serve --data DIR\n  tautpool serve --data DIR --behind-tls-proxy --public-url https://pool.example --backup-to BACKUPS\n\nSIGINT or SIGTERM stops it: what is under way has ten seconds, a second signal does not wait."
)]
pub(in crate::cli) struct Serve {
    #[command(flatten)]
    pub(in crate::cli) listen: Listen,
    #[command(flatten)]
    pub(in crate::cli) data: Data,
    #[arg(long, env = "TAUTPOOL_PUBLIC_URL", value_name = "URL", value_parser = public_url, help = PUBLIC_URL)]
    pub(in crate::cli) public_url: Option<PublicUrl>,
    /// A proxy in front does TLS, so listening beyond this machine is meant
    #[arg(long, env = "TAUTPOOL_BEHIND_TLS_PROXY", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) behind_tls_proxy: bool,
    /// Addresses or networks of the proxies whose X-Forwarded-For is believed, with commas between;
    /// left out, those of this machine
    #[arg(long, env = "TAUTPOOL_TRUSTED_PROXIES", value_name = "NETWORKS", requires = "behind_tls_proxy", value_delimiter = ',', value_parser = network)]
    pub(in crate::cli) trusted_proxies: Vec<IpNet>,
    #[command(flatten)]
    pub(in crate::cli) security: Security,
    #[command(flatten)]
    pub(in crate::cli) backups: Backups,
    /// Where this machine, and no other, gets /metrics for Prometheus, such as 127.0.0.1:9464; left
    /// out, nowhere
    #[arg(long, env = "TAUTPOOL_METRICS_LISTEN", value_name = "ADDR:PORT", value_parser = address)]
    pub(in crate::cli) metrics_listen: Option<SocketAddr>,
}

/// Backups by schedule.
#[derive(Debug, Args)]
pub(in crate::cli) struct Backups {
    /// Folder for scheduled backups, which are made while it serves; left out, there are none
    #[arg(long, env = "TAUTPOOL_BACKUP_TO", value_name = "DIR")]
    pub(in crate::cli) backup_to: Option<PathBuf>,
    /// Hours from one backup to the next
    #[arg(long, env = "TAUTPOOL_BACKUP_EVERY", value_name = "HOURS", default_value_t = 24, value_parser = clap::value_parser!(u16).range(1..=720))]
    pub(in crate::cli) backup_every: u16,
    /// Days after which a backup is removed once there is a newer one; what players withdraw stands in
    /// older backups until then
    #[arg(long, env = "TAUTPOOL_BACKUPS_KEPT", value_name = "DAYS", default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=3650))]
    pub(in crate::cli) backups_kept: u16,
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
pub(in crate::cli) struct Pool {
    /// CSV with the columns estimate,variance (and cluster), an aggregate or a release; - is standard input
    #[arg(value_name = "FILE")]
    pub(in crate::cli) file: PathBuf,
    /// Write the whole pooled document as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) json: bool,
    /// Which model to show
    #[arg(long, env = "TAUTPOOL_ESTIMATOR", default_value = "reml", value_parser = PossibleValuesParser::new(["fixed", "dl", "pm", "reml"]))]
    pub(in crate::cli) estimator: String,
    /// Which interval to show; left out, the safeguarded one, or the cluster-robust one when clusters repeat
    #[arg(long, env = "TAUTPOOL_INTERVAL", value_parser = PossibleValuesParser::new(["hartung_knapp", "hartung_knapp_safe", "cluster_robust", "wald"]))]
    pub(in crate::cli) interval: Option<String>,
    /// Level of the intervals, from 0.5 to under 1; left out, that of the aggregate, or 0.95
    #[arg(long, env = "TAUTPOOL_LEVEL", value_parser = level)]
    pub(in crate::cli) level: Option<Level>,
    /// Column of the CSV on which the effects are regressed; may be repeated. Rows where it is blank are left out
    #[arg(long = "moderator", env = "TAUTPOOL_MODERATOR", value_name = "COLUMN")]
    pub(in crate::cli) moderators: Vec<String>,
    /// Regress through the origin: where all moderators are 0 there is no effect
    #[arg(long, env = "TAUTPOOL_NO_INTERCEPT", requires = "moderators")]
    pub(in crate::cli) no_intercept: bool,
    /// Say what the regression predicts where the moderators have these values, in their order with commas between; may be repeated
    #[arg(long = "at", env = "TAUTPOOL_AT", value_name = "VALUES", requires = "moderators", value_parser = place, allow_negative_numbers = true)]
    pub(in crate::cli) at: Vec<Place>,
    /// Column of the CSV that says which effects belong together; left out, the column named cluster or group if there is one
    #[arg(long, env = "TAUTPOOL_CLUSTER", value_name = "COLUMN")]
    pub(in crate::cli) cluster: Option<String>,
    /// Pool only the rows of an aggregate or a release that this asks about, in the words behind the question mark of the query address, such as `outcome=speed&gap_from=8`
    #[arg(long = "where", env = "TAUTPOOL_WHERE", value_name = "QUESTION", conflicts_with_all = ["estimator", "interval", "level", "moderators", "cluster"])]
    pub(in crate::cli) question: Option<String>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool check contribution.json\n  tautpool check contribution.json --study study.json --json\n\nEnds with 0 when there is no fault and with 1 when there is one."
)]
pub(in crate::cli) struct Check {
    /// The contribution; - is standard input
    #[arg(value_name = "FILE")]
    pub(in crate::cli) file: PathBuf,
    /// The study it is for, - is standard input; left out, the demo's rules hold, whatever its name and consent version
    #[arg(long, env = "TAUTPOOL_STUDY_FILE", value_name = "STUDY_FILE")]
    pub(in crate::cli) study: Option<PathBuf>,
    /// Write faults and flags as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) json: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool export --data DIR > private.json\n  tautpool export --data DIR --study STUDY --output private.json\n\nIt has what players sent, word for word: for the host's eyes only."
)]
pub(in crate::cli) struct Export {
    #[command(flatten)]
    pub(in crate::cli) data: Data,
    /// The file to make, readable by its owner alone; nothing is overwritten. - is standard output
    #[arg(
        long,
        env = "TAUTPOOL_OUTPUT",
        value_name = "FILE",
        default_value = "-"
    )]
    pub(in crate::cli) output: PathBuf,
    /// With --output FILE: say what was written as JSON. The export itself is JSON always
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) json: bool,
    /// Short name of the study; left out, every study
    #[arg(long, env = "TAUTPOOL_STUDY", value_name = "STUDY")]
    pub(in crate::cli) study: Option<String>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  tautpool backup --data DIR --to BACKUPS\n\nA backup is a folder named after the time. It holds the key behind every receipt and contributions word for word, so keep it as the data folder."
)]
pub(in crate::cli) struct MakeBackup {
    #[command(flatten)]
    pub(in crate::cli) data: Data,
    /// The folder in which the backup is made, itself made where it is not there
    #[arg(long, env = "TAUTPOOL_BACKUP_TO", value_name = "DIR")]
    pub(in crate::cli) to: PathBuf,
    /// Write what was made as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) json: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool restore BACKUPS/tautpool-20270101T030000Z --data NEW\n  tautpool restore BACKUPS/tautpool-20270101T030000Z --check"
)]
pub(in crate::cli) struct Restore {
    /// The backup: a folder that `tautpool backup` or a scheduled backup made
    #[arg(value_name = "BACKUP")]
    pub(in crate::cli) backup: PathBuf,
    /// The data folder to make; it must be new or empty
    #[arg(
        long,
        env = "TAUTPOOL_DATA",
        value_name = "DIR",
        required_unless_present = "check"
    )]
    pub(in crate::cli) data: Option<PathBuf>,
    /// A newer backup or data folder, also one that is in use: what was withdrawn there is withdrawn in the
    /// restored folder too. May be repeated
    #[arg(long, env = "TAUTPOOL_WITHDRAWN_IN", value_name = "FOLDER")]
    pub(in crate::cli) withdrawn_in: Vec<PathBuf>,
    /// Only check that the backup is whole
    #[arg(long, env = "TAUTPOOL_CHECK", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) check: bool,
    /// Write what was found as JSON
    #[arg(long, env = "TAUTPOOL_JSON", value_parser = FalseyValueParser::new())]
    pub(in crate::cli) json: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool inspect --data DIR\n  tautpool inspect --settings /etc/tautpool/tautpool.env --data DIR --json\n\nLooks at settings, folder, disk, database, receipt key, clock and backups, and changes nothing; it may run beside a serving process. Ends with 0 when there is no fault and with 1 when there is one."
)]
pub(in crate::cli) struct Inspect {
    /// A file of settings, one NAME=VALUE a line, as the service gets them; it goes before the
    /// environment. - is standard input
    #[arg(long, env = "TAUTPOOL_SETTINGS", value_name = "FILE")]
    pub(in crate::cli) settings: Option<PathBuf>,
    /// The data folder; left out, that of the settings
    #[arg(long, env = "TAUTPOOL_DATA", value_name = "DIR")]
    pub(in crate::cli) data: Option<PathBuf>,
    #[command(flatten)]
    pub(in crate::cli) json: AsJson,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool completions bash > /usr/local/share/bash-completion/completions/tautpool\n  tautpool completions zsh > ~/.zfunc/_tautpool\n  tautpool completions fish > ~/.config/fish/completions/tautpool.fish"
)]
pub(in crate::cli) struct Completions {
    /// The shell
    #[arg(value_name = "SHELL")]
    pub(in crate::cli) shell: Shell,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool man | man -l -\n  tautpool man host study add\n  tautpool man --to /usr/local/share/man/man1"
)]
pub(in crate::cli) struct Man {
    /// The command, word by word; left out, the program
    #[arg(value_name = "COMMAND", conflicts_with = "to")]
    pub(in crate::cli) of: Vec<String>,
    /// Write the pages of all commands into this folder instead
    #[arg(long, env = "TAUTPOOL_MAN_TO", value_name = "DIR")]
    pub(in crate::cli) to: Option<PathBuf>,
}

fn level(text: &str) -> Result<Level, String> {
    let level = text.trim().parse().ok();
    level
        .and_then(|level| Level::new(level).ok())
        .ok_or_else(|| "write a number from 0.5 to under 1, such as 0.95".to_owned())
}

/// Where a demo is asked: it has no TLS.
fn demo_address(text: &str) -> Result<String, String> {
    let rest = text.strip_prefix("http://").unwrap_or_default();
    if rest.is_empty() || rest.starts_with('/') {
        Err("write an address such as http://127.0.0.1:8080".to_owned())
    } else {
        Ok(text.to_owned())
    }
}

/// An address to listen on; a name such as `localhost` is looked up.
fn address(text: &str) -> Result<SocketAddr, String> {
    let wanted = "write an address and a port, such as 127.0.0.1:8080";
    let mut found = text
        .to_socket_addrs()
        .map_err(|error| format!("{error}: {wanted}"))?;
    found.next().ok_or_else(|| wanted.to_owned())
}
