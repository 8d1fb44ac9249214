//! A bench, a driver and a browser for one test; all end with it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

/// A process that ends with the test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        // The browser that the driver started is in the driver's group.
        let group = format!("-{}", self.0.id());
        let _ = Command::new("kill").args(["-KILL", "--", &group]).status();
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A folder that goes with the test.
pub struct Folder(pub PathBuf);

impl Folder {
    /// An empty folder of its own.
    pub fn new() -> Self {
        static COUNT: AtomicUsize = AtomicUsize::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let path =
            std::env::temp_dir().join(format!("knowngood-browser-{}-{number}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a temporary folder");
        Self(path)
    }

    /// A folder with these files.
    pub fn of(files: &[(&str, &str)]) -> Self {
        let folder = Self::new();
        for (name, text) in files {
            folder.write(name, text);
        }
        folder
    }

    /// Writes a file.
    pub fn write(&self, name: &str, text: &str) {
        let path = self.0.join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        std::fs::write(path, text).expect("written");
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// `knowngood` serving a project.
pub struct Bench {
    process: Running,
    _home: Folder,
    /// `127.0.0.1:PORT`.
    pub host: String,
}

impl Bench {
    /// Opens a project; none is the demo, as with no arguments at all but for the port.
    pub fn open(project: Option<&Path>) -> Self {
        let home = Folder::new();
        let mut command = Command::new(env!("CARGO_BIN_EXE_knowngood"));
        command.args(["bench", "open", "--port", "0"]).args(project);
        command
            .env("XDG_DATA_HOME", &home.0)
            .stdout(Stdio::piped())
            .process_group(0);
        let mut process = Running(command.spawn().expect("knowngood starts"));
        let mut line = String::new();
        let output = process.0.stdout.take().expect("its output");
        BufReader::new(output).read_line(&mut line).expect("a line");
        let host = line
            .split("http://")
            .nth(1)
            .unwrap_or_else(|| panic!("no address in `{line}`"));
        Self {
            process,
            _home: home,
            host: host.trim().trim_end_matches('/').to_owned(),
        }
    }

    /// The full address of a path.
    pub fn address(&self, path: &str) -> String {
        format!("http://{}{path}", self.host)
    }

    /// Asks without a browser; the answer with its head. `head` are further lines, `Host` among them.
    pub fn ask(&self, path: &str, head: &str) -> String {
        exchange(
            &self.host,
            &format!("GET {path} HTTP/1.1\r\n{head}Connection: close\r\n\r\n"),
        )
    }

    /// Sends a body without a browser; the answer with its head. `head` are further lines, `Host` among them.
    pub fn send(&self, path: &str, head: &str, body: &[u8]) -> String {
        let start = format!(
            "POST {path} HTTP/1.1\r\n{head}Content-Length: {}\r\nConnection: close\r\n\r\n",
            body.len()
        );
        exchange_bytes(&self.host, &[start.as_bytes(), body].concat())
    }

    /// Sends a head that promises a body of a length, and no body.
    pub fn promise(&self, path: &str, head: &str, length: usize) -> String {
        let start = format!(
            "POST {path} HTTP/1.1\r\n{head}Content-Length: {length}\r\nConnection: close\r\n\r\n"
        );
        exchange(&self.host, &start)
    }

    /// Memory that the process holds, in kilobytes, where the system tells.
    pub fn memory(&self) -> Option<u64> {
        let status =
            std::fs::read_to_string(format!("/proc/{}/status", self.process.0.id())).ok()?;
        let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:"))?;
        line.trim().trim_end_matches(" kB").parse().ok()
    }

    /// Sends a form as a page of this bench would without script; the answer with its head.
    pub fn enter(&self, fields: &[(&str, &str)]) -> String {
        let head = format!(
            "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: application/x-www-form-urlencoded\r\n",
            self.host
        );
        self.send("/entry", &head, urlencoded(fields).as_bytes())
    }

    /// The ledger as CSV, without the head of the answer.
    pub fn ledger(&self) -> Vec<String> {
        let answer = self.ask("/ledger.csv", &format!("Host: {}\r\n", self.host));
        let (_, body) = answer.split_once("\r\n\r\n").expect("a body");
        body.lines().skip(1).map(str::to_owned).collect()
    }

    /// A page as soon as it is as wanted.
    pub fn until(&self, path: &str, wanted: impl Fn(&str) -> bool) -> String {
        let host = format!("Host: {}\r\n", self.host);
        poll(|| Some(self.ask(path, &host)).filter(|page| wanted(page)))
            .unwrap_or_else(|| panic!("{path} never becomes so: {}", self.ask(path, &host)))
    }

    /// A page as it is once nothing is being computed on it any more.
    pub fn settled(&self, path: &str) -> String {
        let host = format!("Host: {}\r\n", self.host);
        poll(|| Some(self.ask(path, &host)).filter(|page| !page.contains("data-progress")))
            .unwrap_or_else(|| panic!("{path} is still being computed"))
    }
}

/// Fields as a form sends them.
pub fn urlencoded(fields: &[(&str, &str)]) -> String {
    let coded = |text: &str| -> String {
        let one = |b: u8| match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' => char::from(b).to_string(),
            _ => format!("%{b:02X}"),
        };
        text.bytes().map(one).collect()
    };
    let pairs: Vec<String> = fields
        .iter()
        .map(|(name, value)| format!("{}={}", coded(name), coded(value)))
        .collect();
    pairs.join("&")
}

fn exchange(host: &str, request: &str) -> String {
    exchange_bytes(host, request.as_bytes())
}

/// One exchange of plain HTTP; the answer ends where its head says, even if the line stays open.
fn exchange_bytes(host: &str, request: &[u8]) -> String {
    let mut stream = TcpStream::connect(host).expect("connected");
    let patience = Some(Duration::from_secs(60));
    stream.set_read_timeout(patience).expect("a time limit");
    stream.write_all(request).expect("asked");
    let mut answer = Vec::new();
    let mut block = [0; 1 << 16];
    loop {
        let count = stream.read(&mut block).expect("answered in time");
        answer.extend_from_slice(&block[..count]);
        if count == 0 || is_whole(&answer) {
            return String::from_utf8_lossy(&answer).into_owned();
        }
    }
}

fn is_whole(answer: &[u8]) -> bool {
    let Some(end) = answer.windows(4).position(|w| w == b"\r\n\r\n") else {
        return false;
    };
    let head = String::from_utf8_lossy(&answer[..end]).to_lowercase();
    head.lines()
        .find_map(|line| line.strip_prefix("content-length:"))
        .and_then(|length| length.trim().parse::<usize>().ok())
        .is_some_and(|length| answer.len() >= end + 4 + length)
}

/// Tries until there is something, for a minute at most: the machine may be busy.
fn poll<T>(mut attempt: impl FnMut() -> Option<T>) -> Option<T> {
    for _ in 0..300 {
        if let Some(found) = attempt() {
            return Some(found);
        }
        std::thread::sleep(Duration::from_millis(200));
    }
    None
}

/// A browser with its driver.
pub struct Browser {
    /// What drives it.
    pub client: Client,
    driver: String,
    _process: Running,
    _profile: Folder,
}

impl Browser {
    /// Starts one; none, said aloud, if this machine has no browser.
    pub async fn start() -> Option<Self> {
        let found = |name: &str| {
            let path = std::env::var_os("PATH").unwrap_or_default();
            std::env::split_paths(&path)
                .map(|p| p.join(name))
                .find(|p| p.is_file())
        };
        let (Some(chromium), Some(driver)) = (found("chromium"), found("chromedriver")) else {
            eprintln!(
                "SKIPPED: no chromium and chromedriver on the PATH (Debian: chromium, chromium-driver); scripts/test installs them."
            );
            return None;
        };
        let mut command = Command::new(driver);
        command
            .arg("--port=0")
            .process_group(0)
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
        let mut process = Running(command.spawn().expect("the driver starts"));
        let output = BufReader::new(process.0.stdout.take().expect("its output"));
        let port = output
            .lines()
            .map_while(Result::ok)
            .find_map(|line| {
                let (_, port) = line.split_once("started successfully on port ")?;
                Some(port.trim_end_matches('.').to_owned())
            })
            .expect("the driver says its port");
        let driver = format!("127.0.0.1:{port}");
        let profile = Folder::new();
        let own_profile = format!("--user-data-dir={}", profile.0.display());
        let arguments = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            &own_profile,
        ];
        let Value::Object(capabilities) = json!({
            "browserName": "chrome",
            "goog:loggingPrefs": { "browser": "ALL", "performance": "ALL" },
            "goog:chromeOptions": { "binary": chromium, "args": arguments },
        }) else {
            unreachable!("an object was written")
        };
        let mut last = String::new();
        for _ in 0..5 {
            let mut builder = ClientBuilder::new(HttpConnector::new());
            match builder
                .capabilities(capabilities.clone())
                .connect(&format!("http://{driver}"))
                .await
            {
                Ok(client) => {
                    return Some(Self {
                        client,
                        driver,
                        _process: process,
                        _profile: profile,
                    });
                }
                Err(e) => last = e.to_string(),
            }
            tokio::time::sleep(Duration::from_secs(1)).await;
        }
        panic!("the browser does not start: {last}");
    }

    /// Opens a page and waits until nothing is being computed on it.
    pub async fn open(&self, address: &str) {
        self.client.goto(address).await.expect("the page opens");
        self.until("return !document.querySelector('[data-progress]') && !document.body.textContent.includes('being judged')").await;
    }

    /// Waits until a script returns true.
    pub async fn until(&self, script: &str) {
        for _ in 0..300 {
            if self.run(script).await == json!(true) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        let text = self.run("return document.body.innerText").await;
        panic!("never true: {script}\n{text}");
    }

    /// What a script returns.
    pub async fn run(&self, script: &str) -> Value {
        self.client
            .execute(script, Vec::new())
            .await
            .unwrap_or_else(|e| panic!("{script}: {e}"))
    }

    /// What a promise that the page keeps under this name comes to.
    pub async fn told(&self, promise: &str) -> Value {
        let script = format!("window.{promise}.then(arguments[0])");
        self.client
            .execute_async(&script, Vec::new())
            .await
            .unwrap_or_else(|e| panic!("{promise}: {e}"))
    }

    /// Presses keys on whatever has the focus.
    pub async fn press(&self, keys: &str) {
        let focused = self
            .client
            .active_element()
            .await
            .expect("an element has the focus");
        focused.send_keys(keys).await.expect("keys are pressed");
    }

    /// Light or dark, as the person's system has it (Chrome DevTools Protocol, Emulation).
    pub async fn scheme(&self, word: &str) {
        let session = self.session().await;
        let body = json!({
            "cmd": "Emulation.setEmulatedMedia",
            "params": { "features": [{ "name": "prefers-color-scheme", "value": word }] },
        });
        self.driver(&format!("{session}/goog/cdp/execute"), &body);
    }

    /// The size of what is seen of a page (Chrome DevTools Protocol, Emulation); a window has a least width of its own.
    pub async fn size(&self, width: u32, height: u32) {
        let session = self.session().await;
        let body = json!({
            "cmd": "Emulation.setDeviceMetricsOverride",
            "params": { "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 },
        });
        self.driver(&format!("{session}/goog/cdp/execute"), &body);
        let body = json!({ "cmd": "Emulation.setScrollbarsHidden", "params": { "hidden": true } });
        self.driver(&format!("{session}/goog/cdp/execute"), &body);
    }

    /// Tells the browser something by its own protocol (Chrome DevTools Protocol).
    pub async fn command(&self, command: &str, params: Value) {
        let session = self.session().await;
        let body = json!({ "cmd": command, "params": params });
        self.driver(&format!("{session}/goog/cdp/execute"), &body);
    }

    /// Nothing was complained of on the console since the last time.
    pub async fn no_complaints(&self) {
        let (console, _) = self.traces().await;
        assert_eq!(console, Vec::<String>::new());
    }

    async fn session(&self) -> String {
        let session = self.client.session_id().await.expect("asked");
        session.expect("a session")
    }

    /// What the driver answers.
    fn driver(&self, path: &str, body: &Value) -> Value {
        let body = body.to_string();
        let answer = exchange(
            &self.driver,
            &format!(
                "POST /session/{path} HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
                self.driver,
                body.len()
            ),
        );
        let (_, json) = answer.split_once("\r\n\r\n").expect("a body");
        let value: Value = serde_json::from_str(json).unwrap_or_else(|e| panic!("{e}: {answer}"));
        value["value"].clone()
    }

    /// Complaints on the console, and addresses that were asked for, since the last time.
    pub async fn traces(&self) -> (Vec<String>, Vec<String>) {
        let session = self.session().await;
        let log = |kind: &str| {
            let found = self.driver(&format!("{session}/se/log"), &json!({ "type": kind }));
            found
                .as_array()
                .unwrap_or_else(|| panic!("no log: {found}"))
                .clone()
        };
        let console = log("browser")
            .iter()
            .map(|e| e["message"].to_string())
            .collect();
        let asked = log("performance")
            .iter()
            .filter_map(|entry| {
                let message: Value = serde_json::from_str(entry["message"].as_str()?).ok()?;
                let is_request = message["message"]["method"] == "Network.requestWillBeSent";
                is_request.then(|| {
                    message["message"]["params"]["request"]["url"]
                        .as_str()
                        .unwrap_or("")
                        .to_owned()
                })
            })
            .collect();
        (console, asked)
    }
}
