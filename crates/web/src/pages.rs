//! Answers for each address.

mod advice;
mod bar;
mod bench;
mod board;
mod enter;
mod finding;
mod frame;
pub mod intake;
mod keys;
mod kin;
pub mod ledger;
pub mod logic;
pub mod map;
mod marks;
pub mod power;
pub mod probe;
pub mod proves;
mod remarks;
mod room;
pub mod sheet;
pub mod signals;
pub mod start;
pub mod stores;
pub mod trust;
pub mod twins;
mod unread;

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;
use std::time::Duration;

use ::bench::pages::unnamed::unnamed;
use ::bench::pages::{advice as advice_view, board as board_view, overview, unread as unread_view};
use ::bench::project::{BoardText, Project};
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};
use store::record::Digest;

use crate::book::{Book, Unwritten};
use crate::edge;
use crate::form::Form;
use crate::live::Bell;
use crate::project::{Current, Now};
use crate::work::{Stand, Work};
pub use frame::Frame;

/// What all answers share.
#[derive(Clone)]
pub struct Bench {
    /// The project.
    pub current: Arc<Current>,
    /// The workers.
    pub work: Arc<Work>,
    /// The ledger.
    pub book: Arc<Book>,
    /// What was found in stores.
    pub stores: Arc<stores::Shelf>,
    /// Recordings that are open.
    pub signals: Arc<signals::Shelf>,
    /// What was found in gate sheets.
    pub logic: Arc<logic::Found>,
    /// Rung when something changed.
    pub bell: Arc<Bell>,
}

/// How long a page waits for verdicts before it says that they are coming; chosen so that a board of common size is
/// judged within it, and a page does not seem stuck.
pub const PATIENCE: Duration = Duration::from_millis(600);

impl Bench {
    /// The project as its files and its ledger are now.
    pub fn now(&self) -> Now {
        if self.book.read().work.last() == 0 {
            self.book.refresh();
        }
        let (written, last) = {
            let kept = self.book.read();
            (Arc::clone(&kept.written), kept.work.last())
        };
        self.current.now(&written, last)
    }

    /// A board's page as far as it is known: with verdicts, or without them and how far they are.
    pub fn board(
        &self,
        now: &Now,
        board: &BoardText,
        patience: Duration,
    ) -> (Arc<board_view::View>, Option<Waiting>) {
        match self.work.judged(&now.project, board, patience) {
            Stand::Done(view) | Stand::Again(view) => {
                (twins::settled(view, &self.book.read().work), None)
            }
            Stand::Going(done, all) => (
                Arc::new(board_view::outline(&now.project, board)),
                Some(Waiting::For(done, all)),
            ),
            Stand::Failed(why) => {
                let mut view = board_view::outline(&now.project, board);
                view.is_waiting = false;
                (Arc::new(view), Some(Waiting::Never(why)))
            }
        }
    }

    /// All that is known of a board that somebody looks at; its work comes to the front.
    pub fn look(&self, now: &Now, board: &BoardText) -> Looked {
        let (view, waiting) = self.board(now, board, PATIENCE);
        let looked = Looked {
            view,
            waiting,
            advice: self.advice(now, board),
            unread: self.unread(now, board),
        };
        self.work.first(&board.name);
        looked
    }

    /// Suspects and the next reading; none while there is nothing to weigh.
    fn advice(&self, now: &Now, board: &BoardText) -> Option<Stand<advice_view::View>> {
        let is_read = board.readings.is_some() || board.entered.is_some();
        let weighed = board.sheet.is_some() && is_read;
        weighed.then(|| self.work.advice(&now.project, board))
    }

    /// Expectations where nothing was read.
    pub fn unread(&self, now: &Now, board: &BoardText) -> Stand<unread_view::View> {
        self.work.unread(&now.project, board)
    }
}

/// A board as far as it is known.
pub struct Looked {
    /// Its verdicts, or its readings without them.
    pub view: Arc<board_view::View>,
    /// What is still lacking.
    pub waiting: Option<Waiting>,
    /// Suspects and the next reading; none while there is nothing to weigh.
    pub advice: Option<Stand<advice_view::View>>,
    /// Expectations where nothing was read.
    pub unread: Stand<unread_view::View>,
}

impl Looked {
    /// Changes when a page of this board would show something else.
    pub fn version(&self, now: &Now) -> String {
        let judging = matches!(self.waiting, Some(Waiting::For(..)));
        let weighing = self.advice.as_ref().is_some_and(Stand::is_going);
        version((now.stamp, judging, weighing, self.unread.is_going()))
    }

    /// Whether more will come.
    pub fn is_going(&self) -> bool {
        matches!(self.waiting, Some(Waiting::For(..)))
            || self.advice.as_ref().is_some_and(Stand::is_going)
            || self.unread.is_going()
    }

    /// The reading that tells most for its time, and on which unit; of the first unit for which there is one.
    pub fn next(&self) -> Option<(&str, &advice_view::Next)> {
        let Some(Stand::Done(view) | Stand::Again(view)) = &self.advice else {
            return None;
        };
        let mut units = view.units.iter();
        units.find_map(|u| Some((u.name.as_str(), u.next.as_ref()?)))
    }

    /// How far the work is, in words; empty when it is done.
    fn progress(&self) -> String {
        match (&self.waiting, &self.unread) {
            (Some(Waiting::For(done, all)), _) | (_, Stand::Going(done, all)) => {
                progress(*done, *all)
            }
            _ => String::new(),
        }
    }
}

/// Runs what waits for the disk or for a computation where it holds up nobody else.
pub async fn blocking(work: impl FnOnce() -> Response + Send + 'static) -> Response {
    match tokio::task::spawn_blocking(work).await {
        Ok(response) => response,
        Err(_) => (
            StatusCode::INTERNAL_SERVER_ERROR,
            "The program failed on this page; that is its own fault, not yours.\n",
        )
            .into_response(),
    }
}

/// What a page still lacks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Waiting {
    /// Done so many of so many.
    For(usize, usize),
    /// It will not come, and why.
    Never(String),
}

/// Changes when a page would show something else; script asks for it again then.
pub fn version(parts: impl Hash) -> String {
    let mut hasher = DefaultHasher::new();
    parts.hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

/// A page.
pub fn answer(page: Markup) -> Response {
    Html(page.into_string()).into_response()
}

/// The page of the bench.
pub async fn bench(State(bench): State<Bench>) -> Response {
    blocking(move || {
        let now = bench.now();
        let (view, version) = overview_of(&bench, &now);
        let start = bench.book.closed().is_none().then(|| {
            let kept = bench.book.read();
            let lost = unnamed(&now.project, &kept.work, &kept.written);
            html! { (start::unnamed(&lost, &now.project)) (start::section(&now.project, &kept.work)) }
        });
        let main = bench::main(&view, start.as_ref());
        answer(
            Frame {
                pulse: "/pulse/bench",
                version: &version,
                refresh: view.is_waiting,
                ..Frame::new(&bench, &now.project, &view.name, main)
            }
            .page(),
        )
    })
    .await
}

fn overview_of(bench: &Bench, now: &Now) -> (overview::View, String) {
    // The version first: what is judged meanwhile makes the page ask again, and is never missed.
    let judged = |b: &BoardText| bench.work.judged(&now.project, b, Duration::ZERO);
    let known: Vec<bool> = now.project.boards().map(|b| judged(b).is_going()).collect();
    let version = version((now.stamp, known));
    let kept = bench.book.read();
    // A board that is being judged is not opened here: with a ledger of years that would hold up the first page.
    let views: Vec<Arc<board_view::View>> = now
        .project
        .boards()
        .filter_map(|b| match judged(b) {
            Stand::Done(view) | Stand::Again(view) => Some(twins::settled(view, &kept.work)),
            Stand::Failed(_) => Some(Arc::new(board_view::View {
                is_waiting: false,
                ..board_view::outline(&now.project, b)
            })),
            Stand::Going(..) => None,
        })
        .collect();
    let of = |name: &str| views.iter().map(Arc::as_ref).find(|v| v.name == name);
    let said = trust::said(&kept.work, edge::now());
    let permit = |unit: &str| {
        let bring_up = kept.work.bring_up(unit, edge::now());
        bring_up.is_some_and(|b| b.permit().is_some())
    };
    let met = |unit: &str, need: &str| trust::is_met(&kept.work, unit, need, edge::now());
    let known = overview::Known {
        board: &of,
        said: &said,
        permit: &permit,
        met: &met,
    };
    (overview::overview(&now.project, &known), version)
}

/// The page of a board.
pub async fn board(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<enter::Given>,
) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(board) = now.project.board(&name) else {
            return missing(&bench, &now.project, &name);
        };
        let looked = bench.look(&now, board);
        let title = format!("{name} - {}", now.project.name);
        let address = address(&name);
        let kept = bench.book.read();
        let next = looked.next().map(|(unit, n)| {
            let map = map::beside(&bench, &kept.work, &name, &n.red, &n.black);
            html! { @if !map.0.is_empty() { p { "Where the leads of the next reading of unit " (unit) " go:" } (map) } }
        });
        let main = board::main(&board::Shown {
            map: next.as_ref(),
            view: &looked.view,
            waiting: looked.waiting.as_ref(),
            weighed: looked.advice.as_ref(),
            rest: &looked.unread,
            address: &address,
            work: &kept.work,
            is_open: bench.book.closed().is_none(),
            given: &given,
        });
        answer(
            Frame {
                here: Some(&name),
                pulse: &format!("/pulse{address}"),
                version: &looked.version(&now),
                refresh: looked.view.is_waiting,
                ..Frame::new(&bench, &now.project, &title, main)
            }
            .page(),
        )
    })
    .await
}

/// The version of a page, and below it how far the work is, in words.
pub async fn pulse(
    State(bench): State<Bench>,
    Path(page): Path<String>,
    Query(given): Query<enter::Given>,
) -> Response {
    blocking(move || {
        if let Some(name) = page.strip_prefix("proves/board/") {
            let fault = given.get("fault").map_or("", |f| f.trim());
            return proves::pulse(&bench, name, fault).into_response();
        }
        let now = bench.now();
        let is_map = page.starts_with("map/board/");
        let board = page
            .strip_prefix("map/")
            .unwrap_or(&page)
            .strip_prefix("board/")
            .map(|name| now.project.board(name));
        let text = match (page.as_str(), board) {
            ("bench", _) => overview_of(&bench, &now).1,
            ("twins", _) => twins::pulse(&bench),
            ("power", _) => power::pulse(&bench),
            (_, Some(Some(board))) => {
                let looked = bench.look(&now, board);
                let own = looked.version(&now);
                let shown = if is_map { version(("map", own)) } else { own };
                format!("{shown}\n{}", looked.progress())
            }
            _ => version(now.stamp),
        };
        text.into_response()
    })
    .await
}

/// How far a computation is, in words.
pub fn progress(done: usize, all: usize) -> String {
    if all == 0 {
        "waiting its turn".to_owned()
    } else {
        format!("{done} of {all}")
    }
}

/// The keys of the pages.
pub async fn keys(State(bench): State<Bench>) -> Response {
    let now = bench.now();
    let main = html! { h1 { "Keys" } (keys::table()) };
    answer(Frame::new(&bench, &now.project, "Keys", main).page())
}

/// A photograph, by the sum over its content.
pub async fn photo(State(bench): State<Bench>, Path(sum): Path<String>) -> Response {
    blocking(move || {
        let found = Digest::read(&sum).map(|sum| bench.book.attachment(sum));
        match found {
            Some(Ok(Some(found))) if crate::photo::media(&found.bytes) == Some(&found.media) => {
                let kind = [(header::CONTENT_TYPE, found.media)];
                (kind, found.bytes).into_response()
            }
            Some(Err(trouble)) => {
                (StatusCode::SERVICE_UNAVAILABLE, trouble.message).into_response()
            }
            _ => (StatusCode::NOT_FOUND, "There is no such photograph.\n").into_response(),
        }
    })
    .await
}

/// No such address.
pub async fn nowhere(State(bench): State<Bench>) -> Response {
    let now = bench.now();
    problem(
        &bench,
        &now.project,
        "There is no such page.",
        "Start from the bench.",
    )
}

/// No such board.
pub fn missing(bench: &Bench, project: &Project, name: &str) -> Response {
    problem(
        bench,
        project,
        &format!("There is no board {name} in this project."),
        "Boards are named in machine.kdl; without one, each sheet is a board.",
    )
}

/// A page that is not there.
pub fn problem(bench: &Bench, project: &Project, what: &str, help: &str) -> Response {
    let main = html! {
        h1 { (what) }
        p { (help) }
        p { a.go href="/" { "To the bench" } }
    };
    let page = Frame::new(bench, project, "Not found", main).page();
    (StatusCode::NOT_FOUND, Html(page.into_string())).into_response()
}

/// What was refused, with all that was typed, so that it can be mended and sent again.
pub fn refused(bench: &Bench, form: &Form, why: &Unwritten, status: StatusCode) -> Response {
    let now = bench.now();
    let main = enter::again(form, why);
    let page = Frame::new(bench, &now.project, "Not written", main).page();
    (status, Html(page.into_string())).into_response()
}

/// The address of a board's page.
pub fn address(board: &str) -> String {
    let mut text = "/board/".to_owned();
    for byte in board.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    // A lone point or two would be taken for a folder.
    text.replace("/board/..", "/board/%2E%2E")
        .replace("/board/.", "/board/%2E")
}

#[cfg(test)]
mod tests {
    use super::address;

    #[test]
    fn addresses_hold_any_name() {
        assert_eq!(address("A2"), "/board/A2");
        assert_eq!(address("a/b ?"), "/board/a%2Fb%20%3F");
        assert_eq!(address("<script>"), "/board/%3Cscript%3E");
        assert_eq!(address(".."), "/board/%2E%2E");
    }
}
