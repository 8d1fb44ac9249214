//! Who may touch the world: files, sockets, clocks.

use crate::Breach;
use crate::rust::{self, Token};
use crate::tree::Tree;

/// A way to the world, who may take it, and the words by which it is taken.
struct Door {
    act: &'static str,
    may: &'static [&'static str],
    /// Each a path: its parts must follow one another.
    names: &'static [&'static [&'static str]],
}

const DOORS: &[Door] = &[
    Door {
        act: "open files",
        may: &["store", "cli"],
        names: &[
            &["fs"],
            &["File", "open"],
            &["File", "create"],
            &["OpenOptions"],
            &["rusqlite"],
            &["memmap2"],
        ],
    },
    Door {
        act: "open sockets",
        may: &["web", "link"],
        names: &[
            &["TcpListener"],
            &["TcpStream"],
            &["UdpSocket"],
            &["UnixListener"],
            &["UnixStream"],
            &["UnixDatagram"],
            &["ToSocketAddrs"],
            &["tokio", "net"],
            &["hyper"],
            &["reqwest"],
        ],
    },
    Door {
        act: "read clocks",
        may: &["web", "cli"],
        names: &[
            &["Instant", "now"],
            &["SystemTime"],
            &["Timestamp", "now"],
            &["Zoned", "now"],
            &["clock_gettime"],
            &["getrusage"],
            &["ProcessTime"],
            &["ThreadTime"],
        ],
    },
];

/// Doors that are used by a crate that may not.
pub fn breaches(tree: &Tree) -> Vec<Breach> {
    let mut found = Vec::new();
    for name in tree.crates() {
        for (file, text) in tree.rust(name, "src") {
            let code = rust::code(text);
            let tokens = rust::tokens(&code);
            for door in DOORS.iter().filter(|d| !d.may.contains(&name)) {
                for token in used(&tokens, door) {
                    found.push(Breach {
                        file: file.to_owned(),
                        line: token.line,
                        what: format!(
                            "{name} may not {}: that is left to {} (`{}`)",
                            door.act,
                            door.may.join(" and "),
                            token.text
                        ),
                    });
                }
            }
        }
    }
    found
}

fn used<'a>(tokens: &[Token<'a>], door: &Door) -> Vec<Token<'a>> {
    let matches = |at: usize, path: &[&str]| {
        path.iter().enumerate().all(|(k, word)| {
            let here = tokens.get(at + 2 * k).is_some_and(|t| t.text == *word);
            let joined = k == 0 || tokens.get(at + 2 * k - 1).is_some_and(|t| t.text == "::");
            here && joined
        })
    };
    (0..tokens.len())
        .filter(|&i| door.names.iter().any(|path| matches(i, path)))
        .map(|i| tokens[i])
        .collect()
}
