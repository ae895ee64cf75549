//! How the boat is steered, as a person types it.

use lubber_core::picture::Command;

use crate::boat::words;

/// What an order is, for a refusal.
const EXPECTED: &str = "an order is a heading with its reference (135C by the pilot's compass, 135M magnetic, 139T \
true), here, wind or hand";

/// 135C, 135M, 139T, here, wind, hand or cancel; in small letters or capitals.
pub(super) fn read(text: &str) -> Option<Command> {
    match text.trim().to_ascii_lowercase().as_str() {
        "here" => Some(Command::SteerHere),
        "wind" => Some(Command::SteerWind),
        "hand" => Some(Command::SteerHand),
        "cancel" => Some(Command::Cancel),
        heading => words::heading(heading).map(Command::Steer),
    }
}

/// What is wrong with `text`, which is no order; and what one is.
pub(super) fn refused(text: &str) -> String {
    let typed = text.trim();
    let number = typed.strip_suffix(['C', 'c', 'M', 'm', 'T', 't']);
    let degrees = number.unwrap_or(typed).trim().parse::<f64>().ok().filter(|degrees| degrees.is_finite());
    let why = match (degrees, number) {
        (Some(degrees), _) if degrees > 360.0 => format!("{degrees} is over 360; "),
        // Not -0 either: a heading has no sign.
        (Some(_), _) if typed.starts_with('-') => {
            format!("a heading is not negative, {typed}, but goes from 0 to 360, clockwise from north; ")
        }
        (Some(_), None) => {
            format!("{typed} lacks the letter of its reference, such as {typed}C; ")
        }
        _ => String::new(),
    };
    format!("{why}{EXPECTED}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn orders_and_what_is_wrong_with_what_is_none() {
        for text in ["here", "HERE", " Wind ", "hand", "cancel", "135C", "135 m", "007.5t"] {
            assert!(read(text).is_some(), "{text}");
        }
        for (text, why) in [
            ("400C", "400 is over 360; an order is"),
            ("400", "400 is over 360; an order is"),
            ("-5C", "a heading is not negative, -5C, but"),
            ("135", "135 lacks the letter of its reference, such as 135C; an order is"),
            ("north", "an order is a heading"),
            ("", "an order is a heading"),
        ] {
            assert!(read(text).is_none() && refused(text).starts_with(why), "{text}: {}", refused(text));
        }
    }
}
