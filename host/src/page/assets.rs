//! One self-contained page, and the content policy that lets nothing else in.

use sha2::Digest;
use sha2::Sha256;

const HTML: &str = include_str!("assets/page.html");
const CSS: &str = include_str!("assets/page.css");
/// One script of three files: what is drawn, what is said, and what is heard and done.
const JS: &str =
    concat!(include_str!("assets/line.js"), include_str!("assets/paint.js"), include_str!("assets/page.js"));

/// Where style and script go.
const CSS_PLACE: &str = "/*page.css*/";
const JS_PLACE: &str = "/*page.js*/";

/// The page and what goes with it.
pub(super) struct Page {
    /// The whole of it.
    pub(super) html: String,
    /// The value of its Content-Security-Policy: this style, this script, and requests to where it came
    /// from. The icon that a browser would else ask for is an empty one, in the page.
    pub(super) policy: String,
}

/// The page, put together.
pub(super) fn page() -> Page {
    let hash = |text: &str| base64(&<[u8; 32]>::from(Sha256::digest(text.as_bytes())));
    Page {
        html: HTML.replacen(CSS_PLACE, CSS, 1).replacen(JS_PLACE, JS, 1),
        policy: format!(
            "default-src 'none'; style-src 'sha256-{}'; script-src 'sha256-{}'; connect-src 'self'; img-src data:; \
             base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
            hash(CSS),
            hash(JS)
        ),
    }
}

/// RFC 4648 section 4.
fn base64(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let bits = three.iter().fold(0_u32, |bits, byte| (bits << 8) | u32::from(*byte)) << (8 * (3 - three.len()));
        for place in 0..4 {
            let six = bits >> (18 - 6 * place) & 63;
            let letter = usize::try_from(six).ok().filter(|_| place <= three.len()).and_then(|six| ALPHABET.get(six));
            text.push(letter.map_or('=', |letter| char::from(*letter)));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_by_the_test_vectors_of_rfc_4648_section_10() {
        let vectors =
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")];
        for (plain, text) in vectors {
            assert_eq!(base64(plain.as_bytes()), text);
        }
        assert_eq!(base64(&[0xfb, 0xff]), "+/8=");
    }

    #[test]
    fn the_page_is_whole_and_asks_for_nothing_outside() {
        let page = page();
        for place in [CSS_PLACE, JS_PLACE] {
            assert_eq!(HTML.matches(place).count(), 1);
            assert!(!page.html.contains(place));
        }
        // What the policy refuses must not be there, or the page would be without it.
        for outside in
            ["https://", "<link rel=\"stylesheet\"", "src=", "style=\"", " onclick", "@import", "url(", "eval("]
        {
            assert!(!page.html.contains(outside), "{outside}");
        }
        // The one address with a scheme in it is the name of SVG, which is never fetched.
        assert!(
            page.html.match_indices("http://").all(|(at, _)| page.html[at..].starts_with("http://www.w3.org/2000/svg"))
        );
        // Neither may end its own element early.
        assert!(!CSS.contains("</") && !JS.contains("</script") && !JS.contains("<!--"));
    }
}
