//! One log: its lines, each with the moment of the log's own time it belongs to.
//!
//! Where times come from sentences, lines are *held* until the next believed time and spread
//! between the two. While a far time is suspect, they are held until the next one confirms it.

use std::collections::VecDeque;

use lubber_core::frame::ChecksumPolicy;

use crate::input::InputError;
use crate::input::NoteKind;
use crate::input::Source;
use crate::input::lines::LineBuffer;
use crate::input::probe::Probe;
use crate::input::probe::TimesFrom;
use crate::input::stamp::stamp;
use crate::input::stamp::start_of;
use crate::input::timeline::Timeline;
use crate::input::timeline::Verdict;
use crate::input::timeline::is_before_any_clock;
use crate::input::unpack::CutShort;
use crate::input::utc::said_time;

/// Most bytes that wait for a time.
const HELD_AT_MOST: usize = 64 << 10;

/// Lines are spread evenly between two times no further apart than this.
const SPREAD_OVER_MS: i64 = 10_000;

/// Stamps, or lines without any time, are worth a note from here on.
const NOTED_FROM_MS: i64 = 60_000;

/// A line with its moment.
#[derive(Clone, Copy, Debug)]
struct Timed {
    /// Bytes up to its end, counted from the beginning of the log.
    end: u64,
    own: i64,
    utc: Option<i64>,
}

/// What [`Log::take`] hands out.
#[derive(Debug)]
pub(crate) struct Taken<'a> {
    pub(crate) utc: Option<i64>,
    pub(crate) bytes: &'a [u8],
}

/// One log being replayed.
#[derive(Debug)]
pub(crate) struct Log {
    from: Source,
    lines: LineBuffer,
    policy: ChecksumPolicy,
    times_from: TimesFrom,
    line_time: Timeline,
    /// Ends of the lines that wait for their time.
    held: VecDeque<u64>,
    /// Which of them says the suspect time.
    suspect: Option<usize>,
    ready: VecDeque<Timed>,
    /// Bytes handed out.
    taken: u64,
    /// The moment of the last line that has one; `None` before the first time.
    now: Option<i64>,
    /// The last moment that the log itself told.
    told: i64,
    /// From one sentence to the next, microseconds.
    pace_us: i64,
    /// Sentences counted at the owner's rate.
    counted: i64,
    at_end: bool,
    pub(crate) cut_short: CutShort,
    pub(crate) notes: Vec<(i64, Option<i64>, NoteKind)>,
}

impl Log {
    /// A log whose beginning has been looked at; `near` is where an unknown day is to be looked for.
    pub(crate) fn new(from: Source, lines: LineBuffer, policy: ChecksumPolicy, probe: &Probe, near: i64) -> Self {
        let hint = if probe.dated { probe.first } else { near };
        let mut log = Self {
            from,
            lines,
            policy,
            times_from: probe.times_from,
            line_time: Timeline::new(hint, probe.dated),
            held: VecDeque::new(),
            suspect: None,
            ready: VecDeque::new(),
            taken: 0,
            now: None,
            told: 0,
            pace_us: probe.pace_us,
            counted: 0,
            at_end: false,
            cut_short: CutShort::default(),
            notes: Vec::new(),
        };
        if let TimesFrom::Rate(_) = probe.times_from {
            log.now = Some(hint);
        }
        if probe.rate_not_used {
            log.notes.push((hint, None, NoteKind::RateNotUsed));
        }
        log
    }

    /// Bytes handed out so far.
    pub(crate) const fn taken(&self) -> u64 {
        self.taken
    }

    /// The moment of the next line; `None` at the end of the log.
    #[inline]
    pub(crate) fn peek(&mut self) -> Result<Option<i64>, InputError> {
        while self.ready.is_empty() && !self.at_end {
            self.advance()?;
        }
        Ok(self.ready.front().map(|line| line.own))
    }

    /// Hands out the next line and those after it that share its moment.
    pub(crate) fn take(&mut self) -> Option<Taken<'_>> {
        let first = self.ready.pop_front()?;
        let mut end = first.end;
        while let Some(next) = self.ready.front().filter(|next| next.own == first.own && next.utc == first.utc) {
            end = next.end;
            self.ready.pop_front();
        }
        let length = (end - self.taken) as usize;
        self.taken = end;
        Some(Taken { utc: first.utc, bytes: self.lines.take(length) })
    }

    /// Takes the next line from the buffer and gives a moment to whatever can have one now.
    fn advance(&mut self) -> Result<(), InputError> {
        let Some((start, end)) = self.lines.next_line(&self.from)? else {
            self.finish();
            return Ok(());
        };
        let line = &self.lines.held()[start..end];
        let line_end = self.taken + end as u64;
        let Some(mark) = start_of(line) else {
            self.append(line_end);
            return Ok(());
        };
        let time = match self.times_from {
            TimesFrom::Rate(rate) => {
                self.held.push_back(line_end);
                self.counted += 1;
                let passed = (self.counted - 1) as f64 * 1000.0 / rate;
                let own = self.now.unwrap_or(0).max(self.line_time.hint() + passed as i64);
                self.release(1, |_| own);
                return Ok(());
            }
            TimesFrom::Stamps => {
                let stamp = stamp(line, mark);
                if self.held.is_empty() && stamp.is_some_and(|stamp| self.go_on(stamp, line_end)) {
                    return Ok(());
                }
                stamp.map(|stamp| (stamp, true))
            }
            TimesFrom::Sentences => said_time(line, mark, self.policy).map(|said| self.line_time.place(said)),
        };
        self.held.push_back(line_end);
        match time {
            Some((raw, dated)) => self.time(raw, dated),
            None if self.times_from == TimesFrom::Stamps && self.suspect.is_none() && self.now.is_some() => {
                self.stand_still();
            }
            None => {}
        }
        if self.now.is_some() && end > HELD_AT_MOST {
            self.go_on_at_pace(self.held.len());
        }
        Ok(())
    }

    /// The usual line of a stamped log: nothing waits, and its stamp is a little later than the last
    /// one, or the same. Comes to what [`Self::time`] does, without the detours that the rest needs;
    /// false where it is not the usual one.
    #[inline]
    fn go_on(&mut self, stamp: i64, end: u64) -> bool {
        let own = self.line_time.own(stamp);
        let Some(now) = self.now.filter(|_| own - self.told <= NOTED_FROM_MS) else { return false };
        let Some(by) = self.line_time.go_on(stamp) else { return false };
        let mut moment = now;
        if by > 0 {
            self.told = self.told.max(own);
            moment = now.max(own);
        }
        self.now = Some(moment);
        self.ready.push_back(Timed { end, own: moment, utc: self.line_time.utc(moment) });
        true
    }

    /// Bytes that are no sentence belong to the line before them.
    fn append(&mut self, end: u64) {
        if let Some(last) = self.held.back_mut() {
            *last = end;
        } else {
            self.held.push_back(end);
            if self.now.is_some() {
                self.stand_still();
            }
        }
        if self.now.is_some() && end - self.taken > HELD_AT_MOST as u64 {
            self.go_on_at_pace(self.held.len());
        }
    }

    /// The line that was held last says the time `raw`.
    fn time(&mut self, raw: i64, dated: bool) {
        let verdict = self.line_time.judge(raw, dated);
        let stamped = self.times_from == TimesFrom::Stamps;
        match verdict {
            Verdict::First => {
                let (last, pace_us) = (self.held.len() as i64 - 1, self.pace_us);
                let own = self.line_time.own(raw);
                self.release(self.held.len(), |at| own - (last - at) * pace_us / 1000);
                self.told = own;
            }
            Verdict::Same if stamped => self.stand_still(),
            Verdict::Same => {}
            Verdict::On => {
                if stamped {
                    // Lines whose own time was not believed stay before it.
                    self.release_still(self.held.len() - 1);
                }
                self.suspect = None;
                self.reach(self.line_time.own(raw), self.held.len());
            }
            Verdict::Suspect => {
                if stamped {
                    self.release_still(self.held.len() - 1);
                }
                self.suspect = self.held.len().checked_sub(1);
            }
            Verdict::Jumped { to, by } => self.jump(to, by, raw),
        }
        if self.line_time.take_outlier() {
            self.note(NoteKind::Outlier);
        }
        if let Some(weeks) = self.line_time.take_mended() {
            self.note(NoteKind::RolloverMended { weeks });
        }
    }

    /// Two times agree that time jumped by `by`: to `to` in the suspect line, and on to `raw` here.
    fn jump(&mut self, to: i64, by: i64, raw: i64) {
        let before = self.suspect.take().unwrap_or(0).min(self.held.len() - 1);
        let mut up_to_suspect = before + 1;
        let clock_was_set = self.times_from == TimesFrom::Stamps && is_before_any_clock(to - by);
        if by < 0 || clock_was_set {
            self.go_on_at_pace(before);
            up_to_suspect = 1;
            self.line_time.resume(to, self.now.unwrap_or(0));
            let step_back = NoteKind::StepBack { ms: by.unsigned_abs() };
            self.note(if clock_was_set { NoteKind::ClockSet } else { step_back });
            self.told = self.now.unwrap_or(0);
        }
        self.reach(self.line_time.own(to).max(self.now.unwrap_or(0)), up_to_suspect);
        self.reach(self.line_time.own(raw).max(self.now.unwrap_or(0)), self.held.len());
    }

    /// The first `count` held lines lead up to the moment `own`, which the last of them says.
    fn reach(&mut self, own: i64, count: usize) {
        let now = self.now.unwrap_or(own);
        let lines = count as i64;
        if lines == 0 {
            return;
        }
        let silent = own - self.told;
        self.told = self.told.max(own);
        let (span, pace_us) = (own - now, self.pace_us);
        if span <= 0 {
            self.release_still(count);
            return;
        }
        if self.times_from == TimesFrom::Stamps {
            if silent > NOTED_FROM_MS {
                self.note(NoteKind::Gap { ms: silent.unsigned_abs() });
            }
            self.release(count, |_| own);
            return;
        }
        let filled = lines * pace_us / 1000;
        if span <= SPREAD_OVER_MS || filled * 2 >= span {
            if silent > NOTED_FROM_MS {
                self.note(NoteKind::WithoutTime { ms: silent.unsigned_abs() });
            }
            let pace = span * 1000 / lines;
            self.pace_us = if pace_us == 0 { pace } else { (pace_us * 7 + pace) / 8 };
            self.release(count, |at| now + span * (at + 1) / lines);
        } else {
            self.note(NoteKind::Gap { ms: (span - filled).unsigned_abs() });
            self.release(count, |at| if at + 1 == lines { own } else { now + (at + 1) * pace_us / 1000 });
        }
    }

    /// No time is in sight: the first `count` held lines follow at the usual pace.
    fn go_on_at_pace(&mut self, count: usize) {
        let (now, pace_us) = (self.now.unwrap_or(0), self.pace_us);
        self.suspect = self.suspect.and_then(|suspect| suspect.checked_sub(count));
        self.release(count, |at| now + (at + 1) * pace_us / 1000);
    }

    fn stand_still(&mut self) {
        self.release_still(self.held.len());
    }

    fn release_still(&mut self, count: usize) {
        let now = self.now.unwrap_or(0);
        self.suspect = self.suspect.and_then(|suspect| suspect.checked_sub(count));
        self.release(count, |_| now);
    }

    /// Gives the first `count` held lines their moments; `moment` must not go back.
    fn release(&mut self, count: usize, moment: impl Fn(i64) -> i64) {
        for (at, end) in self.held.drain(..count).enumerate() {
            let own = moment(at as i64);
            self.now = Some(own);
            self.ready.push_back(Timed { end, own, utc: self.line_time.utc(own) });
        }
    }

    /// The log has ended: what is held follows at the usual pace.
    fn finish(&mut self) {
        self.at_end = true;
        let silent = self.held.len() as i64 * self.pace_us / 1000;
        if silent > NOTED_FROM_MS {
            self.note(NoteKind::WithoutTime { ms: silent.unsigned_abs() });
        }
        self.go_on_at_pace(self.held.len());
        let count = self.cut_short.count();
        if count > 0 {
            self.note(NoteKind::CutShort { count });
        }
    }

    fn note(&mut self, kind: NoteKind) {
        let own = self.now.unwrap_or(0);
        self.notes.push((own, self.line_time.utc(own), kind));
    }
}
