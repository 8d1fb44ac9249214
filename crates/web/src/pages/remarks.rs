//! What is wrong or doubtful in the texts, with the place and what would mend it.

use bench::Complaint;
use bench::project::Remark;
use maud::{Markup, html};

/// Lines that cannot be used: shown at once, because what they say is missing from everything else.
pub fn errors(remarks: &[Remark]) -> Markup {
    let list: Vec<&Complaint> = remarks
        .iter()
        .filter(|r| r.is_error)
        .map(|r| &r.complaint)
        .collect();
    html! {
        @if !list.is_empty() {
            section.remarks aria-labelledby="errors" {
                h2 id="errors" { (count(list.len(), "line cannot be used", "lines cannot be used")) }
                p { "Everything below is computed from the other lines, and may be wrong where these would have changed it." }
                (items(&list))
            }
        }
    }
}

/// Doubtful places: used as they stand.
pub fn doubts(remarks: &[Remark]) -> Markup {
    let list: Vec<&Complaint> = remarks
        .iter()
        .filter(|r| !r.is_error)
        .map(|r| &r.complaint)
        .collect();
    html! {
        @if !list.is_empty() {
            details.remarks id="doubts" {
                summary { (count(list.len(), "doubtful place", "doubtful places")) " in the texts" }
                (items(&list))
            }
        }
    }
}

fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

fn items(list: &[&Complaint]) -> Markup {
    html! {
        ol {
            @for c in list {
                li {
                    @if let Some(file) = &c.file {
                        p.place {
                            (file)
                            @if let Some(line) = c.line { ", line " (line) }
                            @if let Some(column) = c.column { ", character " (column) }
                        }
                    }
                    p { strong { (c.message) } }
                    @if let Some(line) = &c.source_line { pre { (line) } }
                    @if let Some(help) = &c.help { p { (help) } }
                }
            }
        }
    }
}
