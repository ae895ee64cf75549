//! `[sounder]` of the boat file: what makes alerts heard, what shows that the watch lives, and where
//! that is kept which outlasts it.
//!
//! ```toml
//! [sounder]
//! alarm = ["aplay", "-q", "/home/curlew/alarm.wav"]      # run without a shell
//! warning = ["aplay", "-q", "/home/curlew/warning.wav"]
//! caution = ["aplay", "-q", "/home/curlew/tick.wav"]     # else a caution does not sound
//! end = ["aplay", "-q", "/home/curlew/end.wav"]          # else the warning's
//! bell = true                                            # ring a terminal as well
//! every = "5 s"                                          # an alarm that nobody answers sounds again
//! timeout = "10 s"                                       # what runs longer is killed
//! heartbeat = ["touch", "/run/lubber/alive"]             # run by the loop, for an outside buzzer
//! heartbeat_every = "10 s"
//! state = "standing.json"                                # what stands, for the next watch
//! ```

use std::path::Path;
use std::path::PathBuf;

use lubber_core::time::Span;

use crate::boat::read::Section;
use crate::boat::read::Value;
use crate::boat::read::Want;
use crate::exit::Failure;

/// The sounder as the owner wants it. The default is the terminal's bell and nothing else.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sounder {
    /// Program and arguments for an alarm.
    pub alarm: Option<Vec<String>>,
    /// For a warning; there with the alarm's, or neither is.
    pub warning: Option<Vec<String>>,
    /// For a caution.
    pub caution: Option<Vec<String>>,
    /// For the end of the watch.
    pub end: Option<Vec<String>>,
    /// Whether the bell of a terminal is rung.
    pub bell: bool,
    /// How often an alarm that nobody answers sounds again. 5 s unless set: a voice can be heard between
    /// two, and nobody sleeps on through it (common practice, no source).
    pub every: Span,
    /// How long a hook may run. 10 s unless set: longer than a signal, shorter than the wait for help.
    pub timeout: Span,
    /// Program and arguments that the loop has run while it lives.
    pub heartbeat: Option<Vec<String>>,
    /// How often. 10 s unless set: an outside buzzer that waits for three of them is late by half a minute.
    pub heartbeat_every: Span,
    /// Where what stands is kept, found from where the boat file lies.
    pub state: Option<PathBuf>,
}

impl Default for Sounder {
    fn default() -> Self {
        Self {
            alarm: None,
            warning: None,
            caution: None,
            end: None,
            bell: true,
            every: Span::from_s(5),
            timeout: Span::from_s(10),
            heartbeat: None,
            heartbeat_every: Span::from_s(10),
            state: None,
        }
    }
}

const TABLE: Want = Want { what: "a table", example: "[sounder]" };
const BELL: Want = Want { what: "true or false", example: "bell = false" };
const EVERY: Want = Want { what: "a time from 1 s to 10 min, in s or min", example: "every = \"5 s\"" };
const STATE: Want = Want { what: "a file, from where this file lies", example: "state = \"standing.json\"" };

const KEYS: [&str; 10] =
    ["alarm", "warning", "caution", "end", "bell", "every", "timeout", "heartbeat", "heartbeat_every", "state"];

impl Sounder {
    /// Reads the table; `folder` is where the boat file lies.
    pub(crate) fn read(value: &Value<'_>, folder: &Path) -> Result<Self, Failure> {
        let table = value.section(&KEYS, TABLE)?;
        let hook = |key| table.get(key).map(|value| hook(&value, folder)).transpose();
        let usual = Self::default();
        let sounder = Self {
            alarm: hook("alarm")?,
            warning: hook("warning")?,
            caution: hook("caution")?,
            end: hook("end")?,
            bell: table.get("bell").map_or(Ok(usual.bell), |value| value.switch(BELL))?,
            every: time(&table, "every", usual.every)?,
            timeout: time(&table, "timeout", usual.timeout)?,
            heartbeat: hook("heartbeat")?,
            heartbeat_every: time(&table, "heartbeat_every", usual.heartbeat_every)?,
            state: table.get("state").map(|value| value.words(STATE).map(|file| folder.join(file))).transpose()?,
        };
        for (there, missing, key) in [
            (&sounder.alarm, &sounder.warning, "warning"),
            (&sounder.warning, &sounder.alarm, "alarm"),
            (&sounder.caution, &sounder.alarm, "alarm"),
            (&sounder.end, &sounder.alarm, "alarm"),
        ] {
            if there.is_some() && missing.is_none() {
                return Err(value.because(&format!(
                    "[sounder] has no {key}: a sounder that is heard for one and not for the other would be taken for \
                     quiet. Add for example: {key} = [\"aplay\", \"-q\", \"/home/curlew/{key}.wav\"]"
                )));
            }
        }
        Ok(sounder)
    }
}

/// A program and its arguments. One that is named with a folder is found from where the boat file lies.
fn hook(value: &Value<'_>, folder: &Path) -> Result<Vec<String>, Failure> {
    let example = "[\"aplay\", \"-q\", \"/home/curlew/alarm.wav\"]";
    let key = value.key();
    if value.string().is_some() {
        return Err(value.because(&format!(
            "{key} is one string, and there is no shell that would take it apart: expected the program and each of its \
             arguments in quotes of their own, for example: {key} = {example}"
        )));
    }
    let wrong = || {
        value.because(&format!(
            "{key}: expected a program and its arguments, each in quotes, for example: {key} = {example}"
        ))
    };
    let want = Want { what: "a list", example: "alarm = [\"aplay\", \"alarm.wav\"]" };
    let words = value.list(want).map_err(|_| wrong())?.map(|word| {
        let word = word.string().filter(|word| !word.contains('\0')).ok_or_else(wrong)?;
        Ok(word.to_owned())
    });
    let mut words = words.collect::<Result<Vec<String>, Failure>>()?;
    let program = words.first_mut().filter(|program| !program.trim().is_empty()).ok_or_else(wrong)?;
    if program.contains('/') {
        // A folder's name that is no text cannot have come from here.
        *program = folder.join(&*program).to_string_lossy().into_owned();
    }
    Ok(words)
}

fn time(table: &Section<'_>, key: &'static str, usual: Span) -> Result<Span, Failure> {
    let Some(value) = table.get(key) else { return Ok(usual) };
    let ms = value.quantity(&[("", 1.0), ("s", 1.0), ("min", 60.0), ("m", 60.0)], EVERY)?;
    let within = u64::try_from(ms).ok().filter(|ms| (1_000..=600_000).contains(ms));
    within.map(Span::from_ms).ok_or_else(|| value.refuse(EVERY))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::boat::file::BoatFile;

    fn read(text: &str) -> Result<Sounder, String> {
        let file = BoatFile::from_text("boat.toml", text, Path::new("/home/curlew"));
        file.map(|file| file.sounder).map_err(|failure| failure.to_string())
    }

    #[test]
    fn everything_that_may_stand_there() {
        let sounder = read(
            "[sounder]\nalarm = [\"aplay\", \"a b.wav\"]\nwarning = [\"./ring\"]\ncaution = [\"/bin/tick\"]\nend = [\"end\"]\n\
             bell = false\nevery = 8\ntimeout = \"1 min\"\nheartbeat = [\"touch\", \"/run/x\"]\nheartbeat_every = \"20 s\"\n\
             state = \"s.json\"\n",
        )
        .unwrap();
        let list = |words: &[&str]| Some(words.iter().map(|&word| word.to_owned()).collect::<Vec<_>>());
        let want = Sounder {
            alarm: list(&["aplay", "a b.wav"]),
            warning: list(&["/home/curlew/./ring"]),
            caution: list(&["/bin/tick"]),
            end: list(&["end"]),
            bell: false,
            every: Span::from_s(8),
            timeout: Span::from_min(1),
            heartbeat: list(&["touch", "/run/x"]),
            heartbeat_every: Span::from_s(20),
            state: Some("/home/curlew/s.json".into()),
        };
        assert_eq!(sounder, want);
        assert_eq!(read("[sounder]\n").unwrap(), Sounder::default());
        assert_eq!(read("").unwrap(), Sounder::default());
    }

    #[test]
    fn what_is_wrong_names_its_line_and_the_remedy() {
        for (text, parts) in [
            ("alarm = \"aplay alarm.wav\"", ["boat.toml:2:", "no shell", "alarm = [\"aplay\", \"-q\""]),
            ("alarm = []", ["boat.toml:2:", "a program and its arguments", "alarm = [\"aplay\""]),
            ("alarm = [\"\"]", ["boat.toml:2:", "a program and its arguments", "alarm = [\"aplay\""]),
            ("warning = [\"a\", 5]", ["boat.toml:2:", "a program and its arguments", "warning = [\"aplay\""]),
            ("heartbeat = 3", ["boat.toml:2:", "a program and its arguments", "heartbeat = [\"aplay\""]),
            ("alarm = [\"a\"]", ["boat.toml:1:", "has no warning", "warning = [\"aplay\""]),
            ("end = [\"a\"]", ["boat.toml:1:", "has no alarm", "alarm = [\"aplay\""]),
            ("every = \"0 s\"", ["boat.toml:2:", "from 1 s to 10 min", "every = \"5 s\""]),
            ("bell = 1", ["boat.toml:2:", "true or false", "bell = false"]),
            ("siren = true", ["boat.toml:2:", "unknown key \"siren\"", "heartbeat_every"]),
        ] {
            let error = read(&format!("[sounder]\n{text}\n")).expect_err(text);
            assert!(parts.iter().all(|part| error.contains(part)), "{text}: {error}");
        }
    }
}
