//! The file of what stands.
//!
//! ```json
//! {"schema":1,"order":"150.000C","sources":["nav"],"alerts":[{"alert":"off-heading","priority":"alarm",
//!  "state":"active-unacknowledged","sensor":"HCHDG","source":"nav","text":"heading 168 C, ..."}]}
//! ```
//! Its time of change is the last sign of life of the watch that wrote it.

use std::fs;
use std::fs::File;
use std::io;
use std::io::Read;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use lubber_core::alert::AlertKind;
use lubber_core::time::Span;
use serde::Deserialize;
use serde::Serialize;

use crate::clock::Clock;

/// What stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// The owner's order as it is typed: `150.000C`, `wind`, `hand`.
    pub order: Option<String>,
    /// What the watch listened to, by name; empty where an older version did not say.
    pub sources: Vec<String>,
    /// The alerts that are not normal, and those of earlier watches that none has judged since.
    pub alerts: Vec<Kept>,
}

/// One alert that stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    /// Its name.
    pub alert: String,
    /// Its priority in words.
    pub priority: String,
    /// Its state in words.
    pub state: String,
    /// The sensor it is about, by talker and formatter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sensor: Option<String>,
    /// The source it is about, by its name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// The part of the watch it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    /// Whether it follows from another one.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub follows: bool,
    /// When the watch ended that saw it, UTC in seconds since 1970, where that was not the last one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_utc_s: Option<i64>,
    /// What was seen.
    pub text: String,
}

/// What an earlier watch left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Left {
    /// What stood.
    pub standing: Standing,
    /// How long ago that watch showed its last sign of life; zero where the machine's clock went back.
    pub ago: Span,
}

/// Why nothing can be remembered.
#[derive(Debug, thiserror::Error)]
pub enum MemoryError {
    /// There is nowhere to keep it.
    #[error(
        "neither STATE_DIRECTORY, XDG_STATE_HOME nor HOME says where to keep what stands; name a file: --state FILE"
    )]
    Nowhere,
    /// Another watch keeps its own there.
    #[error("another watch keeps what stands in {}; give this one a file of its own: --state FILE", .0.display())]
    InUse(PathBuf),
    /// The system refuses.
    #[error("cannot {what} {}: {error}; name another file: --state FILE", .path.display())]
    Refused {
        /// What was to be done.
        what: &'static str,
        /// To what.
        path: PathBuf,
        /// Why not.
        error: io::Error,
    },
    /// What is there is no such file, and was moved out of the way.
    #[error(
        "what the last watch left in {} is damaged ({why}) and is not used; it lies in {} now",
        .path.display(), .aside.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
        /// Where it is now.
        aside: PathBuf,
    },
}

/// The file as it is written.
#[derive(Deserialize, Serialize)]
struct Page {
    schema: u32,
    order: Option<String>,
    #[serde(default)]
    sources: Vec<String>,
    alerts: Vec<Kept>,
}

const SCHEMA: u32 = 1;
/// A file with every alert there can be is a tenth of this.
const LARGEST: u64 = 256 << 10;

/// Where it lies unless the owner says otherwise: `standing.json` in `STATE_DIRECTORY`, which a service
/// manager gives a service of its own, else in `lubber` in `$XDG_STATE_HOME` or `~/.local/state` (XDG Base
/// Directory Specification). The arguments are the values of `STATE_DIRECTORY`, `XDG_STATE_HOME` and `HOME`.
pub fn place(service: Option<PathBuf>, state: Option<PathBuf>, home: Option<PathBuf>) -> Option<PathBuf> {
    let whole = |folder: &PathBuf| folder.is_absolute();
    let users = || state.filter(whole).or_else(|| home.filter(whole).map(|home| home.join(".local/state")));
    Some(service.filter(whole).or_else(|| users().map(|state| state.join("lubber")))?.join("standing.json"))
}

/// What the last watch left at `path`; none where there was none.
///
/// # Errors
/// It cannot be read, or is damaged: then it was moved aside.
pub(super) fn read(path: &Path) -> Result<Option<Left>, MemoryError> {
    let refused = |what| move |error| MemoryError::Refused { what, path: path.to_owned(), error };
    let file = match File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(refused("read")(error)),
    };
    let changed = file.metadata().and_then(|data| data.modified()).map_err(refused("read"))?;
    let mut bytes = Vec::new();
    file.take(LARGEST + 1).read_to_end(&mut bytes).map_err(refused("read"))?;
    match understand(&bytes) {
        Ok(standing) => {
            let ago = Clock::utc().signed_duration_since(chrono::DateTime::<chrono::Utc>::from(changed));
            let ago = Span::from_ms(u64::try_from(ago.num_milliseconds()).unwrap_or(0));
            Ok(Some(Left { standing, ago }))
        }
        Err(why) => {
            let mut aside = path.as_os_str().to_owned();
            aside.push(".damaged");
            let aside = PathBuf::from(aside);
            fs::rename(path, &aside).map_err(refused("move aside the damaged"))?;
            Err(MemoryError::Damaged { path: path.to_owned(), why, aside })
        }
    }
}

fn understand(bytes: &[u8]) -> Result<Standing, String> {
    if bytes.len() as u64 > LARGEST {
        return Err("it is far too long".into());
    }
    let page: Page = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
    if page.schema != SCHEMA {
        return Err(format!("its schema is {}, not {SCHEMA}: another version wrote it", page.schema));
    }
    Ok(Standing { order: page.order, sources: page.sources, alerts: page.alerts })
}

impl Kept {
    /// Which alert it is, if this version knows it.
    pub fn kind(&self) -> Option<AlertKind> {
        AlertKind::ALL.into_iter().find(|kind| kind.name() == self.alert)
    }
}

/// The file's text.
pub(super) fn text(standing: &Standing) -> String {
    let Standing { order, sources, alerts } = standing.clone();
    let page = Page { schema: SCHEMA, order, sources, alerts };
    // Strings and numbers only: there is nothing in it that could not be written.
    let mut text = serde_json::to_string(&page).unwrap_or_default();
    text.push('\n');
    text
}

/// Puts `text` in the place of the file at `path`: after a cut of power there is the one or the other,
/// in full.
pub(super) fn write(path: &Path, text: &str) -> io::Result<()> {
    let mut aside = path.as_os_str().to_owned();
    aside.push(".new");
    let aside = PathBuf::from(aside);
    let mut file = File::create(&aside)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(&aside, path)?;
    File::open(folder(path))?.sync_all()
}

/// The folder that `path` lies in.
pub(super) fn folder(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}
