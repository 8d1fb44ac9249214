//! Live updates: each open page is told that something changed, and asks for what it shows.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use tokio::sync::watch;

use crate::pages::Bench;

/// Rings when anything that a page shows may have changed.
#[derive(Debug)]
pub struct Bell(watch::Sender<u64>);

impl Bell {
    /// A bell that has not rung.
    pub fn new() -> Self {
        Self(watch::channel(0).0)
    }

    /// Rings it.
    pub fn ring(&self) {
        self.0.send_modify(|count| *count += 1);
    }
}

/// Rings that follow one another within this time are told as one; chosen below what a person notices.
const TOGETHER: Duration = Duration::from_millis(40);

/// A line at each ring, for as long as the page is open.
pub async fn changes(State(bench): State<Bench>) -> Response {
    let heard = bench.bell.0.subscribe();
    let lines = stream::unfold((heard, true), |(mut heard, is_first)| async move {
        if !is_first {
            heard.changed().await.ok()?;
            tokio::time::sleep(TOGETHER).await;
        }
        let count = *heard.borrow_and_update();
        let line = Event::default().data(count.to_string());
        Some((Ok::<_, Infallible>(line), (heard, false)))
    });
    Sse::new(lines)
        .keep_alive(KeepAlive::default())
        .into_response()
}
