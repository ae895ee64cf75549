//! Every line that the watch hears is kept on disk.

use std::path::Path;

use lubber_core::alert::Part;
use lubber_core::monitor::Monitor;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::company::Companion;
use super::setup::Setup;
use crate::exit::Failure;
use crate::record::Recorder;
use crate::record::Settings;
use crate::record::Times;
use crate::session::Ending;
use crate::session::Moment;
use crate::session::Report;

/// How often it is asked whether the recorder works.
const LOOK: Span = Span::from_s(1);

/// Hands everything to the recorder.
pub(super) struct Recording {
    recorder: Option<Recorder>,
    next: Instant,
}

impl Recording {
    pub(super) fn start(folder: &Path, setup: &Setup) -> Result<Self, Failure> {
        let settings = Settings {
            folder: folder.to_owned(),
            limits: setup.record_limits,
            sources: setup.sources.iter().map(|(_, source)| source.name.clone()).collect(),
            times: Times::Live,
        };
        let recorder = Recorder::start(&settings).map_err(|error| Failure::new(error.to_string()))?;
        Ok(Self { recorder: Some(recorder), next: Instant::default() })
    }
}

impl Companion for Recording {
    fn received(&mut self, moment: Moment, source: SourceId, bytes: &[u8]) {
        if let Some(recorder) = &mut self.recorder {
            recorder.take(moment.now, moment.utc_ms, source, bytes);
        }
    }

    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, _monitor: &Monitor) {
        self.next = moment.now + LOOK;
    }

    fn report(&mut self) -> Option<Report> {
        let report = self.recorder.as_mut()?.report()?;
        Some(Report { part: Part::Recorder, works: report.works, why: report.why })
    }

    fn end(&mut self, _moment: Moment, _monitor: &Monitor, _ending: Ending) {
        if let Some(Err(why)) = self.recorder.take().map(Recorder::end) {
            anstream::eprintln!("lubber: the last lines may not be recorded: {why}");
        }
    }
}
