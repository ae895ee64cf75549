//! The boat file, `boat.toml`: what the owner decided about sources, headings and limits.
//!
//! Everything in it is optional, and a run without one works on defaults. What this version does not
//! have yet is refused by name, so that nobody believes in a setting that does nothing.

use std::net::SocketAddr;
use std::path::Path;
use std::path::PathBuf;

use lubber_core::alert::AlertKind;
use lubber_core::alert::WatchkeeperSettings;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::heading::Card;
use lubber_core::monitor::CurrentChange;
use lubber_core::monitor::DeviationRule;
use lubber_core::monitor::LimitSettings;
use lubber_core::monitor::Settings;
use lubber_core::monitor::SourceSettings;
use lubber_core::picture::Name;
use lubber_core::picture::SourceId;
use lubber_core::picture::SupplySettings;

use crate::boat::card::CardFile;
use crate::boat::limits;
use crate::boat::limits::Limits;
use crate::boat::read::Section;
use crate::boat::read::Text;
use crate::boat::read::Value;
use crate::boat::read::Want;
use crate::boat::recording::Sizes;
use crate::boat::sounder::Sounder;
use crate::exit::Failure;

/// The boat file as usable. The default is a run without one.
#[derive(Clone, Debug, Default)]
pub struct BoatFile {
    /// The boat's name.
    pub name: Option<String>,
    /// Her length in metres.
    pub length_m: Option<f64>,
    /// The sources, in the order of the file.
    pub sources: Vec<Source>,
    /// The heading the watch is kept by.
    pub primary: Option<Name>,
    /// The pilot's own compass, that its orders are in.
    pub pilot: Option<Name>,
    /// A second heading that is wanted.
    pub second: Option<Name>,
    /// The card of the primary heading: already found from where the boat file lies.
    pub card: Option<PathBuf>,
    /// Where the file names the card: `boat.toml:7`.
    card_place: String,
    /// Which deviation counts where the wire carries one and there is a card.
    pub deviation: DeviationRule,
    /// Whether ROT is from a gyro of its own.
    pub rot_is_gyro: bool,
    /// The page, and the address of this machine it is shown at, where that is said.
    pub page: Option<Option<SocketAddr>>,
    /// Limits, delays and switches, in the order of [`AlertKind::ALL`].
    pub limits: [LimitSettings; AlertKind::ALL.len()],
    /// Which battery is watched, and how low it may fall.
    pub supply: SupplySettings,
    /// How fast the current may change where she sails.
    pub current_change: CurrentChange,
    /// How often the person on watch is asked.
    pub watchkeeper: Option<WatchkeeperSettings>,
    /// Where the journal of a live watch is kept: already found from where the boat file lies.
    pub journal: Option<PathBuf>,
    /// What a recording keeps to.
    pub record: Sizes,
    /// What makes alerts heard, and what outlasts a watch.
    pub sounder: Sounder,
}

/// One `[[source]]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// What it is called in alerts and tables; what it is read from unless named.
    pub name: String,
    /// What it is read from, in the grammar of sources; checked where sources are opened.
    pub from: String,
    /// Where that stands: `boat.toml:4`.
    place: String,
    /// What its checksums must be.
    pub checksum: ChecksumPolicy,
    /// Whether ACN and ACK from it are obeyed.
    pub may_acknowledge: bool,
}

impl Source {
    /// The refusal of what it is read from, for `why`.
    pub fn refuse(&self, why: &str) -> Failure {
        let Self { place, from, .. } = self;
        Failure::new(format!(
            "{place}: from = \"{from}\": {why}; expected {}, for example: {}",
            FROM.what, FROM.example
        ))
    }
}

/// The name the boat file has in the working folder.
pub const USUAL_NAME: &str = "boat.toml";

/// How a boat file begins: shown where a file is none at all.
pub const EXAMPLE: &str = r#"    [boat]
    name = "Curlew"

    [[source]]
    from = "serial:/dev/ttyUSB0"

    [heading]
    primary = "HCHDG"
    card = "card.toml""#;

/// Formatters that carry a heading.
const HEADINGS: [&[u8; 3]; 5] = [b"HDG", b"HDM", b"HDT", b"THS", b"VHW"];

const TABLE: Want = Want { what: "a table", example: "[heading]" };
const SOURCES: Want = Want { what: "sources, each under [[source]]", example: "[[source]]" };
const NAME: Want = Want { what: "a name in quotes", example: "name = \"Curlew\"" };
const LENGTH: Want =
    Want { what: "a length from 1 to 100 m, in m or ft", example: "length = \"9.8 m\" or length = \"32 ft\"" };
const FROM: Want = Want {
    what: "where the source is read from",
    example: "from = \"serial:/dev/ttyUSB0?baud=4800\", \"tcp:192.168.1.5:10110\" or \"udp:0.0.0.0:10110\"",
};
const CHECKSUM: Want = Want { what: "\"required\", \"optional\" or \"ignored\"", example: "checksum = \"required\"" };
const SENSOR: Want = Want {
    what: "talker and formatter of a heading sentence: HDG, HDM, HDT, THS or VHW after two characters",
    example: "primary = \"HCHDG\"",
};
const CARD: Want = Want { what: "the card's file, from where this file lies", example: "card = \"card.toml\"" };
const JOURNAL: Want =
    Want { what: "the journal's file, from where this file lies", example: "path = \"journal.sqlite\"" };
const DEVIATION: Want = Want { what: "\"card\", \"wire\" or \"none\"", example: "deviation = \"card\"" };
const ROT: Want = Want { what: "\"gyro\", or the key left out", example: "rot = \"gyro\"" };
const ADDRESS: Want = Want {
    what: "an address of this machine and a port, in quotes",
    example: "address = \"192.168.4.1:10350\" or address = \"127.0.0.1:10350\"",
};
const MAY_ACKNOWLEDGE: Want = Want { what: "true or false", example: "may_acknowledge = true" };

impl BoatFile {
    /// The boat file `given`, else [`USUAL_NAME`] in the working folder if there is one.
    ///
    /// # Errors
    /// The refusal names file, line, what was expected and an example; a file that was asked for and is
    /// not there is refused too.
    pub fn find(given: Option<&Path>) -> Result<Option<(PathBuf, Self)>, Failure> {
        let path = match given {
            Some(path) => path,
            // A link that leads nowhere is there, and somebody meant it.
            None if Path::new(USUAL_NAME).symlink_metadata().is_ok() => Path::new(USUAL_NAME),
            None => return Ok(None),
        };
        Ok(Some((path.to_owned(), Self::read(path)?)))
    }

    /// Reads the boat file at `path`.
    ///
    /// # Errors
    /// As [`BoatFile::find`].
    pub fn read(path: &Path) -> Result<Self, Failure> {
        Self::of(&Text::read(path, "boat file", EXAMPLE)?, path.parent().unwrap_or(Path::new("")))
    }

    /// The boat file that `text` is; `name` stands for the file in messages, `folder` is where it lies.
    ///
    /// # Errors
    /// As [`BoatFile::find`].
    pub fn from_text(name: &str, text: &str, folder: &Path) -> Result<Self, Failure> {
        Self::of(&Text::new(name, text), folder)
    }

    fn of(text: &Text, folder: &Path) -> Result<Self, Failure> {
        let tree = text.parse()?;
        let keys = ["boat", "source", "heading", "limits", "journal", "record", "page", "sounder", "watchkeeper"];
        let root = Section::root(text, &tree, &keys)?;
        let mut file = Self::default();
        if let Some(boat) = root.get("boat") {
            file.boat(&boat.section(&["name", "length"], TABLE)?)?;
        }
        if let Some(sources) = root.get("source") {
            file.sources = read_sources(&sources)?;
        }
        if let Some(heading) = root.get("heading") {
            let keys = ["primary", "pilot", "second", "card", "deviation", "rot"];
            file.heading(&heading.section(&keys, TABLE)?, folder)?;
        }
        if let Some(page) = root.get("page") {
            let page = page.section(&["address"], TABLE)?;
            let address = page
                .get("address")
                .map(|value| value.string().and_then(|text| text.parse().ok()).ok_or_else(|| value.refuse(ADDRESS)));
            file.page = Some(address.transpose()?);
        }
        if let Some(limits) = root.get("limits") {
            let limits = Limits::read(&limits.section(&[], limits::LIMITS)?)?;
            (file.limits, file.supply) = (limits.each, limits.supply);
            file.current_change = limits.current_change;
        }
        if let Some(watchkeeper) = root.get("watchkeeper") {
            file.watchkeeper = Some(limits::read_watchkeeper(&watchkeeper.section(&["after", "third"], TABLE)?)?);
        }
        if let Some(journal) = root.get("journal") {
            let path = journal.section(&["path"], TABLE)?.need("path", JOURNAL)?;
            file.journal = Some(folder.join(path.words(JOURNAL)?));
        }
        if let Some(record) = root.get("record") {
            file.record = Sizes::read(&record.section(&["size", "keep", "floor"], TABLE)?)?;
        }
        if let Some(sounder) = root.get("sounder") {
            file.sounder = Sounder::read(&sounder, folder)?;
        }
        Ok(file)
    }

    fn boat(&mut self, boat: &Section<'_>) -> Result<(), Failure> {
        self.name = boat.get("name").map(|value| value.words(NAME).map(str::to_owned)).transpose()?;
        if let Some(value) = boat.get("length") {
            let mm = value.quantity(&[("", 1.0), ("m", 1.0), ("ft", 0.3048)], LENGTH)?;
            if !(1_000..=100_000).contains(&mm) {
                return Err(value.refuse(LENGTH));
            }
            self.length_m = Some(mm as f64 / 1000.0);
        }
        Ok(())
    }

    fn heading(&mut self, heading: &Section<'_>, folder: &Path) -> Result<(), Failure> {
        let sensor = |key| heading.get(key).map(|value| self.sensor(&value)).transpose();
        (self.primary, self.pilot, self.second) = (sensor("primary")?, sensor("pilot")?, sensor("second")?);
        if let Some(value) = heading.get("card") {
            self.card = Some(folder.join(value.words(CARD)?));
            self.card_place = value.place();
        }
        if let Some(value) = heading.get("deviation") {
            let rules = [("card", DeviationRule::Card), ("wire", DeviationRule::Wire), ("none", DeviationRule::None)];
            self.deviation = value.choice(&rules, DEVIATION)?;
            if self.deviation == DeviationRule::Card && self.card.is_none() {
                return Err(value.because(
                    "deviation = \"card\", but no card is named: expected the card's file beside it, for example: \
                     card = \"card.toml\"",
                ));
            }
        }
        if let Some(value) = heading.get("rot") {
            self.rot_is_gyro = value.choice(&[("gyro", true)], ROT)?;
        }
        Ok(())
    }

    /// A heading named by talker and formatter.
    fn sensor(&self, value: &Value<'_>) -> Result<Name, Failure> {
        let typed = value.string().unwrap_or_default();
        if self.sources.iter().any(|source| source.name == typed) {
            return Err(value.because(&format!(
                "{} = \"{typed}\" is a source; this version of lubber names a heading by its sentence: expected {}, for \
                 example: {}",
                value.key(),
                SENSOR.what,
                SENSOR.example
            )));
        }
        let heading = |name: &Name| HEADINGS.contains(&&name.formatter.0);
        Name::parse(typed).filter(heading).ok_or_else(|| value.refuse(SENSOR))
    }

    /// The card the file names, read.
    ///
    /// # Errors
    /// As [`CardFile::read`], with the place that names it.
    pub fn card_file(&self) -> Result<Option<CardFile>, Failure> {
        let named = |Failure(why)| {
            let Self { card_place: place, .. } = self;
            Failure::new(format!("{place}: card: {why}; expected {}, for example: {}", CARD.what, CARD.example))
        };
        self.card.as_deref().map(CardFile::read).transpose().map_err(named)
    }

    /// What the core needs to know; `card` is the one in force, by whichever way it was named.
    pub fn settings(&self, card: Option<Card>) -> Settings {
        let mut settings = Settings {
            primary: self.primary,
            pilot: self.pilot,
            second: self.second,
            deviation: self.deviation,
            card,
            rot_is_gyro: self.rot_is_gyro,
            limits: self.limits,
            supply: self.supply,
            current_change: self.current_change,
            watchkeeper: self.watchkeeper,
            ..Settings::default()
        };
        for (slot, source) in settings.sources.iter_mut().zip(&self.sources) {
            *slot = SourceSettings { checksum: source.checksum, may_acknowledge: source.may_acknowledge };
            settings.source_count += 1;
        }
        settings
    }
}

fn read_sources(value: &Value<'_>) -> Result<Vec<Source>, Failure> {
    let mut sources: Vec<Source> = Vec::new();
    for one in value.list(SOURCES)? {
        if sources.len() == SourceId::MAX {
            return Err(one.because(&format!("one source too many: lubber listens to {} at most", SourceId::MAX)));
        }
        let section = one.section(&["name", "from", "checksum", "may_acknowledge"], SOURCES)?;
        let value = section.need("from", FROM)?;
        let (from, place) = (value.words(FROM)?.to_owned(), value.place());
        let named = section.get("name");
        let name = named.map(|value| value.words(NAME)).transpose()?.unwrap_or(&from).to_owned();
        if sources.iter().any(|other| other.name == name) {
            return Err(named
                .unwrap_or(one)
                .because(&format!("two sources are called \"{name}\"; name one differently")));
        }
        let policies = [
            ("required", ChecksumPolicy::Required),
            ("optional", ChecksumPolicy::Optional),
            ("ignored", ChecksumPolicy::Ignored),
        ];
        let checksum = section.get("checksum").map(|value| value.choice(&policies, CHECKSUM)).transpose()?;
        let may_acknowledge =
            section.get("may_acknowledge").map_or(Ok(false), |value| value.switch(MAY_ACKNOWLEDGE))?;
        sources.push(Source { name, from, place, checksum: checksum.unwrap_or_default(), may_acknowledge });
    }
    Ok(sources)
}

#[cfg(test)]
mod tests;
