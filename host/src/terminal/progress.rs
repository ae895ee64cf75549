//! How far a long replay is, on standard error.

use std::io;
use std::io::IsTerminal;

use indicatif::ProgressBar;
use indicatif::ProgressDrawTarget;
use indicatif::ProgressStyle;

/// A bar on standard error, if that is a terminal and standard output is not: on one terminal the
/// bar and the output would write over each other.
#[derive(Debug)]
pub struct Progress(Option<ProgressBar>);

/// A log of fewer bytes is through before a bar could be read.
const LONG: u64 = 8 << 20;

impl Progress {
    /// A bar for `total` bytes; none where the total is unknown or small.
    pub fn new(total: Option<u64>) -> Self {
        Self::seen(total, io::stderr().is_terminal() && !io::stdout().is_terminal())
    }

    /// A bar for work that writes only once the bar is taken away: on a terminal whatever standard
    /// output is.
    pub fn before_output(total: Option<u64>) -> Self {
        Self::seen(total, io::stderr().is_terminal())
    }

    fn seen(total: Option<u64>, seen: bool) -> Self {
        let Some(total) = total.filter(|total| seen && *total >= LONG) else { return Self(None) };
        let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr_with_hz(10));
        if let Ok(style) = ProgressStyle::with_template("{wide_bar} {percent:>3} %  {bytes} of {total_bytes}") {
            bar.set_style(style);
        }
        Self(Some(bar))
    }

    /// So many bytes are read.
    pub fn at(&self, read: u64) {
        if let Some(bar) = &self.0 {
            bar.set_position(read);
        }
    }

    /// Takes the bar away.
    pub fn done(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
