//! What the host's commands take.

use super::Folder;
use clap::Subcommand;
use std::path::PathBuf;

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum Host {
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
pub(in crate::cli) enum HostInvitations {
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
        folder: Folder,
    },
    /// From now on a study takes contributions of new players only with an invitation
    #[command(after_help = "Example:\n  tautpool host invitations need STUDY --data DIR")]
    Need {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        #[command(flatten)]
        folder: Folder,
    },
    /// From now on everybody may send to a study again
    #[command(after_help = "Example:\n  tautpool host invitations lift STUDY --data DIR")]
    Lift {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        #[command(flatten)]
        folder: Folder,
    },
    /// List the invitations of a study with how often each was used, without their codes
    #[command(after_help = "Example:\n  tautpool host invitations list STUDY --data DIR --json")]
    List {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        #[command(flatten)]
        folder: Folder,
    },
    /// End an invitation
    #[command(after_help = "Example:\n  tautpool host invitations end STUDY 3 --data DIR")]
    End {
        /// Short name of the study
        #[arg(value_name = "STUDY")]
        study: String,
        /// Its number in the list
        #[arg(value_name = "NUMBER")]
        number: i64,
        #[command(flatten)]
        folder: Folder,
    },
}

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum HostCredential {
    /// Make the credential, which is shown once; one made before ends, and every sign-in with it
    #[command(after_help = "Example:\n  tautpool host credential make --data DIR")]
    Make {
        #[command(flatten)]
        folder: Folder,
    },
}

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum HostStudy {
    /// Add a study as a draft to a data folder, which is made when it does not exist
    #[command(after_help = "Example:\n  tautpool host study add study.json --data DIR")]
    Add {
        /// The study (schema/study.v1.schema.json, also served under /schema/); - is standard input
        #[arg(value_name = "FILE")]
        file: PathBuf,
        #[command(flatten)]
        folder: Folder,
    },
    /// Open recruiting of a draft, which freezes its analysis plan
    #[command(after_help = "Example:\n  tautpool host study open NAME --data DIR")]
    Open {
        /// Short name of the study
        #[arg(value_name = "NAME")]
        name: String,
        #[command(flatten)]
        folder: Folder,
    },
    /// Change a draft, or make a further version of a study that was opened, which readers are shown
    #[command(
        after_help = "Example:\n  tautpool host study amend NAME study.json --reason \"Why, for readers\" --data DIR"
    )]
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
        folder: Folder,
    },
    /// Close recruiting: no further contribution is taken, and this cannot be undone
    #[command(after_help = "Example:\n  tautpool host study close NAME --data DIR")]
    Close {
        /// Short name of the study
        #[arg(value_name = "NAME")]
        name: String,
        #[command(flatten)]
        folder: Folder,
    },
    /// List the studies with where they stand
    #[command(after_help = "Example:\n  tautpool host study list --data DIR --json")]
    List {
        #[command(flatten)]
        folder: Folder,
    },
}
