//! A sheet typed as a table: a part a row, errors at the cell, saved as a person would write the file.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use bench::Text;
use bench::project::BoardText;
use bench::start::Change;
use bench::typed::{self, KINDS, Mistake, Part, Typed};
use maud::{Markup, html};

use super::enter::{held, line};
use super::{Bench, Frame, address, answer, blocking, missing, start};
use crate::entry::see;
use crate::form::Form;
use crate::project::Unsaved;

/// Empty rows below the parts.
const SPARE: usize = 6;

/// Columns: field, heading, what it may hold.
const COLUMNS: [(&str, &str, &str); 5] = [
    ("part-kind", "Kind", "kinds"),
    ("part-name", "Designator", ""),
    ("part-value", "Value or type", "classes"),
    ("part-nets", "Nets, in the order of the pins", "nets"),
    ("part-more", "Tolerance, style and more", ""),
];

/// The page.
pub async fn page(State(bench): State<Bench>, Path(name): Path<String>) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(board) = now.project.board(&name) else {
            return missing(&bench, &now.project, &name);
        };
        let typed = typed::open(board);
        let doubts = match typed::save(&name, &typed) {
            Ok((_, doubts)) if board.sheet.is_some() => doubts,
            Err(mistakes) => mistakes,
            Ok(_) => Vec::new(),
        };
        let seen = seen(board.sheet.as_ref());
        answer(framed(&bench, &name, &typed, &doubts, &seen))
    })
    .await
}

/// A sum over the file that a table was made of, so that what somebody else saves meanwhile is noticed; empty without one.
fn seen(file: Option<&Text>) -> String {
    file.map_or(String::new(), |t| store::sum(t.text.as_bytes()).to_string())
}

fn framed(bench: &Bench, name: &str, typed: &Typed, mistakes: &[Mistake], seen: &str) -> Markup {
    let now = bench.now();
    let is_open = bench.book.closed().is_none();
    let title = format!("{name} sheet");
    let main = html! {
        h1 { a href=(address(name)) { (name) } " sheet" }
        @if mistakes.iter().any(|m| !m.is_doubt) { p.answer { "Not saved: " (mistakes.iter().filter(|m| !m.is_doubt).count()) " places are to be mended" } }
        (form(name, typed, mistakes, seen, is_open))
    };
    Frame {
        here: Some(name),
        ..Frame::new(bench, &now.project, &title, main)
    }
    .page()
}

fn form(name: &str, typed: &Typed, mistakes: &[Mistake], seen: &str, is_open: bool) -> Markup {
    let other: Vec<&Mistake> = mistakes.iter().filter(|m| m.row.is_none()).collect();
    html! {
        form.sheet id="sheet" method="post" action=(format!("{}/sheet", address(name))) data-sheet {
            (held("seen", seen))
            div.fields { (line("title", "What the board is", &typed.title)) (line("ground", "Ground net, if not named below", &typed.ground)) }
            table.cells {
                caption { "A part a row. Enter goes down, the arrows move, a pasted list spreads over the cells." }
                thead { tr { @for (_, head, _) in COLUMNS { th scope="col" { (head) } } } }
                tbody {
                    @for index in 0..typed.parts.len() + SPARE { (row(index, typed.parts.get(index), mistakes)) }
                }
            }
            label.field.wide { span { "Everything else: nets with a role, points, supplies, connectors, a line each" }
                textarea name="rest" rows=(typed.rest.lines().count().clamp(3, 14)) spellcheck="false" { (typed.rest) } }
            @for m in &other { p.cell-trouble { @if m.is_doubt { "Doubtful: " } (m.message) " " (m.help) } }
            @if is_open {
                button.go type="submit" name="do" value="save" { "Save the sheet" }
                button type="submit" name="do" value="rows" { "More rows" }
                details id="paste" {
                    summary { "Paste or import a parts list" }
                    label.field.wide { span { "CSV with designator, kind, value, pins" } textarea name="list" rows="5" spellcheck="false" {} }
                    button type="submit" name="do" value="list" { "Add these rows" }
                }
            }
            datalist id="kinds" { @for (kind, _) in KINDS { option value=(kind) {} } }
            datalist id="classes" { @for class in CLASSES { option value=(class) {} } }
            datalist id="nets" { @for net in nets(typed) { option value=(net) {} } }
        }
    }
}

/// Classes of diodes and transistors.
const CLASSES: [&str; 7] = [
    "silicon-signal",
    "silicon-rectifier",
    "silicon-power",
    "germanium-signal",
    "germanium-power",
    "germanium-point-contact",
    "selenium-rectifier",
];

/// Nets that were typed so far.
fn nets(typed: &Typed) -> Vec<&str> {
    let words = typed.parts.iter().flat_map(|p| p.nets.split_whitespace());
    let mut list: Vec<&str> = words.map(|w| w.rsplit('=').next().unwrap_or(w)).collect();
    list.push(typed.ground.trim());
    list.retain(|n| !n.is_empty());
    list.sort_unstable();
    list.dedup();
    list
}

fn row(index: usize, part: Option<&Part>, mistakes: &[Mistake]) -> Markup {
    let empty = Part::default();
    let part = part.unwrap_or(&empty);
    let cells = [&part.kind, &part.name, &part.value, &part.nets, &part.more];
    let of_row: Vec<&Mistake> = mistakes.iter().filter(|m| m.row == Some(index)).collect();
    html! {
        tr {
            @for (cell, ((field, head, list), value)) in COLUMNS.iter().zip(cells).enumerate() {
                @let here: Vec<&&Mistake> = of_row.iter().filter(|m| m.cell == cell).collect();
                @let bad = here.iter().any(|m| !m.is_doubt);
                @let key = format!("trouble-{index}-{cell}");
                td data-name=(head) {
                    input type="text" name=(field) value=(value) aria-label=(format!("{head}, row {}", index + 1))
                        list=[(!list.is_empty()).then_some(list)] aria-invalid=[bad.then_some("true")]
                        aria-describedby=[(!here.is_empty()).then_some(&key)] autocomplete="off" spellcheck="false";
                    @if !here.is_empty() {
                        span.cell-trouble id=(key) { @for m in &here { @if m.is_doubt { "Doubtful: " } (m.message) " " (m.help) " " } }
                    }
                }
            }
        }
    }
}

/// Saves the sheet, or gives the table back with more rows or with what is wrong.
pub async fn post(State(bench): State<Bench>, Path(name): Path<String>, form: Form) -> Response {
    blocking(move || {
        let now = bench.now();
        if now.project.board(&name).is_none() {
            return missing(&bench, &now.project, &name);
        }
        let mut typed = typed_in(&form);
        let seen_before = form.text("seen");
        match form.text("do") {
            "rows" => {
                typed.parts.extend(vec![Part::default(); SPARE]);
                answer(framed(&bench, &name, &typed, &[], seen_before))
            }
            "list" => {
                typed.parts.retain(|p| !p.is_empty());
                typed.parts.extend(typed::pasted(form.text("list")));
                let found = typed::save(&name, &typed).map_or_else(|m| m, |(_, doubts)| doubts);
                answer(framed(&bench, &name, &typed, &found, seen_before))
            }
            _ => match keep(&bench, &name, &typed, seen_before) {
                Ok(()) => {
                    bench.bell.ring();
                    see(&address(&name))
                }
                Err(Unkept::Mistakes(mistakes)) => {
                    let page = framed(&bench, &name, &typed, &mistakes, seen_before);
                    (StatusCode::UNPROCESSABLE_ENTITY, Html(page.into_string())).into_response()
                }
                // Who has read what the other one wrote may save over it: the table comes back with the new sum.
                Err(Unkept::Changed(told, seen)) => {
                    let page = framed(&bench, &name, &typed, &told, &seen);
                    (StatusCode::CONFLICT, Html(page.into_string())).into_response()
                }
            },
        }
    })
    .await
}

fn typed_in(form: &Form) -> Typed {
    let columns: Vec<Vec<String>> = COLUMNS
        .iter()
        .map(|(field, ..)| {
            form.column(field)
                .map(|c| c.replace('\n', " ").trim().to_owned())
                .collect()
        })
        .collect();
    let rows = columns.iter().map(Vec::len).max().unwrap_or(0);
    let cell = |column: usize, row: usize| columns[column].get(row).cloned().unwrap_or_default();
    let part = |row| Part {
        kind: cell(0, row),
        name: cell(1, row),
        value: cell(2, row),
        nets: cell(3, row),
        more: cell(4, row),
    };
    Typed {
        title: form.line("title").unwrap_or_default(),
        ground: form.line("ground").unwrap_or_default(),
        parts: (0..rows).map(part).collect(),
        rest: form.text("rest").to_owned(),
    }
}

/// Why a sheet was not saved.
enum Unkept {
    /// Places to be mended.
    Mistakes(Vec<Mistake>),
    /// The file was changed since the table was made: what it says now, and its sum.
    Changed(Vec<Mistake>, String),
}

fn about_all(message: String, help: &str) -> Mistake {
    Mistake {
        row: None,
        cell: 0,
        is_doubt: false,
        message,
        help: help.to_owned(),
    }
}

/// Writes the sheet's file, and names it in the machine file where that names the board without one.
fn keep(bench: &Bench, name: &str, typed: &Typed, seen_before: &str) -> Result<(), Unkept> {
    let whole = |message: String| {
        Unkept::Mistakes(vec![about_all(message, "What you typed is still here.")])
    };
    let (text, _) = typed::save(name, typed).map_err(Unkept::Mistakes)?;
    let now = bench.now();
    let board = now.project.board(name);
    let old = board.and_then(|b| b.sheet.as_ref());
    let seen_now = seen(old);
    if seen_now != seen_before {
        return Err(Unkept::Changed(changed(name, board, &text), seen_now));
    }
    let text = old.map_or(text.clone(), |old| typed::carried(&old.text, &text));
    let file = old.map_or_else(|| file_name(name), |t| t.file.clone());
    let source = &bench.current.source;
    match source.write(&file, old.map(|t| t.text.as_str()), &text) {
        Ok(()) => {}
        Err(Unsaved::Cannot(why)) => return Err(whole(why)),
        Err(Unsaved::Changed) => {
            bench.current.forget();
            let now = bench.now();
            let other = now.project.board(name);
            let seen = seen(other.and_then(|b| b.sheet.as_ref()));
            return Err(Unkept::Changed(changed(name, other, &text), seen));
        }
    }
    if old.is_none() && now.project.has_machine {
        let change = Change::Sheet {
            board: name.to_owned(),
            path: file,
        };
        start::apply(bench, &change)
            .map_err(|why| whole(format!("{} {}", why.message, why.help)))?;
    }
    Ok(())
}

/// What a file says that is not in what was about to be saved, a line each.
fn changed(name: &str, board: Option<&BoardText>, mine: &str) -> Vec<Mistake> {
    let file = board.and_then(|b| b.sheet.as_ref());
    let lines = |text: &str| -> Vec<String> {
        let words = |l: &str| l.split_whitespace().collect::<Vec<_>>().join(" ");
        text.lines().map(words).filter(|l| !l.is_empty()).collect()
    };
    let mine = lines(mine);
    let path = file.map_or("The file of this sheet", |t| t.file.as_str());
    let mut told = vec![about_all(
        format!(
            "{path} was saved by somebody else since this table was opened; nothing was written."
        ),
        "What you typed is still here. Take over below what the other one wrote, then save again: that writes this table.",
    )];
    // In the same canonical form, where it can be read; only what it says counts, not how it is spaced.
    let canonical = board.and_then(|b| Some(typed::save(name, &typed::open(b)).ok()?.0));
    let raw = || file.map(|t| t.text.clone());
    let theirs = canonical.or_else(raw).map_or(Vec::new(), |t| lines(&t));
    let only = theirs.into_iter().filter(|l| !mine.contains(l));
    told.extend(only.map(|l| about_all(format!("In the file and not in this table: {l}"), "")));
    told
}

/// `sheets/a2.kdl`; letters that a file name should not have become hyphens.
fn file_name(board: &str) -> String {
    let fits = |c: char| {
        if c.is_alphanumeric() || c == '_' {
            c
        } else {
            '-'
        }
    };
    let stem: String = board.to_lowercase().chars().map(fits).take(60).collect();
    format!("sheets/{stem}.kdl")
}
