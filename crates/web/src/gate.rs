//! What every request must pass and every answer must carry: this bench is for this computer alone.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// Names under which this bench answers; a page of another site that had its name pointed here would send its own.
#[derive(Clone, Debug)]
pub struct Names(Vec<String>);

impl Names {
    /// The loopback names with the port.
    pub fn of(port: u16) -> Self {
        let hosts = ["127.0.0.1", "localhost", "[::1]"];
        Self(hosts.map(|host| format!("{host}:{port}")).to_vec())
    }

    /// Whether the `Host` is one of ours, and the `Origin`, where there is one, too.
    pub fn admit(&self, headers: &HeaderMap) -> bool {
        let text = |name| {
            headers
                .get(name)
                .map(|v: &HeaderValue| v.to_str().unwrap_or(""))
        };
        let is_ours = |host: &str| self.0.iter().any(|n| n.eq_ignore_ascii_case(host));
        let hosts = headers.get_all(header::HOST).iter().count();
        let origin = match text(header::ORIGIN) {
            None => true,
            Some(origin) => origin.strip_prefix("http://").is_some_and(is_ours),
        };
        hosts == 1 && text(header::HOST).is_some_and(is_ours) && origin
    }

    /// Whether something may be written: the browser must say that a page of this bench asks, by `Origin` (RFC 6454) or by
    /// `Sec-Fetch-Site` (W3C Fetch Metadata), and no header may say otherwise.
    pub fn admit_writing(&self, headers: &HeaderMap) -> bool {
        let site: Vec<&[u8]> = headers
            .get_all("sec-fetch-site")
            .iter()
            .map(HeaderValue::as_bytes)
            .collect();
        let is_same = site.iter().all(|s| *s == b"same-origin");
        let says_so = !site.is_empty() || headers.contains_key(header::ORIGIN);
        self.admit(headers) && is_same && says_so
    }
}

/// Nothing but what this bench serves itself; no script and no style inside a page.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const HEADERS: [(&str, &str); 6] = [
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    // With "no-referrer" browsers would send `Origin: null` from our own forms (Fetch standard, 3.2).
    ("referrer-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cache-control", "no-store"),
];

/// Refuses what does not come from this computer's own pages, and sets the headers.
pub async fn pass(State(names): State<Names>, request: Request, next: Next) -> Response {
    let is_read = matches!(*request.method(), Method::GET | Method::HEAD);
    let is_written = *request.method() == Method::POST;
    let mut response = if !names.admit(request.headers()) {
        (
            StatusCode::FORBIDDEN,
            "This bench answers only under its own address on this computer. Open the address that it printed.\n",
        )
            .into_response()
    } else if is_written && !names.admit_writing(request.headers()) {
        (
            StatusCode::FORBIDDEN,
            "This bench writes only what its own pages send. Enter it there.\n",
        )
            .into_response()
    } else if !is_read && !is_written {
        (
            StatusCode::METHOD_NOT_ALLOWED,
            "This bench is read and added to; nothing else.\n",
        )
            .into_response()
    } else {
        next.run(request).await
    };
    for (name, value) in HEADERS {
        response
            .headers_mut()
            .insert(name, HeaderValue::from_static(value));
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    fn admitted(pairs: &[(&'static str, &'static str)]) -> bool {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.append(*name, HeaderValue::from_static(value));
        }
        Names::of(4710).admit(&headers)
    }

    #[test]
    fn only_the_loopback_names_with_the_port_are_admitted() {
        for host in [
            "127.0.0.1:4710",
            "localhost:4710",
            "LOCALHOST:4710",
            "[::1]:4710",
        ] {
            assert!(admitted(&[("host", host)]), "{host}");
        }
        for host in [
            "example.org:4710",
            "127.0.0.1",
            "127.0.0.1:80",
            "localhost.example.org:4710",
            "",
        ] {
            assert!(!admitted(&[("host", host)]), "{host}");
        }
        assert!(!admitted(&[]));
        assert!(!admitted(&[
            ("host", "localhost:4710"),
            ("host", "localhost:4710")
        ]));
    }

    #[test]
    fn writing_needs_a_page_of_this_bench() {
        let with = |pairs: &[(&'static str, &'static str)]| {
            let mut headers = HeaderMap::new();
            headers.append("host", HeaderValue::from_static("localhost:4710"));
            for (name, value) in pairs {
                headers.append(*name, HeaderValue::from_static(value));
            }
            Names::of(4710).admit_writing(&headers)
        };
        assert!(with(&[("origin", "http://localhost:4710")]));
        assert!(with(&[("sec-fetch-site", "same-origin")]));
        for foreign in [
            &[][..],
            &[("origin", "null")],
            &[("origin", "http://localhost:4711")],
            &[("sec-fetch-site", "cross-site")],
            &[("sec-fetch-site", "none")],
            &[
                ("sec-fetch-site", "same-origin"),
                ("sec-fetch-site", "cross-site"),
            ],
            &[
                ("origin", "http://localhost:4710"),
                ("sec-fetch-site", "same-site"),
            ],
            &[
                ("origin", "http://example.org"),
                ("sec-fetch-site", "same-origin"),
            ],
        ] {
            assert!(!with(foreign), "{foreign:?}");
        }
    }

    #[test]
    fn a_foreign_origin_is_refused() {
        let with = |origin| admitted(&[("host", "localhost:4710"), ("origin", origin)]);
        assert!(with("http://localhost:4710"));
        for origin in [
            "http://example.org",
            "null",
            "https://localhost:4710",
            "http://localhost:4711",
        ] {
            assert!(!with(origin), "{origin}");
        }
    }
}
