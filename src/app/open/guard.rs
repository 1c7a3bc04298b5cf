//! Who may ask: only the page that this program opened.
//!
//! Another web page must not reach the server, nor a name that somebody points to 127.0.0.1 ("DNS rebinding"). So
//! the name in `Host` must be this computer's own address, `Origin` must be the page's, `Sec-Fetch-Site` must not
//! tell of another site, and the first part of the path must be a random token.
//! (RFC 9110, section 7.2, on `Host`; RFC 6454 on `Origin`; W3C Fetch Metadata on `Sec-Fetch-Site`.)

use std::net::SocketAddr;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hyper::header::{HOST, HeaderMap, HeaderName, HeaderValue, ORIGIN};
use hyper::{StatusCode, Uri};

/// Bytes of a token.
const TOKEN_BYTES: usize = 32;

/// What every response carries.
const HEADERS: [(&str, &str); 6] = [
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; \
         media-src blob:; form-action 'none'; base-uri 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cache-control", "no-store"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
];

/// Adds what every response carries.
pub fn add_headers(headers: &mut HeaderMap) {
    for (name, value) in HEADERS {
        let name = HeaderName::from_static(name);
        headers.insert(name, HeaderValue::from_static(value));
    }
}

/// A text that nobody can guess: random bytes of the operating system.
///
/// # Errors
/// Where the system gives none.
pub fn secret() -> Result<String, getrandom::Error> {
    let mut bytes = [0; TOKEN_BYTES];
    getrandom::fill(&mut bytes)?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// Whether two texts are the same, in a time that does not tell where they differ.
pub fn same(a: &str, b: &str) -> bool {
    let differ = a
        .bytes()
        .zip(b.bytes())
        .fold(0, |all, (a, b)| all | (a ^ b));
    std::hint::black_box(differ) == 0 && a.len() == b.len()
}

/// The server's own names.
#[derive(Clone, Debug)]
pub struct Guard {
    hosts: Vec<String>,
}

impl Guard {
    /// Those of the addresses that it listens on.
    pub fn of(addresses: &[SocketAddr]) -> Self {
        Guard {
            hosts: addresses.iter().map(ToString::to_string).collect(),
        }
    }

    /// Refuses requests that do not come from the server's own page, or from somebody who typed its address.
    ///
    /// # Errors
    /// The status to answer with.
    pub fn check(&self, uri: &Uri, headers: &HeaderMap) -> Result<(), StatusCode> {
        if uri.authority().is_some() {
            return Err(StatusCode::FORBIDDEN);
        }
        let host = only(headers, &HOST)?.ok_or(StatusCode::FORBIDDEN)?;
        if !self.hosts.iter().any(|own| own == host) {
            return Err(StatusCode::FORBIDDEN);
        }
        if let Some(origin) = only(headers, &ORIGIN)?
            && origin.strip_prefix("http://") != Some(host)
        {
            return Err(StatusCode::FORBIDDEN);
        }
        let site = only(headers, &HeaderName::from_static("sec-fetch-site"))?;
        match site {
            None | Some("same-origin" | "none") => Ok(()),
            Some(_) => Err(StatusCode::FORBIDDEN),
        }
    }
}

/// The value of a header that may stand there once only.
fn only<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Result<Option<&'h str>, StatusCode> {
    let mut all = headers.get_all(name).iter();
    match (all.next(), all.next()) {
        (None, _) => Ok(None),
        (Some(value), None) => value.to_str().map(Some).map_err(|_| StatusCode::FORBIDDEN),
        (Some(_), Some(_)) => Err(StatusCode::FORBIDDEN),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_are_compared_whole() {
        assert!(same("abc", "abc"));
        for other in ["", "ab", "abcd", "abd", "ABC"] {
            assert!(!same("abc", other) && !same(other, "abc"), "{other}");
        }
    }

    #[test]
    fn secrets_are_long_and_differ() {
        let (one, other) = (secret().unwrap(), secret().unwrap());
        assert_eq!(one.len(), 43);
        assert_ne!(one, other);
    }
}
