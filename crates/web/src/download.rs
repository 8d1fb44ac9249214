//! Every table as CSV.

use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use bench::pages::unread;
use store::record::guarded;

use crate::pages::Bench;
use crate::work::Stand;

/// The verdicts of a board.
pub async fn verdicts(State(bench): State<Bench>, Path(name): Path<String>) -> Response {
    let now = bench.now();
    let Some(board) = now.project.board(&name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let (view, _) = bench.board(&now, board, std::time::Duration::ZERO);
    if view.is_waiting {
        return not_yet();
    }
    let mut lines = vec![line(&[
        "unit", "state", "kind", "red", "black", "read", "expected", "band", "verdict", "twin",
        "note",
    ])];
    for row in &view.rows {
        for (unit, cell) in view
            .units
            .iter()
            .zip(&row.cells)
            .filter(|(_, c)| !c.value.is_empty())
        {
            let index = view.units.iter().position(|u| u == unit);
            let expected = row
                .expected
                .iter()
                .find(|e| e.units.is_empty() || index.is_some_and(|i| e.units.contains(&i)));
            lines.push(line(&[
                &unit.name,
                row.state,
                row.kind,
                &row.red,
                &row.black,
                &cell.value,
                expected.map_or("", |e| &e.nominal),
                expected.map_or("", |e| &e.band),
                cell.mark.words(),
                &row.twin,
                &cell.note,
            ]));
        }
    }
    csv(&lines)
}

/// The expectations of a board where nothing was read.
pub async fn expectations(State(bench): State<Bench>, Path(name): Path<String>) -> Response {
    let now = bench.now();
    let Some(board) = now.project.board(&name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let Stand::Done(view) = bench.unread(&now, board) else {
        return not_yet();
    };
    let mut lines = vec![line(&[
        "state", "kind", "red", "black", "expected", "band", "because",
    ])];
    let mut add = |state: &str, part: &unread::Part| {
        for r in part.iter().flatten() {
            lines.push(line(&[
                state, r.kind, &r.red, &r.black, &r.nominal, &r.band, &r.because,
            ]));
        }
    };
    add("cold", &view.cold);
    add("powered", &view.powered);
    csv(&lines)
}

/// A table that is still being computed.
pub fn not_yet() -> Response {
    (
        StatusCode::SERVICE_UNAVAILABLE,
        [(header::RETRY_AFTER, "2")],
        "This is still being computed; ask again in a moment.\n",
    )
        .into_response()
}

/// A table as an answer.
pub fn csv(lines: &[String]) -> Response {
    (
        [(header::CONTENT_TYPE, "text/csv; charset=utf-8")],
        lines.concat(),
    )
        .into_response()
}

/// One line of CSV (RFC 4180), guarded against a spreadsheet that takes a text for a formula.
pub fn line(fields: &[&str]) -> String {
    let quoted: Vec<String> = fields
        .iter()
        .map(|f| {
            let f = guarded(f);
            if f.contains([',', '"', '\n', '\r']) {
                format!("\"{}\"", f.replace('"', "\"\""))
            } else {
                f
            }
        })
        .collect();
    quoted.join(",") + "\r\n"
}

#[cfg(test)]
mod tests {
    use super::line;

    #[test]
    fn fields_are_quoted_as_rfc_4180_section_2_has_it() {
        assert_eq!(line(&["aaa", "b\r\nbb", "ccc"]), "aaa,\"b\r\nbb\",ccc\r\n");
        assert_eq!(
            line(&["aaa", "b\"bb", "c,c"]),
            "aaa,\"b\"\"bb\",\"c,c\"\r\n"
        );
    }

    #[test]
    fn a_net_that_looks_like_a_formula_is_guarded_and_a_number_is_not() {
        assert_eq!(
            line(&["+12V", "-0.62", "=A1,B1"]),
            "'+12V,-0.62,\"'=A1,B1\"\r\n"
        );
    }
}
