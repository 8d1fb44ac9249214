//! Findings with their hypotheses, and how each stands.

use super::Work;
use super::closing::{self, Shown};
use crate::event::{Closing, Explanation, Finding, Hypothesis, Outcome};
use crate::{Entry, Event, Id};

/// A finding and all that was said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingState<'a> {
    /// The entry that opened it.
    pub entry: &'a Entry,
    /// What it says.
    pub finding: &'a Finding,
    /// How it stands.
    pub word: FindingWord,
    /// In the order written, the refuted ones among them.
    pub hypotheses: Vec<HypothesisState<'a>>,
    /// Why it needs no mending, if somebody said so; the last word.
    pub explanation: Option<(&'a Entry, &'a Explanation)>,
    /// The re-tests that closed it; the last closing.
    pub closing: Option<(&'a Entry, &'a Closing)>,
}

/// How a finding stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FindingWord {
    /// Not as it should be.
    Open,
    /// Needs no mending, for a reason.
    Explained,
    /// Closed by a re-test after nothing but a touch; it may come back.
    Quiet,
    /// Closed by a re-test after a repair or a setting.
    Mended,
}

impl FindingWord {
    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            FindingWord::Open => "open",
            FindingWord::Explained => "explained",
            FindingWord::Quiet => "quiet",
            FindingWord::Mended => "mended",
        }
    }
}

/// A hypothesis and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct HypothesisState<'a> {
    /// The entry that wrote it.
    pub entry: &'a Entry,
    /// What it says.
    pub hypothesis: &'a Hypothesis,
    /// What the probe said; the last word, none before the probe.
    pub outcome: Option<(&'a Entry, &'a Outcome)>,
}

impl Work {
    /// All findings, oldest first.
    pub fn findings(&self) -> Vec<FindingState<'_>> {
        let mut list: Vec<FindingState> = Vec::new();
        for (entry, event) in self.others() {
            match event {
                Event::Finding(finding) => list.push(opened(entry, finding)),
                Event::Hypothesis(h) => {
                    if let Some(state) = of(&mut list, &h.finding) {
                        state.hypotheses.push(HypothesisState {
                            entry,
                            hypothesis: h,
                            outcome: None,
                        });
                    }
                }
                Event::Outcome(o) => {
                    let mut all = list.iter_mut().flat_map(|f| &mut f.hypotheses);
                    if let Some(state) = all.find(|h| h.entry.id == o.hypothesis) {
                        state.outcome = Some((entry, o));
                    }
                }
                Event::Explanation(e) => {
                    if let Some(state) = of(&mut list, &e.finding) {
                        state.explanation = Some((entry, e));
                        state.word = FindingWord::Explained;
                    }
                }
                Event::Closing(c) => {
                    if let Some(state) = of(&mut list, &c.finding) {
                        state.closing = Some((entry, c));
                        state.word = match closing::check(self, c) {
                            Ok(Shown::Mended) => FindingWord::Mended,
                            Ok(Shown::Quiet) => FindingWord::Quiet,
                            Err(_) => FindingWord::Open,
                        };
                    }
                }
                _ => {}
            }
        }
        list
    }

    /// The findings of a unit, and of a board of it if one is named.
    pub fn findings_at(&self, unit: &str, board: Option<&str>) -> Vec<FindingState<'_>> {
        let mut list = self.findings();
        list.retain(|f| {
            let site = &f.finding.site;
            site.unit == unit && (board.is_none() || site.board.as_deref() == board)
        });
        list
    }
}

fn opened<'a>(entry: &'a Entry, finding: &'a Finding) -> FindingState<'a> {
    FindingState {
        entry,
        finding,
        word: FindingWord::Open,
        hypotheses: Vec::new(),
        explanation: None,
        closing: None,
    }
}

fn of<'l, 'a>(list: &'l mut [FindingState<'a>], id: &Id) -> Option<&'l mut FindingState<'a>> {
    list.iter_mut().find(|f| f.entry.id == *id)
}
