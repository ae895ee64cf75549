//! What a request must be before anybody looks at what it wants.

use std::net::SocketAddr;

use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::http::Uri;
use axum::http::Version;
use axum::http::header::AUTHORIZATION;
use axum::http::header::CONTENT_TYPE;
use axum::http::header::HOST;
use axum::http::header::HeaderName;
use axum::http::header::ORIGIN;

/// Why a request is refused, in words for whoever looks at the answer.
pub(super) type Refusal = (StatusCode, &'static str);

/// A page of another site may neither look nor press, even where it has made its own name lead here:
/// only the address that was connected to, or this machine's own name on loopback, is a name of ours.
pub(super) fn addressed(uri: &Uri, version: Version, headers: &HeaderMap, local: SocketAddr) -> Result<(), Refusal> {
    if version != Version::HTTP_11 {
        return Err((StatusCode::HTTP_VERSION_NOT_SUPPORTED, "HTTP/1.1 was expected"));
    }
    if uri.authority().is_some() || uri.query().is_some() {
        return Err((StatusCode::BAD_REQUEST, "a plain path was expected, without a host and without a query"));
    }
    let host = only(headers, &HOST).ok_or((StatusCode::BAD_REQUEST, "one Host header was expected"))?;
    if !ours(host, local) {
        return Err((StatusCode::MISDIRECTED_REQUEST, "the Host header is no address of this page"));
    }
    let foreign = (StatusCode::FORBIDDEN, "a request from another site");
    match headers.get_all(ORIGIN).iter().count() {
        0 => {}
        _ => {
            let from = only(headers, &ORIGIN).and_then(|origin| origin.strip_prefix("http://"));
            if from != Some(host) {
                return Err(foreign);
            }
        }
    }
    // Fetch Metadata Request Headers, W3C working draft: what a browser says about who asks.
    let site = HeaderName::from_static("sec-fetch-site");
    match only(headers, &site) {
        None if headers.contains_key(&site) => Err(foreign),
        // "cross-site" is also how a link on another page leads here; that shows the page and nothing more.
        Some("cross-site" | "same-site") if uri.path() != "/" => Err(foreign),
        _ => Ok(()),
    }
}

/// Whether `host` names the address that was connected to.
fn ours(host: &str, local: SocketAddr) -> bool {
    let port = local.port();
    let named = |name: &str| host == format!("{name}:{port}") || (port == 80 && host == name);
    // A connection over IPv4 to a socket of IPv6 still came to an address of IPv4.
    let ip = local.ip().to_canonical();
    let literal = if ip.is_ipv6() { format!("[{ip}]") } else { ip.to_string() };
    named(&literal) || (ip.is_loopback() && named("localhost"))
}

/// The key that a request shows. None, and never the first of several, where it is not exactly one.
pub(super) fn bearer(headers: &HeaderMap) -> Option<&[u8]> {
    let mut all = headers.get_all(AUTHORIZATION).iter();
    let (one, None) = (all.next()?, all.next()) else { return None };
    let (scheme, key) = one.as_bytes().split_at_checked(7)?;
    scheme.eq_ignore_ascii_case(b"Bearer ").then_some(key)
}

/// A form of another site can send text, but not this content type without asking first.
pub(super) fn is_json(headers: &HeaderMap) -> bool {
    let kind = only(headers, &CONTENT_TYPE).map(|kind| kind.split(';').next().unwrap_or(kind).trim());
    kind.is_some_and(|kind| kind.eq_ignore_ascii_case("application/json"))
}

/// The value of a header that is there once.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut all = headers.get_all(name).iter();
    let (one, None) = (all.next()?, all.next()) else { return None };
    one.to_str().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(list: &[(&'static str, &str)]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for (name, value) in list {
            headers.append(*name, value.parse().unwrap());
        }
        headers
    }

    #[test]
    fn only_the_address_that_was_connected_to_is_a_name_of_ours() {
        let boat: SocketAddr = "192.168.4.20:8350".parse().unwrap();
        let here: SocketAddr = "127.0.0.1:8350".parse().unwrap();
        let six: SocketAddr = "[::1]:8350".parse().unwrap();
        let mapped: SocketAddr = "[::ffff:192.168.4.20]:8350".parse().unwrap();
        assert!(ours("192.168.4.20:8350", boat) && ours("192.168.4.20:8350", mapped));
        assert!(ours("127.0.0.1:8350", here) && ours("localhost:8350", here));
        assert!(ours("[::1]:8350", six) && ours("localhost:8350", six));
        assert!(ours("192.168.4.20", "192.168.4.20:80".parse().unwrap()));
        for other in ["localhost:8350", "192.168.4.21:8350", "192.168.4.20", "evil.example:8350", "192.168.4.20:80", ""]
        {
            assert!(!ours(other, boat), "{other:?}");
        }
        assert!(!ours("evil.example:8350", here) && !ours("localhost.evil.example:8350", here));
    }

    #[test]
    fn one_key_is_read_and_several_are_none() {
        assert_eq!(bearer(&headers(&[("authorization", "Bearer abc")])), Some(&b"abc"[..]));
        assert_eq!(bearer(&headers(&[("authorization", "bearer abc")])), Some(&b"abc"[..]));
        for none in [
            &[][..],
            &[("authorization", "abc")],
            &[("authorization", "Basic abc")],
            &[("authorization", "Bearer")],
            &[("authorization", "Bearer abc"), ("authorization", "Bearer abc")],
        ] {
            assert_eq!(bearer(&headers(none)), None, "{none:?}");
        }
    }

    #[test]
    fn what_counts_as_json() {
        assert!(is_json(&headers(&[("content-type", "application/json")])));
        assert!(is_json(&headers(&[("content-type", "Application/JSON; charset=utf-8")])));
        for other in ["text/plain", "application/x-www-form-urlencoded", "application/jsonx", ""] {
            assert!(!is_json(&headers(&[("content-type", other)])), "{other:?}");
        }
        assert!(!is_json(&headers(&[])));
    }
}
