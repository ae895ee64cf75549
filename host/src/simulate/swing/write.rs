//! A swing's log as plain NMEA 0183: HDG, RMC and VTG.

use chrono::DateTime;

use super::KNOT;
use super::Log;
use crate::simulate::Stamps;
use crate::simulate::exact;
use crate::simulate::wire::Builder;

/// Where the invented boat begins, degrees north and east: open water.
const START: [f64; 2] = [47.0, -6.0];
/// Metres in a degree of latitude: 60 nautical miles.
const DEGREE_M: f64 = 60.0 * 1852.0;

impl Log {
    /// Appends the log's lines: HCHDG with the variation told, GPRMC and GPVTG, each after its stamp.
    ///
    /// `start_unix_ms` is the time of the log's second 0. Nothing is written for a time that no
    /// calendar holds.
    pub fn write(&self, stamps: Stamps, start_unix_ms: i64, to: &mut Vec<u8>) {
        let unix = |t_s: f64| start_unix_ms + (1000.0 * t_s).round() as i64;
        let mut line = Builder::default();
        let mut place = START;
        let mut before = None;
        let mut ground = self.ground.iter().peekable();
        let variation = self.plan.variation_told_deg;
        let decimals = if self.plan.heading_step_deg < 1.0 { 1 } else { 0 };
        for &(t_s, compass_deg) in &self.headings {
            while let Some(&(t, speed, course)) = ground.next_if(|(t, ..)| *t <= t_s) {
                let (sin, cos) = exact::sin_cos(course);
                let way = speed * (t - before.replace(t).unwrap_or(t));
                let (_, shrink) = exact::sin_cos(place[0]);
                place = [place[0] + way * cos / DEGREE_M, place[1] + way * sin / (DEGREE_M * shrink)];
                let Some(utc) = DateTime::from_timestamp_millis(unix(t)) else { continue };
                line.begin("GP", "RMC").time(utc, false).text("A");
                line.place(place[0], 2, "N", "S").place(place[1], 3, "E", "W");
                line.number(speed / KNOT, 2).bearing(course, 1).date(utc).sided(variation, 1, "E", "W").text("A");
                stamps.write(unix(t), line.end(), to);
                line.begin("GP", "VTG").bearing(course, 1).text("T").bearing(course - variation, 1).text("M");
                line.number(speed / KNOT, 2).text("N").number(speed * 3.6, 2).text("K").text("A");
                stamps.write(unix(t), line.end(), to);
            }
            line.begin("HC", "HDG").bearing(compass_deg, decimals).text("").text("").sided(variation, 1, "E", "W");
            stamps.write(unix(t_s), line.end(), to);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::swing::Case;
    use crate::simulate::swing::Plan;

    #[test]
    fn every_line_is_stamped_and_the_numbers_are_the_logs() {
        let mut plan = Plan::drawn(3, Case::PortOnly);
        (plan.heading_hz, plan.heading_step_deg) = (1, 1.0);
        let log = plan.run();
        let mut bytes = Vec::new();
        log.write(Stamps::Tag, 1_780_000_000_000, &mut bytes);
        let text = String::from_utf8(bytes).unwrap();
        assert!(text.lines().all(|line| line.starts_with("\\c:17800") && line.contains("\\$")));
        let count = |formatter: &str| text.lines().filter(|line| line.contains(formatter)).count();
        assert_eq!(count("$HCHDG"), log.headings.len());
        assert_eq!(count("$GPRMC"), count("$GPVTG"));
        let first: f64 = text.split("$HCHDG,").nth(1).unwrap().split(',').next().unwrap().parse().unwrap();
        assert_eq!(first, log.headings[0].1);
        let course: f64 = text.split("$GPVTG,").nth(1).unwrap().split(',').next().unwrap().parse().unwrap();
        assert_eq!(course, log.ground[0].2);
    }
}
