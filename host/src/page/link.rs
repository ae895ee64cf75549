//! Where the page is: a link with the key in it, and a code for a camera.

use std::net::IpAddr;
use std::net::SocketAddr;
use std::net::UdpSocket;

use qrcode::EcLevel;
use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;

use crate::page::Key;

/// What whoever opens the page to a network must know.
pub const PLAIN_HTTP: &str = "plain HTTP: others on that network can read the page and its key";

/// An address that another device can go to, where the page is at any address of this machine: the one
/// this machine would speak from, if it has a way to anywhere. Nothing is sent to find that out.
pub fn reachable(at: SocketAddr) -> SocketAddr {
    if !at.ip().is_unspecified() {
        return at;
    }
    // RFC 5737 and RFC 3849: addresses for documentation, which nobody has.
    let (own, far) = if at.is_ipv4() { ("0.0.0.0:0", "192.0.2.1:9") } else { ("[::]:0", "[2001:db8::1]:9") };
    let from = UdpSocket::bind(own).and_then(|socket| socket.connect(far).and_then(|()| socket.local_addr()));
    from.map_or(at, |from| SocketAddr::new(from.ip(), at.port()))
}

/// The link to the page at `at`; the key is in the fragment, which a browser never sends.
pub fn link(at: SocketAddr, key: Option<&Key>) -> String {
    // "Any address" is not one that a browser can go to.
    let host = match at.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => "THIS-MACHINE".to_owned(),
        IpAddr::V6(ip) if ip.is_unspecified() => "THIS-MACHINE".to_owned(),
        IpAddr::V4(ip) => ip.to_string(),
        IpAddr::V6(ip) => format!("[{ip}]"),
    };
    let port = at.port();
    key.map_or_else(|| format!("http://{host}:{port}/"), |key| format!("http://{host}:{port}/#{}", key.text()))
}

/// `text` as a QR code of half blocks. With `colours` each line sets black on white and sets it back;
/// without, it is for a light print on a dark ground. None where it is too long for one.
pub fn code(text: &str, colours: bool) -> Option<String> {
    let code = QrCode::with_error_correction_level(text, EcLevel::L).ok()?;
    let (dark, light) = if colours { (Dense1x2::Dark, Dense1x2::Light) } else { (Dense1x2::Light, Dense1x2::Dark) };
    let drawn = code.render::<Dense1x2>().dark_color(dark).light_color(light).quiet_zone(true).build();
    let lines = drawn.lines();
    Some(match colours {
        true => lines.map(|line| format!("\x1b[30;107m{line}\x1b[0m\n")).collect(),
        false => lines.map(|line| format!("{line}\n")).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_link_carries_the_key_where_no_browser_sends_it() {
        let key = Key::new().unwrap();
        let at = "192.168.4.20:8350".parse().unwrap();
        assert_eq!(link(at, Some(&key)), format!("http://192.168.4.20:8350/#{}", key.text()));
        assert_eq!(link("[::1]:8350".parse().unwrap(), None), "http://[::1]:8350/");
        assert_eq!(link("0.0.0.0:80".parse().unwrap(), None), "http://THIS-MACHINE:80/");
    }

    #[test]
    fn the_code_fits_a_terminal_of_80_by_24() {
        let text = link("192.168.178.120:10350".parse().unwrap(), Some(&Key::new().unwrap()));
        let plain = code(&text, false).unwrap();
        assert!(plain.lines().all(|line| line.chars().count() <= 80), "{plain}");
        assert!(plain.lines().count() <= 23, "{} lines", plain.lines().count());
        let coloured = code(&text, true).unwrap();
        assert!(coloured.lines().all(|line| line.starts_with("\x1b[30;107m") && line.ends_with("\x1b[0m")));
        // Both draw the same modules, one light on dark and the other dark on light.
        let ink = |text: &str| text.chars().filter(|c| *c == '\u{2588}').count();
        assert_ne!(ink(&plain), ink(&coloured));
        assert_eq!(code(&"x".repeat(5000), false), None);
    }
}
