//! A real browser, driven through its own driver: Debian's Chromium, or what `TEST_BROWSER` names. A condition is waited for, never a
//! time.

use fantoccini::{Client, ClientBuilder, Locator, elements::Element, wd::WindowHandle};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::{
    net::{Ipv4Addr, TcpListener},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

pub(crate) const DESK: (u32, u32) = (1280, 1000);
pub(crate) const PHONE: (u32, u32) = (390, 844);

/// Longest wait for a condition; reached only when it never comes.
const PATIENCE: Duration = Duration::from_mins(1);

/// The browsers that these tests know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Engine {
    Chromium,
    Webkit,
    Firefox,
}

impl Engine {
    pub(crate) fn chosen() -> Self {
        match std::env::var("TEST_BROWSER").as_deref() {
            Err(_) | Ok("" | "chromium") => Self::Chromium,
            Ok("webkit") => Self::Webkit,
            Ok("firefox") => Self::Firefox,
            Ok(other) => panic!("TEST_BROWSER is chromium, webkit or firefox, not {other}"),
        }
    }

    fn driver(self, port: u16) -> Command {
        let port = port.to_string();
        let mut command = Command::new(match self {
            Self::Chromium => "/usr/bin/chromedriver",
            Self::Webkit => "WebKitWebDriver",
            Self::Firefox => "geckodriver",
        });
        match self {
            Self::Chromium => command.arg(format!("--port={port}")),
            Self::Webkit => command.args(["-p", &port]).env("WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS", "1"),
            Self::Firefox => command.args(["--port", &port, "--websocket-port", "0"]),
        };
        command
    }

    fn capabilities(self, profile: &Path, preferences: &Value) -> Value {
        match self {
            Self::Chromium => {
                let profile = format!("--user-data-dir={}", profile.display());
                let args = [
                    "--headless",
                    "--no-sandbox",
                    "--disable-gpu",
                    "--disable-quic",
                    "--no-first-run",
                    "--disable-background-networking",
                    "--disable-component-update",
                    "--disable-sync",
                    "--disable-dev-shm-usage",
                    &profile,
                ];
                json!({ "goog:chromeOptions": { "binary": "/usr/bin/chromium", "args": args, "prefs": preferences } })
            }
            Self::Webkit => json!({ "webkitgtk:browserOptions": { "binary": mini_browser(), "args": ["--automation"] } }),
            Self::Firefox => {
                json!({ "moz:firefoxOptions": { "binary": "/usr/bin/firefox-esr", "args": ["-headless"], "prefs": preferences } })
            }
        }
    }
}

/// Where Debian keeps the little browser of `WebKit`, whatever the machine.
fn mini_browser() -> PathBuf {
    let all = std::fs::read_dir("/usr/lib").unwrap().filter_map(Result::ok).map(|e| e.path().join("webkit2gtk-4.1/MiniBrowser"));
    all.into_iter().find(|p| p.exists()).expect("webkit2gtk-driver is installed by .ci/setup --browsers")
}

/// What only Chromium's tools can set: colours and motion that the system asks for, no script, widths below a window's least.
pub(crate) fn needs_chromium() -> bool {
    let other = Engine::chosen() != Engine::Chromium;
    if other {
        println!("not run: needs Chromium's own tools");
    }
    other
}

pub(crate) struct Browser {
    engine: Engine,
    client: Client,
    base: String,
    driver: Child,
    profile: PathBuf,
}

impl Browser {
    pub(crate) async fn open(base: &str) -> Self {
        Self::with(base, json!({})).await
    }

    /// With other preferences, as scripts switched off.
    pub(crate) async fn with(base: &str, preferences: Value) -> Self {
        let engine = Engine::chosen();
        let port = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap().local_addr().unwrap().port();
        let mut driver =
            engine.driver(port).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the driver is installed by .ci/setup");
        let profile = std::env::temp_dir().join(format!("embertide-browser-{}", uuid::Uuid::now_v7().simple()));
        let capabilities = engine.capabilities(&profile, &preferences);
        let mut builder = ClientBuilder::new(HttpConnector::new());
        builder.capabilities(capabilities.as_object().unwrap().clone());
        let began = Instant::now();
        let client = loop {
            match builder.connect(&format!("http://127.0.0.1:{port}")).await {
                Ok(client) => break client,
                // Until the driver listens.
                Err(e) if began.elapsed() > PATIENCE || driver.try_wait().unwrap().is_some() => panic!("no browser: {e}"),
                Err(_) => tokio::time::sleep(Duration::from_millis(50)).await,
            }
        };
        Self { engine, client, base: base.to_owned(), driver, profile }
    }

    pub(crate) async fn window(&self, (width, height): (u32, u32)) {
        // Browsers have a least width for their windows; in Chromium the page's own width is set past it.
        self.client.set_window_size(width.max(500), height).await.unwrap();
        if self.engine == Engine::Chromium {
            let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
            self.tools("Emulation.setDeviceMetricsOverride", metrics).await;
        }
    }

    pub(crate) async fn goto(&self, path: &str) {
        self.client.goto(&format!("{}{path}", self.base)).await.unwrap();
    }

    /// No page of the service is open any more.
    pub(crate) async fn away(&self) {
        self.client.goto("about:blank").await.unwrap();
    }

    /// Leaves the service and opens this page of it until a script there answers with true: a browser lets a new worker take over
    /// when the last old page is gone and the old worker has done its work, which may be after the next page was opened.
    pub(crate) async fn open_anew_until(&self, url: &str, script: &str) {
        let began = Instant::now();
        loop {
            self.away().await;
            self.goto(url).await;
            if self.later(script).await == true {
                return;
            }
            assert!(began.elapsed() < PATIENCE, "never came: {script}");
        }
    }

    pub(crate) async fn sign_in(&self, name: &str) {
        self.goto("/sign-in").await;
        self.fill("#sign_in", name).await;
        self.fill("#password", crate::support::dealership::PASSWORD).await;
        self.press("Sign in").await;
        self.wait("nav").await;
    }

    /// Waits until the element is there, and reads it.
    pub(crate) async fn wait(&self, css: &str) -> String {
        let script = "const e = document.querySelector(arguments[0]); return e && (e.checkVisibility() ? e.innerText : '')";
        let began = Instant::now();
        loop {
            // A page that is just being left cannot answer: not yet.
            let said = self.client.execute(script, vec![css.into()]).await;
            if let Ok(Value::String(text)) = said {
                return text;
            }
            if began.elapsed() > PATIENCE {
                let page = self.client.execute("return document.body.innerText", vec![]).await;
                panic!("{css} never came: {said:?}; the page says: {page:?}");
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    pub(crate) async fn text(&self, css: &str) -> String {
        self.wait(css).await
    }

    pub(crate) async fn value(&self, css: &str) -> String {
        self.client.find(Locator::Css(css)).await.unwrap().prop("value").await.unwrap().unwrap_or_default()
    }

    /// The element, as soon as it is there: the page before may still be in front.
    async fn there(&self, locator: Locator<'_>) -> Element {
        let found = self.client.wait().at_most(PATIENCE).for_element(locator).await;
        found.unwrap_or_else(|e| panic!("{locator:?} never came: {e}"))
    }

    pub(crate) async fn fill(&self, css: &str, text: &str) {
        let field = self.there(Locator::Css(css)).await;
        field.clear().await.unwrap();
        field.send_keys(text).await.unwrap();
    }

    /// Chooses files, as from the camera: one path a line.
    pub(crate) async fn choose(&self, css: &str, paths: &[PathBuf]) {
        let all: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
        self.client.find(Locator::Css(css)).await.unwrap().send_keys(&all.join("\n")).await.unwrap();
    }

    pub(crate) async fn click(&self, css: &str) {
        let click = self.there(Locator::Css(css)).await.click().await;
        click.unwrap_or_else(|e| panic!("{css} takes no click: {e}"));
    }

    /// Presses the button that says this.
    pub(crate) async fn press(&self, says: &str) {
        let xpath = format!("//button[normalize-space()='{says}']");
        self.there(Locator::XPath(&xpath)).await.click().await.unwrap();
    }

    pub(crate) async fn number(&self, script: &str) -> i64 {
        self.client.execute(script, vec![]).await.unwrap().as_i64().unwrap()
    }

    /// What an asynchronous script answers; a fault in it fails the test.
    pub(crate) async fn later(&self, script: &str) -> Value {
        let whole = format!(
            "const done = arguments[arguments.length - 1]; (async () => {{ {script} }})().then(done, (e) => done(\"fault: \" + e))"
        );
        let said = self.client.execute_async(&whole, vec![]).await.unwrap();
        assert!(!said.as_str().is_some_and(|s| s.starts_with("fault: ")), "{said}");
        said
    }

    /// Opens a second window and works on in it. Answers with how to come back.
    pub(crate) async fn another(&self) -> WindowHandle {
        let here = self.client.window().await.unwrap();
        let there = self.client.new_window(true).await.unwrap();
        self.client.switch_to_window(there.handle).await.unwrap();
        here
    }

    pub(crate) async fn turn_to(&self, window: WindowHandle) {
        self.client.switch_to_window(window).await.unwrap();
    }

    /// Runs a script for its effect.
    pub(crate) async fn run(&self, script: &str) {
        self.client.execute(script, vec![]).await.unwrap();
    }

    /// Waits until an asynchronous script answers with true.
    pub(crate) async fn until(&self, script: &str) {
        let began = Instant::now();
        // A page that is just being left cannot answer: that is no.
        let whole = format!("const done = arguments[arguments.length - 1]; (async () => {{ {script} }})().then(done, () => done(false))");
        while !self.client.execute_async(&whole, vec![]).await.is_ok_and(|said| said == true) {
            if began.elapsed() > PATIENCE {
                let what = "const done = arguments[0]; (async () => JSON.stringify([document.body.innerText, await navigator.locks.query(), await outbox.all('out'), (await photos.all()).map((p) => ({ ...p, bytes: p.bytes.byteLength }))]))().then(done, (e) => done('fault: ' + e))";
                panic!("never came: {script}; the page: {:?}", self.client.execute_async(what, vec![]).await);
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Whether it measures what moves in a page.
    pub(crate) fn tells_what_moves(&self) -> bool {
        self.engine == Engine::Chromium
    }

    /// How far what was seen has moved since the page was opened, in ten-thousandths of the screen (the layout shift).
    pub(crate) async fn moved(&self) -> i64 {
        let script = "let sum = 0;
            const count = (list) => list.getEntries().forEach((e) => (sum += e.value));
            new PerformanceObserver(count).observe({ type: 'layout-shift', buffered: true });
            const frame = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
            for (let n = 0; n < 5; n++) await frame();
            return Math.round(sum * 10000)";
        self.later(script).await.as_i64().unwrap()
    }

    /// Empties the browser's own store of files, so that a file comes from the phone's pack or over the line. Where there is a way to.
    pub(crate) async fn forget_files(&self) {
        if self.engine == Engine::Chromium {
            self.tools("Network.clearBrowserCache", json!({})).await;
        }
    }

    /// Forgets who is signed in.
    pub(crate) async fn forget(&self) {
        self.client.delete_all_cookies().await.unwrap();
    }

    /// One command to Chromium's own tools.
    pub(crate) async fn tools(&self, command: &'static str, with: Value) {
        self.client.issue_cmd(DevTools(command, with)).await.unwrap();
    }

    /// Has the browser behave as one whose owner chose this.
    pub(crate) async fn media(&self, feature: &str, value: &str) {
        self.tools("Emulation.setEmulatedMedia", json!({ "features": [{ "name": feature, "value": value }] })).await;
    }

    pub(crate) async fn screenshot(&self, name: &str) {
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("screens");
        std::fs::create_dir_all(&folder).unwrap();
        let name = if self.engine == Engine::Chromium { name.to_owned() } else { format!("{name}-{:?}", self.engine) };
        std::fs::write(folder.join(format!("{name}.png")), self.client.screenshot().await.unwrap()).unwrap();
    }

    pub(crate) async fn close(self) {
        self.client.clone().close().await.unwrap();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.driver.kill();
        let _ = self.driver.wait();
        let _ = std::fs::remove_dir_all(&self.profile);
    }
}

/// One command of the browser's own tools protocol.
#[derive(Debug)]
struct DevTools(&'static str, Value);

impl fantoccini::wd::WebDriverCompatibleCommand for DevTools {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or_default()))
    }
    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(json!({ "cmd": self.0, "params": self.1 }).to_string()))
    }
}
