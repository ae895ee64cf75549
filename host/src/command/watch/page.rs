//! The cockpit page of a watch: what it is told, and how it answers.

use std::env;
use std::io;
use std::io::IsTerminal;
use std::io::Write;
use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::SocketAddr;
use std::path::PathBuf;

use lubber_core::alert::AlertKind;
use lubber_core::alert::OFF_HEADING_LIMIT;
use lubber_core::alert::Part;
use lubber_core::angle::Turn;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::company::Companion;
use super::control;
use super::control::FrontDesk;
use super::desk::stamp;
use super::setup::Setup;
use crate::control::Reply;
use crate::control::Request;
use crate::exit::Failure;
use crate::page;
use crate::page::Bounds;
use crate::page::Key;
use crate::page::KeyError;
use crate::page::Lock;
use crate::page::Point;
use crate::page::Said;
use crate::page::Server;
use crate::session::Ending;
use crate::session::Moment;
use crate::session::Pace;
use crate::session::Remark;
use crate::session::Report;
use crate::session::Voice;
use crate::view::Sources;
use crate::view::alert;
use crate::view::json::Object;
use crate::view::json::object;
use crate::view::notice;
use crate::view::number::signed;
use crate::view::status;

/// Where the page is, unless something else is said: on this machine alone.
pub(super) const USUAL: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 10_350);

/// How often the page is told how it stands while somebody reads it.
const OFTEN: Span = Span::from_ms(500);
/// The trace has a point a second, and nobody waits longer for a first snapshot.
const TRACE: Span = Span::from_s(1);

/// What is kept of the owner's wishes about the page.
pub(super) struct Wanted {
    pub(super) at: SocketAddr,
    pub(super) key: Option<PathBuf>,
    pub(super) new_key: bool,
    pub(super) pace: Option<Pace>,
}

/// The page of this watch.
pub(super) struct Cockpit {
    server: Server,
    boat: Option<String>,
    sources: Sources,
    pace: Option<Pace>,
    /// From where on off-heading is raised.
    limit: Option<Turn>,
    /// For each source whether it works, and why not; none before it was said.
    health: Vec<Option<(bool, String)>>,
    next: Instant,
    next_point: Instant,
    /// Something changed that should be seen at once.
    urgent: bool,
    /// The snapshot that is being made.
    line: String,
}

impl Cockpit {
    /// Serves the page of a watch, and tells the owner its link where a key was made.
    pub(super) fn open(wanted: &Wanted, setup: &Setup, desk: &FrontDesk) -> Result<Self, Failure> {
        let failed = |error: KeyError| Failure::new(error.to_string());
        let place = match &wanted.key {
            Some(path) => path.clone(),
            None => page::key_place(variable("STATE_DIRECTORY"), variable("XDG_STATE_HOME"), variable("HOME"))
                .ok_or_else(|| failed(KeyError::NoPlace))?,
        };
        let (lock, made) = Lock::keep(&place, wanted.new_key).map_err(failed)?;
        let desk = FrontDesk { speaker: desk.speaker.voiced(Voice::Page), ..desk.clone() };
        let answering = move |body: &[u8]| {
            let answer = |request| control::answer(request, &desk);
            let reply = Request::read(body.trim_ascii()).map_or_else(Reply::refused, answer);
            Said { done: reply.done, json: reply.line() }
        };
        let server = Server::open(wanted.at, lock, Bounds::default(), answering)
            .map_err(|error| Failure::new(error.to_string()))?;
        if let Some(key) = made {
            // Without its link nobody gets in; that it cannot be shown is no reason to keep no watch.
            let _ = show(&key, server.address().unwrap_or(wanted.at));
        }
        Ok(Self {
            server,
            boat: setup.boat.clone(),
            sources: setup.sources.clone(),
            pace: wanted.pace,
            limit: limit(&setup.settings),
            health: vec![None; setup.sources.iter().count()],
            next: Instant::default(),
            next_point: Instant::default(),
            urgent: true,
            line: String::new(),
        })
    }

    /// Where it is, for the lines at the start.
    pub(super) fn place(&self, wanted: &Wanted) -> String {
        let at = self.server.address().unwrap_or(wanted.at);
        let whose = if at.ip().is_loopback() { String::new() } else { format!(", {}", page::PLAIN_HTTP) };
        format!("{}{whose}", page::link(at, None))
    }

    fn publish(&mut self, moment: Moment, monitor: &Monitor, ended: Option<Ending>) {
        let at = stamp(moment);
        let now = monitor.status(moment.now);
        if self.next_point <= moment.now || ended.is_some() {
            self.server.feed().point(Point::of(at, &now));
            self.next_point = moment.now + TRACE;
        }
        self.line.clear();
        status::json(&mut self.line, at, &now, &self.sources, |id| monitor.counts(id));
        // The status is an object of three members; the page's own follow them.
        self.line.pop();
        self.line.push(',');
        let mut more = String::new();
        object(&mut more, |o| {
            o.text_or_null("boat", self.boat.as_ref());
            o.number_or_null("pace", self.pace.map(|pace| pace.log_ms_a_second() as f64 / 1000.0));
            o.number_or_null("limit_deg", self.limit.map(signed));
            o.objects("health", &self.health, health);
            o.text_or_null(
                "ended",
                ended.map(|ended| match ended {
                    Ending::InputsEnded => "inputs-ended",
                    Ending::Interrupted => "interrupted",
                }),
            );
        });
        self.line.push_str(&more[1..more.len() - 1]);
        self.line.push_str(",\"alerts\":[");
        for (place, change) in now.alerts.iter().enumerate() {
            self.line.push_str(if place > 0 { "," } else { "" });
            alert::json(&mut self.line, at.back_to(change.at), change, &self.sources);
        }
        self.line.push_str("]}");
        self.server.feed().publish(self.line.clone(), self.urgent);
        self.urgent = false;
    }
}

fn health(o: &mut Object<'_>, health: &Option<(bool, String)>) {
    match health {
        Some((works, why)) => {
            o.flag("works", *works);
            o.text("why", why);
        }
        None => o.null("works"),
    }
}

/// From where on off-heading is raised; none where it is switched off.
fn limit(settings: &Settings) -> Option<Turn> {
    let (_, limits) = AlertKind::ALL.iter().zip(&settings.limits).find(|(kind, _)| **kind == AlertKind::OffHeading)?;
    (!limits.disabled).then(|| limits.limit.unwrap_or(OFF_HEADING_LIMIT))
}

fn variable(name: &str) -> Option<PathBuf> {
    env::var_os(name).map(PathBuf::from)
}

/// The link with the key, once; with a code for a camera where somebody looks at a terminal.
fn show(key: &Key, at: SocketAddr) -> io::Result<()> {
    let link = page::link(page::reachable(at), Some(key));
    let mut to = anstream::stderr().lock();
    writeln!(to, "page: {link}")?;
    if !at.ip().is_loopback() && io::stderr().is_terminal() {
        let colours = env::var_os("NO_COLOR").is_none_or(|no| no.is_empty());
        if let Some(code) = page::code(&link, colours) {
            write!(to, "{code}")?;
        }
    }
    writeln!(to, "      its key is shown this once and kept only as a hash; for another one: --page-new-key")?;
    if !at.ip().is_loopback() {
        writeln!(to, "      {}", page::PLAIN_HTTP)?;
    }
    Ok(())
}

impl Companion for Cockpit {
    fn event(&mut self, moment: Moment, event: &Event<'_>) {
        let mut mark = String::new();
        match event {
            Event::Alert(change) => alert::json(&mut mark, stamp(moment), change, &self.sources),
            Event::Notice(notice) => notice::json(&mut mark, stamp(moment), notice),
            _ => return,
        }
        self.server.feed().mark(&mark);
        self.urgent = true;
        self.next = moment.now;
    }

    fn remark(&mut self, moment: Moment, remark: &Remark<'_>) {
        if let Remark::Works { source, works, why, .. } = remark
            && let Some(slot) = self.health.get_mut(source.index())
        {
            *slot = Some((*works, (*why).to_owned()));
            self.next = moment.now;
        }
    }

    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) {
        let often = self.pace.map_or(OFTEN.as_ms(), |pace| pace.log_ms_a_second() / 2).clamp(1, TRACE.as_ms());
        let wait = if self.server.feed().is_read() { Span::from_ms(often) } else { TRACE };
        self.publish(moment, monitor, None);
        self.next = moment.now + wait;
    }

    fn report(&mut self) -> Option<Report> {
        let page::Report { works, why } = self.server.report()?;
        Some(Report { part: Part::Page, works, why })
    }

    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) {
        self.urgent = true;
        self.publish(moment, monitor, Some(ending));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_place_is_told_as_it_is() {
        assert_eq!(crate::command::watch::USUAL_PAGE, USUAL.to_string());
        assert!(USUAL.ip().is_loopback());
    }

    #[test]
    fn the_limit_is_the_owners_else_the_usual_one_and_none_where_nothing_is_raised() {
        let mut settings = Settings::default();
        assert_eq!(limit(&settings), Some(Turn::from_deg(15)));
        let place = AlertKind::ALL.iter().position(|kind| *kind == AlertKind::OffHeading).unwrap();
        settings.limits[place].limit = Some(Turn::from_deg(20));
        assert_eq!(limit(&settings), Some(Turn::from_deg(20)));
        settings.limits[place].disabled = true;
        assert_eq!(limit(&settings), None);
    }
}
