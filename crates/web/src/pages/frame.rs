//! What stands around every page.

use bench::project::Project;
use maud::{DOCTYPE, Markup, html};

use super::{Bench, address, keys};

/// A page to be framed.
pub struct Frame<'a> {
    /// For the window.
    pub title: &'a str,
    /// For the links between boards.
    pub project: &'a Project,
    /// The board that is shown.
    pub here: Option<&'a str>,
    /// Where script asks whether something changed; empty if nothing can.
    pub pulse: &'a str,
    /// What is shown now.
    pub version: &'a str,
    /// Something is still being computed: without script the page asks again by itself.
    pub refresh: bool,
    /// Why nothing can be entered, if so.
    pub closed: Option<String>,
    /// Which of the pages above the boards this is, by its address.
    pub section: &'a str,
    /// The page itself.
    pub main: Markup,
}

/// Pages that are not about one board: address, name, key.
const SECTIONS: [(&str, &str, &str); 8] = [
    ("/", "Bench", "b"),
    ("/intake", "Intake", "i"),
    ("/twins", "Twins", "w"),
    ("/power", "Power-up", "u"),
    ("/stores", "Stores", "s"),
    ("/signals", "Signals", "g"),
    ("/logic", "Logic", "v"),
    ("/ledger", "Ledger", "l"),
];

impl<'a> Frame<'a> {
    /// A page that never changes by itself.
    pub fn new(bench: &Bench, project: &'a Project, title: &'a str, main: Markup) -> Self {
        Self {
            title,
            project,
            here: None,
            pulse: "",
            version: "",
            refresh: false,
            closed: bench.book.closed(),
            section: "/",
            main,
        }
    }

    /// The whole document.
    pub fn page(&self) -> Markup {
        let boards: Vec<&str> = self.project.boards().map(|b| b.name.as_str()).collect();
        let index = self.here.and_then(|h| boards.iter().position(|b| *b == h));
        let before = index.and_then(|i| i.checked_sub(1)).map(|i| boards[i]);
        let after = index.and_then(|i| boards.get(i + 1)).copied();
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) }
                    link rel="stylesheet" href="/look.css";
                    link rel="icon" type="image/svg+xml" href="/mark.svg";
                    script src="/bench.js" type="module" {}
                    @if self.refresh {
                        noscript { meta http-equiv="refresh" content="3"; }
                    }
                }
                body {
                    a.skip href="#main" { "To the page" }
                    header {
                        nav aria-label="Pages" {
                            @for (to, name, key) in SECTIONS {
                                @let is_here = self.here.is_none() && self.section == to;
                                a href=(to) data-key=(key) aria-current=[is_here.then_some("page")] { (name) }
                            }
                            @if let Some(name) = before {
                                a href=(address(name)) data-key="p" rel="prev" { "Previous: " (name) }
                            }
                            @if let Some(name) = after {
                                a href=(address(name)) data-key="n" rel="next" { "Next: " (name) }
                            }
                            a.end href="/keys" data-key="?" { "Keys ?" }
                        }
                    }
                    @if let Some(why) = &self.closed {
                        p.closed role="status" { strong { "Nothing can be entered here. " } (why) " All pages can be read." }
                    }
                    main id="main" tabindex="-1" data-pulse=(self.pulse) data-version=(self.version) { (self.main) }
                    footer {
                        p {
                            "Knowngood says which readings were held against what, and what that showed. Whether work may go on is for "
                            "you and the rules of your place to decide."
                        }
                    }
                    dialog id="keys" aria-label="Keys" {
                        (keys::table())
                        form method="dialog" { button { "Close" } }
                    }
                }
            }
        }
    }
}
