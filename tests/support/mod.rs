//! One throw-away cluster for every test process, one database for each test, copied from a migrated template.
#![expect(dead_code, reason = "each test binary uses its own part of it")]

pub(crate) mod dealership;
pub(crate) mod profiles;

use axum::{
    Router,
    body::Body,
    http::{Request, header},
};
use embertide::{
    clock::Clock,
    cluster::{self, Cluster},
    jobs::Worker,
    roads::{file, import},
    secrets::Effort,
    sources::Sources,
    store::{self, photos::files::Folder, sessions, sessions::Role},
    web::{self, app::App, guard::RouteInfo},
};
use http_body_util::BodyExt;
use sqlx::{AssertSqlSafe, Connection, PgConnection, PgPool, postgres::PgConnectOptions};
use std::{
    fs::{self, File},
    io::Cursor,
    os::unix::fs::PermissionsExt,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    sync::{Arc, OnceLock},
};
use time::{OffsetDateTime, macros::datetime};
use tokio::sync::Notify;
use tower::ServiceExt;
use uuid::Uuid;

/// Monday, October 5, 2026, ten in the morning in New York: inside the fall season.
pub(crate) const NOW: OffsetDateTime = datetime!(2026-10-05 14:00 UTC);

/// Nothing here outlives the tests, so nothing needs to reach the disk.
const THROW_AWAY: &[&str] = &["fsync=off", "full_page_writes=off", "synchronous_commit=off", "autovacuum=off", "max_connections=200"];

struct Shared {
    options: PgConnectOptions,
    template: String,
    /// Held by every process that uses the cluster; whoever waits for it alone stops the server.
    _using: File,
}

fn shared() -> &'static Shared {
    static SHARED: OnceLock<Shared> = OnceLock::new();
    SHARED.get_or_init(|| std::thread::spawn(prepare).join().unwrap())
}

fn folder() -> PathBuf {
    let base = if is_roomy(Path::new("/dev/shm")) { PathBuf::from("/dev/shm") } else { std::env::temp_dir() };
    let key = embertide::secrets::hex(&embertide::secrets::sha256(env!("CARGO_MANIFEST_DIR").as_bytes())[..4]);
    base.join(format!("embertide-tests-{key}"))
}

/// A container's shared memory is often 64 MB, too little for a server.
fn is_roomy(folder: &Path) -> bool {
    let Ok(out) = Command::new("df").arg("-Pm").arg(folder).output() else { return false };
    let says = String::from_utf8_lossy(&out.stdout).into_owned();
    says.lines().nth(1).and_then(|l| l.split_whitespace().nth(3)?.parse().ok()).is_some_and(|free: u64| free >= 2000)
}

fn prepare() -> Shared {
    let folder = folder();
    fs::create_dir_all(&folder).unwrap();
    let using = lock_file(&folder.join("using"));
    using.lock_shared().unwrap();
    let setup = lock_file(&folder.join("setup"));
    setup.lock().unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let (options, template) = runtime.block_on(async {
        let cluster = Cluster::open(&folder.join("cluster"), THROW_AWAY).await.unwrap();
        if cluster.is_ours() {
            stop_when_idle(&cluster, &folder.join("using"));
        }
        let template = template(&cluster).await;
        (cluster.options(), template)
    });
    drop(setup);
    Shared { options, template, _using: using }
}

fn lock_file(path: &Path) -> File {
    let file = File::options().create(true).append(true).open(path).unwrap();
    let _ = fs::set_permissions(path, fs::Permissions::from_mode(0o666));
    file
}

/// A small process that waits until nobody uses the cluster any more, then stops it.
fn stop_when_idle(cluster: &Cluster, using: &Path) {
    let stop = cluster.tool("pg_ctl");
    let mut wait = Command::new("/usr/bin/flock");
    wait.arg(using);
    if let Ok(Some(owner)) = cluster::owner() {
        wait.args(["setpriv", "--clear-groups", &format!("--reuid={}", owner.uid), &format!("--regid={}", owner.gid)]);
    }
    wait.arg(stop.get_program()).args(["stop", "-s", "-m", "fast", "-D"]).arg(cluster.data());
    wait.current_dir("/").stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    std::os::unix::process::CommandExt::process_group(&mut wait, 0);
    // It outlives this process on purpose.
    drop(wait.spawn().unwrap());
}

/// The migrated template, made once for each set of migrations.
async fn template(cluster: &Cluster) -> String {
    let sums: Vec<u8> = store::MIGRATIONS.iter().flat_map(|m| m.checksum.iter().copied()).collect();
    let template = format!("template_{}", &embertide::secrets::hex(&embertide::secrets::sha256(&sums))[..16]);
    let mut c = PgConnection::connect_with(&cluster.options_for("postgres")).await.unwrap();
    let there: bool =
        sqlx::query_scalar("SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)").bind(&template).fetch_one(&mut c).await.unwrap();
    if !there {
        sqlx::raw_sql("DROP DATABASE IF EXISTS making").execute(&mut c).await.unwrap();
        sqlx::raw_sql("CREATE DATABASE making").execute(&mut c).await.unwrap();
        let pool = store::pool(cluster.options_for("making"), 2);
        store::migrate(&pool).await.unwrap();
        pool.close().await;
        sqlx::raw_sql(AssertSqlSafe(format!("ALTER DATABASE making RENAME TO {template}"))).execute(&mut c).await.unwrap();
    }
    c.close().await.unwrap();
    template
}

/// A database of one test's own; gone with it.
pub(crate) struct TestDb {
    pub(crate) pool: PgPool,
    /// For files, made when the first one is.
    pub(crate) data: PathBuf,
    name: String,
}

impl TestDb {
    pub(crate) async fn new() -> Self {
        let s = shared();
        let name = format!("test_{}", Uuid::now_v7().simple());
        let mut c = PgConnection::connect_with(&s.options.clone().database("postgres")).await.unwrap();
        sqlx::raw_sql(AssertSqlSafe(format!("CREATE DATABASE {name} TEMPLATE {} STRATEGY FILE_COPY", s.template)))
            .execute(&mut c)
            .await
            .unwrap();
        c.close().await.unwrap();
        let pool = store::pool(s.options.clone().database(&name), 6);
        Self { pool, data: std::env::temp_dir().join(format!("embertide-{name}")), name }
    }

    /// How another process connects to this very database.
    pub(crate) fn url(&self) -> String {
        let socket = folder().join("cluster/run");
        format!("postgres://app@localhost/{}?host={}", self.name, socket.display())
    }
}

impl Drop for TestDb {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.data);
        let (options, name) = (shared().options.clone(), self.name.clone());
        let drop = move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(async {
                let mut c = PgConnection::connect_with(&options.database("postgres")).await.unwrap();
                sqlx::raw_sql(AssertSqlSafe(format!("DROP DATABASE {name} WITH (FORCE)"))).execute(&mut c).await.unwrap();
            });
        };
        let _ = std::thread::spawn(drop).join();
    }
}

/// The whole service over a database of its own, its clock standing at [`NOW`].
pub(crate) struct TestApp {
    pub(crate) db: TestDb,
    pub(crate) app: App,
    pub(crate) routes: Vec<RouteInfo>,
    router: Router,
}

/// An answer.
pub(crate) struct Page {
    pub(crate) status: u16,
    pub(crate) location: String,
    pub(crate) cookie: Option<String>,
    pub(crate) headers: axum::http::HeaderMap,
    pub(crate) body: String,
}

/// Somebody signed in.
#[derive(Clone)]
pub(crate) struct Session {
    pub(crate) token: String,
    pub(crate) form_token: String,
    pub(crate) staff_id: Uuid,
}

impl TestApp {
    pub(crate) async fn start() -> Self {
        Self::at(NOW).await
    }

    pub(crate) async fn at(now: OffsetDateTime) -> Self {
        if std::env::var_os("TEST_LOG").is_some() {
            let _ = tracing_subscriber::fmt().with_test_writer().try_init();
        }
        let db = TestDb::new().await;
        let mut app = App::new(db.pool.clone(), Clock::Fixed(now), "http://test.example", Arc::new(Notify::new()));
        app.effort = Effort::Invented;
        app.photos = Folder::of(&db.data);
        let (router, list) = web::router(app.clone());
        Self { db, app, routes: list, router }
    }

    /// With a road file of an invented county round the test dealership.
    pub(crate) async fn on_roads() -> Self {
        let mut t = Self::start().await;
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("roads-{}", Uuid::now_v7().simple()));
        fs::create_dir_all(&folder).unwrap();
        let (network, _) = import(Cursor::new(dealership::county().extract()), None).unwrap();
        file::save(&folder.join(file::NAME), &network).unwrap();
        let current = file::Current::new(folder.join(file::NAME));
        assert!(current.refresh().unwrap());
        t.app.sources = Sources::new(Arc::new(current), None);
        t.on(NOW);
        fs::remove_dir_all(&folder).unwrap();
        t
    }

    pub(crate) fn pool(&self) -> &PgPool {
        &self.db.pool
    }

    /// The same service on another day.
    pub(crate) fn on(&mut self, now: OffsetDateTime) {
        self.app.clock = Clock::Fixed(now);
        self.router = web::router(self.app.clone()).0;
    }

    /// Does what waits in the background.
    pub(crate) async fn work(&self) -> usize {
        let worker = Worker {
            pool: self.pool().clone(),
            clock: self.app.clock,
            bell: self.app.bell.clone(),
            sources: self.app.sources.clone(),
            photos: self.app.photos.clone(),
            steps: 3_000,
            season_steps: 45_000,
        };
        worker.run_due().await.unwrap()
    }

    /// Opens a session for a member of staff, as a sign-in would.
    pub(crate) async fn session(&self, staff_id: Uuid, role: Role) -> Session {
        let token = sessions::open(self.pool(), staff_id, role, self.app.clock.now()).await.unwrap();
        let who = sessions::find(self.pool(), &token, self.app.clock.now()).await.unwrap().unwrap();
        Session { token, form_token: who.form_token, staff_id }
    }

    pub(crate) async fn send(&self, request: Request<Body>) -> Page {
        let answer = self.router.clone().oneshot(request).await.unwrap();
        let (head, body) = answer.into_parts();
        let text = |name| head.headers.get(name).and_then(|v: &header::HeaderValue| v.to_str().ok()).map(str::to_owned);
        Page {
            status: head.status.as_u16(),
            location: text(header::LOCATION).unwrap_or_default(),
            cookie: text(header::SET_COOKIE),
            body: String::from_utf8_lossy(&body.collect().await.unwrap().to_bytes()).into_owned(),
            headers: head.headers,
        }
    }

    pub(crate) async fn get(&self, who: Option<&Session>, path: &str) -> Page {
        let mut request = Request::get(path);
        if let Some(s) = who {
            request = request.header(header::COOKIE, format!("embertide={}", s.token));
        }
        self.send(request.body(Body::empty()).unwrap()).await
    }

    /// Posts a form as a browser on the page would: with the session's token and a number of its own.
    pub(crate) async fn post(&self, who: &Session, path: &str, pairs: &[(&str, &str)]) -> Page {
        self.post_as(who, path, Uuid::now_v7(), pairs).await
    }

    /// The same with a number chosen by the test: the same number twice is the same form twice.
    pub(crate) async fn post_as(&self, who: &Session, path: &str, id: Uuid, pairs: &[(&str, &str)]) -> Page {
        let id = id.to_string();
        let mut all: Vec<(&str, &str)> = vec![("form_token", &who.form_token), ("id", &id)];
        all.extend_from_slice(pairs);
        self.post_raw(Some(who), path, &encode(&all)).await
    }

    pub(crate) async fn post_raw(&self, who: Option<&Session>, path: &str, body: &str) -> Page {
        let mut request = Request::post(path).header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        if let Some(s) = who {
            request = request.header(header::COOKIE, format!("embertide={}", s.token));
        }
        self.send(request.body(Body::from(body.to_owned())).unwrap()).await
    }

    /// Every promise the stored rows must keep.
    pub(crate) async fn broken_promises(&self) -> Vec<String> {
        let today = store::dealer::get(self.pool(), self.app.clock.now()).await.unwrap().today;
        let mut c = self.pool().acquire().await.unwrap();
        store::doctor::broken_promises(&mut c, today).await.unwrap()
    }
}

/// `application/x-www-form-urlencoded`.
pub(crate) fn encode(pairs: &[(&str, &str)]) -> String {
    let pct = |s: &str| {
        s.bytes()
            .map(|b| if b.is_ascii_alphanumeric() || b"-_.~".contains(&b) { char::from(b).to_string() } else { format!("%{b:02X}") })
            .collect::<String>()
    };
    pairs.iter().map(|(k, v)| format!("{}={}", pct(k), pct(v))).collect::<Vec<_>>().join("&")
}

impl Page {
    fn doc(&self) -> scraper::Html {
        scraper::Html::parse_document(&self.body)
    }

    /// Text of every element that the selector finds.
    pub(crate) fn texts(&self, selector: &str) -> Vec<String> {
        let doc = self.doc();
        let selector = scraper::Selector::parse(selector).unwrap();
        let found = doc.select(&selector).map(|e| e.text().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" "));
        found.collect()
    }

    /// Text of the first.
    pub(crate) fn text(&self, selector: &str) -> String {
        self.texts(selector).into_iter().next().unwrap_or_default()
    }

    pub(crate) fn attrs(&self, selector: &str, name: &str) -> Vec<String> {
        let doc = self.doc();
        let selector = scraper::Selector::parse(selector).unwrap();
        let found = doc.select(&selector).filter_map(|e| e.value().attr(name).map(str::to_owned));
        found.collect()
    }
}
