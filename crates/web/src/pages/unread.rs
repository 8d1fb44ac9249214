//! Expectations where nothing was read, folded away.

use bench::pages::unread::{Part, View};
use maud::{Markup, html};

use super::progress;
use crate::work::Stand;

/// The folded tables.
pub fn folded(stand: &Stand<View>, address: &str) -> Markup {
    html! {
        details.unread id="unread" {
            summary { "Expectations where nothing was read" }
            @match stand {
                Stand::Going(done, all) => p.wait { "Being computed: " span data-progress { (progress(*done, *all)) } "." },
                Stand::Failed(why) => p { (why) },
                Stand::Done(view) | Stand::Again(view) => {
                    p { "For the sheet as drawn, every net against the first ground net. 95 of 100 healthy boards read inside the band." }
                    (part("Cold", &view.cold))
                    (part("Powered", &view.powered))
                    p { a.go href=(format!("{address}/expectations.csv")) { "Download as CSV" } }
                }
            }
        }
    }
}

fn part(title: &str, part: &Part) -> Markup {
    html! {
        h3 { (title) }
        @match part {
            Err(why) => p { (why) },
            Ok(rows) if rows.is_empty() => p { "Every place was read." },
            Ok(rows) => table.plain {
                thead {
                    tr {
                        th scope="col" { "Kind" }
                        th scope="col" { "Red" }
                        th scope="col" { "Black" }
                        th.number scope="col" { "Expected" }
                        th scope="col" { "Healthy boards" }
                        th scope="col" { "Because" }
                    }
                }
                tbody {
                    @for r in rows {
                        tr data-row tabindex="-1" {
                            td data-name="kind" { (r.kind) }
                            td data-name="red" { (r.red) }
                            td data-name="black" { (r.black) }
                            td.number data-name="expected" { (r.nominal) }
                            td data-name="healthy boards" { (r.band) }
                            td data-name="because" { (r.because) }
                        }
                    }
                }
            },
        }
    }
}
