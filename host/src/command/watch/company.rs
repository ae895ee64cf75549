//! The watch's output and what keeps it company: announcing, recording, the journal, the page, the sounder.
//!
//! The output may end a watch, for a watch that nobody hears is none. A companion may not: it is told
//! everything, is never in the way, and reports where it fails.

use std::io;

use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use crate::session::Ending;
use crate::session::Heard;
use crate::session::Moment;
use crate::session::Remark;
use crate::session::Report;
use crate::session::Sink;

/// Something that keeps the watch company. None of its calls may wait for anything.
pub(super) trait Companion {
    /// Bytes came in, as they came.
    fn received(&mut self, _moment: Moment, _source: SourceId, _bytes: &[u8]) {}

    /// An alert changed, a command about one was heard, or there is a notice; no other event.
    fn event(&mut self, _moment: Moment, _event: &Event<'_>) {}

    /// The inputs, or a part of the watch, said something.
    fn remark(&mut self, _moment: Moment, _remark: &Remark<'_>) {}

    /// Somebody said a word.
    fn heard(&mut self, _moment: Moment, _heard: &Heard) {}

    /// When it wants to look at the monitor next. After a look this must be later than the look.
    fn due(&self) -> Instant;

    /// It may look at the monitor.
    fn look(&mut self, _moment: Moment, _monitor: &Monitor) {}

    /// What there is to report, one at a time: asked for after every look of anybody.
    fn report(&mut self) -> Option<Report> {
        None
    }

    /// The watch has ended; the last look.
    fn end(&mut self, _moment: Moment, _monitor: &Monitor, _ending: Ending) {}
}

/// The output with its companions.
pub(super) struct Company<'a, S> {
    pub(super) sink: &'a mut S,
    pub(super) companions: Vec<Box<dyn Companion>>,
}

impl<S: Sink> Sink for Company<'_, S> {
    #[inline]
    fn received(&mut self, moment: Moment, source: SourceId, bytes: &[u8]) {
        for companion in &mut self.companions {
            companion.received(moment, source, bytes);
        }
    }

    #[inline]
    fn event(&mut self, moment: Moment, event: &Event<'_>) -> io::Result<()> {
        if let Event::Alert(_) | Event::Command(_) | Event::Notice(_) = event {
            for companion in &mut self.companions {
                companion.event(moment, event);
            }
        }
        self.sink.event(moment, event)
    }

    fn remark(&mut self, moment: Moment, remark: Remark<'_>) -> io::Result<()> {
        for companion in &mut self.companions {
            companion.remark(moment, &remark);
        }
        self.sink.remark(moment, remark)
    }

    fn heard(&mut self, moment: Moment, heard: &Heard) -> io::Result<()> {
        for companion in &mut self.companions {
            companion.heard(moment, heard);
        }
        self.sink.heard(moment, heard)
    }

    #[inline]
    fn due(&self) -> Instant {
        self.companions.iter().fold(self.sink.due(), |due, companion| due.min(companion.due()))
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) -> io::Result<()> {
        for companion in self.companions.iter_mut().filter(|companion| companion.due() <= moment.now) {
            companion.look(moment, monitor);
        }
        if self.sink.due() <= moment.now { self.sink.look(moment, monitor) } else { Ok(()) }
    }

    fn report(&mut self) -> Option<Report> {
        self.companions.iter_mut().find_map(|companion| companion.report())
    }

    fn progress(&mut self, read: u64, total: Option<u64>) {
        self.sink.progress(read, total);
    }

    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) -> io::Result<()> {
        // The output first: whoever waits for its last line waits for nobody else.
        let ended = self.sink.end(moment, monitor, ending);
        for companion in &mut self.companions {
            companion.end(moment, monitor, ending);
        }
        ended
    }
}
