//! What a page or its script sent: fields and photographs, whichever way they were packed.

use axum::Form as Urlencoded;
use axum::extract::{DefaultBodyLimit, FromRequest, Multipart, Request};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// Longest body with photographs, in bytes; chosen to hold ten large ones.
pub const BODY: usize = 64 << 20;
/// Longest body without photographs.
const PLAIN_BODY: usize = 4 << 20;
/// Longest photograph.
pub const PHOTO: usize = 20 << 20;
/// Most fields, and longest field.
const FIELDS: usize = 20_000;
const FIELD: usize = 1 << 20;

/// A form that was sent.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Form {
    fields: Vec<(String, String)>,
    /// Contents of the files that were sent along; empty ones are left out.
    pub files: Vec<Vec<u8>>,
    /// Script asks, and wants to be told in JSON.
    pub wants_json: bool,
    /// Who signs, by their browser.
    pub author: String,
}

/// Why a form was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unread {
    /// The answer's status.
    pub status: StatusCode,
    /// What is wrong, and what would mend it.
    pub words: &'static str,
}

const TOO_LONG: Unread = Unread {
    status: StatusCode::PAYLOAD_TOO_LARGE,
    words: "That is too much at once: a photograph may have 20 MB, a page of text one. Send fewer or smaller ones.",
};
const BROKEN: Unread = Unread {
    status: StatusCode::BAD_REQUEST,
    words: "What was sent is no form that this bench knows. Go back to the page and send it again.",
};

impl IntoResponse for Unread {
    fn into_response(self) -> Response {
        (self.status, format!("{}\n", self.words)).into_response()
    }
}

/// Reads what was sent; refused if it is too long, or no form.
impl<S: Send + Sync> FromRequest<S> for Form {
    type Rejection = Unread;

    async fn from_request(request: Request, _: &S) -> Result<Self, Unread> {
        Self::read(request).await
    }
}

impl Form {
    /// A form of these fields.
    pub fn of(fields: Vec<(String, String)>) -> Self {
        Self {
            fields: fields.into_iter().map(|(k, v)| (k, clean(&v))).collect(),
            ..Self::default()
        }
    }

    async fn read(mut request: Request) -> Result<Self, Unread> {
        let head = request.headers().clone();
        let kind = text(&head, header::CONTENT_TYPE).to_ascii_lowercase();
        let kind = kind.split(';').next().unwrap_or("").trim().to_owned();
        let is_multipart = kind == "multipart/form-data";
        let limit = if is_multipart { BODY } else { PLAIN_BODY };
        let length: Option<usize> = text(&head, header::CONTENT_LENGTH).parse().ok();
        if length.is_some_and(|l| l > limit) {
            return Err(TOO_LONG);
        }
        DefaultBodyLimit::max(limit).apply(&mut request);
        let mut form = match kind.as_str() {
            "application/x-www-form-urlencoded" => {
                let read = Urlencoded::<Vec<(String, String)>>::from_request(request, &()).await;
                Self::of(read.map_err(|e| fault(e.status()))?.0)
            }
            "application/json" => {
                let read = axum::body::Bytes::from_request(request, &()).await;
                json(&read.map_err(|e| fault(e.status()))?)?
            }
            "multipart/form-data" => multipart(request).await?,
            _ => {
                return Err(Unread {
                    status: StatusCode::UNSUPPORTED_MEDIA_TYPE,
                    ..BROKEN
                });
            }
        };
        let too_many = form.fields.len() > FIELDS;
        if too_many || form.fields.iter().any(|(_, v)| v.len() > FIELD) {
            return Err(TOO_LONG);
        }
        form.wants_json = text(&head, header::ACCEPT).contains("application/json");
        form.author = author(&head);
        Ok(form)
    }

    /// A field without the blanks around it; empty if it was not sent.
    pub fn text(&self, name: &str) -> &str {
        let found = self.fields.iter().find(|(n, _)| n == name);
        found.map_or("", |(_, value)| value.trim())
    }

    /// A field on one line; none if it is empty or was not sent.
    pub fn line(&self, name: &str) -> Option<String> {
        let text = self.text(name).replace('\n', " ");
        (!text.is_empty()).then_some(text)
    }

    /// All fields of a name that are not empty.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        let of_name = self.fields.iter().filter(move |(n, _)| n == name);
        of_name.map(|(_, v)| v.trim()).filter(|v| !v.is_empty())
    }

    /// All fields of a name as sent, empty ones too, so that columns of a table keep their rows.
    pub fn column<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        let of_name = self.fields.iter().filter(move |(n, _)| n == name);
        of_name.map(|(_, v)| v.as_str())
    }

    /// All fields in the order sent.
    pub fn fields(&self) -> &[(String, String)] {
        &self.fields
    }

    /// Whether a box was ticked.
    pub fn is_ticked(&self, name: &str) -> bool {
        !self.text(name).is_empty()
    }

    /// Where to go afterwards: a page of this bench, or the bench.
    pub fn back(&self) -> &str {
        let back = self.text("back");
        let is_ours = back.starts_with('/')
            && !back.starts_with("//")
            && back.bytes().all(|b| b.is_ascii_graphic() && b != b'\\');
        if is_ours { back } else { "/" }
    }
}

/// Line ends of any kind become `\n`; other control characters, which no page can show, go.
fn clean(text: &str) -> String {
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let is_seen = |c: &char| *c == '\n' || *c == '\t' || !c.is_control();
    // Marks that turn the direction of writing could make one entry look like another (Unicode TR 36, 2.10.4).
    let turns = |c: &char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars().filter(|c| is_seen(c) && !turns(c)).collect()
}

fn text(head: &HeaderMap, name: header::HeaderName) -> &str {
    head.get(name).and_then(|v| v.to_str().ok()).unwrap_or("")
}

/// The name in the cookie `who`, percent-coded.
pub fn author(head: &HeaderMap) -> String {
    let pair = text(head, header::COOKIE)
        .split(';')
        .find_map(|pair| pair.trim().strip_prefix("who="));
    let coded = pair.unwrap_or("").bytes().take(300).collect::<Vec<_>>();
    let mut bytes = Vec::new();
    let mut rest = coded.as_slice();
    while let [first, tail @ ..] = rest {
        let digits = tail.get(..2).and_then(|d| std::str::from_utf8(d).ok());
        let value = digits.and_then(|d| u8::from_str_radix(d, 16).ok());
        match (first, value) {
            (b'%', Some(byte)) => {
                bytes.push(byte);
                rest = &tail[2..];
            }
            _ => {
                bytes.push(*first);
                rest = tail;
            }
        }
    }
    clean(&String::from_utf8_lossy(&bytes))
        .replace('\n', " ")
        .trim()
        .chars()
        .take(60)
        .collect()
}

fn fault(status: StatusCode) -> Unread {
    if status == StatusCode::PAYLOAD_TOO_LARGE {
        return TOO_LONG;
    }
    BROKEN
}

/// A flat object of texts, numbers and truths.
fn json(bytes: &[u8]) -> Result<Form, Unread> {
    let read: serde_json::Map<String, serde_json::Value> =
        serde_json::from_slice(bytes).map_err(|_| BROKEN)?;
    let mut fields = Vec::new();
    for (name, value) in read {
        match value {
            serde_json::Value::String(text) => fields.push((name, text)),
            serde_json::Value::Number(number) => fields.push((name, number.to_string())),
            serde_json::Value::Bool(true) => fields.push((name, "yes".to_owned())),
            serde_json::Value::Bool(false) | serde_json::Value::Null => {}
            _ => return Err(BROKEN),
        }
    }
    Ok(Form::of(fields))
}

async fn multipart(request: Request) -> Result<Form, Unread> {
    let parts = Multipart::from_request(request, &()).await;
    let mut parts = parts.map_err(|e| fault(e.status()))?;
    let (mut fields, mut files) = (Vec::new(), Vec::new());
    while let Some(part) = parts.next_field().await.map_err(|e| fault(e.status()))? {
        let name = part.name().unwrap_or("").to_owned();
        let is_file = part.file_name().is_some();
        let bytes = part.bytes().await.map_err(|e| fault(e.status()))?;
        if is_file {
            if bytes.len() > PHOTO || files.len() >= 10 {
                return Err(TOO_LONG);
            }
            if !bytes.is_empty() {
                files.push(bytes.to_vec());
            }
        } else {
            let value = String::from_utf8(bytes.to_vec()).map_err(|_| BROKEN)?;
            fields.push((name, value));
        }
    }
    Ok(Form {
        files,
        ..Form::of(fields)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn back(to: &str) -> String {
        Form::of(vec![("back".to_owned(), to.to_owned())])
            .back()
            .to_owned()
    }

    #[test]
    fn the_way_back_stays_on_this_bench() {
        assert_eq!(back("/board/A2#r1"), "/board/A2#r1");
        for foreign in [
            "//example.org",
            "http://example.org",
            "/\\example.org",
            "/a\nSet-Cookie: x=1",
            "javascript:alert(1)",
            "",
        ] {
            assert_eq!(back(foreign), "/", "{foreign:?}");
        }
    }

    #[test]
    fn what_cannot_be_seen_is_left_out() {
        assert_eq!(clean("a\r\nb\u{0}c\u{202e}d\u{7}"), "a\nbcd");
    }

    #[test]
    fn json_is_a_flat_object() {
        let form = json(br#"{"value":"4k7","minutes":5,"odd":true,"none":null}"#).expect("read");
        assert_eq!((form.text("value"), form.text("minutes")), ("4k7", "5"));
        assert!(form.is_ticked("odd") && !form.is_ticked("none"));
        for bad in [&b"[]"[..], b"{\"a\":{}}", b"{", b"\"a\"", b""] {
            assert_eq!(json(bad), Err(BROKEN));
        }
    }

    #[test]
    fn the_signature_is_a_short_line() {
        let mut head = HeaderMap::new();
        head.insert(
            header::COOKIE,
            "a=b; who=A%20B%0A%C3%A9".parse().expect("a value"),
        );
        assert_eq!(author(&head), "A B é");
        head.insert(header::COOKIE, "who=%".parse().expect("a value"));
        assert_eq!(author(&head), "%");
    }
}
