//! Findings of a board: opened, thought about before the probe, mended, closed by a re-test that could have failed.

use maud::{Markup, html};
use store::record::event::{Event, Row, Test};
use store::record::work::{FindingState, FindingWord, HypothesisState};
use store::record::{Entry, Work};

use super::enter::{held, hidden, line, number, photos, text, tick};

/// What the section needs to know.
pub struct Place<'a> {
    /// The board.
    pub board: &'a str,
    /// The units, by name.
    pub units: Vec<&'a str>,
    /// The board's address.
    pub back: &'a str,
    /// Designators.
    pub parts: &'a [String],
    /// Suspects, `PART FAULT`, likeliest first.
    pub suspects: Vec<String>,
    /// Entries can be written.
    pub is_open: bool,
}

/// All findings of the board, open ones first, and the form for a new one.
pub fn section(work: &Work, place: &Place) -> Markup {
    let mut findings: Vec<FindingState> = place
        .units
        .iter()
        .flat_map(|unit| work.findings_at(unit, Some(place.board)))
        .collect();
    findings.sort_by_key(|f| {
        (
            f.word != FindingWord::Open,
            std::cmp::Reverse(f.entry.number),
        )
    });
    html! {
        section.findings aria-labelledby="findings" {
            h2 id="findings" { "Findings" }
            @if findings.is_empty() { p { "None was opened on this board." } }
            @for finding in &findings { (one(work, finding, place)) }
            @if place.is_open { (open_by_hand(place)) (work_without(place)) }
            (touched(work, place))
            datalist id="parts" { @for part in place.parts { option value=(part) {} } }
            datalist id="suspects" { @for s in &place.suspects { option value=(s) {} } }
        }
    }
}

fn one(work: &Work, f: &FindingState, place: &Place) -> Markup {
    let id = f.entry.id.as_str();
    let is_open = f.word == FindingWord::Open;
    let body = html! {
        @for h in &f.hypotheses { (hypothesis(work, h, place, is_open)) }
        @if let Some((_, e)) = &f.explanation { p { "Explained: " (e.reason) } }
        @if let Some((entry, c)) = &f.closing {
            p { "Closed by entry " (entry.number) ": "
                @for r in &c.retests { (numbered(work, r.before.as_str())) " was " (r.was.word()) ", " (numbered(work, r.after.as_str())) " is " (r.is.word()) ". " }
                (c.reason)
            }
        }
        @if is_open && place.is_open { (steps(work, f, place)) }
    };
    html! {
        article.finding id=(format!("finding-{id}")) data-standing=(f.word.word()) {
            h3 { (standing(f.word)) ": unit " (f.finding.site.unit) ", " (f.finding.text) }
            @if let store::record::event::Origin::Verdict { text, .. } = &f.finding.origin { p.why { "By the verdict: " (text) } }
            @if f.finding.circumstance.intermittent { p.why { "It comes and goes." } }
            @if let Some(minutes) = f.finding.circumstance.minutes { p.why { "It shows " (minutes) " minutes after switch-on." } }
            @if let Some(celsius) = &f.finding.circumstance.celsius { p.why { "It shows at " (celsius.0) " degrees C." } }
            @if let Some(tapped) = &f.finding.circumstance.tapped { p.why { "It shows when " (tapped) " is tapped." } }
            p.why { a href=(format!("/entry/{id}")) { "entry " (f.entry.number) } }
            @if is_open { (body) } @else { details id=(format!("closed-{id}")) { summary { "What was done" } (body) } }
        }
    }
}

fn standing(word: FindingWord) -> &'static str {
    match word {
        FindingWord::Open => "Open",
        FindingWord::Explained => "Explained",
        FindingWord::Quiet => "Quiet, and may come back",
        FindingWord::Mended => "Mended",
    }
}

fn numbered(work: &Work, id: &str) -> String {
    let entry = store::record::Id::new(id).and_then(|id| work.entry(&id).map(|e| e.number));
    entry.map_or_else(|| "an entry".to_owned(), |n| format!("entry {n}"))
}

fn hypothesis(work: &Work, h: &HypothesisState, place: &Place, is_open: bool) -> Markup {
    let id = h.entry.id.as_str();
    let word = match h.outcome {
        None => "before the probe",
        Some((_, o)) if o.refuted => "refuted",
        Some(_) => "supported",
    };
    html! {
        div.hypothesis data-standing=(word) {
            p { strong { "Perhaps " (h.hypothesis.text) } " (" (word) "). Then: " (h.hypothesis.predicts) }
            @if let Some((_, o)) = &h.outcome { p.why { (o.reason) } }
            @if is_open && place.is_open && h.outcome.is_none() {
                details id=(format!("outcome-{id}")) {
                    summary { "What the probe said" }
                    form method="post" action="/entry" data-keep id=(format!("outcome-form-{id}")) {
                        (hidden("outcome", &format!("{}#findings", place.back)))
                        (held("hypothesis", id))
                        @let evidence = after(work, h.entry, place.board);
                        @let tests = tests_after(work, h.entry, place.board);
                        @if evidence.is_empty() && tests.is_empty() { p { "Take the reading first; one from before cannot decide what was thought up to fit it." } }
                        @for (entry, row) in &evidence { (tick("evidence", entry.id.as_str(), &words(entry, row))) }
                        @for (entry, test) in &tests { (tick("evidence", entry.id.as_str(), &run(entry, test))) }
                        (line("reason", "How it speaks", ""))
                        button type="submit" name="refuted" value="yes" { "It refutes it" }
                        button type="submit" name="refuted" value="no" { "It supports it" }
                    }
                }
            }
        }
    }
}

/// Readings of the board after an entry, newest first.
fn after<'a>(work: &'a Work, entry: &Entry, board: &'a str) -> Vec<(&'a Entry, &'a Row)> {
    let mut list: Vec<_> = work
        .readings(Some(board))
        .filter(|(e, _)| e.number > entry.number)
        .collect();
    list.reverse();
    list.truncate(8);
    list
}

/// Tests of the board after an entry, newest first.
fn tests_after<'a>(work: &'a Work, entry: &Entry, board: &str) -> Vec<(&'a Entry, &'a Test)> {
    let list = work.others().rev().filter_map(|(e, event)| match event {
        Event::Test(test) if test.site.board.as_deref() == Some(board) => {
            (e.number > entry.number).then_some((e, test))
        }
        _ => None,
    });
    list.take(8).collect()
}

fn run(entry: &Entry, test: &Test) -> String {
    let how = if test.passed { "passed" } else { "failed" };
    format!("entry {}: test {} {how}", entry.number, test.name)
}

fn words(entry: &Entry, row: &Row) -> String {
    format!(
        "entry {}: {} {}, red {}, black {}: {}",
        entry.number,
        row.state.word(),
        row.kind.word(),
        row.red,
        row.black,
        row.value
    )
}

/// What can be done with an open finding.
fn steps(work: &Work, f: &FindingState, place: &Place) -> Markup {
    let id = f.entry.id.as_str();
    let back = format!("{}#finding-{id}", place.back);
    let site = &f.finding.site;
    html! {
        details id=(format!("think-{id}")) {
            summary { "What it might be" }
            form method="post" action="/entry" data-keep id=(format!("think-form-{id}")) {
                (hidden("hypothesis", &back)) (held("finding", id))
                label.field { span { "Perhaps" } input type="text" name="text" list="suspects" required autocomplete="off"; }
                (line("predicts", "Then a reading would show, and if not", ""))
                button type="submit" { "Write it down" }
            }
        }
        details id=(format!("mend-{id}")) {
            summary { "Touched or repaired" }
            @let (unit, board) = (held("unit", &site.unit), site.board.as_deref().unwrap_or(""));
            (touch(&unit, board, &back, id)) (repair(&unit, board, Some(id), &back, id))
        }
        details id=(format!("close-{id}")) {
            summary { "Close by a re-test, or explain" }
            (closing(work, f, &back))
            form method="post" action="/entry" data-keep id=(format!("explain-form-{id}")) {
                (hidden("explanation", &back)) (held("finding", id))
                (line("reason", "It needs no mending, because", ""))
                button type="submit" { "Explain it" }
            }
        }
    }
}

fn touch(unit: &Markup, board: &str, back: &str, key: &str) -> Markup {
    html! {
        form method="post" action="/entry" data-keep id=(format!("touch-form-{key}")) {
            p { strong { "About to touch something" } " (write it first: what follows may be its doing)" }
            (hidden("touch", back)) (held("board", board))
            div.fields {
                (unit)
                (line("what", "Which connector, contact or part", ""))
                label.field { span { "How" } select name="how" {
                    @for how in store::record::event::How::ALL { option value=(how.word()) { (how.word()) } }
                } }
                (line("reason", "Why", ""))
                button type="submit" { "Write it" }
            }
        }
    }
}

fn repair(unit: &Markup, board: &str, finding: Option<&str>, back: &str, key: &str) -> Markup {
    html! {
        form method="post" action="/entry" enctype="multipart/form-data" data-keep id=(format!("repair-form-{key}")) {
            p { strong { "A part was changed" } }
            (hidden("repair", back)) (held("board", board)) @if let Some(finding) = finding { (held("finding", finding)) }
            div.fields {
                (unit)
                label.field { span { "Part" } input type="text" name="part" list="parts" required autocomplete="off"; }
                (line("what", "What came out, what went in", ""))
                label.field { span { "What it did wrong" } input type="text" name="symptom" list="suspects" autocomplete="off"; }
                (line("reason", "Why", ""))
                (line("kept", "The original is kept in", ""))
                (tick("reversible", "yes", "can be undone without a trace"))
                (photos("Photographs"))
                button type="submit" { "Write it" }
            }
        }
    }
}

/// Remedies and pairs of readings from which a closing is made; the program judges them when it is sent.
fn closing(work: &Work, f: &FindingState, back: &str) -> Markup {
    let id = f.entry.id.as_str();
    let site = &f.finding.site;
    let remedies: Vec<&Entry> = work
        .others()
        .filter(|(entry, event)| {
            let is_one = matches!(event, Event::Repair(_) | Event::Touch(_) | Event::Turn(_));
            is_one && event.unit() == Some(&site.unit) && entry.number > f.entry.number
        })
        .map(|(entry, _)| entry)
        .collect();
    let done = remedies.iter().map(|e| e.number).max();
    let pairs = pairs(work, f, done);
    let tests = test_pairs(work, f, done);
    html! {
        form method="post" action="/entry" data-keep id=(format!("close-form-{id}")) {
            (hidden("closing", back)) (held("finding", id))
            @if remedies.is_empty() { p { "Nothing was touched or repaired since it was opened." } }
            @for entry in &remedies { (tick("remedy", entry.id.as_str(), &format!("entry {}: {}", entry.number, entry.event.words()))) }
            @if !remedies.is_empty() && pairs.is_empty() && tests.is_empty() { p { "No reading that was off before was taken again after it, and no test that was failed was run again. Take it again in the same way, or run the test." } }
            @for (before, after) in &pairs {
                (tick("retest", &format!("{}:{}", before.0.id, after.0.id), &format!("{}; before: {}", words(after.0, after.1), before.1.value)))
            }
            @for (before, after, test) in &tests {
                (tick("retest", &format!("{}:{}", before.id, after.id), &format!("{}; before: failed, entry {}", run(after, test), before.number)))
            }
            @if !pairs.is_empty() || !tests.is_empty() {
                (line("tapped", "Tapped while reading", ""))
                (line("reason", "Remark", ""))
                button type="submit" { "Close it" }
            }
        }
    }
}

type Taken<'a> = (&'a Entry, &'a Row);

/// Tests of the unit and board that were last failed before the last remedy and last passed after it: before, after, and what
/// the last run said.
fn test_pairs<'a>(
    work: &'a Work,
    f: &'a FindingState,
    done: Option<u64>,
) -> Vec<(&'a Entry, &'a Entry, &'a Test)> {
    let Some(done) = done else { return Vec::new() };
    let all: Vec<(&Entry, &Test)> = work
        .others()
        .filter_map(|(entry, event)| match event {
            Event::Test(test) if test.site == f.finding.site => Some((entry, test)),
            _ => None,
        })
        .collect();
    let last = |name: &str, is_before: bool| {
        let fits =
            |(e, t): &&(&'a Entry, &'a Test)| t.name == name && (e.number < done) == is_before;
        all.iter().rev().find(fits).copied()
    };
    let mut names: Vec<&str> = all.iter().map(|(_, t)| t.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let pair = |name: &str| {
        let (before, failed) = last(name, true)?;
        let (after, passed) = last(name, false)?;
        (!failed.passed && passed.passed).then_some((before, after, passed))
    };
    names.into_iter().filter_map(pair).collect()
}

/// The last reading of each place before the last remedy, with the last one after it.
fn pairs<'a>(
    work: &'a Work,
    f: &'a FindingState,
    done: Option<u64>,
) -> Vec<(Taken<'a>, Taken<'a>)> {
    let Some(done) = done else { return Vec::new() };
    let site = &f.finding.site;
    let all: Vec<Taken> = work
        .readings(site.board.as_deref())
        .filter(|(_, row)| row.site.unit == site.unit)
        .collect();
    let (before, after): (Vec<Taken>, Vec<Taken>) =
        all.into_iter().partition(|(e, _)| e.number < done);
    let mut list: Vec<(Taken, Taken)> = Vec::new();
    for late in after.into_iter().rev() {
        let is_new = list.iter().all(|(_, l)| !l.1.same_place(late.1));
        let early = before.iter().rev().find(|(_, row)| row.same_place(late.1));
        if let (true, Some(early)) = (is_new, early) {
            list.push((*early, late));
        }
    }
    list
}

fn open_by_hand(place: &Place) -> Markup {
    html! {
        details id="open-finding" {
            summary { "Open a finding" }
            form method="post" action="/entry" data-keep id="open-finding-form" {
                (hidden("finding", &format!("{}#findings", place.back))) (held("board", place.board))
                div.fields {
                    @if place.units.is_empty() { (line("unit", "Unit", "1")) } @else {
                        label.field { span { "Unit" } select name="unit" { @for u in &place.units { option { (u) } } } }
                    }
                    (text("text", "What is not as it should be"))
                    (tick("intermittent", "yes", "it comes and goes"))
                    (number("minutes", "Minutes since switch-on", ""))
                    (number("celsius", "Degrees C", ""))
                    (line("tapped", "When this is tapped", ""))
                    button type="submit" { "Open it" }
                }
            }
        }
    }
}

/// What is touched or changed without a finding: a reseat before a test, a capacitor before it fails.
fn work_without(place: &Place) -> Markup {
    let back = format!("{}#findings", place.back);
    let units = || {
        html! {
            @if place.units.is_empty() { (line("unit", "Unit", "1")) } @else {
                label.field { span { "Unit" } select name="unit" { @for u in &place.units { option { (u) } } } }
            }
        }
    };
    html! {
        details id="touch-or-repair" {
            summary { "Touch or change something without a finding" }
            (touch(&units(), place.board, &back, "by-itself")) (repair(&units(), place.board, None, &back, "by-itself"))
        }
    }
}

/// What was touched and repaired on the board, told apart.
fn touched(work: &Work, place: &Place) -> Markup {
    let of_board = |(_, e): &(&Entry, &Event)| e.board() == Some(place.board);
    let done: Vec<(&Entry, &Event)> = work
        .others()
        .filter(of_board)
        .filter(|(_, e)| matches!(e, Event::Repair(_) | Event::Touch(_)))
        .collect();
    html! {
        @if !done.is_empty() {
            h3 { "Touched and repaired" }
            ul.done {
                @for (entry, event) in done.iter().rev() {
                    li { (event.words()) " " a href=(format!("/entry/{}", entry.id)) { "entry " (entry.number) }
                        @if let Event::Repair(repair) = event { (proof(place, &repair.part, &repair.symptom)) }
                    }
                }
            }
        }
    }
}

/// Where to see which readings prove a repair.
fn proof(place: &Place, part: &str, symptom: &str) -> Markup {
    let fault = match symptom.split_once(' ') {
        Some((first, _)) if first == part => symptom.to_owned(),
        _ => format!("{part} open"),
    };
    html! {
        form.inline method="get" action=(format!("{}/proves", place.back)) {
            (held("fault", &fault))
            button type="submit" { "Readings that prove it" }
        }
    }
}
