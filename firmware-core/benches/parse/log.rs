//! Invented logs of any length, the same at every run.

/// The sentences a small boat's heading chain and GPS send, as the kinds of a mixed log.
const MIXED: [Kind; 9] = [hdg, rot, rsa, hdt, rmc, vtg, gga, zda, vhw];
const GNSS: [Kind; 4] = [rmc, vtg, gga, zda];

type Kind = fn(&mut Dice, usize) -> String;

/// Numerical Recipes' 32-bit linear congruential generator, of which the upper bits are used.
pub(crate) struct Dice(u32);

impl Dice {
    fn below(&mut self, n: u32) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        ((u64::from(self.0 >> 8) * u64::from(n)) >> 24) as u32
    }

    fn tenths(&mut self, n: u32) -> f64 {
        f64::from(self.below(n)) / 10.0
    }
}

/// `lines` lines of all kinds in turn.
pub(crate) fn mixed(lines: usize) -> Vec<u8> {
    of(&MIXED, lines).concat().into_bytes()
}

/// The same lines, shuffled.
pub(crate) fn shuffled(lines: usize) -> Vec<u8> {
    let mut lines = of(&MIXED, lines);
    let mut dice = Dice(2);
    for last in (1..lines.len()).rev() {
        let other = dice.below(u32::try_from(last + 1).unwrap()) as usize;
        lines.swap(last, other);
    }
    lines.concat().into_bytes()
}

/// `lines` lines of satellite navigation only.
pub(crate) fn gnss(lines: usize) -> Vec<u8> {
    of(&GNSS, lines).concat().into_bytes()
}

/// The mixed log with a TAG block before each line.
pub(crate) fn stamped(lines: usize) -> Vec<u8> {
    let stamp = |(at, line): (usize, String)| {
        let pairs = format!("c:{}", 1_782_000_000_000_u64 + at as u64 * 100);
        format!("\\{pairs}*{:02X}\\{line}", xor(&pairs))
    };
    of(&MIXED, lines).into_iter().enumerate().map(stamp).collect::<String>().into_bytes()
}

fn of(kinds: &[Kind], lines: usize) -> Vec<String> {
    let mut dice = Dice(1);
    let line = |(at, kind): (usize, &Kind)| {
        let text = kind(&mut dice, at);
        format!("${text}*{:02X}\r\n", xor(&text))
    };
    kinds.iter().cycle().take(lines).enumerate().map(line).collect()
}

fn xor(text: &str) -> u8 {
    text.bytes().fold(0, |sum, byte| sum ^ byte)
}

fn clock(at: usize) -> String {
    let s = at / 9 % 86_400;
    format!("{:02}{:02}{:02}.00", s / 3600, s / 60 % 60, s % 60)
}

fn place(dice: &mut Dice) -> String {
    format!(
        "46{:02}.{:05},N,006{:02}.{:05},E",
        dice.below(60),
        dice.below(100_000),
        dice.below(60),
        dice.below(100_000)
    )
}

fn hdg(dice: &mut Dice, _: usize) -> String {
    format!("HCHDG,{:.1},,,4.1,W", dice.tenths(3600))
}

fn rot(dice: &mut Dice, _: usize) -> String {
    format!("TIROT,{:.1},A", dice.tenths(600) - 30.0)
}

fn rsa(dice: &mut Dice, _: usize) -> String {
    format!("IIRSA,{:.1},A,,", dice.tenths(600) - 30.0)
}

fn hdt(dice: &mut Dice, _: usize) -> String {
    format!("HEHDT,{:.1},T", dice.tenths(3600))
}

fn rmc(dice: &mut Dice, at: usize) -> String {
    format!("GPRMC,{},A,{},{:.1},{:.1},140626,4.1,W,A", clock(at), place(dice), dice.tenths(90), dice.tenths(3600))
}

fn vtg(dice: &mut Dice, _: usize) -> String {
    let knots = dice.tenths(90);
    format!("GPVTG,{:.1},T,,M,{knots:.1},N,{:.1},K,A", dice.tenths(3600), knots * 1.852)
}

fn gga(dice: &mut Dice, at: usize) -> String {
    format!("GPGGA,{},{},1,{:02},0.9,{:.1},M,47.0,M,,", clock(at), place(dice), 4 + dice.below(9), dice.tenths(50))
}

fn zda(_: &mut Dice, at: usize) -> String {
    format!("GPZDA,{},14,06,2026,00,00", clock(at))
}

fn vhw(dice: &mut Dice, _: usize) -> String {
    let knots = dice.tenths(90);
    format!("VWVHW,,T,{:.1},M,{knots:.1},N,{:.1},K", dice.tenths(3600), knots * 1.852)
}
