//! Whole-program tests: the page of a watch, from the other end of a socket.
//!
//! # The attacks tried here
//! Each is tried and refused, and afterwards the owner still gets in:
//! - to look or to press without the key, with a wrong one, a longer or a shorter one, two at once, one in
//!   the query, in a cookie, or by another scheme; to guess many: each guess waits, the right key does not
//! - a name of somebody else's that was made to lead here (DNS rebinding): another Host, none, two, one with
//!   another port, or a whole address in the request line
//! - another site's page that presses: another Origin, "null", two of them, a form's content type, what a
//!   browser says about a cross-site request
//! - to change by GET, HEAD, PUT, DELETE, PATCH, or by a header that claims another method; TRACE, CONNECT,
//!   OPTIONS; a method that is none
//! - paths that climb, are escaped, doubled, null or absolute
//! - a head too long, too many headers, a body too long, one that claims to be longer, one that comes in
//!   pieces for ever, two lengths, a length and pieces at once (request smuggling)
//! - a head or a body that comes too slowly, a connection that says nothing, a reader that never reads
//! - more connections than there are seats, from strangers and from those who have the key
//! - HTTP/1.0, HTTP/0.9, HTTP/2 by prior knowledge, TLS, binary noise, null bytes, requests one behind the other
//! - a body that is no JSON, is nested without end, or asks for what there is not
//! - to frame the page, sniff its type, or make it load from elsewhere

#[path = "common/attacks.rs"]
mod attacks;
#[path = "common/live.rs"]
#[allow(dead_code, reason = "each test needs its own part of it")]
mod live;

use std::io::BufRead;
use std::io::BufReader;
use std::io::ErrorKind;
use std::io::Read;
use std::io::Write;
use std::net::SocketAddr;
use std::net::TcpStream;
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::time::Duration;

use lubber::page::Bounds;
use lubber::page::Key;
use lubber::page::Said;
use lubber::page::Server;
use serde_json::Value;

use attacks::REFUSED;
use live::Folder;
use live::LONG;
use live::Watch;
use live::sentence;

/// A page without a watch, that counts what it is asked.
struct House {
    server: Server,
    key: String,
    asked: Arc<AtomicUsize>,
}

/// As short as it may be: each of these is waited for here.
const SOON: Duration = Duration::from_millis(150);

fn bounds() -> Bounds {
    Bounds { head_within: SOON, body_within: SOON, wrong_key: Duration::ZERO, ..Bounds::default() }
}

impl House {
    fn new(bounds: Bounds) -> Self {
        let key = Key::new().unwrap();
        let asked = Arc::new(AtomicUsize::new(0));
        let counting = Arc::clone(&asked);
        let answer = move |body: &[u8]| {
            counting.fetch_add(1, Ordering::Relaxed);
            let done = serde_json::from_slice::<Value>(body).is_ok_and(|body| body["verb"] == "silence");
            Said { done, json: format!("{{\"done\":{done}}}\n") }
        };
        let server = Server::open("127.0.0.1:0".parse().unwrap(), key.lock(), bounds, answer).unwrap();
        server.feed().publish(r#"{"alerts":[]}"#.into(), false);
        Self { server, key: key.text().to_owned(), asked }
    }

    fn at(&self) -> SocketAddr {
        self.server.address().expect("it is served")
    }

    fn host(&self) -> String {
        self.at().to_string()
    }

    /// `request` with its names filled in, and everything that comes back.
    fn answer(&self, request: &str) -> String {
        self.answer_bytes(request.replace("{host}", &self.host()).replace("{key}", &self.key).as_bytes())
    }

    fn answer_bytes(&self, request: &[u8]) -> String {
        let mut stream = connect(self.at());
        // One that is refused early may be closed before all of it is sent.
        let _ = stream.write_all(request);
        rest(&mut stream)
    }

    /// The owner gets in: the page, the stream and a button work.
    fn still_works(&self, after: &str) {
        let page = self.answer("GET / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
        assert!(page.starts_with("HTTP/1.1 200 ") && page.contains("</html>"), "after {after}: {page:.200}");
        let said = self.answer(&press(r#"{"verb":"silence"}"#));
        assert!(said.starts_with("HTTP/1.1 200 ") && said.contains(r#"{"done":true}"#), "after {after}: {said}");
        let line = Reader::new(self.at(), &self.key).line();
        assert_eq!(line["now"]["alerts"], serde_json::json!([]), "after {after}");
    }
}

fn connect(at: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(LONG)).unwrap();
    stream.set_write_timeout(Some(LONG)).unwrap();
    stream
}

/// What comes until the other side closes; it must close.
fn rest(stream: &mut TcpStream) -> String {
    let mut all = Vec::new();
    let mut piece = [0; 4096];
    loop {
        match stream.read(&mut piece) {
            Ok(0) => break,
            Ok(count) => all.extend_from_slice(&piece[..count]),
            Err(error) if error.kind() == ErrorKind::ConnectionReset => break,
            Err(error) => panic!("not closed: {error}, after {:?}", String::from_utf8_lossy(&all)),
        }
    }
    String::from_utf8_lossy(&all).into_owned()
}

fn press(body: &str) -> String {
    format!(
        "POST /say HTTP/1.1\r\nHost: {{host}}\r\nAuthorization: Bearer {{key}}\r\nContent-Type: application/json\r\n\
         Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    )
}

/// A browser's reading of the stream.
struct Reader {
    from: BufReader<TcpStream>,
    /// The status line of the answer; empty where none came.
    status: String,
    kept: Vec<u8>,
}

impl Reader {
    /// One that has read the head of the answer, and nothing of the stream.
    fn new(at: SocketAddr, key: &str) -> Self {
        let mut stream = connect(at);
        let request = format!("GET /stream HTTP/1.1\r\nHost: {at}\r\nAuthorization: Bearer {key}\r\n\r\n");
        // Where there is no seat, it may be closed before it has asked.
        let _ = stream.write_all(request.as_bytes());
        let mut reader = Self { from: BufReader::new(stream), status: String::new(), kept: Vec::new() };
        let mut line = String::new();
        while reader.from.read_line(&mut line).is_ok_and(|count| count > 2) {
            if reader.status.is_empty() {
                reader.status.clone_from(&line);
            }
            line.clear();
        }
        reader
    }

    /// The next line of the stream.
    fn line(&mut self) -> Value {
        self.next().expect("the stream goes on")
    }

    /// The next line, or none where the stream ends.
    fn next(&mut self) -> Option<Value> {
        assert!(self.status.starts_with("HTTP/1.1 200 "), "{}", self.status);
        loop {
            if let Some(end) = self.kept.iter().position(|byte| *byte == b'\n') {
                let line = self.kept.drain(..=end).collect::<Vec<u8>>();
                return Some(serde_json::from_slice(&line).unwrap());
            }
            let mut size = String::new();
            self.from.read_line(&mut size).unwrap();
            let size = usize::from_str_radix(size.trim(), 16).unwrap();
            if size == 0 {
                return None;
            }
            let begin = self.kept.len();
            self.kept.resize(begin + size + 2, 0);
            self.from.read_exact(&mut self.kept[begin..]).unwrap();
            self.kept.truncate(begin + size);
        }
    }
}

#[test]
fn every_attack_is_refused_and_the_owner_still_gets_in() {
    let house = House::new(bounds());
    for (name, request, status) in REFUSED {
        let answer = house.answer(request);
        assert_eq!(answer.split(' ').nth(1), Some(status.to_string().as_str()), "{name}: {answer:.300}");
        assert!(!answer.contains("<html"), "{name}: {answer:.300}");
    }
    assert_eq!(house.asked.load(Ordering::Relaxed), 0, "nothing of all this was put to the watch");
    house.still_works("every refusal");
}

#[test]
fn what_is_no_http_ends_and_nothing_comes_of_it() {
    let house = House::new(bounds());
    let binary: Vec<u8> = (0..=255).cycle().take(4096).collect();
    let tls = [0x16, 0x03, 0x01, 0x02, 0x00, 0x01, 0x00, 0x01, 0xfc, 0x03, 0x03];
    for (name, bytes) in [
        ("HTTP/0.9", &b"GET /\r\n"[..]),
        ("HTTP/2", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"),
        ("TLS", &tls),
        ("noise", &binary),
        ("nulls", &[0; 2048]),
        ("nothing", b""),
        ("half a request line", b"GET / HT"),
        ("line ends without end", &b"\r\n".repeat(8000)),
    ] {
        let answer = house.answer_bytes(bytes);
        assert!(
            answer.is_empty() || answer.starts_with("HTTP/1.1 4") || answer.starts_with("HTTP/1.1 505"),
            "{name}: {answer}"
        );
    }
    house.still_works("noise");
}

#[test]
fn nothing_may_be_longer_than_it_may_be() {
    let house = House::new(bounds());
    let long = "x".repeat(20_000);
    for (name, request) in [
        ("a long path", format!("GET /{long} HTTP/1.1\r\nHost: {{host}}\r\n\r\n")),
        ("a long header", format!("GET / HTTP/1.1\r\nHost: {{host}}\r\nX: {long}\r\n\r\n")),
        ("many headers", format!("GET / HTTP/1.1\r\nHost: {{host}}\r\n{}\r\n", "X: y\r\n".repeat(500))),
        ("a head without end", format!("GET / HTTP/1.1\r\nHost: {{host}}\r\n{}", "X: y\r\n".repeat(5000))),
    ] {
        let answer = house.answer(&request);
        let refused = ["HTTP/1.1 431 ", "HTTP/1.1 414 ", "HTTP/1.1 400 "].iter().any(|start| answer.starts_with(start));
        // What is closed with some of it unread may be gone before its answer is.
        assert!(answer.is_empty() || refused, "{name}: {answer:.200}");
    }
    let body = format!(r#"{{"verb":"silence","x":"{}"}}"#, "y".repeat(4096));
    assert!(house.answer(&press(&body)).starts_with("HTTP/1.1 413 "));
    let pieces =
        "POST /say HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {key}\r\nContent-Type: application/json\r\n\
                  Transfer-Encoding: chunked\r\n\r\n"
            .to_owned();
    let endless = format!("{pieces}{}", format!("400\r\n{}\r\n", " ".repeat(1024)).repeat(8));
    assert!(house.answer(&endless).starts_with("HTTP/1.1 413 "));
    // A length and pieces at once: whichever is believed, only one request comes of it, and the connection ends.
    let smuggled = pieces.replacen("Transfer", "Content-Length: 4\r\nTransfer", 1)
        + "0\r\n\r\nPOST /say HTTP/1.1\r\nHost: {host}\r\nContent-Length: 0\r\n\r\n";
    let before = house.asked.load(Ordering::Relaxed);
    let answer = house.answer(&smuggled);
    assert!(answer.matches("HTTP/1.1 200").count() == 0, "{answer}");
    assert!(house.asked.load(Ordering::Relaxed) <= before + 1);
    house.still_works("too much");
}

#[test]
fn a_body_is_put_to_the_watch_as_it_came_and_its_no_is_told() {
    let house = House::new(bounds());
    for body in ["", "no JSON", "{\"verb\":\"sail\"}", "\0\0", &"[".repeat(4000), "{\"verb\":\"silence\"}x"] {
        let answer = house.answer(&press(body));
        assert!(answer.starts_with("HTTP/1.1 409 ") && answer.contains(r#"{"done":false}"#), "{body:.20}: {answer}");
    }
    house.still_works("nonsense");
}

#[test]
fn requests_one_behind_the_other_are_each_looked_at() {
    let house = House::new(bounds());
    let get = "GET / HTTP/1.1\r\nHost: {host}\r\n\r\n";
    let both = house.answer(&format!("{get}{get}GET /stream HTTP/1.1\r\nHost: {{host}}\r\n\r\n{get}"));
    assert_eq!(both.matches("HTTP/1.1 200 ").count(), 2, "{both:.300}");
    // The refusal ends the connection: the last one is not answered.
    assert_eq!(both.matches("HTTP/1.1 401 ").count(), 1);
    assert_eq!(both.matches("HTTP/1.1 ").count(), 3);
}

#[test]
fn every_answer_carries_what_keeps_a_browser_from_harm() {
    let house = House::new(bounds());
    let page = house.answer("GET / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
    let policy = page.lines().find(|line| line.starts_with("content-security-policy: ")).unwrap();
    for part in [
        "default-src 'none'",
        "script-src 'sha256-",
        "style-src 'sha256-",
        "frame-ancestors 'none'",
        "connect-src 'self'",
    ] {
        assert!(policy.contains(part), "{part}: {policy}");
    }
    assert!(!policy.contains("unsafe"), "{policy}");
    for request in ["GET / HTTP/1.1", "GET /stream HTTP/1.1", "GET /nothing HTTP/1.1", "PUT /say HTTP/1.1"] {
        let answer = house.answer(&format!("{request}\r\nHost: {{host}}\r\nConnection: close\r\n\r\n"));
        for header in [
            policy,
            "x-content-type-options: nosniff",
            "x-frame-options: DENY",
            "referrer-policy: no-referrer",
            "cache-control: no-store",
        ] {
            assert!(answer.lines().any(|line| line == header), "{request}: {header} not in {answer:.600}");
        }
        assert!(!answer.to_ascii_lowercase().contains("access-control-allow"), "{request}");
    }
}

#[test]
fn a_wrong_key_waits_and_the_right_one_does_not() {
    // It would wait for ten minutes: no guess is answered while this test runs.
    let house = House::new(Bounds { wrong_key: Duration::from_secs(600), strangers_each: 8, ..bounds() });
    let wrong =
        format!("GET /stream HTTP/1.1\r\nHost: {}\r\nAuthorization: Bearer {}\r\n\r\n", house.host(), "a".repeat(32));
    let mut guesses: Vec<TcpStream> = Vec::new();
    for _ in 0..6 {
        let mut guess = connect(house.at());
        guess.write_all(wrong.as_bytes()).unwrap();
        guesses.push(guess);
    }
    house.still_works("guesses");
    for guess in &mut guesses {
        guess.set_nonblocking(true).unwrap();
        assert!(guess.read(&mut [0; 16]).is_err_and(|error| error.kind() == ErrorKind::WouldBlock), "it still waits");
    }
}

#[test]
fn strangers_are_few_and_do_not_keep_the_owner_out() {
    let long = Duration::from_secs(600);
    let house = House::new(Bounds { strangers_each: 3, known: 2, head_within: long, ..bounds() });
    let mut first = Reader::new(house.at(), &house.key);
    first.line();
    // Whoever has shown the key holds no stranger's seat any more.
    let strangers: Vec<TcpStream> = (0..3).map(|_| connect(house.at())).collect();
    let answer = house.answer("GET / HTTP/1.1\r\nHost: {host}\r\n\r\n");
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 503 "), "{answer:.100}");
    house.server.feed().publish(r#"{"alerts":["x"]}"#.into(), true);
    assert_eq!(first.line()["now"]["alerts"][0], "x", "who is in already goes on");
    drop(strangers);
    // Their seats are free again as soon as the server has seen them go.
    let readers = std::iter::repeat_with(|| Reader::new(house.at(), &house.key));
    let mut second = { readers }.find(|reader| reader.status.starts_with("HTTP/1.1 200 ")).unwrap();
    second.line();
    let third = Reader::new(house.at(), &house.key);
    assert!(third.status.starts_with("HTTP/1.1 503 "), "only so many, even with the key: {}", third.status);
}

#[test]
fn who_comes_too_slowly_or_never_reads_is_closed() {
    let house = House::new(Bounds { unread: SOON, ..bounds() });
    let mut silent = connect(house.at());
    assert_eq!(rest(&mut silent), "");
    let mut slow = connect(house.at());
    write!(slow, "GET / HTTP/1.1\r\nHost: {}\r\nX: ", house.host()).unwrap();
    let answer = rest(&mut slow);
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 408 "), "{answer}");
    // A reader that does not read holds a reader's seat only until that is seen.
    let stuck = Reader::new(house.at(), &house.key);
    let big = format!(r#"{{"alerts":[],"x":"{}"}}"#, "y".repeat(1 << 20));
    let mut seen = false;
    while !seen || house.server.feed().is_read() {
        seen |= house.server.feed().is_read();
        house.server.feed().publish(big.clone(), true);
        std::thread::yield_now();
    }
    drop(stuck);
    house.server.feed().publish(r#"{"alerts":[]}"#.into(), false);
    house.still_works("who never reads");
}

#[test]
fn a_slow_reader_skips_snapshots_and_never_an_alert() {
    let house = House::new(Bounds { gap: Duration::from_millis(20), ..bounds() });
    let mut reader = Reader::new(house.at(), &house.key);
    assert_eq!(reader.line()["now"]["alerts"], serde_json::json!([]));
    let many = 50_000;
    for number in 1..=many {
        let mark = format!(r#"{{"number":{number}}}"#);
        if number % 10_000 == 0 {
            house.server.feed().mark(&mark);
        }
        let alerts = if number >= 10_000 { r#"["off-heading"]"# } else { "[]" };
        house.server.feed().publish(format!(r#"{{"number":{number},"alerts":{alerts}}}"#), number == 10_000);
    }
    let mut lines = 0;
    let mut marks = Vec::new();
    loop {
        let line = reader.line();
        lines += 1;
        let number = line["now"]["number"].as_u64().unwrap();
        assert_eq!(line["now"]["alerts"].as_array().unwrap().len(), usize::from(number >= 10_000));
        marks.extend(line["marks"].as_array().unwrap().iter().map(|mark| mark["number"].as_u64().unwrap()));
        if number == many {
            break;
        }
    }
    assert!(lines < many, "{lines} lines of {many} snapshots");
    assert_eq!(marks, [10_000, 20_000, 30_000, 40_000, 50_000]);
}

#[test]
fn an_address_that_does_not_work_is_reported_and_the_key_is_one() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let at = taken.local_addr().unwrap();
    let answer = |_: &[u8]| Said { done: true, json: String::new() };
    let server = Server::open(at, Key::new().unwrap().lock(), bounds(), answer).unwrap();
    let report = std::iter::repeat_with(|| server.report()).find_map(|report| report).unwrap();
    assert!(!report.works && report.why.contains(&at.to_string()), "{report:?}");
    assert_eq!(server.address(), None);
}

#[test]
fn the_end_is_told_to_whoever_reads() {
    let house = House::new(bounds());
    let mut reader = Reader::new(house.at(), &house.key);
    reader.line();
    house.server.feed().publish(r#"{"ended":"interrupted"}"#.into(), true);
    drop(house);
    assert_eq!(reader.next().unwrap()["now"]["ended"], "interrupted");
    assert_eq!(reader.next(), None);
}

/// A watch with a page, and its link.
fn watch(folder: &Folder) -> (Watch, SocketAddr, String) {
    let args = ["--page", "127.0.0.1:0", "--page-key", "page.key", "--format", "jsonl"];
    let mut watch = Watch::begun(folder, &args, r#""notice":"start""#);
    let mut link = String::new();
    BufReader::new(watch.child.stderr.take().unwrap()).read_line(&mut link).unwrap();
    let link = link.trim().strip_prefix("page: http://").unwrap_or_else(|| panic!("{link}")).to_owned();
    let (at, key) = link.split_once("/#").unwrap();
    (watch, at.parse().unwrap(), key.to_owned())
}

#[test]
fn fifty_browsers_delay_no_alert_whether_they_read_or_not() {
    let folder = Folder::new("fifty");
    let (mut watch, at, key) = watch(&folder);
    watch.say("HCHDG,152.3,,,4.1,E");
    let mut readers: Vec<Reader> = (0..50).map(|_| Reader::new(at, &key)).collect();
    for reader in &mut readers[..25] {
        assert_eq!(reader.line()["now"]["alerts"], serde_json::json!([]));
    }
    // The other 25 have asked for the stream and never read it. The alarm of a line that is cut comes, and its answer is obeyed, all the same.
    watch.to = None;
    let raised: Value = serde_json::from_str(&watch.until("input-lost")).unwrap();
    assert_eq!((&raised["priority"], &raised["state"]), (&"alarm".into(), &"active-unacknowledged".into()));
    for reader in &mut readers[..25] {
        let found = (0..100).map(|_| reader.line()).find(|line| line["now"]["alerts"][0]["alert"] == "input-lost");
        let line = found.expect("the alarm is in the stream");
        assert_eq!(line["now"]["alerts"][0]["since_start_ms"], raised["since_start_ms"], "as it was raised");
    }
    let body = r#"{"verb":"acknowledge"}"#;
    let mut press_it = connect(at);
    let request = press(body).replace("{host}", &at.to_string()).replace("{key}", &key);
    press_it.write_all(request.as_bytes()).unwrap();
    let answer = rest(&mut press_it);
    assert!(answer.starts_with("HTTP/1.1 200 ") && answer.contains("acknowledged: input-lost"), "{answer}");
    watch.until("active-acknowledged");
    let found = (0..100).map(|_| readers[0].line()).find(|l| l["now"]["alerts"][0]["state"] == "active-acknowledged");
    assert!(found.is_some());
}

#[test]
fn a_replay_raises_the_same_at_the_same_moments_with_fifty_browsers_and_without() {
    let folder = Folder::new("same");
    let log = folder.0.join("log.nmea");
    let mut text = String::new();
    for s in 0..240_u32 {
        let heading = if s < 120 { 152.0 } else { 152.0 + f64::from((s - 120).min(40)) };
        text +=
            &format!("2026-07-14T02:{:02}:{:02}Z {}", s / 60, s % 60, sentence(&format!("HCHDG,{heading:.1},,,4.1,E")));
    }
    std::fs::write(&log, text).unwrap();
    let args = ["watch", "log.nmea", "--steer", "152C", "--format", "jsonl"];
    let alerts = |out: &str| -> Vec<String> {
        out.lines()
            .filter(|line| line.contains(r#""alert":"#) && !line.contains(r#""summary""#))
            .map(str::to_owned)
            .collect()
    };
    let (code, alone) = folder.run(&args);
    assert_eq!(code, Some(0), "{alone}");
    assert!(alerts(&alone).iter().any(|line| line.contains("off-heading")), "{alone}");
    let paced = [&args[..], &["--pace", "50", "--page", "127.0.0.1:0", "--page-key", "k", "--no-control"]].concat();
    let mut child = folder
        .lubber(&paced)
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut link = String::new();
    BufReader::new(child.stderr.take().unwrap()).read_line(&mut link).unwrap();
    let (at, key) = link.trim().strip_prefix("page: http://").unwrap().split_once("/#").unwrap();
    let at = at.parse().unwrap();
    let readers: Vec<Reader> = (0..50).map(|_| Reader::new(at, key)).collect();
    assert!(readers.iter().all(|reader| reader.status.starts_with("HTTP/1.1 200 ")), "all of them got in");
    let mut out = String::new();
    child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert_eq!(alerts(&out), alerts(&alone));
}

#[test]
fn a_log_that_nobody_could_look_at_has_no_page() {
    let folder = Folder::new("nobody");
    std::fs::write(folder.0.join("log.nmea"), format!("2026-07-14T02:00:00Z {}", sentence("HCHDG,152.3,,,4.1,E")))
        .unwrap();
    let (code, said) = folder.run(&["watch", "log.nmea", "--page"]);
    assert!(code == Some(2) && said.contains("--pace 1"), "{said}");
    let (code, said) = folder.run(&["watch", "log.nmea", "--page-new-key"]);
    assert!(code == Some(2) && said.contains("--page ADDRESS:PORT"), "{said}");
    // A boat file that wants one is no fault of whoever replays a log.
    std::fs::write(folder.0.join("boat.toml"), "[page]\naddress = \"127.0.0.1:0\"\n").unwrap();
    let (code, said) = folder.run(&["watch", "log.nmea"]);
    assert!(code == Some(0) && !said.contains("page:"), "{said}");
    assert!(!folder.0.join(".local").exists());
}
