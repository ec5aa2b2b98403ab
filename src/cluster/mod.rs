//! A private Postgres cluster in the data folder: found, made once, started, attached to, stopped.
//!
//! It listens on no port, only on a socket inside a folder that nobody else may enter; that folder is its lock.
//! Postgres refuses to run as root, so under root the server runs as the user `postgres`.

mod folder;

use sqlx::{Connection, PgConnection, postgres::PgConnectOptions};
use std::{
    fs::{self, File, TryLockError},
    io::{self, Write},
    os::unix::process::CommandExt,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::Duration,
};

pub use folder::{Owner, owner, reachable};

/// The database of the service inside the private cluster.
const DATABASE: &str = "embertide";

/// Why there is no database. Every message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(
        "PostgreSQL is not installed on this machine. Either install it (apt-get install postgresql), or say in DATABASE_URL which database to use."
    )]
    NoServer,
    #[error(
        "The data in {data} was made by PostgreSQL {made}, which is not installed here (found: {found}). Install postgresql-{made}, or restore last night's backup into a new data folder."
    )]
    OtherVersion { data: PathBuf, made: u32, found: String },
    #[error(
        "The user `{user}` cannot reach the folder {folder}. Choose another data folder with --data, for example --data /var/lib/embertide."
    )]
    Unreachable { folder: PathBuf, user: String },
    #[error(
        "This program runs as root and PostgreSQL refuses to; there is no user `postgres` to run it as. Install the postgresql package, or run as an ordinary user."
    )]
    NoOwner,
    #[error("{step} failed: {says}")]
    Tool { step: &'static str, says: String },
    #[error(transparent)]
    Io(#[from] io::Error),
    #[error(transparent)]
    Sql(#[from] sqlx::Error),
}

/// A running private cluster. Dropping it leaves the server running; [`Cluster::stop`] ends it if this program started it.
#[derive(Debug)]
pub struct Cluster {
    bin: PathBuf,
    root: PathBuf,
    socket: PathBuf,
    owner: Option<Owner>,
    /// Held by the one program that may start and stop the server.
    lock: Option<File>,
}

/// Postgres settings for real data. Durability settings stay at their defaults, which are all on.
pub const DURABLE: &[&str] = &["shared_buffers=128MB", "max_connections=60"];

impl Cluster {
    /// Opens the cluster in `root`, making and starting it as needed.
    ///
    /// A second program on the same folder attaches to the running server and does not stop it.
    pub async fn open(root: &Path, settings: &[&str]) -> Result<Self, Error> {
        let owner = folder::owner()?;
        let root = folder::prepare(root, owner.as_ref())?;
        let made = folder::made_by(&root.join("postgres"));
        let bin = folder::binaries(&root, made)?;
        let socket = folder::socket(&root, owner.as_ref())?;
        let lock = take_lock(&root)?;
        let me = Self { bin, root, socket, owner, lock };
        if me.lock.is_none() {
            me.wait_for_other().await?;
        } else if me.connect("postgres").await.is_err() {
            if made.is_none() {
                me.make()?;
            }
            me.start(settings).await?;
        }
        me.ensure_database().await?;
        Ok(me)
    }

    /// How to connect to the service's database.
    pub fn options(&self) -> PgConnectOptions {
        self.options_for(DATABASE)
    }

    /// How to connect to any database of the cluster.
    pub fn options_for(&self, database: &str) -> PgConnectOptions {
        PgConnectOptions::new_without_pgpass().socket(&self.socket).username("app").database(database)
    }

    /// The data folder.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Whether this program holds the folder, and so will stop the server when it ends.
    pub fn is_ours(&self) -> bool {
        self.lock.is_some()
    }

    /// Stops the server, if this program holds the folder. Running statements are rolled back, acknowledged ones are safe.
    pub fn stop(self) -> Result<(), Error> {
        if self.lock.is_none() {
            return Ok(());
        }
        let mut stop = self.tool("pg_ctl");
        stop.args(["stop", "-s", "-w", "-m", "fast", "-D"]).arg(self.data());
        run("Stopping PostgreSQL", &mut stop)
    }

    /// A command of the installed Postgres, as the user who owns the data, away from the terminal's signals.
    pub fn tool(&self, program: &str) -> Command {
        let mut command = Command::new(self.bin.join(program));
        if let Some(owner) = &self.owner {
            command.uid(owner.uid).gid(owner.gid);
        }
        command.current_dir("/").env_clear().env("PATH", "/usr/bin:/bin").env("LC_ALL", "C.UTF-8");
        command.stdin(Stdio::null()).process_group(0);
        command
    }

    /// The server's own folder.
    pub fn data(&self) -> PathBuf {
        self.root.join("postgres")
    }

    async fn connect(&self, database: &str) -> Result<PgConnection, sqlx::Error> {
        PgConnection::connect_with(&self.options_for(database)).await
    }

    async fn wait_for_other(&self) -> Result<(), Error> {
        for _ in 0..100 {
            if self.connect("postgres").await.is_ok() {
                return Ok(());
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        let holder = fs::read_to_string(self.root.join("lock")).unwrap_or_default();
        Err(Error::Tool {
            step: "Attaching to the running database",
            says: format!("{} is held by {}, but its database does not answer", self.root.display(), holder.trim()),
        })
    }

    fn make(&self) -> Result<(), Error> {
        let mut initdb = self.tool("initdb");
        initdb.arg("-D").arg(self.data());
        initdb.args(["-U", "app", "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8", "--data-checksums"]);
        run("Making the database", &mut initdb)
    }

    /// After a kill the old server's children may still be dying, so a failed start is tried again for ten seconds.
    async fn start(&self, settings: &[&str]) -> Result<(), Error> {
        let mut last = Ok(());
        for _ in 0..20 {
            last = self.start_once(settings);
            if last.is_ok() || self.connect("postgres").await.is_ok() {
                return Ok(());
            }
            tokio::time::sleep(Duration::from_millis(500)).await;
        }
        last
    }

    fn start_once(&self, settings: &[&str]) -> Result<(), Error> {
        let mut wanted = vec![
            "listen_addresses=".to_owned(),
            "unix_socket_permissions=0700".to_owned(),
            format!("unix_socket_directories={}", self.socket.display()),
        ];
        wanted.extend(settings.iter().map(|s| (*s).to_owned()));
        let options: Vec<String> = wanted.iter().map(|s| format!("-c '{}'", s.replace('\'', "''"))).collect();
        let mut start = self.tool("pg_ctl");
        start.args(["start", "-s", "-w", "-D"]).arg(self.data());
        start.arg("-l").arg(self.data().join("server.log")).arg("-o").arg(options.join(" "));
        run("Starting PostgreSQL", &mut start)
    }

    async fn ensure_database(&self) -> Result<(), Error> {
        let mut c = self.connect("postgres").await?;
        let there: bool =
            sqlx::query_scalar("SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)").bind(DATABASE).fetch_one(&mut c).await?;
        if !there {
            sqlx::raw_sql("CREATE DATABASE embertide").execute(&mut c).await?;
        }
        c.close().await?;
        Ok(())
    }
}

/// `None` when another program holds the folder.
fn take_lock(root: &Path) -> Result<Option<File>, Error> {
    let mut lock = File::options().create(true).append(true).open(root.join("lock"))?;
    match lock.try_lock() {
        Ok(()) => {
            lock.set_len(0)?;
            writeln!(lock, "process {}", std::process::id())?;
            Ok(Some(lock))
        }
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(e)) => Err(e.into()),
    }
}

fn run(step: &'static str, command: &mut Command) -> Result<(), Error> {
    let out = command.output()?;
    if out.status.success() {
        return Ok(());
    }
    let says = [out.stderr, out.stdout].map(|b| String::from_utf8_lossy(&b).trim().to_owned()).join(" ");
    Err(Error::Tool { step, says })
}
