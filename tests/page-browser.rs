//! Whole-program tests: the page of a watch in a real browser, driven as a person drives it.
//!
//! Chromium and its driver are needed (Debian: chromium, chromium-driver); where they are not, each test says
//! so in one line and passes. Whether everybody can use the page is checked with axe-core, where
//! `target/axe/package/axe.min.js` is: `cd target/axe && npm pack axe-core && tar xzf axe-core-*.tgz`.

#[path = "common/live.rs"]
#[allow(dead_code, reason = "each test needs its own part of it")]
mod live;

use std::io::BufRead;
use std::io::BufReader;
use std::net::TcpStream;
use std::path::Path;
use std::process::Child;
use std::process::Command;
use std::process::Stdio;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::mpsc;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::Sender;
use std::time::Duration;

use fantoccini::Client;
use fantoccini::ClientBuilder;
use fantoccini::Locator;
use fantoccini::actions::InputSource;
use fantoccini::actions::KeyAction;
use fantoccini::actions::KeyActions;
use fantoccini::key::Key;
use fantoccini::wd::Capabilities;
use fantoccini::wd::TimeoutConfiguration;
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::Value;
use serde_json::json;

use live::Folder;
use live::LONG;
use live::Watch;
use live::sentence;

/// One browser at a time: two would only wait for each other.
static ONE: Mutex<()> = Mutex::new(());

fn program(names: &[&str]) -> Option<String> {
    let works =
        |name: &&&str| Command::new(**name).arg("--version").output().is_ok_and(|output| output.status.success());
    names.iter().find(works).map(|name| (*name).to_owned())
}

/// The driver, ended with it.
struct Driver(Child);

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

struct Browser(Client);

/// Runs `test` in a browser of the size of a phone, if there is a browser.
fn in_browser(test: impl AsyncFnOnce(&Browser)) {
    in_browser_of(390, 844, test);
}

/// As [`in_browser`], on a screen of `width` by `height`.
fn in_browser_of(width: u32, height: u32, test: impl AsyncFnOnce(&Browser)) {
    let _one = ONE.lock().unwrap_or_else(PoisonError::into_inner);
    let (Some(chromedriver), Some(chromium)) = (program(&["chromedriver"]), program(&["chromium", "google-chrome"]))
    else {
        eprintln!("skipped: no chromium and chromedriver installed");
        return;
    };
    let mut child =
        Command::new(chromedriver).arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    let _driver = Driver(child);
    let mut lines = out.lines().map_while(Result::ok);
    let started =
        lines.find_map(|line| line.split_once("started successfully on port ").map(|(_, port)| port.to_owned()));
    let port = started.expect("the driver says its port").trim_end_matches('.').to_owned();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_io().enable_time().build().unwrap();
    runtime.block_on(async {
        let args = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"];
        let options = json!({ "binary": chromium_path(&chromium), "args": args,
            "mobileEmulation": { "deviceMetrics": { "width": width, "height": height, "pixelRatio": 2 } } });
        let capabilities: Capabilities = [("goog:chromeOptions".to_owned(), options)].into_iter().collect();
        let mut builder = ClientBuilder::new(HttpConnector::new());
        builder.capabilities(capabilities);
        let client = builder.connect(&format!("http://127.0.0.1:{port}")).await.unwrap();
        client.update_timeouts(TimeoutConfiguration::new(Some(LONG), Some(LONG), None)).await.unwrap();
        let browser = Browser(client);
        test(&browser).await;
        browser.0.close().await.unwrap();
    });
}

/// A wrapper of the shell in the path is as good as the browser itself.
fn chromium_path(name: &str) -> String {
    let output = Command::new("sh").args(["-c", &format!("command -v {name}")]).output().unwrap();
    String::from_utf8(output.stdout).unwrap().trim().to_owned()
}

impl Browser {
    async fn open(&self, url: &str) {
        // The same address with another fragment alone would not be loaded anew.
        self.0.goto("about:blank").await.unwrap();
        self.0.goto(url).await.unwrap();
    }

    /// The value of an expression.
    async fn value(&self, expression: &str) -> Value {
        self.0.execute(&format!("return {expression}"), vec![]).await.unwrap()
    }

    /// Waits until an expression is true, in the page's own time.
    async fn until(&self, condition: &str) {
        let script = format!(
            "const done = arguments[0]; const look = () => {{ let seen = false; try {{ seen = {condition}; }} catch {{}} \
             if (seen) done(true); else setTimeout(look, 30); }}; look();"
        );
        if self.0.execute_async(&script, vec![]).await.is_err() {
            panic!("never {condition}\n{}", self.value("document.body.innerText").await.as_str().unwrap_or_default());
        }
    }

    /// Waits until the element says so.
    async fn says(&self, id: &str, words: &str) {
        self.until(&format!("document.getElementById('{id}').textContent.includes({words:?})")).await;
    }

    async fn press(&self, key: char) {
        let keys =
            KeyActions::new("keys".into()).then(KeyAction::Down { value: key }).then(KeyAction::Up { value: key });
        self.0.perform_actions(keys).await.unwrap();
    }

    /// Touches the element.
    async fn touch(&self, css: &str) {
        self.0.find(Locator::Css(css)).await.unwrap().click().await.unwrap();
    }

    async fn focus(&self) -> String {
        self.value("document.activeElement.id || document.activeElement.dataset.order || ''")
            .await
            .as_str()
            .unwrap()
            .to_owned()
    }

    /// Moves on by the tabulator until `id` has the focus.
    async fn tab_to(&self, id: &str) {
        for _ in 0..20 {
            self.press(Key::Tab.into()).await;
            if self.focus().await == id {
                // Whoever moves by the keyboard sees where she is.
                assert_ne!(self.value("getComputedStyle(document.activeElement).outlineStyle").await, "none", "{id}");
                return;
            }
        }
        panic!("{id} is not reached by the tabulator");
    }

    /// What holds in every state, by day and by night: nothing that axe-core finds, targets for a thumb, no
    /// scrolling sideways; by night no light but red.
    async fn sound(&self, state: &str) {
        for night in [false, true] {
            if self.value("document.documentElement.classList.contains('night')").await != night {
                self.press('n').await;
            }
            let view = if night { "night" } else { "day" };
            self.axe(&format!("{state}, {view}")).await;
            let small = self
                .value(
                    "[...document.querySelectorAll('button, input[type=text]')].filter((b) => b.checkVisibility())\
                     .map((b) => [b.textContent, b.getBoundingClientRect()])\
                     .filter(([, r]) => r.width < 44 || r.height < 44).map(([name]) => name)",
                )
                .await;
            assert_eq!(small, json!([]), "{state}, {view}: targets for a thumb");
            let wide = self.value("document.documentElement.scrollWidth - innerWidth").await;
            assert!(wide.as_i64().unwrap() <= 0, "{state}, {view}: {wide} too wide");
            if night {
                let lights = self.value(LIGHTS).await;
                assert_eq!(lights, json!([]), "{state}: red light and no other");
            }
        }
        self.press('n').await;
    }

    async fn axe(&self, state: &str) {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/axe/package/axe.min.js");
        let Ok(axe) = std::fs::read_to_string(path) else {
            eprintln!("skipped: no axe-core in target/axe ({state})");
            return;
        };
        let script = format!(
            "const done = arguments[0]; {axe}; axe.run(document).then((found) => done({{ violations: found.violations.map((v) => \
             v.id + ': ' + v.nodes.map((n) => n.target + ' ' + n.failureSummary).join('; ')), passes: found.passes.length }}));"
        );
        let found = self.0.execute_async(&script, vec![]).await.unwrap();
        assert!(found["passes"].as_u64().unwrap() > 10, "{state}: it looked at something");
        assert_eq!(found["violations"], json!([]), "{state}");
    }
}

/// Every colour that is shown and is not red on black.
const LIGHTS: &str = r"[...document.querySelectorAll('*')].filter((e) => e.checkVisibility()).flatMap((e) => {
    const style = getComputedStyle(e);
    const names = ['color', 'backgroundColor', 'borderTopColor', 'borderBottomColor', 'borderLeftColor', 'outlineColor',
        ...(e instanceof SVGElement ? ['fill', 'stroke'] : [])];
    return names.map((name) => [e.tagName, e.id || e.className.baseVal || e.className, name, style[name]])
        .filter(([, , , colour]) => colour !== 'none' && !/^rgba?\(\d+, 0, 0(, [\d.]+)?\)$/.test(colour));
}).slice(0, 6)";

/// A line that talks as long as it lives: a heading, her course and her rudder, five times a second.
struct Talk {
    end: Option<Sender<()>>,
    thread: Option<std::thread::JoinHandle<TcpStream>>,
}

impl Talk {
    fn begin(mut to: TcpStream) -> Self {
        let (end, ended) = mpsc::channel();
        let thread = std::thread::spawn(move || {
            let said = [
                "HCHDG,152.3,,,4.1,E",
                "GPRMC,021109,A,5406.52,N,01012.10,E,5.2,160.0,140726,4.1,E,A",
                "IIRSA,-5.0,A,,",
            ];
            let all: String = said.iter().map(|body| sentence(body)).collect();
            // The end of the test is waited for, not slept through.
            while matches!(ended.recv_timeout(Duration::from_millis(200)), Err(RecvTimeoutError::Timeout)) {
                if std::io::Write::write_all(&mut to, all.as_bytes()).is_err() {
                    break;
                }
            }
            to
        });
        Self { end: Some(end), thread: Some(thread) }
    }

    /// Falls silent; the line is cut when what it gives back is dropped.
    fn cut(&mut self) {
        self.end = None;
        if let Some(thread) = self.thread.take() {
            drop(thread.join());
        }
    }
}

impl Drop for Talk {
    fn drop(&mut self) {
        self.cut();
    }
}

/// A watch that is spoken to and shows itself, and its link.
fn watch(folder: &Folder, more: &[&str]) -> (Watch, Talk, String) {
    let args = [&["--page", "127.0.0.1:0", "--page-key", "page.key"], more].concat();
    let mut watch = Watch::new(folder, &args);
    let talk = Talk::begin(watch.to.take().unwrap());
    let mut link = String::new();
    BufReader::new(watch.child.stderr.take().unwrap()).read_line(&mut link).unwrap();
    (watch, talk, link.trim().strip_prefix("page: ").unwrap().to_owned())
}

fn signal(watch: &Watch, name: &str) {
    assert!(Command::new("kill").args([name, &watch.child.id().to_string()]).status().unwrap().success());
}

const LIVE: &str = "!document.documentElement.classList.contains('gone')";
const GONE: &str = "document.documentElement.classList.contains('gone')";

#[test]
fn what_the_watch_says_is_shown_and_what_is_pressed_is_done() {
    in_browser(async |browser| {
        let folder = Folder::new("shown");
        std::fs::write(folder.0.join("boat.toml"), "[boat]\nname = \"<b>Curlew</b>\"\n").unwrap();
        let (_watch, mut talk, link) = watch(&folder, &["--steer", "150C"]);
        browser.open(&link).await;
        browser.until(LIVE).await;
        assert_eq!(browser.value("location.hash").await, "", "the key does not stay where it is seen");
        browser.says("boat", "<b>Curlew</b>").await;
        assert_eq!(browser.value("document.querySelectorAll('#boat *').length").await, 0, "a name is no markup");
        browser.says("heading", "152").await;
        browser.says("order", "150").await;
        browser.says("departure", "2 to starboard").await;
        browser.says("rudder", "5 port").await;
        browser.says("course", "160 true").await;
        browser.says("speed", "5.2 kn").await;
        browser.says("standing", "No alert stands").await;
        browser.says("unjudged-name", "Not watched just now").await;
        // On the first screen as well, as many as below.
        browser.until("/^[1-9][0-9]* of 14 not watched$/.test(document.getElementById('blind').textContent)").await;
        browser.says("against", "of the heading").await;
        browser.says("witnesses", "GPRMC course").await;
        browser.says("sources", "is heard").await;
        browser.until("document.querySelectorAll('#trace .made').length > 0").await;
        browser
            .until("document.getElementById('trace').getAttribute('aria-label').includes('now 2 to starboard')")
            .await;
        browser.sound("quiet").await;

        // The night stays when the page is opened again.
        browser.press('n').await;
        browser.0.refresh().await.unwrap();
        browser.until(LIVE).await;
        assert_eq!(browser.value("document.getElementById('night').getAttribute('aria-pressed')").await, "true");
        browser.touch("#night").await;
        assert_eq!(
            browser.value("getComputedStyle(document.documentElement).backgroundColor").await,
            "rgb(255, 253, 246)"
        );

        // By hand: asked first, and no is no.
        browser.touch("[data-order=hand]").await;
        browser.says("sure-why", "OFF-HEADING IS NOT WATCHED").await;
        assert_eq!(browser.focus().await, "no");
        browser.sound("asked").await;
        browser.touch("#no").await;
        browser.until("!document.getElementById('sure').open").await;
        browser.says("order", "150").await;
        // By the keyboard alone: asked, left by escape, asked again, and yes.
        browser.press('w').await;
        browser.until("document.getElementById('sure').open").await;
        browser.press(Key::Escape.into()).await;
        browser.until("!document.getElementById('sure').open").await;
        browser.press('w').await;
        browser.tab_to("yes").await;
        browser.press(Key::Enter.into()).await;
        browser.says("told", "Steered by the wind").await;
        browser.says("order", "by wind").await;
        browser.says("departure", "NOT WATCHED").await;
        browser.sound("by the wind").await;
        browser.press('c').await;
        browser.tab_to("yes").await;
        browser.press(Key::Space.into()).await;
        browser.says("told", "Steering 152 C").await;
        browser.says("order", "152").await;
        browser.says("marks", "ordered heading 152 C").await;

        // The line is cut while somebody is asked something else: the alarm comes first.
        browser.press('h').await;
        browser.until("document.getElementById('sure').open").await;
        talk.cut();
        browser.says("standing", "ALARM").await;
        browser.says("call", "ALARM: input-lost").await;
        browser.until("!document.getElementById('sure').open").await;
        browser.says("told", "nothing was changed").await;
        browser.says("list", "NOT ACKNOWLEDGED").await;
        browser.says("sources", "DOES NOT WORK").await;
        assert_eq!(browser.value("getComputedStyle(document.querySelector('.alarm')).animationName").await, "alarm");
        browser.until("document.title.includes('ALARM')").await;
        browser.sound("alarm").await;
        // A heading that is old is not shown as one that she has.
        browser.says("heading", "---").await;
        browser.says("heading-about", "NO HEADING").await;
        browser.press('s').await;
        browser.says("list", "silenced for 30 s").await;
        browser.says("told", "Silenced for 30 s").await;
        browser.sound("silenced").await;
        browser.tab_to("acknowledge").await;
        browser.press(Key::Enter.into()).await;
        browser.says("list", "acknowledged, still stands").await;
        browser.says("told", "Acknowledged: input-lost").await;
        browser.sound("acknowledged").await;
    });
}

#[test]
fn old_data_take_the_whole_page_and_it_comes_back_by_itself() {
    in_browser(async |browser| {
        let folder = Folder::new("old");
        let (watch, talk, link) = watch(&folder, &[]);
        browser.open(&link).await;
        browser.until(LIVE).await;
        browser.says("heading", "152").await;
        // The watch hangs: its connection stands and nothing comes.
        signal(&watch, "-STOP");
        browser.until(GONE).await;
        browser.says("gone-what", "OLD DATA").await;
        browser.says("gone-last", "heading 152 compass").await;
        assert_eq!(browser.value("document.querySelector('main').inert").await, true, "nothing old can be pressed");
        let whole = "(() => { const r = document.getElementById('gone').getBoundingClientRect(); \
                     return r.width >= innerWidth && r.height >= innerHeight; })()";
        assert_eq!(browser.value(whole).await, true, "the whole page says so");
        browser.sound("old").await;
        signal(&watch, "-CONT");
        browser.until(LIVE).await;
        // It is ended in order, and says so.
        signal(&watch, "-INT");
        browser.says("gone-what", "THE WATCH HAS ENDED").await;
        browser.until(GONE).await;
        drop((watch, talk));
        // Another watch at the same place, with the key that was kept: the page finds it.
        let at = link.strip_prefix("http://").unwrap().split_once('/').unwrap().0.to_owned();
        let mut again = Watch::new(&folder, &["--page", &at, "--page-key", "page.key"]);
        let _talk = Talk::begin(again.to.take().unwrap());
        browser.until(LIVE).await;
        browser.says("heading", "152").await;
        // It is killed.
        signal(&again, "-KILL");
        browser.until(GONE).await;
        browser.says("gone-what", "NO CONNECTION").await;
        browser.sound("no connection").await;
    });
}

#[test]
fn without_the_key_there_is_nothing_to_see() {
    in_browser(async |browser| {
        let folder = Folder::new("key");
        let (_watch, _talk, link) = watch(&folder, &[]);
        let (page, key) = link.split_once('#').unwrap();
        browser.open(page).await;
        browser.says("gone-what", "A KEY IS NEEDED").await;
        assert_eq!(browser.value("document.getElementById('heading').textContent").await, "---");
        browser.sound("no key").await;
        let field = browser.0.find(Locator::Css("#key")).await.unwrap();
        field.send_keys("not a key").await.unwrap();
        browser.touch("#key-form button").await;
        browser.says("gone-why", "That is no key").await;
        field.clear().await.unwrap();
        field.send_keys(&"a".repeat(32)).await.unwrap();
        browser.touch("#key-form button").await;
        browser.says("gone-what", "THE KEY DOES NOT FIT").await;
        // The whole link is as good as the key.
        field.send_keys(&format!("{page}#{key}")).await.unwrap();
        browser.press(Key::Enter.into()).await;
        browser.until(LIVE).await;
        browser.says("heading", "152").await;
        assert_eq!(
            browser.value("document.getElementById('plain').hidden").await,
            true,
            "on loopback nobody else reads it"
        );
    });
}

/// What the page shows of a snapshot that is made from the latest one by `change`, before the next one comes.
async fn painted(browser: &Browser, change: &str) -> Value {
    let script = format!(
        "const now = structuredClone(latest); latest = now; {change}; paint(); \
         const text = (id) => document.getElementById(id).textContent; \
         const boxes = [...document.querySelectorAll('button')].filter((b) => b.checkVisibility()); \
         return {{ heading: text('heading'), about: text('heading-about'), departure: text('departure'), \
           trace: document.getElementById('trace').getAttribute('aria-label'), \
           wide: document.documentElement.scrollWidth - screen.width, \
           cut: [...boxes, document.getElementById('boat')].filter((b) => b.scrollWidth > b.clientWidth).map((b) => b.textContent), \
           below: boxes.filter((b) => b.getBoundingClientRect().bottom > screen.height).map((b) => b.textContent) }};"
    );
    browser.0.execute(&script, vec![]).await.unwrap()
}

#[test]
fn a_heading_in_doubt_is_no_plain_fact() {
    in_browser(async |browser| {
        let folder = Folder::new("doubt");
        let (_watch, _talk, link) = watch(&folder, &["--steer", "150C"]);
        browser.open(&link).await;
        browser.until(LIVE).await;
        browser.says("departure", "2 to starboard").await;
        let doubted = "Object.assign(now.status.heading, { doubted: true, doubted_by: 'heading-disagreement', \
             contradicted_by: { from: 'GPRMC', kind: 'ground', true_deg: 199.2 } })";
        let shown = painted(browser, doubted).await;
        assert_eq!((&shown["heading"], &shown["departure"]), (&"152?".into(), &"not known: heading doubted".into()));
        assert!(shown["about"].as_str().unwrap().starts_with("DOUBTED: GPRMC course 199 true. "), "{shown}");
        assert!(shown["trace"].as_str().unwrap().starts_with("The heading is doubted. "), "{shown}");
        let believed = painted(browser, "now.status.heading.doubted = false").await;
        assert_eq!((&believed["heading"], &believed["departure"]), (&"152".into(), &"2 to starboard".into()));
    });
}

#[test]
fn a_replay_on_the_smallest_phone_cuts_no_name_and_no_button() {
    for (width, height) in [(390, 844), (320, 568)] {
        in_browser_of(width, height, async |browser| {
            let folder = Folder::new("small");
            std::fs::write(folder.0.join("boat.toml"), "[boat]\nname = \"Curlew\"\n").unwrap();
            let (_watch, _talk, link) = watch(&folder, &["--steer", "150C"]);
            browser.open(&link).await;
            browser.until(LIVE).await;
            browser.says("departure", "2 to starboard").await;
            let replay = "now.pace = 60; now.status.off_deg = 170; now.alerts.push({ alert: 'off-heading', priority: 'alarm', \
                 state: 'active-unacknowledged', instance: 'HCHDG', occurrence: 1, text: 'as it was seen' }); \
                 now.status.heading.doubted = DOUBTED; now.status.heading.doubted_by = 'heading-frozen'";
            for doubted in ["false", "true"] {
                let shown = painted(browser, &replay.replace("DOUBTED", doubted)).await;
                assert_eq!(shown["cut"], json!([]), "{width} x {height}");
                assert_eq!(shown["below"], json!([]), "{width} x {height}");
                assert!(shown["wide"].as_i64().unwrap() <= 0, "{width} x {height}: {shown}");
            }
        });
    }
}
