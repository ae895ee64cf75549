//! What happens on the voyage, and when: the script and its little grammar.
//!
//! `NAME@TIME[=VALUE][/SPAN]`, for example `false-compass@00:14:00=15/20s`.

use std::fmt;
use std::str::FromStr;

use super::happening::Change;
use super::happening::Happening;
use super::happening::Whom;

/// One thing that happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// When, in milliseconds from the start of the voyage.
    pub at_ms: u64,
    /// What.
    pub happening: Happening,
    /// How long it lasts, in milliseconds; `None`: to the end of the voyage. Always `None` for what
    /// is done in a moment ([`Happening::is_momentary`]).
    pub lasts_ms: Option<u64>,
}

/// What is wrong with an event as it was typed, and what would be right.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct ScriptError(pub String);

impl FromStr for Event {
    type Err = ScriptError;

    fn from_str(text: &str) -> Result<Self, ScriptError> {
        let (name, rest) = text
            .split_once('@')
            .ok_or_else(|| ScriptError(format!("`{text}` has no time; write NAME@TIME, e.g. gps-lost@00:10:00/90s")))?;
        let (rest, span) = match rest.split_once('/') {
            Some((rest, span)) => (rest, Some(duration(span)?)),
            None => (rest, None),
        };
        let (at, value) = match rest.split_once('=') {
            Some((at, value)) => (at, Some(value)),
            None => (rest, None),
        };
        let at_ms = duration(at)?;
        let none = |happening| match value {
            None => Ok(happening),
            Some(value) => Err(ScriptError(format!("`{name}` takes no value; leave out `={value}`"))),
        };
        let happening = match name {
            "order" => Happening::Order(number(value, name, "a compass course, e.g. =150", 0.0, 360.0)?),
            "tack" => none(Happening::Tack)?,
            "false-compass" => Happening::FalseCompass {
                error_deg: number(value, name, "degrees from -180 to 180, e.g. =15/20s", -180.0, 180.0)?,
                over_ms: span.unwrap_or(0),
            },
            "gust" => {
                Happening::Gust(number(value, name, "how many times the wind from 0 to 3, e.g. =1.5/2m", 0.0, 3.0)?)
            }
            "pilot-lets-go" => none(Happening::PilotLetsGo)?,
            "rudder-stuck" => none(Happening::RudderStuck)?,
            "cable-broken" => none(Happening::CableBroken)?,
            "rudder-lost" => none(Happening::RudderLost)?,
            "rudder-void" => none(Happening::RudderVoid)?,
            "rudder-reversed" => none(Happening::RudderReversed)?,
            "gyro-stuck" => none(Happening::GyroStuck)?,
            "leap-second" => none(Happening::LeapSecond)?,
            "heading-lost" => none(Happening::HeadingLost)?,
            "heading-void" => none(Happening::HeadingVoid)?,
            "heading-frozen" => none(Happening::HeadingFrozen)?,
            "gps-lost" => none(Happening::GpsLost)?,
            "line-noise" => Happening::LineNoise(number(value, name, "a share from 0 to 1, e.g. =0.1/30s", 0.0, 1.0)?),
            "garbage" => none(Happening::Garbage)?,
            "silence" => Happening::Silence(value.map_or(Ok(Whom::ALL), str::parse)?),
            _ => match change(name, value)? {
                Some(to) => Happening::Runs { to, over_ms: span.unwrap_or(0) },
                None => {
                    return Err(ScriptError(format!(
                        "`{name}` is no event; there are order, tack, sea, gust, current, speed, leap-second; \
                         false-compass, false-second, false-gps, gyro-bias, gyro-stuck, magnet; heading-lost, \
                         heading-void, heading-frozen, gps-lost, rudder-lost, rudder-void, rudder-reversed; \
                         pilot-lets-go, rudder-stuck, cable-broken; battery, line-noise, garbage and silence"
                    )));
                }
            },
        };
        let no_span = matches!(happening, Happening::Order(_) | Happening::Tack | Happening::LeapSecond);
        if no_span && span.is_some() {
            return Err(ScriptError(format!("`{name}` is done in a moment; leave out what follows the `/`")));
        }
        Ok(Self { at_ms, happening, lasts_ms: if happening.is_momentary() { None } else { span } })
    }
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.happening.name(), Clock(self.at_ms))?;
        let span = match self.happening {
            Happening::Order(value) | Happening::LineNoise(value) | Happening::Gust(value) => {
                write!(f, "={value}")?;
                self.lasts_ms
            }
            Happening::FalseCompass { error_deg, over_ms } => {
                write!(f, "={error_deg}")?;
                Some(over_ms)
            }
            Happening::Runs { to, over_ms } => {
                write!(f, "={to}")?;
                Some(over_ms)
            }
            Happening::Silence(whom) if whom != Whom::ALL => {
                write!(f, "={}", whom.as_str())?;
                self.lasts_ms
            }
            _ => self.lasts_ms,
        };
        match span {
            Some(span) => write!(f, "/{}s", span as f64 / 1000.0),
            None => Ok(()),
        }
    }
}

/// A time of the voyage as `HH:MM:SS`, thousandths only where there are any.
struct Clock(u64);

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let seconds = self.0 / 1000;
        write!(f, "{:02}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)?;
        match self.0 % 1000 {
            0 => Ok(()),
            thousandths => write!(f, ".{thousandths:03}"),
        }
    }
}

/// A length of time in milliseconds: `90s`, `15m` or `15min`, `2h` or `HH:MM:SS`. The one grammar of times that
/// are typed, here and for every verb.
///
/// # Errors
/// Where it is none of these, or longer than 1000 days.
pub fn duration(text: &str) -> Result<u64, ScriptError> {
    let parts: Vec<&str> = text.split(':').collect();
    let plain = |text: &str, unit_s: f64| text.parse::<f64>().ok().filter(|n| *n >= 0.0).map(|n| n * unit_s);
    let seconds = match parts.as_slice() {
        [h, m, s] => match (h.parse::<u32>(), m.parse::<u32>(), plain(s, 1.0)) {
            (Ok(h), Ok(m), Some(s)) if m < 60 && s < 60.0 => Some(f64::from(h) * 3600.0 + f64::from(m) * 60.0 + s),
            _ => None,
        },
        [one] => {
            let units = [("min", 60.0), ("s", 1.0), ("m", 60.0), ("h", 3600.0)];
            let unit = units.into_iter().find_map(|(name, unit_s)| Some((one.strip_suffix(name)?, unit_s)));
            unit.and_then(|(number, unit_s)| plain(number.trim_end(), unit_s))
        }
        _ => None,
    };
    seconds
        .filter(|s| *s <= 86_400_000.0)
        .map(|s| (s * 1000.0).round() as u64)
        .ok_or_else(|| ScriptError(format!("`{text}` is no time; write 90s, 15m, 2h or HH:MM:SS")))
}

/// What runs to another value by that name; `None` where nothing does.
fn change(name: &str, value: Option<&str>) -> Result<Option<Change>, ScriptError> {
    let one = |expected: &str, min, max| number(value, name, expected, min, max);
    let two = |expected: &str, limits: [(f64, f64); 2]| {
        let (first, second) = value.and_then(|value| value.split_once(',')).unwrap_or_default();
        let [(min, max), (least, most)] = limits;
        Ok::<_, ScriptError>((
            number(Some(first), name, expected, min, max)?,
            number(Some(second), name, expected, least, most)?,
        ))
    };
    Ok(Some(match name {
        "false-second" => Change::FalseSecond(one("degrees from -180 to 180, e.g. =15/20s", -180.0, 180.0)?),
        "false-gps" => Change::FalseGps(one("degrees from -180 to 180, e.g. =15/20s", -180.0, 180.0)?),
        "gyro-bias" => Change::GyroBias(one("degrees a second from -20 to 20, e.g. =1.5/10s", -20.0, 20.0)?),
        "magnet" => {
            let (b, c) = two("B and C in degrees from -14 to 14, e.g. =4,-3/3h", [(-14.0, 14.0); 2])?;
            Change::Magnet(b, c)
        }
        "current" => {
            let (set, drift) = two("direction and knots, e.g. =40,1.2/10m", [(0.0, 360.0), (0.0, 6.0)])?;
            Change::Current(set, drift)
        }
        "sea" => Change::Sea(one("the yaw rms in degrees from 0 to 15, e.g. =3.5/30m", 0.0, 15.0)?),
        "speed" => Change::Speed(one("knots from 0 to 20, e.g. =1.2/5m", 0.0, 20.0)?),
        "battery" => Change::Battery(one("volts from 0 to 60, e.g. =11.2/20m", 0.0, 60.0)?),
        _ => return Ok(None),
    }))
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::FalseSecond(one) | Self::FalseGps(one) | Self::GyroBias(one) => write!(f, "{one}"),
            Self::Sea(one) | Self::Speed(one) | Self::Battery(one) => write!(f, "{one}"),
            Self::Magnet(first, second) | Self::Current(first, second) => write!(f, "{first},{second}"),
        }
    }
}

fn number(value: Option<&str>, name: &str, expected: &str, min: f64, max: f64) -> Result<f64, ScriptError> {
    value
        .and_then(|value| value.parse::<f64>().ok())
        .filter(|number| (min..=max).contains(number))
        .ok_or_else(|| ScriptError(format!("`{name}` needs {expected}")))
}

/// The script of the demo: a night passage with one thing of each kind that a watch is kept for.
///
/// It settles ten minutes on each course, because a watch must learn before it can judge.
pub fn demo() -> Vec<Event> {
    let at = |at_s: u64, happening, lasts_s: Option<u64>| Event {
        at_ms: at_s * 1000,
        happening,
        lasts_ms: lasts_s.map(|s| s * 1000),
    };
    vec![
        at(240, Happening::Order(150.0), None),
        at(900, Happening::FalseCompass { error_deg: 15.0, over_ms: 20_000 }, None),
        at(1080, Happening::FalseCompass { error_deg: 0.0, over_ms: 20_000 }, None),
        at(1440, Happening::PilotLetsGo, Some(75)),
        at(1620, Happening::GpsLost, Some(90)),
        at(1740, Happening::LineNoise(0.25), Some(30)),
    ]
}

/// How long the demo is, in milliseconds.
pub(super) const DEMO_MS: u64 = 1_860_000;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_again() {
        for text in [
            "order@00:04:00=150",
            "tack@01:00:00",
            "false-compass@02:10:00=-15.5/20s",
            "false-compass@02:10:00=0/0s",
            "pilot-lets-go@00:00:30",
            "gps-lost@00:00:30.250/1.5s",
            "rudder-stuck@00:00:30",
            "gyro-bias@00:00:30=-1.5/10s",
            "magnet@01:00:00=4,-3/10800s",
            "current@01:00:00=40,1.2/600s",
            "sea@01:00:00=3.5/1800s",
            "gust@01:00:00=1.5/120s",
            "leap-second@22:10:00",
            "line-noise@00:10:00=0.1/30s",
            "silence@00:10:00",
            "silence@00:10:00=GP/60s",
            "silence@00:10:00=HCHDG/60s",
        ] {
            assert_eq!(text.parse::<Event>().map(|e| e.to_string()), Ok(text.to_owned()));
        }
        for event in demo() {
            assert_eq!(event.to_string().parse(), Ok(event));
        }
    }

    #[test]
    fn what_cannot_be_meant_is_refused_with_the_remedy() {
        for (text, remedy) in [
            ("gps-lost", "has no time"),
            ("gps-lost@10", "90s, 15m, 2h"),
            ("gps-lost@00:99:00", "HH:MM:SS"),
            ("gps-lost@-5s", "90s, 15m, 2h"),
            ("gps-lost@infs", "90s, 15m, 2h"),
            ("gps-lost@NaNs", "90s, 15m, 2h"),
            ("gps-lost@é", "90s, 15m, 2h"),
            ("gps-lost@10s=3", "takes no value"),
            ("order@10s", "a compass course"),
            ("order@10s=150/3s", "in a moment"),
            ("leap-second@10s/3s", "in a moment"),
            ("magnet@10s=4/3h", "B and C"),
            ("current@10s=400,1/3h", "direction and knots"),
            ("rudder-stuck@10s=4", "takes no value"),
            ("false-compass@10s=NaN", "degrees from -180"),
            ("line-noise@10s=2", "a share from 0 to 1"),
            ("silence@10s=G/3s", "names no talker"),
            ("mutiny@10s", "there are order, tack"),
        ] {
            let refusal = text.parse::<Event>().expect_err(text).to_string();
            assert!(refusal.contains(remedy), "{text}: {refusal}");
        }
    }
}
