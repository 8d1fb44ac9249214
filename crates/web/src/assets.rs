//! Style, script and mark, inside the binary.

use axum::http::header;
use axum::response::{IntoResponse, Response};

/// The style sheet.
pub async fn look() -> Response {
    of(
        "text/css; charset=utf-8",
        include_str!("../assets/look.css"),
    )
}

/// The script: live updates, filter, keys.
pub async fn script() -> Response {
    of(
        "text/javascript; charset=utf-8",
        include_str!("../assets/bench.js"),
    )
}

/// Quick entry.
pub async fn entry() -> Response {
    of(
        "text/javascript; charset=utf-8",
        include_str!("../assets/entry.js"),
    )
}

/// The probe page's keypad and keys.
pub async fn probe() -> Response {
    of(
        "text/javascript; charset=utf-8",
        include_str!("../assets/probe.js"),
    )
}

/// The sheet's table.
pub async fn sheet() -> Response {
    of(
        "text/javascript; charset=utf-8",
        include_str!("../assets/sheet.js"),
    )
}

/// The viewer of recordings.
pub async fn signals() -> Response {
    of(
        "text/javascript; charset=utf-8",
        include_str!("../assets/signals.js"),
    )
}

/// The map's clicks.
pub async fn map() -> Response {
    of(
        "text/javascript; charset=utf-8",
        include_str!("../assets/map.js"),
    )
}

/// The mark in the browser's tab.
pub async fn mark() -> Response {
    of("image/svg+xml", include_str!("../assets/mark.svg"))
}

fn of(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}
