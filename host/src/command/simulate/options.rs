//! How the options of `lubber simulate` are written.

use chrono::DateTime;
use clap::ValueEnum;

use crate::simulate;
use crate::simulate::Event;
use crate::simulate::Kind;
use crate::simulate::Sentence;

pub(super) const HELP: &str = "\
Events, times from the start as HH:MM:SS, 90s, 15m or 2h. These run to their value within SPAN:
  sea@1h=3.5/30m                   yaw rms in degrees
  current@1h=40,1.2/10m            the current: direction it flows towards, knots
  speed@1h=1.2/5m                  her speed off the wind, in knots
  false-compass@2h=15/20s          the pilot's heading sensor reads 15 degrees too high; the
                                   pilot follows it, she turns 15 to port. =0/20s mends it
  false-second@2h=15/20s           so does the second heading (with --second independent)
  false-gps@2h=15/20s              so does the course over the ground
  gyro-bias@2h=1.5/10s             the gyro is 1.5 degrees a second out (with --rot gyro)
  magnet@2h=4,-3/3h                a magnet adds 4 to B and takes 3 from C of the deviation
  battery@2h=11.2/20m              the battery sags to 11.2 V (XDR)
These last for SPAN, and without it to the end:
  pilot-lets-go@3h/75s             the drive lets go of the rudder
  rudder-stuck, cable-broken       the drive is jammed; or moves and the rudder does not
  rudder-lost, rudder-void, rudder-reversed     its sensor: silent, no angle, wrong side
  heading-lost, heading-void, heading-frozen, gyro-stuck, gps-lost, garbage
  gust@3h=1.5/2m                   one and a half times the wind
  line-noise@4h=0.1/30s            a tenth of the sentences is damaged
  silence@5h=GP/60s                nothing from a talker (GP), a formatter (HDG), an address
                                   (HCHDG); without a value, from nobody
These are done in a moment:
  order@00:04:00=150               a course is ordered, by the pilot's compass
  tack@1h                          she goes about (with --by-wind only)
  leap-second@22:10:00             at midnight UTC only
Without --event and --hours the demo is sailed.

Example, a night with a second heading and one fault:
  lubber simulate voyage --out night.nmea --truth night.truth.jsonl --hours 8 \\
      --second independent --event false-compass@02:10:00=15/20s";

#[derive(Clone, Debug)]
pub(super) enum Planned {
    None,
    Event(Event),
}

#[derive(Clone, Debug)]
pub(super) struct Sentences(pub(super) Vec<Sentence>);

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum SecondHeading {
    None,
    Copy,
    Independent,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum RotFrom {
    Derived,
    Gyro,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum StampKind {
    None,
    Tag,
}

impl Planned {
    pub(super) fn event(&self) -> Option<Event> {
        match self {
            Self::None => None,
            Self::Event(event) => Some(*event),
        }
    }
}

pub(super) fn event(text: &str) -> Result<Planned, simulate::ScriptError> {
    if text == "none" { Ok(Planned::None) } else { text.parse().map(Planned::Event) }
}

pub(super) fn start(text: &str) -> Result<i64, String> {
    let time = DateTime::parse_from_rfc3339(text);
    time.map(|time| time.timestamp_millis()).map_err(|_| "write it as 2026-07-14T01:50:00Z".to_owned())
}

pub(super) fn vector(text: &str) -> Result<(f64, f64), String> {
    pair(text, '/').ok_or_else(|| "write degrees and knots as 220/0.8".to_owned())
}

pub(super) fn place(text: &str) -> Result<(f64, f64), String> {
    pair(text, ',').ok_or_else(|| "write latitude and longitude as 36.0,18.0".to_owned())
}

fn pair(text: &str, between: char) -> Option<(f64, f64)> {
    let (first, second) = text.split_once(between)?;
    Some((first.trim().parse().ok()?, second.trim().parse().ok()?))
}

/// Two numbers, north and east.
pub(super) fn gradient(text: &str) -> Result<[f64; 2], String> {
    pair(text, ',').map(|(north, east)| [north, east]).ok_or_else(|| "write two numbers as 0.2,-0.5".to_owned())
}

pub(super) fn deviation(text: &str) -> Result<[f64; 5], String> {
    let numbers: Option<Vec<f64>> = text.split(',').map(|number| number.trim().parse().ok()).collect();
    numbers
        .and_then(|numbers| numbers.try_into().ok())
        .ok_or_else(|| "write five numbers as 0.4,1.6,-2.1,0.8,-0.2".to_owned())
}

pub(super) fn sentences(text: &str) -> Result<Sentences, String> {
    let mut list: Vec<Sentence> = Vec::new();
    for item in text.split(',') {
        let (name, rate) = item.split_once('=').unwrap_or((item, "1"));
        let kind = Kind::ALL.iter().copied().find(|kind| kind.formatter() == name).ok_or_else(|| {
            let names: Vec<_> = Kind::ALL.iter().map(|kind| kind.formatter()).collect();
            format!("`{name}` is not sent here; there are {}", names.join(" "))
        })?;
        if list.iter().any(|sentence| sentence.kind == kind) {
            return Err(format!("`{name}` is there twice"));
        }
        let rate = rate.parse::<f64>().ok().filter(|rate| (0.001..=10.0).contains(rate));
        let rate = rate.ok_or_else(|| format!("`{item}`: a rate goes from 0.001 to 10 a second, e.g. HDG=2"))?;
        let every_ms = (10.0 / rate).round() as u32 * 100;
        list.push(Sentence { kind, every_ms });
    }
    Ok(Sentences(list))
}
