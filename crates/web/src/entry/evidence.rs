//! Findings that rest on readings: what a reading is worth is judged here and now, not taken from the form.

use bench::entered;
use store::record::event::{Closing, Finding, Origin, Retest, Row};
use store::record::{Entry, Event, Id, VerdictWord, Work};

use super::decode;
use crate::book::Unwritten;
use crate::edge;
use crate::form::Form;
use crate::pages::Bench;

/// Opens a finding, by hand or by a verdict. A reading that stands in a file is entered first, so that the finding rests
/// on something that cannot change.
pub fn finding(bench: &Bench, form: &Form, id: Id) -> Result<Entry, Unwritten> {
    if bench.book.read().work.entry(&id).is_some() {
        return bench
            .book
            .append(id, &form.author, |_| Err(Unwritten::field("id", "", "")));
    }
    let text = decode::needed(form, "text", "what is not as it should be")?;
    let circumstance = decode::circumstance(form)?;
    let verdict = form.line("verdict");
    let reading = match (&verdict, form.line("reading")) {
        (None, _) => None,
        (Some(_), Some(_)) => Some(decode::id(form, "reading")?),
        (Some(_), None) => {
            let row = decode::row(form)?;
            super::usable(&bench.now().project, &Event::Reading(row.clone()))?;
            let event = Event::Reading(row);
            let entry = bench
                .book
                .append(edge::fresh(), &form.author, |_| Ok(event))?;
            Some(entry.id)
        }
    };
    bench.book.append(id, &form.author, |_| {
        Ok(Event::Finding(Finding {
            site: decode::site(form),
            text,
            origin: match verdict {
                Some(text) => Origin::Verdict { reading, text },
                None => Origin::Hand,
            },
            circumstance,
        }))
    })
}

/// Closes a finding by re-tests, each named as `BEFORE:AFTER`.
pub fn closing(bench: &Bench, form: &Form, id: Id) -> Result<Entry, Unwritten> {
    let unclear = || {
        let message = "A re-test names the reading before and the one after.";
        Unwritten::field("retest", message, "Tick it on the page.")
    };
    let mut pairs = Vec::new();
    for text in form.all("retest") {
        let (before, after) = text.split_once(':').ok_or_else(unclear)?;
        pairs.push([before, after].map(Id::new));
    }
    let pairs: Vec<[Id; 2]> = pairs
        .into_iter()
        .map(|[before, after]| Some([before?, after?]))
        .collect::<Option<_>>()
        .ok_or_else(unclear)?;
    let rows: Vec<Option<Row>> = {
        let kept = bench.book.read();
        pairs
            .iter()
            .flatten()
            .map(|id| row_of(&kept.work, id))
            .collect()
    };
    let words = judged(bench, &rows);
    let tapped = form.line("tapped");
    bench.book.append(id, &form.author, |work| {
        let word = |k: usize, id: &Id| words[k].or_else(|| passed(work, id)).ok_or_else(unclear);
        let retest = |(k, [before, after]): (usize, &[Id; 2])| {
            Ok(Retest {
                before: before.clone(),
                was: word(2 * k, before)?,
                after: after.clone(),
                is: word(2 * k + 1, after)?,
                tapped: tapped.clone(),
            })
        };
        Ok(Event::Closing(Closing {
            finding: decode::id(form, "finding")?,
            remedies: decode::ids(form, "remedy")?,
            retests: pairs
                .iter()
                .enumerate()
                .map(retest)
                .collect::<Result<_, Unwritten>>()?,
            reason: form.text("reason").to_owned(),
        }))
    })
}

fn row_of(work: &Work, id: &Id) -> Option<Row> {
    match work.event(id)? {
        Event::Reading(row) => Some(row.clone()),
        _ => None,
    }
}

/// The verdict on each reading; none for what is no reading.
fn judged(bench: &Bench, rows: &[Option<Row>]) -> Vec<Option<VerdictWord>> {
    let now = bench.now();
    let mut words = vec![None; rows.len()];
    for (index, row) in rows.iter().enumerate() {
        let Some(row) = row else { continue };
        let board = row.site.board.as_ref().and_then(|b| now.project.board(b));
        words[index] = board.map(|board| entered::verdict(&now.project, board, row));
    }
    words
}

/// A test that was failed disagreed.
fn passed(work: &Work, id: &Id) -> Option<VerdictWord> {
    match work.event(id)? {
        Event::Test(test) if test.passed => Some(VerdictWord::Agrees),
        Event::Test(_) => Some(VerdictWord::Disagrees),
        _ => None,
    }
}
