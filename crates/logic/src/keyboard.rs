//! Keyboards: which key pulls which lines, through a diode each, and which broken diodes, contacts or lines give the codes that came.

use std::fmt;

use kdl::{KdlDocument, KdlNode};

use crate::diagnostic::Diagnostic;
use crate::gates::Places;

/// Keys and lines of an encoder or a matrix; of a matrix a key's lines are its row and its column.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Keyboard {
    /// Its name.
    pub name: String,
    /// Lines, in the order in which codes are written; at most 64.
    pub lines: Vec<String>,
    /// Keys, each with its lines, a bit each.
    pub keys: Vec<(String, u64)>,
}

/// What may be wrong with a keyboard; numbers are positions of keys and lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum KeyFault {
    /// The diode from a key to a line, or its joint, is open.
    DiodeOpen(usize, usize),
    /// It conducts both ways: who pulls the line pulls the key's other lines, too.
    DiodeShort(usize, usize),
    /// The contact makes nothing.
    ContactOpen(usize),
    /// The contact is always made.
    ContactStuck(usize),
    /// The line is broken towards the machine.
    LineOpen(usize),
    /// The line is always pulled.
    LineStuck(usize),
}

/// A fault in the words of the sheet.
pub struct NamedKeyFault<'k>(&'k Keyboard, KeyFault);

impl fmt::Display for NamedKeyFault<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let key = |k: usize| &self.0.keys[k].0;
        let line = |l: usize| &self.0.lines[l];
        match self.1 {
            KeyFault::DiodeOpen(k, l) => write!(f, "diode of key {} to {} open", key(k), line(l)),
            KeyFault::DiodeShort(k, l) => write!(f, "diode of key {} to {} short", key(k), line(l)),
            KeyFault::ContactOpen(k) => write!(f, "contact of key {} open", key(k)),
            KeyFault::ContactStuck(k) => write!(f, "contact of key {} always made", key(k)),
            KeyFault::LineOpen(l) => write!(f, "line {} open", line(l)),
            KeyFault::LineStuck(l) => write!(f, "line {} always pulled", line(l)),
        }
    }
}

impl Keyboard {
    /// Reads `keyboard "name" { line C0 C1; key "5" C0 }`; mistakes with their places, the usable rest nevertheless.
    pub fn read(text: &str) -> (Self, Vec<Diagnostic>) {
        let mut places = Places::new(text);
        let mut board = Self::default();
        if let Some(document) = places.document() {
            match document.nodes() {
                [node] if node.name().value() == "keyboard" => board.whole(node, &mut places),
                _ => places.wrong_at(
                    0,
                    "This is no keyboard.",
                    "Write one `keyboard \"name\" {` with `line` and `key` lines in it.",
                ),
            }
        }
        places.found.sort_by_key(|d| (d.line, d.column));
        (board, places.found)
    }

    fn whole(&mut self, node: &KdlNode, places: &mut Places<'_>) {
        let words = |n: &KdlNode| -> Vec<String> {
            n.entries()
                .iter()
                .map(|e| {
                    e.value()
                        .as_string()
                        .map_or_else(|| e.value().to_string(), str::to_owned)
                })
                .collect()
        };
        self.name = words(node).into_iter().next().unwrap_or_default();
        let none = KdlDocument::new();
        let inside = node.children().unwrap_or(&none).nodes();
        for line in inside.iter().filter(|n| n.name().value() == "line") {
            for word in words(line) {
                if self.lines.contains(&word) || self.lines.len() == 64 {
                    places.wrong(
                        line,
                        format!("Line {word} is one too many."),
                        "Name each line once; a keyboard has at most 64.",
                    );
                } else {
                    self.lines.push(word);
                }
            }
        }
        for key in inside.iter().filter(|n| n.name().value() != "line") {
            let all = words(key);
            let ([name, lines @ ..], "key") = (all.as_slice(), key.name().value()) else {
                places.wrong(
                    key,
                    format!("`{}` is not known here.", key.name().value()),
                    "Write `line C0 C1` or `key \"5\" C0`.",
                );
                continue;
            };
            if self.keys.iter().any(|(n, _)| n == name) {
                places.wrong(
                    key,
                    format!("Key {name} is there twice."),
                    "Give one of them another name.",
                );
                continue;
            }
            let mut code = 0;
            for word in lines {
                match self.lines.iter().position(|l| l == word) {
                    Some(at) => code |= 1 << at,
                    None => places.wrong(
                        key,
                        format!("Key {name} pulls {word}, which is no line."),
                        format!("Lines are {}.", self.lines.join(", ")),
                    ),
                }
            }
            self.keys.push((name.clone(), code));
        }
        if self.keys.is_empty() {
            places.wrong(node, "The keyboard has no key.", "Write `key \"5\" C0 C2`.");
        }
    }

    /// A fault in the words of the sheet.
    pub fn named(&self, fault: KeyFault) -> NamedKeyFault<'_> {
        NamedKeyFault(self, fault)
    }

    /// The code of a key, with faults, as one bit a line; the key alone is pressed.
    pub fn code(&self, pressed: usize, faults: &[KeyFault]) -> u64 {
        let mut wires: Vec<usize> = faults
            .iter()
            .filter_map(|f| match f {
                KeyFault::ContactStuck(k) => Some(*k),
                _ => None,
            })
            .collect();
        if !faults.contains(&KeyFault::ContactOpen(pressed)) && !wires.contains(&pressed) {
            wires.push(pressed);
        }
        let mut pulled = 0;
        let mut at = 0;
        // Wires that are pulled pull lines; a shorted diode brings a pulled line back to its own key's wire.
        while let Some(wire) = wires.get(at).copied() {
            for line in (0..self.lines.len()).filter(|l| self.keys[wire].1 >> l & 1 == 1) {
                if !faults.contains(&KeyFault::DiodeOpen(wire, line)) {
                    pulled |= 1u64 << line;
                }
            }
            at += 1;
            for fault in faults {
                if let KeyFault::DiodeShort(k, l) = fault
                    && pulled >> l & 1 == 1
                    && !wires.contains(k)
                {
                    wires.push(*k);
                }
            }
        }
        for fault in faults {
            match fault {
                KeyFault::LineStuck(l) => pulled |= 1 << l,
                KeyFault::LineOpen(l) => pulled &= !(1 << l),
                _ => {}
            }
        }
        pulled
    }

    /// Every single fault.
    pub fn faults(&self) -> Vec<KeyFault> {
        let mut list: Vec<KeyFault> = (0..self.lines.len())
            .flat_map(|l| [KeyFault::LineOpen(l), KeyFault::LineStuck(l)])
            .collect();
        for (k, (_, code)) in self.keys.iter().enumerate() {
            list.extend([KeyFault::ContactOpen(k), KeyFault::ContactStuck(k)]);
            let lines = (0..self.lines.len()).filter(|l| code >> l & 1 == 1);
            list.extend(
                lines.flat_map(|l| [KeyFault::DiodeOpen(k, l), KeyFault::DiodeShort(k, l)]),
            );
        }
        list
    }

    /// All smallest sets of at most `most` faults that give the codes seen: key, mask of the lines that were looked at, levels.
    ///
    /// Each explanation has to change the first key that is wrong, so only faults that can are tried at each step.
    pub fn explain(&self, seen: &[(usize, u64, u64)], most: usize) -> Vec<Vec<KeyFault>> {
        let all = self.faults();
        for size in 0..=most {
            let mut found = Vec::new();
            self.extend(seen, &all, &mut Vec::new(), size, &mut found);
            found.sort();
            found.dedup();
            if !found.is_empty() {
                return found;
            }
        }
        Vec::new()
    }

    fn extend(
        &self,
        seen: &[(usize, u64, u64)],
        all: &[KeyFault],
        set: &mut Vec<KeyFault>,
        left: usize,
        found: &mut Vec<Vec<KeyFault>>,
    ) {
        let is_wrong =
            |(key, mask, levels): &&(usize, u64, u64)| (self.code(*key, set) ^ levels) & mask != 0;
        let Some((key, ..)) = seen.iter().find(is_wrong) else {
            if left == 0 {
                let mut sorted = set.clone();
                sorted.sort();
                found.push(sorted);
            }
            return;
        };
        if left == 0 {
            return;
        }
        for fault in all {
            let touches = match fault {
                KeyFault::ContactOpen(k) | KeyFault::DiodeOpen(k, _) => {
                    k == key || set.iter().any(|f| matches!(f, KeyFault::ContactStuck(o) | KeyFault::DiodeShort(o, _) if o == k))
                }
                _ => true,
            };
            if touches && !set.contains(fault) {
                set.push(*fault);
                self.extend(seen, all, set, left - 1, found);
                set.pop();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Digits in 8421 code with a strobe.
    fn digits() -> Keyboard {
        let mut text = "keyboard digits {\n line A B C D ST\n".to_owned();
        for n in 0..10 {
            let lines: Vec<&str> = ["A", "B", "C", "D"]
                .into_iter()
                .enumerate()
                .filter(|(i, _)| n >> i & 1 == 1)
                .map(|(_, l)| l)
                .collect();
            text += &format!(" key \"{n}\" {} ST\n", lines.join(" "));
        }
        let (board, mistakes) = Keyboard::read(&(text + "}"));
        assert!(mistakes.is_empty(), "{mistakes:?}");
        board
    }

    fn seen(board: &Keyboard, faults: &[KeyFault]) -> Vec<(usize, u64, u64)> {
        (0..board.keys.len())
            .map(|k| (k, !0, board.code(k, faults)))
            .collect()
    }

    #[test]
    fn codes_are_the_digits_and_a_broken_diode_gives_another() {
        let board = digits();
        for n in 0..10 {
            assert_eq!(board.code(n, &[]), n as u64 | 16);
        }
        assert_eq!(board.code(7, &[KeyFault::DiodeOpen(7, 1)]), 5 | 16);
        assert_eq!(board.code(7, &[KeyFault::ContactOpen(7)]), 0);
        assert_eq!(board.code(4, &[KeyFault::ContactStuck(3)]), 7 | 16);
        // Key 4 pulls C; the shorted diode of key 5 to C pulls key 5's wire, and so A.
        assert_eq!(board.code(4, &[KeyFault::DiodeShort(5, 2)]), 5 | 16);
    }

    #[test]
    fn every_single_fault_and_pair_is_explained_against_trying_all() {
        let board = digits();
        let all = board.faults();
        for fault in &all {
            let seen = seen(&board, &[*fault]);
            let wanted: Vec<Vec<KeyFault>> = all
                .iter()
                .filter(|f| self::seen(&board, &[**f]) == seen)
                .map(|f| vec![*f])
                .collect();
            let healthy = self::seen(&board, &[]) == seen;
            let mut wanted = if healthy { vec![Vec::new()] } else { wanted };
            wanted.sort();
            assert_eq!(board.explain(&seen, 2), wanted, "{}", board.named(*fault));
        }
        for step in (0..all.len() * all.len()).step_by(97) {
            let pair = [all[step / all.len()], all[step % all.len()]];
            let seen = seen(&board, &pair);
            let mut wanted: Vec<Vec<KeyFault>> = Vec::new();
            for (i, a) in all.iter().enumerate() {
                for b in &all[i + 1..] {
                    if self::seen(&board, &[*a, *b]) == seen {
                        let mut set = vec![*a, *b];
                        set.sort();
                        wanted.push(set);
                    }
                }
            }
            wanted.sort();
            let ours = board.explain(&seen, 2);
            assert!(!ours.is_empty());
            if ours[0].len() == 2 {
                assert_eq!(
                    ours,
                    wanted,
                    "{} and {}",
                    board.named(pair[0]),
                    board.named(pair[1])
                );
            }
        }
    }

    #[test]
    fn mistakes_have_their_places() {
        let (board, mistakes) = Keyboard::read(
            "keyboard k {\n line A\n key \"1\" A\n key \"1\" A\n key \"2\" Z\n knob x\n}",
        );
        let said: Vec<(usize, &str)> = mistakes
            .iter()
            .map(|m| (m.line, m.message.as_str()))
            .collect();
        assert_eq!(
            said,
            [
                (4, "Key 1 is there twice."),
                (5, "Key 2 pulls Z, which is no line."),
                (6, "`knob` is not known here.")
            ]
        );
        assert_eq!(board.keys.len(), 2);
        for text in ["", "keyboard", "logic {}", "{{{"] {
            assert!(!Keyboard::read(text).1.is_empty(), "{text}");
        }
    }
}
