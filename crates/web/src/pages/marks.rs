//! The shapes beside the words: each verdict has one of its own, so that colour is never needed.

use bench::pages::board::Mark;
use bench::pages::overview::{NeedStanding, Standing};
use maud::{Markup, html};

/// The shape of a verdict.
pub fn verdict(mark: Mark) -> Markup {
    match mark {
        Mark::Agrees => dot(),
        Mark::Edge(_) => half(),
        Mark::Low => low(),
        Mark::High => high(),
        Mark::OverRange => over_range(),
        Mark::NotTaken => rule(),
        Mark::NoExpectation => dotted(),
        Mark::Waiting => ring(),
    }
}

/// The shape of a reading at the edge of its band.
pub fn edge() -> Markup {
    half()
}

/// The shape of what stands out among like ones.
pub fn out() -> Markup {
    framed(html! { path.full d="M12 1l3.4 7.6L23 12l-7.6 3.4L12 23l-3.4-7.6L1 12l7.6-3.4z" {} })
}

/// The shape of an assembly's standing.
pub fn standing(standing: Standing) -> Markup {
    match standing {
        Standing::FindingOpen => flag(),
        Standing::Disagrees => high(),
        Standing::Waiting => ring(),
        Standing::NotLookedAt => rule(),
        Standing::Begun => half(),
        Standing::ReadCold | Standing::Powered | Standing::Proven => dot(),
    }
}

/// The shape of a condition.
pub fn need(need: &NeedStanding) -> Markup {
    match need {
        NeedStanding::Shown => dot(),
        NeedStanding::Open(_) => ring(),
        NeedStanding::Yours(_) => dotted(),
    }
}

fn framed(inner: Markup) -> Markup {
    html! { svg.mark viewBox="0 0 24 24" width="24" height="24" aria-hidden="true" { (inner) } }
}

fn dot() -> Markup {
    framed(html! { circle.full cx="12" cy="12" r="8" {} })
}

fn half() -> Markup {
    framed(html! {
        circle.line cx="12" cy="12" r="8" {}
        path.full d="M12 4a8 8 0 0 0 0 16z" {}
    })
}

fn low() -> Markup {
    framed(html! { path.full d="M2 4h20L12 22z" {} })
}

fn high() -> Markup {
    framed(html! { path.full d="M12 2l10 18H2z" {} })
}

/// A finding is a statement by somebody: a pennant on its staff.
fn flag() -> Markup {
    framed(html! { path.line d="M5 22V3" {} path.full d="M5 3l16 5.5L5 14z" {} })
}

fn over_range() -> Markup {
    html! {
            svg.mark viewBox="0 0 38 30" width="38" height="30" aria-hidden="true" {
                ellipse.line cx="19" cy="15" rx="17.5" ry="13" {}
    // Drawn, so that the cell's text holds the words alone.
                ellipse.line cx="13.5" cy="15" rx="4" ry="5.5" {}
                path.line d="M22 9.5v11h6" {}
            }
        }
}

fn rule() -> Markup {
    framed(html! { path.line d="M5 12h14" {} })
}

fn dotted() -> Markup {
    framed(html! { circle.line.dotted cx="12" cy="12" r="8" {} })
}

fn ring() -> Markup {
    framed(html! { circle.line cx="12" cy="12" r="8" {} })
}
