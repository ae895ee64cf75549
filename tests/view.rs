//! Whole-program tests: the watch on a whole screen, on a real pseudo-terminal.

#[allow(dead_code)]
#[path = "common/live.rs"]
mod live;

use std::fs::File;
use std::io::Read;
use std::io::Write;
use std::net::TcpListener;
use std::net::TcpStream;
use std::num::NonZero;
use std::os::fd::OwnedFd;
use std::process::Child;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::channel;

use rustix::fs::Mode;
use rustix::fs::OFlags;
use rustix::pty::OpenptFlags;
use rustix::termios::LocalModes;
use rustix::termios::Winsize;

use live::Folder;
use live::sentence;

/// A terminal of our own with a watch on it.
struct Terminal {
    child: Child,
    master: File,
    slave: OwnedFd,
    heard: Receiver<Vec<u8>>,
    screen: vt100::Parser,
    all: Vec<u8>,
    line: TcpStream,
}

impl Terminal {
    fn new(folder: &Folder, rows: u16, columns: u16, args: &[&str]) -> Self {
        let master = rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        rustix::pty::grantpt(&master).unwrap();
        rustix::pty::unlockpt(&master).unwrap();
        let name = rustix::pty::ptsname(&master, Vec::new()).unwrap();
        let slave = rustix::fs::open(name.as_c_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).unwrap();
        size(&master, rows, columns);
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let source = format!("tcp:{}", listener.local_addr().unwrap());
        let all = [&["watch", &source, "--heading", "HCHDG", "--view"], args].concat();
        let mut command = folder.lubber(&all);
        command.env("TERM", "xterm-256color").env_remove("NO_COLOR");
        command.stdin(slave.try_clone().unwrap()).stdout(slave.try_clone().unwrap());
        let child = command.spawn().unwrap();
        let (line, _) = listener.accept().unwrap();
        let master = File::from(master);
        let mut from = master.try_clone().unwrap();
        let (send, heard) = channel();
        std::thread::spawn(move || {
            let mut piece = [0; 4096];
            // The other side is gone: EIO.
            while let Ok(count @ 1..) = from.read(&mut piece) {
                if send.send(piece[..count].to_vec()).is_err() {
                    return;
                }
            }
        });
        Self {
            child,
            master,
            slave,
            heard,
            screen: vt100::Parser::new(one(rows), one(columns), 0),
            all: Vec::new(),
            line,
        }
    }

    fn say(&mut self, body: &str) {
        self.line.write_all(sentence(body).as_bytes()).unwrap();
    }

    fn press(&mut self, key: u8) {
        self.master.write_all(&[key]).unwrap();
    }

    /// Feeds the line until the screen is as it `must` be.
    fn until(&mut self, what: &str, must: impl Fn(&vt100::Screen) -> bool) {
        let mut silences = 0;
        while !must(self.screen.screen()) {
            // A watch paints once a second, so that silence alone would not come to an end.
            silences += 1;
            assert!(silences < 600, "{what}; the screen is\n{}", self.screen.screen().contents());
            if let Ok(bytes) = self.heard.recv_timeout(std::time::Duration::from_millis(100)) {
                self.screen.process(&bytes);
                self.all.extend(bytes);
            }
        }
    }

    fn shows(&mut self, text: &str) {
        self.until(text, |screen| screen.contents().contains(text));
    }

    /// Whether the line mode and the echo of the terminal are as they were found.
    fn as_found(&self) -> bool {
        let modes = rustix::termios::tcgetattr(&self.slave).unwrap().local_modes;
        modes.contains(LocalModes::ICANON | LocalModes::ECHO)
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn one(number: u16) -> NonZero<u16> {
    NonZero::new(number).unwrap()
}

fn size(terminal: impl std::os::fd::AsFd, rows: u16, columns: u16) {
    let size = Winsize { ws_row: rows, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 };
    rustix::termios::tcsetwinsize(terminal, size).unwrap();
}

#[test]
fn the_whole_screen_is_taken_obeys_keys_and_is_given_back() {
    let folder = Folder::new("view");
    let mut terminal = Terminal::new(&folder, 24, 80, &[]);
    terminal.until("the whole screen", |screen| screen.alternate_screen() && screen.hide_cursor());
    terminal.shows("NO HEADING");
    terminal.say("HCHDG,152.3,,,4.1,E");
    terminal.shows("152C");
    terminal.press(b'c');
    terminal.shows("152C by the owner");
    terminal.press(b'h');
    terminal.shows("by hand");
    // The line is cut: an alarm, until somebody takes it.
    terminal.line.shutdown(std::net::Shutdown::Both).unwrap();
    terminal.shows("ALARM input-lost");
    let flashing = |screen: &vt100::Screen| {
        let cells = (0..24).flat_map(|row| (0..80).map(move |column| (row, column)));
        cells.filter_map(|(row, column)| screen.cell(row, column)).any(vt100::Cell::inverse)
    };
    terminal.until("what nobody has answered stands out", flashing);
    terminal.press(b'a');
    terminal.shows("active-acknowledged");
    terminal.until("what is answered stands still", |screen| !flashing(screen));

    // It is smaller now, and still says what matters.
    size(&terminal.master, 10, 40);
    terminal.screen.screen_mut().set_size(one(10), one(40));
    terminal.until("repainted", |screen| {
        let rows: Vec<String> = screen.rows(0, 40).collect();
        rows[0].contains("1 ALARM") && rows.iter().any(|row| row.starts_with("heading    152C"))
    });

    assert!(!terminal.as_found(), "keys come one by one");
    terminal.press(b'q');
    terminal.until("given back", |screen| {
        !screen.alternate_screen() && !screen.hide_cursor() && screen.contents().contains("nobody keeps watch now")
    });
    assert_eq!(terminal.child.wait().unwrap().code(), Some(130));
    assert!(terminal.as_found());
}

#[test]
fn a_signal_gives_the_screen_back_too() {
    let folder = Folder::new("view-signal");
    let mut terminal = Terminal::new(&folder, 24, 80, &[]);
    terminal.shows("NO HEADING");
    let pid = rustix::process::Pid::from_child(&terminal.child);
    rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
    terminal.until("given back", |screen| !screen.alternate_screen() && screen.contents().contains("END OF THE WATCH"));
    terminal.child.wait().unwrap();
    assert!(terminal.as_found());
}

#[test]
fn at_night_all_light_is_red() {
    let folder = Folder::new("view-night");
    let mut terminal = Terminal::new(&folder, 24, 80, &[]);
    terminal.shows("NO HEADING");
    terminal.press(b'n');
    terminal.until("red", |screen| {
        let cells = (0..24).flat_map(|row| (0..80).map(move |column| (row, column)));
        let seen = cells
            .filter_map(|(row, column)| screen.cell(row, column))
            .filter(|cell| !cell.contents().trim().is_empty());
        // 1 and 9 are the two reds of the sixteen, 88 the dark one of the 256.
        seen.map(vt100::Cell::fgcolor).all(|colour| matches!(colour, vt100::Color::Idx(1 | 9 | 88)))
    });
}

#[test]
fn where_there_is_no_terminal_there_are_lines() {
    let folder = Folder::new("view-pipe");
    let night = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/night-passage.nmea");
    let run = |args: &[&str]| folder.run(&[&["watch", night, "--no-control"], args].concat());
    let (plain, viewed) = (run(&[]), run(&["--view"]));
    assert_eq!(plain, viewed);
    assert!(!viewed.1.contains('\u{1b}'));
}
