//! What both forms of output keep: the ledger, the names, when to look next.

use lubber_core::alert::Why;
use lubber_core::monitor::Status;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::session::Moment;
use crate::session::Remark;
use crate::session::Word;
use crate::view::Sources;
use crate::view::Stamp;
use crate::view::judging::Judging;
use crate::view::ledger::Ledger;

/// The desk of the watch.
pub(super) struct Desk {
    pub(super) sources: Sources,
    pub(super) ledger: Ledger,
    pub(super) judging: Judging,
    /// Whether somebody waits for each line: live, or a replay at a pace.
    pub(super) prompt: bool,
    /// What is not watched for was told a first time.
    pub(super) told_judging: bool,
    pub(super) next_look: Instant,
}

/// What is said where somebody answers and nothing stands.
pub(super) const ANSWERED: &str = "answered; the watchkeeper's time begins again";

/// How often the ledger looks at what is judged: the resolution of the times in the summary.
const LOOK: Span = Span::from_s(1);

/// When it is told for the first time what cannot be watched for: the grace at the start of a watch.
const FIRST_JUDGING_MS: u64 = 30_000;

impl Desk {
    pub(super) fn new(sources: Sources, prompt: bool) -> Self {
        Self {
            sources,
            ledger: Ledger::default(),
            judging: Judging::default(),
            prompt,
            told_judging: false,
            next_look: Instant::default() + LOOK,
        }
    }

    /// Notes how things stand, and says when to look again.
    pub(super) fn look(&mut self, moment: Moment, status: &Status) {
        self.ledger.look(stamp(moment), status);
        self.next_look = moment.now + LOOK;
    }

    /// As [`Self::look`], but notes no more than what is judged: all that a replay needs every second.
    pub(super) fn judged(&mut self, moment: Moment, judging: &[Result<(), Why>]) {
        self.ledger.judged(stamp(moment), judging);
        self.next_look = moment.now + LOOK;
    }

    /// Whether now is the first time to tell what is not watched for.
    pub(super) fn first_judging(&mut self, stamp: Stamp, judging: &[Result<(), Why>], at_the_end: bool) -> bool {
        let first = !self.told_judging && (at_the_end || stamp.since_start_ms >= FIRST_JUDGING_MS);
        if first {
            self.told_judging = true;
            self.judging.all_told(judging);
        }
        first
    }
}

/// The moment as a display knows it.
#[inline]
pub(super) fn stamp(moment: Moment) -> Stamp {
    Stamp { utc_ms: moment.utc_ms, since_start_ms: moment.now.as_ms() }
}

/// A remark's name in JSON and its words.
pub(super) fn remark(remark: Remark<'_>, sources: &Sources) -> (&'static str, String) {
    match remark {
        Remark::Log(note) if sources.several() => ("log", format!("{}: {}", sources.name(note.source), note.kind)),
        Remark::Log(note) => ("log", note.kind.to_string()),
        Remark::GapSkipped { ms } => (
            "gap-skipped",
            format!(
                "only the first 24 h of the gap were watched through, the next {} h are passed over",
                ms / 3_600_000
            ),
        ),
        Remark::Works { source, works: true, heard: true, .. } => {
            ("input", format!("{} is heard", sources.name(source)))
        }
        Remark::Works { source, works: true, heard: false, .. } => {
            ("input", format!("{} is open, nothing heard yet", sources.name(source)))
        }
        Remark::Works { source, works: false, why, .. } => {
            ("input", format!("{} does not work: {why}", sources.name(source)))
        }
        Remark::BaudFound { source, baud } => ("baud", format!("{} talks at {baud} baud", sources.name(source))),
        Remark::Ended { source } => ("input-ended", format!("{} has ended", sources.name(source))),
        Remark::RolloverMended { weeks } => {
            ("rollover", format!("the date received is {weeks} weeks too early (GPS week rollover) and was mended"))
        }
        Remark::Part { part, works: true, why: "" } => ("part", format!("the {part} works")),
        Remark::Part { part, works: true, why } => ("part", format!("the {part} works: {why}")),
        Remark::Part { part, works: false, why } => ("part", format!("the {part} DOES NOT WORK: {why}")),
        Remark::Unheeded { word } => (
            "unheeded",
            match word {
                Word::Acknowledge => "nothing waits to be acknowledged",
                Word::Silence => "nothing sounds",
                Word::Order(_) => "not steering here: there is no heading just now",
                Word::Answer => "nobody was asked",
                Word::SoundTest => "nothing can be tested",
                Word::Status => "the status is asked for with lubber status",
            }
            .into(),
        ),
        Remark::Answered => ("answered", ANSWERED.to_owned()),
        Remark::Carried { text } => ("presented-again", text.to_owned()),
        Remark::NoModel { why } => ("no-model", why.to_owned()),
    }
}
