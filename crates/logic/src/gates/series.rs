//! The packages that come with the program, by number.

use std::sync::LazyLock;

use super::block::Block;
use super::place::Places;

static SERIES: LazyLock<Vec<Block>> = LazyLock::new(|| {
    let mut places = Places::new(include_str!("../../data/series74.kdl"));
    let document = places.document();
    let blocks = document.iter().flat_map(|d| d.nodes()).filter_map(|node| {
        let is_package = node.name().value() == "package";
        Block::read(node, is_package, &mut places)
    });
    let blocks: Vec<Block> = blocks.collect();
    assert!(
        places.found.is_empty(),
        "the shipped packages: {:?}",
        places.found
    );
    blocks
});

/// A package that can be named on a sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// Its number, or the word for an element without a number.
    pub number: &'static str,
    /// What is in it.
    pub title: &'static str,
    /// Pins that take a level.
    pub inputs: Vec<&'static str>,
    /// Pins that give one.
    pub outputs: Vec<&'static str>,
    /// Pins for the supply and for parts outside.
    pub power: Vec<&'static str>,
}

/// All packages by number, then the elements without one.
pub fn packages() -> Vec<Listed> {
    let of = |b: &'static Block| Listed {
        number: &b.name,
        title: &b.title,
        inputs: b.inputs(),
        outputs: b.outputs.iter().map(String::as_str).collect(),
        power: b.power.iter().map(String::as_str).collect(),
    };
    SERIES.iter().map(of).collect()
}

/// The package of a number as it is printed on the case, such as `SN74H00N`, or the element of a word.
pub(crate) fn find(word: &str) -> Option<&'static Block> {
    let exact = |w: &str| SERIES.iter().find(|b| b.name == w);
    exact(word).or_else(|| exact(&plain(word)?))
}

/// `SN74LS00N` as `7400`: families of one number share pins in this list, which holds for none of those that are missing from it.
fn plain(word: &str) -> Option<String> {
    let start = word.find("74").or_else(|| word.find("54"))?;
    if !word[..start].chars().all(|c| c.is_ascii_alphabetic()) {
        return None;
    }
    let rest =
        word[start + 2..].trim_start_matches(|c: char| "HLS".contains(c.to_ascii_uppercase()));
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    let tail = &rest[digits.len()..];
    (!digits.is_empty() && tail.chars().all(|c| c.is_ascii_alphabetic()))
        .then(|| format!("74{digits}"))
}

/// Names of packages near a word that is none.
pub(crate) fn near(word: &str) -> String {
    let number = plain(word).unwrap_or_else(|| word.to_owned());
    let like = |b: &&Block| b.name.len() >= 3 && number.starts_with(&b.name[..b.name.len() - 1]);
    let near: Vec<&str> = SERIES
        .iter()
        .filter(like)
        .map(|b| b.name.as_str())
        .take(6)
        .collect();
    if near.is_empty() {
        "Describe it as a block with its function, or write `knowngood logic packages` for those that are known.".to_owned()
    } else {
        format!(
            "Known are {}; any other can be described as a block.",
            near.join(", ")
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_printed_on_the_case() {
        for (word, number) in [
            ("7400", "7400"),
            ("SN7400N", "7400"),
            ("74H10", "7410"),
            ("SN54LS181J", "74181"),
            ("DM7474N", "7474"),
        ] {
            assert_eq!(find(word).map(|b| b.name.as_str()), Some(number), "{word}");
        }
        for word in ["9300", "7400-2", "A1B7400", "74", ""] {
            assert!(find(word).is_none(), "{word}");
        }
    }
}
