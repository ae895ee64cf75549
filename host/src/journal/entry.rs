//! What is kept, in plain words and whole numbers: angles in thousandths of a degree, speeds in
//! thousandths of a knot, times in milliseconds.

use crate::view::Stamp;

/// How a watch begins.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Begin {
    /// The program's version.
    pub version: String,
    /// The boat, where it has a name.
    pub boat: Option<String>,
    /// Whether a log is replayed.
    pub replayed: bool,
    /// The limit of off-heading, thousandths of a degree.
    pub limit_mdeg: i64,
    /// What else it is kept with: a name and a text each.
    pub settings: Vec<(String, String)>,
    /// The card in use.
    pub card: Option<CardUsed>,
}

/// A deviation card in use.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CardUsed {
    /// Its file.
    pub file: String,
    /// SHA-256 of that file in hexadecimal; none where it could not be read once more.
    pub digest: Option<String>,
    /// Whose headings it corrects.
    pub sensor: Option<String>,
    /// When the deviations were observed, `2026-06-14`.
    pub date: Option<String>,
    /// Coefficients A to E in thousandths of a degree, where the points determine them.
    pub coefficients: [Option<i64>; 5],
}

/// How a watch ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct End {
    /// When.
    pub at: Stamp,
    /// `inputs-ended` or `interrupted`.
    pub how: String,
}

/// One change of one alert.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AlertEntry {
    /// When.
    pub at: Stamp,
    /// Which alert, in its word.
    pub alert: String,
    /// Of what: a sensor, a source, a part, or the boat.
    pub instance: String,
    /// How many times it has been raised.
    pub occurrence: u32,
    /// `alarm`, `warning` or `caution`.
    pub priority: String,
    /// The word of its state.
    pub state: String,
    /// Whether it was escalated by this change.
    pub escalated: bool,
    /// Whether it was only presented again.
    pub repeated: bool,
    /// The alert it follows from.
    pub follows: Option<String>,
    /// What it saw, in words.
    pub text: String,
    /// What it saw, a JSON object.
    pub values: String,
}

/// A word: an order, an answer to an alert, a command from the wire, or what the watch noticed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WordEntry {
    /// When.
    pub at: Stamp,
    /// Who: the owner by `key`, `control` or `page`, or by the `earlier-watch` whose order still counts; `owner`
    /// where the watch was begun with it, or in a journal from before that was told apart; `wire`; or `watch`,
    /// where it speaks itself.
    pub who: String,
    /// What: `order`, `acknowledge`, `silence`, `notice`, `remark`, ...
    pub what: String,
    /// Whether it was obeyed; none where there was nothing to obey.
    pub obeyed: Option<bool>,
    /// In words.
    pub text: String,
}

/// One minute of the watch. A value that nothing fresh was heard of is none.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Minute {
    /// When it began.
    pub at: Stamp,
    /// How often the picture was looked at: once a second.
    pub samples: i64,
    /// Looks that found a fresh heading.
    pub headings: i64,
    /// Mean heading as sent, thousandths of a degree.
    pub heading_mdeg: Option<i64>,
    /// Its reference: `C`, `M` or `T`.
    pub heading_ref: Option<String>,
    /// The same, true.
    pub true_mdeg: Option<i64>,
    /// Root mean square of the heading about the straight line through its minute: a steady turn is no yaw.
    pub yaw_mdeg: Option<i64>,
    /// The ordered heading at the end of the minute.
    pub order_mdeg: Option<i64>,
    /// The reference of the order.
    pub order_ref: Option<String>,
    /// `heading`, `wind`, `hand` or `unknown`.
    pub steering: String,
    /// Looks that could compare heading and order.
    pub offs: i64,
    /// Mean of heading less order, starboard plus.
    pub off_mdeg: Option<i64>,
    /// Root mean square of the same.
    pub off_rms_mdeg: Option<i64>,
    /// Of those looks, how many were within the limit.
    pub within: i64,
    /// Mean course over the ground, true.
    pub course_mdeg: Option<i64>,
    /// Mean speed over the ground, thousandths of a knot.
    pub speed_mkn: Option<i64>,
    /// Mean rudder, starboard plus.
    pub rudder_mdeg: Option<i64>,
    /// How far the rudder went to and fro in all, as seen once a second.
    pub travel_mdeg: Option<i64>,
    /// The last position, 1e-7 degree.
    pub position_e7: Option<(i64, i64)>,
}

/// The health of one source in one minute.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Health {
    /// When the minute began.
    pub at: Stamp,
    /// Its name.
    pub source: String,
    /// Lines accepted.
    pub sentences: i64,
    /// Lines refused.
    pub refused: i64,
    /// Bytes received.
    pub bytes: i64,
    /// Silences over five seconds that began in it.
    pub gaps: i64,
    /// The longest silence that reached into it, milliseconds.
    pub silent_ms: i64,
}

/// From now on an alert can, or cannot, be judged.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Judges {
    /// When it was seen: at the end of a minute.
    pub at: Stamp,
    /// Which alert.
    pub alert: String,
    /// Why not; none where it is judged.
    pub why: Option<String>,
}

/// Anything that is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    /// An alert changed.
    Alert(AlertEntry),
    /// A word was said.
    Word(WordEntry),
    /// A minute is over.
    Minute(Minute),
    /// So a source fared in a minute.
    Health(Health),
    /// An alert can be judged, or no longer.
    Judges(Judges),
    /// UTC is known, or known better.
    Utc(Stamp),
    /// The watch has ended.
    End(End),
}

impl Entry {
    /// Whether it may be dropped where there is no room: the next one tells nearly as much.
    pub(super) const fn is_snapshot(&self) -> bool {
        matches!(self, Self::Minute(_) | Self::Health(_))
    }
}
