//! A watch on a live line of the test's own, over loopback.

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Write;
use std::net::TcpListener;
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::channel;
use std::time::Duration;

/// No answer for so long is a failure; an upper bound, never waited for otherwise.
pub(crate) const LONG: Duration = Duration::from_secs(60);

/// A folder of its own for each test, taken away with it.
pub(crate) struct Folder(pub(crate) PathBuf);

impl Folder {
    pub(crate) fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lubber-live-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    /// The program, whose usual socket and memory lie in this folder.
    pub(crate) fn lubber(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
        command.args(args).current_dir(&self.0).stdin(Stdio::null());
        command.env("XDG_RUNTIME_DIR", &self.0).env("XDG_STATE_HOME", &self.0);
        command
    }

    pub(crate) fn run(&self, args: &[&str]) -> (Option<i32>, String) {
        let Output { status, stdout, stderr } = self.lubber(args).output().unwrap();
        (status.code(), String::from_utf8([stdout, stderr].concat()).unwrap().trim_end().to_owned())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

pub(crate) fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// A watch on a line of our own, ended with it.
pub(crate) struct Watch {
    pub(crate) child: Child,
    pub(crate) to: Option<TcpStream>,
    lines: Receiver<String>,
}

impl Watch {
    pub(crate) fn new(folder: &Folder, args: &[&str]) -> Self {
        Self::begun(folder, args, "lubber keeps watch")
    }

    /// A watch that has begun when it has written `begun`.
    pub(crate) fn begun(folder: &Folder, args: &[&str], begun: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let source = format!("tcp:{}", listener.local_addr().unwrap());
        let mut watch = Self::start(folder, &[&["watch", &source, "--heading", "HCHDG"], args].concat(), &listener);
        // All that is told at the start has been told, and the socket is open.
        watch.until(begun);
        watch
    }

    /// A watch by `args` that connects to `listener`.
    pub(crate) fn start(folder: &Folder, args: &[&str], listener: &TcpListener) -> Self {
        let mut child = folder.lubber(args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (to, _) = listener.accept().unwrap();
        let from = BufReader::new(child.stdout.take().unwrap());
        let (send, lines) = channel();
        std::thread::spawn(move || from.lines().map_while(Result::ok).try_for_each(|line| send.send(line)));
        Self { child, to: Some(to), lines }
    }

    pub(crate) fn say(&mut self, body: &str) {
        self.to.as_mut().unwrap().write_all(sentence(body).as_bytes()).unwrap();
    }

    /// The next line that holds `must`.
    pub(crate) fn until(&mut self, must: &str) -> String {
        let mut seen = String::new();
        loop {
            let line = self.lines.recv_timeout(LONG).unwrap_or_else(|_| panic!("{must:?} not in\n{seen}"));
            if line.contains(must) {
                return line;
            }
            seen += &format!("{line}\n");
        }
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
