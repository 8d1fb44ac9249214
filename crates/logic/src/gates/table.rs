//! Truth tables: `table "a b -> y" { row "0 - -> 1" ... }` as expressions.

use kdl::{KdlDocument, KdlNode};

use super::expression::Expression;
use super::place::Places;

/// Inputs beyond which a table is not checked line by line; chosen because 4 096 lines are more than a page of any data book.
const MOST_INPUTS: usize = 12;

/// The outputs of a table as sums of its rows. Every combination of inputs must be answered, by rows that agree.
pub(crate) fn read(node: &KdlNode, places: &mut Places<'_>) -> Vec<(String, Expression)> {
    let head = node
        .entry(0)
        .and_then(|e| e.value().as_string())
        .unwrap_or_default();
    let Some((inputs, outputs)) = head.split_once("->") else {
        places.wrong(
            node,
            "The table does not name its columns.",
            "Write `table \"a b -> y\" {`.",
        );
        return Vec::new();
    };
    let inputs: Vec<&str> = inputs.split_whitespace().collect();
    let outputs: Vec<&str> = outputs.split_whitespace().collect();
    if inputs.is_empty() || inputs.len() > MOST_INPUTS || outputs.is_empty() {
        places.wrong(
            node,
            format!("A table takes 1 to {MOST_INPUTS} inputs and at least one output."),
            "Divide a larger function into several blocks.",
        );
        return Vec::new();
    }
    let mut rows: Vec<(Vec<Option<bool>>, Vec<bool>)> = Vec::new();
    let none = KdlDocument::new();
    for row in node.children().unwrap_or(&none).nodes() {
        let text = row
            .entry(0)
            .and_then(|e| e.value().as_string())
            .unwrap_or_default();
        match cells(text, inputs.len(), outputs.len()) {
            Some(cells) => rows.push(cells),
            None => places.wrong(
                row,
                format!("The row `{text}` does not fit the table."),
                format!(
                    "Write {} marks 0, 1 or - for the inputs, ->, and {} marks 0 or 1.",
                    inputs.len(),
                    outputs.len()
                ),
            ),
        }
    }
    check(node, &inputs, &rows, places);
    outputs
        .iter()
        .enumerate()
        .map(|(column, name)| ((*name).to_owned(), sum(&inputs, &rows, column)))
        .collect()
}

fn cells(text: &str, inputs: usize, outputs: usize) -> Option<(Vec<Option<bool>>, Vec<bool>)> {
    let (left, right) = text.split_once("->")?;
    let mark = |c: char| match c {
        '0' | 'L' => Some(Some(false)),
        '1' | 'H' => Some(Some(true)),
        '-' | 'x' | 'X' => Some(None),
        _ => None,
    };
    let side = |t: &str| -> Option<Vec<Option<bool>>> {
        t.chars().filter(|c| !c.is_whitespace()).map(mark).collect()
    };
    let (left, right) = (side(left)?, side(right)?);
    let right: Option<Vec<bool>> = right.into_iter().collect();
    let right = right?;
    (left.len() == inputs && right.len() == outputs).then_some((left, right))
}

fn check(
    node: &KdlNode,
    inputs: &[&str],
    rows: &[(Vec<Option<bool>>, Vec<bool>)],
    places: &mut Places<'_>,
) {
    for case in 0..1usize << inputs.len() {
        let level = |i: usize| case >> (inputs.len() - 1 - i) & 1 == 1;
        let fits = |row: &&(Vec<Option<bool>>, Vec<bool>)| {
            row.0
                .iter()
                .enumerate()
                .all(|(i, m)| m.is_none_or(|m| m == level(i)))
        };
        let mut answers = rows.iter().filter(fits).map(|r| &r.1);
        let written: String = (0..inputs.len())
            .map(|i| if level(i) { '1' } else { '0' })
            .collect();
        let Some(first) = answers.next() else {
            places.wrong(
                node,
                format!(
                    "The table does not say what comes of {} = {written}.",
                    inputs.join(" ")
                ),
                "Add a row for it; a `-` stands for either level.",
            );
            return;
        };
        if answers.any(|other| other != first) {
            places.wrong(
                node,
                format!(
                    "Two rows of the table answer {} = {written} differently.",
                    inputs.join(" ")
                ),
                "Mend or delete one of them.",
            );
            return;
        }
    }
}

fn sum(inputs: &[&str], rows: &[(Vec<Option<bool>>, Vec<bool>)], column: usize) -> Expression {
    let term = |marks: &[Option<bool>]| {
        let factors: Vec<Expression> = inputs
            .iter()
            .zip(marks)
            .filter_map(|(name, mark)| {
                let e = Expression::name(name);
                mark.map(|m| if m { e } else { e.not() })
            })
            .collect();
        match factors.len() {
            0 => Expression::Level(true),
            1 => factors[0].clone(),
            _ => Expression::And(factors),
        }
    };
    let mut terms: Vec<Expression> = rows
        .iter()
        .filter(|r| r.1[column])
        .map(|r| term(&r.0))
        .collect();
    match terms.len() {
        0 => Expression::Level(false),
        1 => terms.remove(0),
        _ => Expression::Or(terms),
    }
}
