//! Debian's Chromium, driven through its own driver. A condition is waited for, never a time.

use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::{
    io::{BufRead, BufReader},
    path::PathBuf,
    process::{Child, Command, Stdio},
    time::Duration,
};

pub(crate) const DESK: (u32, u32) = (1280, 1000);
pub(crate) const PHONE: (u32, u32) = (390, 844);

/// Longest wait for a condition; reached only when it never comes.
const PATIENCE: Duration = Duration::from_secs(90);

pub(crate) struct Browser {
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
        let mut driver = Command::new("/usr/bin/chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed by .ci/setup");
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let started =
            lines.by_ref().map_while(Result::ok).find(|l| l.contains("started successfully on port")).expect("chromedriver starts");
        std::thread::spawn(move || lines.for_each(drop));
        let port: String = started.chars().filter(char::is_ascii_digit).collect();
        let profile = std::env::temp_dir().join(format!("embertide-browser-{}", uuid::Uuid::now_v7().simple()));
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
            &format!("--user-data-dir={}", profile.display()),
        ];
        let capabilities = json!({ "goog:chromeOptions": { "binary": "/usr/bin/chromium", "args": args, "prefs": preferences } });
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities.as_object().unwrap().clone())
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .unwrap();
        Self { client, base: base.to_owned(), driver, profile }
    }

    pub(crate) async fn window(&self, (width, height): (u32, u32)) {
        // Chromium has a least width for its windows; the page's own width is set past it.
        self.client.set_window_size(width.max(500), height).await.unwrap();
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
        self.client.issue_cmd(DevTools("Emulation.setDeviceMetricsOverride", metrics)).await.unwrap();
    }

    pub(crate) async fn goto(&self, path: &str) {
        self.client.goto(&format!("{}{path}", self.base)).await.unwrap();
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
        let found = self.client.wait().at_most(PATIENCE).for_element(Locator::Css(css)).await;
        found.unwrap_or_else(|e| panic!("{css} never came: {e}")).text().await.unwrap()
    }

    pub(crate) async fn text(&self, css: &str) -> String {
        self.wait(css).await
    }

    pub(crate) async fn value(&self, css: &str) -> String {
        self.client.find(Locator::Css(css)).await.unwrap().prop("value").await.unwrap().unwrap_or_default()
    }

    pub(crate) async fn fill(&self, css: &str, text: &str) {
        let field = self.client.wait().at_most(PATIENCE).for_element(Locator::Css(css)).await.unwrap();
        field.clear().await.unwrap();
        field.send_keys(text).await.unwrap();
    }

    /// Chooses files, as from the camera: one path a line.
    pub(crate) async fn choose(&self, css: &str, paths: &[PathBuf]) {
        let all: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
        self.client.find(Locator::Css(css)).await.unwrap().send_keys(&all.join("\n")).await.unwrap();
    }

    pub(crate) async fn click(&self, css: &str) {
        self.client.find(Locator::Css(css)).await.unwrap().click().await.unwrap();
    }

    /// Presses the button that says this.
    pub(crate) async fn press(&self, says: &str) {
        let xpath = format!("//button[normalize-space()='{says}']");
        let button = self
            .client
            .wait()
            .at_most(PATIENCE)
            .for_element(Locator::XPath(&xpath))
            .await
            .unwrap_or_else(|e| panic!("no button says {says}: {e}"));
        button.click().await.unwrap();
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

    /// Runs a script for its effect.
    pub(crate) async fn run(&self, script: &str) {
        self.client.execute(script, vec![]).await.unwrap();
    }

    /// Waits until an asynchronous script answers with true.
    pub(crate) async fn until(&self, script: &str) {
        let began = std::time::Instant::now();
        // A page that is just being left cannot answer: that is no.
        let whole = format!("const done = arguments[arguments.length - 1]; (async () => {{ {script} }})().then(done, () => done(false))");
        while !self.client.execute_async(&whole, vec![]).await.is_ok_and(|said| said == true) {
            if began.elapsed() > PATIENCE {
                let held = self.later("return JSON.stringify([await navigator.locks.query(), await outbox.all('out'), (await photos.all()).map((p) => ({ ...p, bytes: p.bytes.byteLength }))])").await;
                panic!("never came: {script}; the page says: {}; {held}", self.text("body").await);
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Forgets who is signed in.
    pub(crate) async fn forget(&self) {
        self.client.delete_all_cookies().await.unwrap();
    }

    /// Has the browser behave as one whose owner chose this.
    pub(crate) async fn media(&self, feature: &str, value: &str) {
        self.client
            .issue_cmd(DevTools("Emulation.setEmulatedMedia", json!({ "features": [{ "name": feature, "value": value }] })))
            .await
            .unwrap();
    }

    pub(crate) async fn screenshot(&self, name: &str) {
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("screens");
        std::fs::create_dir_all(&folder).unwrap();
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
