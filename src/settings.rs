//! The command line and the environment, in one struct.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::{net::SocketAddr, path::PathBuf};

/// Embertide: water records, due dates, doses and weekly service routes for a dealer of outdoor wood heaters.
///
/// Start with `embertide demo` to look round an invented dealership, then `embertide serve` for your own.
#[derive(Debug, Parser)]
#[command(version, max_term_width = 100)]
pub struct Settings {
    #[command(subcommand)]
    pub command: Command,
    #[command(flatten)]
    pub place: Place,
}

/// Where the data lies.
#[derive(Args, Clone, Debug)]
pub struct Place {
    /// Folder for everything that is kept: the database and the photos [default: ./data]
    #[arg(long, env = "EMBERTIDE_DATA", global = true, value_name = "FOLDER")]
    pub data: Option<PathBuf>,
    /// Use this Postgres database (15 or newer) instead of a private one in the data folder
    #[arg(long, env = "DATABASE_URL", global = true, hide_env_values = true, value_name = "URL")]
    pub database_url: Option<String>,
    /// Read the database address from this file, for secrets kept in files
    #[arg(long, env = "DATABASE_URL_FILE", global = true, value_name = "FILE")]
    pub database_url_file: Option<PathBuf>,
    /// Folder for the backups that `serve` makes every night [default: `backups` in the data folder]
    #[arg(long, env = "EMBERTIDE_BACKUPS", global = true, value_name = "FOLDER")]
    pub backups: Option<PathBuf>,
    #[command(flatten)]
    pub engine: EngineAt,
}

/// A road engine of the owner's, asked before the road file. It is never needed.
#[derive(Args, Clone, Debug, Default)]
pub struct EngineAt {
    /// Ask this road engine for driving times first, as `http://127.0.0.1:5000`. By plain http, in your own network
    #[arg(long, env = "EMBERTIDE_DRIVES_FROM", global = true, value_name = "URL")]
    pub drives_from: Option<String>,
    /// How the road engine is asked
    #[arg(long, env = "EMBERTIDE_DRIVES_KIND", global = true, value_enum, default_value_t = EngineKind::Table)]
    pub drives_kind: EngineKind,
    /// The road engine may lie outside of your own network: the pins of your customers leave the house
    #[arg(long, env = "EMBERTIDE_DRIVES_FROM_OUTSIDE", global = true)]
    pub drives_from_outside: bool,
}

/// Two protocols that road engines speak.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum EngineKind {
    /// A request to `/table/v1/driving/` with places as longitude,latitude
    #[default]
    Table,
    /// A request to `/sources_to_targets` with places in JSON
    Matrix,
}

/// Where the pages are served.
#[derive(Args, Clone, Debug)]
pub struct Listen {
    /// Address and port to listen on
    #[arg(long, env = "LISTEN", default_value = "127.0.0.1:8080")]
    pub listen: SocketAddr,
    /// The address that people type, as `https://water.example`; needed once you serve beyond this machine
    #[arg(long, env = "PUBLIC_URL", value_name = "URL")]
    pub public_url: Option<String>,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Look round: an invented dealership with five seasons of records, its coming week planned and printed
    Demo(Listen),
    /// Serve your own dealership. The first time, it prints a link that makes the owner's account
    Serve(Listen),
    /// Print a week, planned first when it is not yet: stops, times, driving, jobs, doses, what to load, what did not fit and why
    Plan {
        /// The week, as 2026-W40 [default: the coming week]
        #[arg(long, value_name = "YEAR-Wnn")]
        week: Option<String>,
        /// Plan it again even if there is a draft; confirmed visits stay where they are
        #[arg(long)]
        again: bool,
    },
    /// Bring in a list from a CSV file. Nothing is kept while one cell is wrong
    Import {
        file: PathBuf,
        /// What the list holds
        #[arg(long = "as", value_enum)]
        list: ListKind,
        /// Keep the good rows and write the others, each with what to fix, to this file
        #[arg(long, value_name = "FILE")]
        only_good_rows: Option<PathBuf>,
    },
    /// Take the roads from an extract of the OpenStreetMap (.osm.pbf), for driving times and route drawings. A running server takes them up by itself
    ImportRoads {
        file: PathBuf,
        /// Keep only the part round this point, as 44.62,-74.95
        #[arg(long, value_name = "LAT,LON", requires = "miles", allow_hyphen_values = true)]
        around: Option<String>,
        /// How far round it
        #[arg(long, value_name = "N", requires = "around")]
        miles: Option<f64>,
    },
    /// Copy all records and photos into a folder, while the service may run. `serve` does it every night by itself
    Backup {
        /// Where to [default: where `serve` puts them]
        folder: Option<PathBuf>,
    },
    /// Put the records and photos of a backup in place of those in use. Stop the service first
    Restore {
        /// A backup, or a folder of backups: then its newest
        backup: PathBuf,
        /// Only try it out: whether everything would come back as it was. Changes nothing; the service may run
        #[arg(long)]
        only_try: bool,
    },
    /// Write everything that is kept into a folder as lists (CSV), with the photos
    Export { folder: PathBuf },
    /// Say what is wrong with this installation, and what to do about it
    Doctor,
    /// Ask a running server whether it is well (for containers): exit code 0 or 1
    Health {
        #[arg(long, env = "LISTEN", default_value = "127.0.0.1:8080")]
        listen: SocketAddr,
    },
    /// Print a new sign-in link for somebody who cannot get in any more
    Unlock {
        /// The name they sign in with
        sign_in: String,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ListKind {
    /// Customers and their places
    Customers,
    /// Units, each at a customer's place
    Units,
    /// Old water tests, each of a unit
    Tests,
}
