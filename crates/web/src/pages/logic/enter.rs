//! Levels entered by hand: at the next net with one tap, at any net of any row by name.

use bench::logic::NextNet;
use bench::pages::logic::{Entered, UnitView, View, may_enter};
use bench::project::Project;
use maud::{Markup, html};
use store::record::Work;
use store::record::event::Levels;

use super::address;
use crate::book::Unwritten;
use crate::pages::enter::{held, hidden};

/// What was entered of a gate sheet.
pub fn entered(work: &Work, sheet: &str) -> Vec<Entered> {
    let list = work.levels(sheet);
    list.into_iter().map(|(_, l)| plain(l)).collect()
}

fn plain(levels: &Levels) -> Entered {
    Entered {
        unit: levels.unit.clone(),
        rows: levels.rows.clone(),
        row: levels.row,
        seen: levels.seen.clone(),
    }
}

/// Levels must be such that their sheet can use them.
pub fn usable(project: &Project, work: &Work, levels: &Levels) -> Result<(), Unwritten> {
    let Some(text) = project.logic.iter().find(|s| s.name == levels.sheet) else {
        let message = format!("There is no gate sheet {} in this project.", levels.sheet);
        return Err(Unwritten::field(
            "sheet",
            message,
            "A gate sheet is the file logic/NAME.kdl.",
        ));
    };
    may_enter(text, &entered(work, &levels.sheet), &plain(levels))
        .map_err(|c| Unwritten::field("seen", c.message, c.help.unwrap_or_default()))
}

fn begun(view: &View, unit: &str, rows: &str, show: usize) -> Markup {
    let back = format!("{}?show={show}", address(&view.name));
    html! {
        (hidden("levels", &back))
        (held("unit", unit)) (held("sheet", &view.name)) (held("rows", rows))
    }
}

fn file(unit: &UnitView) -> &str {
    unit.file.rsplit('/').next().unwrap_or_default()
}

/// One tap for what the next net shows.
pub fn next(view: &View, unit: &UnitView, best: &NextNet) -> Markup {
    let show = view.units.iter().position(|u| u == unit).unwrap_or(0);
    let row = unit.row_of(&best.run, best.row);
    html! {
        form.levels method="post" action="/entry" {
            (begun(view, &unit.unit, file(unit), show))
            (held("row", &row.to_string()))
            span { (best.net) " shows" }
            @for level in ["0", "1"] { button.go type="submit" name="seen" value=(format!("{}={level}", best.net)) { (level) } }
        }
    }
}

/// Any net in any row.
pub fn form(view: &View, unit: &UnitView, row: usize) -> Markup {
    let show = view.units.iter().position(|u| u == unit).unwrap_or(0);
    html! {
        details.levels id=(format!("levels-{show}")) {
            summary { "Enter levels seen in unit " (unit.unit) }
            form.enter id=(format!("enter-{show}")) method="post" action="/entry" data-keep {
                (begun(view, &unit.unit, file(unit), show))
                div.fields {
                    label.field.short { span { "Row, 0 for a new one" } input type="text" inputmode="numeric" name="row" value=(row + 1) autocomplete="off"; }
                    label.field { span { "Nets or pins with levels" } input.value type="text" name="seen" required autocomplete="off" spellcheck="false" placeholder="BUSY=0 U3.8=1"; }
                    button.go type="submit" { "Enter" }
                }
                p.hint { "0, 1, H, L, or volts such as 3.1V; inputs, too, if they were others. The last word on a net counts; all entries stay in the ledger." }
            }
        }
    }
}

/// A first row of a unit of which nothing is known.
pub fn first(view: &View, unit: &str) -> Markup {
    html! {
        details.levels id=(format!("first-{unit}")) open[view.units.is_empty()] {
            summary { "Enter levels seen in unit " (unit) }
            form.enter id=(format!("enter-first-{unit}")) method="post" action="/entry" data-keep {
                (begun(view, unit, "", 0)) (held("row", "0"))
                div.fields {
                    label.field { span { "Inputs as put on, and what was seen" } input.value type="text" name="seen" required autocomplete="off" spellcheck="false" placeholder="A=0 B=1 X=1"; }
                    button.go type="submit" { "Enter the row" }
                }
            }
        }
    }
}
