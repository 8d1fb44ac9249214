//! The keys of the pages.

use maud::{Markup, html};

const KEYS: [(&str, &str); 13] = [
    ("?", "show these keys"),
    ("arrow down, arrow up", "next row, previous row"),
    (
        "Enter",
        "go on: open what is in focus, else what is to be done next",
    ),
    ("/", "filter: type part of a net, a part or a verdict"),
    ("Esc", "leave the filter and show all rows; leave a form"),
    ("o", "only what does not agree, or all"),
    ("e", "expectations where nothing was read"),
    ("r", "enter a reading: the cursor goes to the red lead"),
    ("t", "take readings one by one"),
    (
        "m, a, d",
        "of a board: its map, its trust and settings, its drawing as a sheet",
    ),
    ("n, p", "next board, previous board"),
    (
        "b, i, w, u, s, g, v, l",
        "the bench, intake, twins, power-up, stores, signals, logic, the ledger",
    ),
    (
        "of signals in focus",
        "arrow left and right move the cursor, with shift the view; + and - come closer and go farther; Home shows all; page down and up go to the next and previous difference; x measures from the cursor",
    ),
];

/// All keys in a table.
pub fn table() -> Markup {
    html! {
        table.keys {
            thead { tr { th scope="col" { "Key" } th scope="col" { "What it does" } } }
            tbody {
                @for (key, what) in KEYS {
                    tr { th scope="row" { kbd { (key) } } td { (what) } }
                }
            }
        }
    }
}
