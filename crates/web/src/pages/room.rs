//! What the pages of stores, signals and gate sheets share: each is about one of several things by name.

use axum::response::Response;
use maud::{Markup, html};

use super::{Bench, Frame, answer, version};
use crate::project::Now;

/// A page of a section that is asked for again when a file or the ledger changes.
pub fn framed(bench: &Bench, now: &Now, section: &str, title: &str, main: Markup) -> Response {
    answer(
        Frame {
            pulse: &format!("/pulse{section}"),
            version: &version(now.stamp),
            section,
            ..Frame::new(bench, &now.project, title, main)
        }
        .page(),
    )
}

/// Links to the others of its kind; none if there is only one.
pub fn others<N: AsRef<str>>(
    label: &str,
    all: &[N],
    here: &str,
    address: fn(&str) -> String,
) -> Markup {
    html! {
        @if all.len() > 1 {
            nav.steps aria-label=(label) {
                @for other in all.iter().map(AsRef::as_ref) { a.go href=(address(other)) aria-current=[(other == here).then_some("page")] { (other) } }
            }
        }
    }
}
