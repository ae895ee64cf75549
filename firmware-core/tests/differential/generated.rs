//! A seeded log of every formatter that the other parsers read: sound lines, and among them empty
//! fields, missing and wrong letters, statuses and modes of all kinds and numbers out of range.

use crate::reading::sentence;

pub(crate) struct Log {
    state: u64,
}

impl Log {
    pub(crate) const fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// The next line, without its line end.
    pub(crate) fn line(&mut self) -> String {
        let body = match self.below(16) {
            0 => ["HCHDG".into(), self.circle(1), self.east(), self.east()].join(","),
            1 => ["HCHDM".into(), self.circle(1), self.letter("M")].join(","),
            2 => ["HEHDT".into(), self.circle(2), self.letter("T")].join(","),
            3 => ["GPTHS".into(), self.circle(3), self.one_of(&["A", "A", "E", "M", "S", "V"])].join(","),
            4 => ["TIROT".into(), self.signed(720, 2), self.status()].join(","),
            5 => ["IIRSA".into(), self.signed(40, 1), self.status(), self.signed(40, 1), self.status()].join(","),
            6 => ["VWVHW".into(), self.circle(1), self.letter("T"), self.circle(1), self.letter("M"), self.speeds()]
                .join(","),
            7 => {
                let first = [self.circle(2), self.letter("T"), self.circle(2), self.letter("M"), self.speeds()];
                ["GPVTG".into(), first.join(","), self.mode()].join(",")
            }
            8 => {
                let fix = [self.time(), self.status(), self.position(), self.number(40, 3), self.circle(2)];
                ["GPRMC".into(), fix.join(","), self.date(), self.east(), self.mode()].join(",")
            }
            9 => {
                let fix = [self.time(), self.position(), self.one_of(&["0", "1", "2", "4", "5", "6", "7", "8"])];
                let tail = [self.number(40, 0), self.number(20, 2), self.number(90, 1), "M,-32.0,M,,".into()];
                ["GPGGA".into(), fix.join(","), tail.join(",")].join(",")
            }
            10 => ["GPGLL".into(), self.position(), self.time(), self.status(), self.mode()].join(","),
            11 => {
                let modes = self.one_of(&["A", "AN", "NA", "DD", "NN", "RR"]);
                let tail = [self.number(40, 0), self.number(20, 2), "10.5,48.0,,,V".into()];
                ["GNGNS".into(), self.time(), self.position(), modes, tail.join(",")].join(",")
            }
            12 => {
                let zone = self.one_of(&["00,00", "-05,30", "-00,30", "13,45", ","]);
                let (day, month) = (1 + self.below(28), 1 + self.below(12));
                let date = format!("{day:02},{month:02},{}", 1990 + self.below(60));
                ["GPZDA".into(), self.time(), date, zone].join(",")
            }
            13 => {
                let wind =
                    [self.circle(1), self.one_of(&["R", "T"]), self.number(90, 1), self.one_of(&["N", "K", "M"])];
                ["WIMWV".into(), wind.join(","), self.status()].join(",")
            }
            14 => {
                let direction = [self.circle(1), self.letter("T"), self.circle(1), self.letter("M")];
                ["WIMWD".into(), direction.join(","), self.number(90, 1), "N".into(), ",M".into()].join(",")
            }
            _ => ["APHSC".into(), self.circle(2), self.letter("T"), self.circle(2), self.letter("M")].join(","),
        };
        sentence(&body)
    }

    /// Xorshift: the same for ever from the same seed.
    fn below(&mut self, limit: u64) -> u64 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 7;
        self.state ^= self.state << 17;
        self.state % limit
    }

    fn one_in(&mut self, chance: u64) -> bool {
        self.below(chance) == 0
    }

    fn one_of(&mut self, choices: &[&str]) -> String {
        choices[self.below(choices.len() as u64) as usize].into()
    }

    /// A number below `limit` with `decimals` digits after the point; now and then none at all.
    fn number(&mut self, limit: u64, decimals: usize) -> String {
        if self.one_in(12) {
            return String::new();
        }
        let whole = self.below(limit);
        if decimals == 0 {
            return format!("{whole:02}");
        }
        let fraction = self.below(10u64.pow(decimals as u32));
        let width = if self.one_in(4) { 3 } else { 1 };
        format!("{whole:0width$}.{fraction:0decimals$}")
    }

    fn signed(&mut self, limit: u64, decimals: usize) -> String {
        let sign = self.one_of(&["", "", "-", "-", "+"]);
        match self.number(limit, decimals) {
            empty if empty.is_empty() => empty,
            number => sign + &number,
        }
    }

    /// A direction; one in fifty is no direction on any circle.
    fn circle(&mut self, decimals: usize) -> String {
        if self.one_in(50) { format!("{}.5", 361 + self.below(600)) } else { self.number(360, decimals) }
    }

    /// The letter that belongs there, or now and then none, or another.
    fn letter(&mut self, letter: &str) -> String {
        match self.below(40) {
            0 => String::new(),
            1 => "X".into(),
            _ => letter.into(),
        }
    }

    fn status(&mut self) -> String {
        self.one_of(&["A", "A", "A", "A", "A", "A", "V", ""])
    }

    fn mode(&mut self) -> String {
        self.one_of(&["A", "A", "D", "D", "R", "F", "P", "E", "N", "S", "M"])
    }

    fn east(&mut self) -> String {
        let number = self.number(30, 1);
        let letter = self.one_of(&["E", "W"]);
        if number.is_empty() && self.one_in(2) { ",".into() } else { format!("{number},{}", self.letter(&letter)) }
    }

    fn speeds(&mut self) -> String {
        let (knots, kmh) = (self.number(40, 2), self.number(70, 2));
        format!("{knots},N,{kmh},K")
    }

    fn time(&mut self) -> String {
        let (h, m, s) = (self.below(24), self.below(60), self.below(60));
        match self.below(8) {
            0 => String::new(),
            1 => format!("{h:02}{m:02}{s:02}"),
            2 => format!("{h:02}{m:02}{s:02}.{}", self.below(10)),
            _ => format!("{h:02}{m:02}{s:02}.{:02}", self.below(100)),
        }
    }

    fn date(&mut self) -> String {
        format!("{:02}{:02}{:02}", 1 + self.below(28), 1 + self.below(12), self.below(100))
    }

    fn position(&mut self) -> String {
        if self.one_in(12) {
            return ",,,".into();
        }
        let (lat, lon) = (self.below(90), self.below(180));
        let (lat_min, lon_min) = (self.below(6_000_000), self.below(6_000_000));
        let (north, east) = (self.one_of(&["N", "S"]), self.one_of(&["E", "W"]));
        let minutes = |m: u64| format!("{:02}.{:05}", m / 100_000, m % 100_000);
        format!("{lat:02}{},{north},{lon:03}{},{east}", minutes(lat_min), minutes(lon_min))
    }
}
