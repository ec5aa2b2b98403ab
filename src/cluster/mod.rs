//! A private Postgres cluster in the data folder: found, made once, started, attached to, stopped.
//!
//! It listens on no port, only on a socket inside a folder that nobody else may enter; that folder is its lock.
//! Postgres refuses to run as root, so under root the server runs as the user `postgres`.

mod databases;
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

pub use databases::SCRATCH;
pub use folder::{Owner, owner, reachable};

/// The database of the service inside the private cluster.
const DATABASE: &str = "embertide";

/// How long a program waits for the one that holds the folder to have the database up.
const PATIENCE: Duration = Duration::from_mins(1);

/// A server that was killed, or one of whose processes was, reads its log again before it answers; after a busy day that takes a while.
const START: Duration = Duration::from_mins(5);

/// SQLSTATE `cannot_connect_now`.
const NOT_READY: &str = "57P03";
/// SQLSTATE `crash_shutdown`.
const RESETS: &str = "57P02";

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
    #[error("The folder {folder} belongs to another user: {why}. Run the program as that user, or choose another data folder with --data.")]
    NotOurs { folder: PathBuf, why: io::Error },
    #[error("{folder} is held by {holder}, but its database does not answer. Look into {folder}/postgres/server.log, or end that program.")]
    Held { folder: PathBuf, holder: String },
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
        let socket = folder::socket(&root, owner.as_ref())?;
        let bin = folder::binaries(&root, folder::made_by(&root.join("postgres")))?;
        let mut me = Self { bin, root, socket, owner, lock: None };
        if me.lock_or_attach().await? {
            return Ok(me);
        }
        if !me.answers().await {
            me.make_and_start(settings).await?;
        }
        me.ensure_database_after_resets().await?;
        Ok(me)
    }

    /// Takes the folder's lock, or waits until its holder has the database up. True when attached to another's.
    async fn lock_or_attach(&mut self) -> Result<bool, Error> {
        let began = tokio::time::Instant::now();
        loop {
            self.lock = take_lock(&self.root)?;
            if self.lock.is_some() {
                return Ok(false);
            }
            if self.connect(DATABASE).await.is_ok() {
                return Ok(true);
            }
            if began.elapsed() > PATIENCE {
                let holder = fs::read_to_string(self.root.join("lock")).unwrap_or_default();
                return Err(Error::Held { folder: self.root.clone(), holder: holder.trim().to_owned() });
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }

    /// Only under the lock: what the folder holds is looked at anew, as another program may just have made it.
    async fn make_and_start(&mut self, settings: &[&str]) -> Result<(), Error> {
        let made = folder::made_by(&self.data());
        self.bin = folder::binaries(&self.root, made)?;
        if made.is_none() {
            self.make()?;
        }
        folder::close(&self.data(), self.owner.as_ref())?;
        self.start(settings).await
    }

    /// How to connect to the service's database.
    pub fn options(&self) -> PgConnectOptions {
        self.options_for(DATABASE)
    }

    /// The name of the service's database.
    pub fn database(&self) -> &'static str {
        DATABASE
    }

    /// The folder of its socket.
    pub fn socket(&self) -> &Path {
        &self.socket
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

    /// Waits for a server that is there but not ready: it starts, reads its log again, or ends.
    async fn connect_when_ready(&self) -> Result<PgConnection, sqlx::Error> {
        let began = tokio::time::Instant::now();
        loop {
            match self.connect("postgres").await {
                Err(e) if has_code(&e, NOT_READY) && began.elapsed() < START => tokio::time::sleep(Duration::from_millis(100)).await,
                other => return other,
            }
        }
    }

    async fn answers(&self) -> bool {
        self.connect_when_ready().await.is_ok()
    }

    /// Made beside its place and moved there when complete: a machine that goes down meanwhile leaves nothing half made behind.
    fn make(&self) -> Result<(), Error> {
        let making = self.root.join("postgres.making");
        if making.exists() {
            fs::remove_dir_all(&making)?;
        }
        folder::close(&making, self.owner.as_ref())?;
        let mut initdb = self.tool("initdb");
        initdb.arg("-D").arg(&making);
        initdb.args(["-U", "app", "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8", "--data-checksums"]);
        run("Making the database", &mut initdb)?;
        fs::rename(&making, self.data())?;
        File::open(&self.root)?.sync_all()?;
        Ok(())
    }

    /// After a kill the old server's children may still be dying, so such a start is tried again for ten seconds.
    async fn start(&self, settings: &[&str]) -> Result<(), Error> {
        for tries in 1.. {
            let Err(fault) = self.start_once(settings) else { break };
            if self.answers().await {
                break;
            }
            let log = self.end_of_log();
            let passing = ["still in use", "already exists", "postmaster"].iter().any(|sign| log.contains(sign));
            if tries == 20 || tries > 1 && !passing {
                return Err(match fault {
                    Error::Tool { step, says } => Error::Tool { step, says: format!("{says}\n{log}") },
                    other => other,
                });
            }
            tokio::time::sleep(Duration::from_millis(500)).await;
        }
        Ok(())
    }

    fn start_once(&self, settings: &[&str]) -> Result<(), Error> {
        // A list of folders in double quotes, each option in the single quotes of the shell that pg_ctl hands it to.
        let socket = self.socket.to_string_lossy().replace('"', "\"\"");
        let mut wanted = vec![
            "listen_addresses=".to_owned(),
            "unix_socket_permissions=0700".to_owned(),
            format!("unix_socket_directories=\"{socket}\""),
        ];
        wanted.extend(settings.iter().map(|s| (*s).to_owned()));
        let options: Vec<String> = wanted.iter().map(|s| format!("-c '{}'", s.replace('\'', r"'\''"))).collect();
        let mut start = self.tool("pg_ctl");
        start.args(["start", "-s", "-w", "-t", &START.as_secs().to_string(), "-D"]).arg(self.data());
        start.arg("-l").arg(self.data().join("server.log")).arg("-o").arg(options.join(" "));
        run("Starting PostgreSQL", &mut start)
    }

    fn end_of_log(&self) -> String {
        let log = fs::read(self.data().join("server.log")).unwrap_or_default();
        let log = String::from_utf8_lossy(&log);
        let lines: Vec<&str> = log.lines().collect();
        lines[lines.len().saturating_sub(4)..].join("\n")
    }

    /// A server one of whose processes was killed may take a connection and drop it, before it reads its log again.
    async fn ensure_database_after_resets(&self) -> Result<(), Error> {
        for _ in 0..2 {
            match self.ensure_database().await {
                Err(Error::Sql(e)) if matches!(e, sqlx::Error::Io(_)) || has_code(&e, RESETS) => {}
                other => return other,
            }
        }
        self.ensure_database().await
    }

    async fn ensure_database(&self) -> Result<(), Error> {
        let mut c = self.connect_when_ready().await?;
        let there: bool =
            sqlx::query_scalar("SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)").bind(DATABASE).fetch_one(&mut c).await?;
        if !there {
            sqlx::raw_sql("CREATE DATABASE embertide").execute(&mut c).await?;
        }
        c.close().await?;
        Ok(())
    }
}

fn has_code(e: &sqlx::Error, code: &str) -> bool {
    e.as_database_error().is_some_and(|e| e.code().as_deref() == Some(code))
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
