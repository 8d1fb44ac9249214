//! Answers for each address.

mod advice;
mod bar;
mod bench;
mod board;
mod frame;
mod keys;
mod marks;
mod remarks;
mod unread;

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

use ::bench::pages::{advice as advice_view, board as board_view, overview, unread as unread_view};
use ::bench::project::{BoardText, Project};
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};

use crate::project::{Current, Now};
use crate::work::{Stand, Work};
use frame::Frame;

/// What all answers share.
#[derive(Clone)]
pub struct Bench {
    /// The project.
    pub current: Arc<Current>,
    /// The worker.
    pub work: Arc<Work>,
}

impl Bench {
    /// The project as its files are now; work on older files stops.
    pub fn now(&self) -> Now {
        let now = self.current.now();
        self.work.files_are(now.stamp);
        now
    }

    /// A board's page as far as it is known: with verdicts, or without them and how far they are.
    pub fn board(&self, now: &Now, board: &BoardText) -> (board_view::View, Option<Waiting>) {
        match self.work.judged(&now.project, board, now.stamp) {
            Stand::Done(view) => ((*view).clone(), None),
            Stand::Going(done, all) => (
                board_view::outline(&now.project, board),
                Some(Waiting::For(done, all)),
            ),
            Stand::Failed(why) => {
                let mut view = board_view::outline(&now.project, board);
                view.is_waiting = false;
                (view, Some(Waiting::Never(why)))
            }
        }
    }

    /// Suspects and the next reading; none while there is nothing to weigh.
    pub fn advice(&self, now: &Now, board: &BoardText) -> Option<Stand<advice_view::View>> {
        let weighed = board.sheet.is_some() && board.readings.is_some();
        weighed.then(|| self.work.advice(&now.project, board, now.stamp))
    }

    /// Expectations where nothing was read.
    pub fn unread(&self, now: &Now, board: &BoardText) -> Stand<unread_view::View> {
        self.work.unread(&now.project, board, now.stamp)
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
fn version(parts: impl Hash) -> String {
    let mut hasher = DefaultHasher::new();
    parts.hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

fn answer(page: Markup) -> Response {
    Html(page.into_string()).into_response()
}

/// The page of the bench.
pub async fn bench(State(bench): State<Bench>) -> Response {
    let now = bench.now();
    let (view, version) = overview_of(&bench, &now);
    answer(
        Frame {
            title: &view.name,
            project: &now.project,
            here: None,
            pulse: "/pulse/bench",
            version: &version,
            refresh: view.is_waiting,
            main: bench::main(&view),
        }
        .page(),
    )
}

fn overview_of(bench: &Bench, now: &Now) -> (overview::View, String) {
    // The version first: what is judged meanwhile makes the page ask again, and is never missed.
    let known: Vec<bool> = now
        .project
        .boards()
        .map(|b| {
            matches!(
                bench.work.judged(&now.project, b, now.stamp),
                Stand::Going(..)
            )
        })
        .collect();
    let version = version((now.stamp, known));
    let view = overview::overview(&now.project, &|name| {
        now.project.board(name).map(|b| bench.board(now, b).0)
    });
    (view, version)
}

/// The page of a board.
pub async fn board(State(bench): State<Bench>, Path(name): Path<String>) -> Response {
    let now = bench.now();
    let Some(board) = now.project.board(&name) else {
        return missing(&now.project, &name);
    };
    let (view, waiting) = bench.board(&now, board);
    let advice = bench.advice(&now, board);
    let unread = bench.unread(&now, board);
    bench.work.first(&name);
    let title = format!("{name} - {}", now.project.name);
    let address = address(&name);
    answer(
        Frame {
            title: &title,
            project: &now.project,
            here: Some(&name),
            pulse: &format!("/pulse{address}"),
            version: &board_version(&now, &waiting, &unread, &advice),
            refresh: view.is_waiting,
            main: board::main(&view, waiting.as_ref(), advice.as_ref(), &unread, &address),
        }
        .page(),
    )
}

fn board_version(
    now: &Now,
    waiting: &Option<Waiting>,
    unread: &Stand<unread_view::View>,
    advice: &Option<Stand<advice_view::View>>,
) -> String {
    let going = matches!(waiting, Some(Waiting::For(..)));
    let weighing = matches!(advice, Some(Stand::Going(..)));
    version((
        now.stamp,
        going,
        weighing,
        matches!(unread, Stand::Going(..)),
    ))
}

/// The version of a page, and below it how far the work is, in words.
pub async fn pulse(State(bench): State<Bench>, Path(page): Path<String>) -> Response {
    let now = bench.now();
    let text = match page.strip_prefix("board/") {
        None => overview_of(&bench, &now).1,
        Some(name) => match now.project.board(name) {
            None => version(now.stamp),
            Some(board) => {
                let judged = bench.work.judged(&now.project, board, now.stamp);
                let waiting = match judged {
                    Stand::Going(done, all) => Some(Waiting::For(done, all)),
                    Stand::Failed(why) => Some(Waiting::Never(why)),
                    Stand::Done(_) => None,
                };
                let advice = bench.advice(&now, board);
                let unread = bench.unread(&now, board);
                let version = board_version(&now, &waiting, &unread, &advice);
                let words = match (&waiting, &unread) {
                    (Some(Waiting::For(done, all)), _) => progress(*done, *all),
                    (_, Stand::Going(done, all)) => progress(*done, *all),
                    _ => String::new(),
                };
                format!("{version}\n{words}")
            }
        },
    };
    text.into_response()
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
    answer(
        Frame {
            title: "Keys",
            project: &now.project,
            here: None,
            pulse: "",
            version: "",
            refresh: false,
            main: html! { h1 { "Keys" } (keys::table()) },
        }
        .page(),
    )
}

/// No such address.
pub async fn nowhere(State(bench): State<Bench>) -> Response {
    let now = bench.now();
    problem(
        &now.project,
        "There is no such page.",
        "Start from the bench.",
    )
}

fn missing(project: &Arc<Project>, name: &str) -> Response {
    problem(
        project,
        &format!("There is no board {name} in this project."),
        "Boards are named in machine.kdl; without one, each sheet is a board.",
    )
}

fn problem(project: &Arc<Project>, what: &str, help: &str) -> Response {
    let page = Frame {
        title: "Not found",
        project,
        here: None,
        pulse: "",
        version: "",
        refresh: false,
        main: html! {
            h1 { (what) }
            p { (help) }
            p { a.go href="/" { "To the bench" } }
        },
    };
    (StatusCode::NOT_FOUND, Html(page.page().into_string())).into_response()
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
