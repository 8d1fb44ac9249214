//! Words of a line as a person types them: quotes where a blank is inside, `key=value` without.

/// A word, or a pair of a key and a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Word {
    /// The key before the equals sign.
    pub key: Option<String>,
    /// The word, or the value.
    pub text: String,
}

impl Word {
    /// `key=text`.
    pub fn pair(key: &str, text: &str) -> Self {
        Self {
            key: Some(key.to_owned()),
            text: text.to_owned(),
        }
    }

    /// As it is typed: without quotes where none are needed.
    pub fn shown(&self) -> String {
        let needs = self.text.is_empty() || self.text.contains([' ', '"', '=', '\\']);
        let text = if needs {
            crate::start::quoted(&self.text)
        } else {
            self.text.clone()
        };
        self.key
            .as_ref()
            .map_or(text.clone(), |key| format!("{key}={text}"))
    }

    /// As KDL: quoted, but for keywords such as `#true`.
    fn quoted(&self) -> String {
        let text = if self.text.starts_with('#') {
            self.text.clone()
        } else {
            crate::start::quoted(&self.text)
        };
        self.key
            .as_ref()
            .map_or(text.clone(), |key| format!("{key}={text}"))
    }
}

/// The words of a line.
pub fn line_words(line: &str) -> Vec<Word> {
    let mut words = Vec::new();
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.peek() {
        if c.is_whitespace() {
            chars.next();
            continue;
        }
        let (mut key, mut text) = (None, String::new());
        let mut in_string = false;
        while let Some(c) = chars.peek().copied() {
            if !in_string && c.is_whitespace() {
                break;
            }
            chars.next();
            match c {
                '"' => in_string = !in_string,
                '\\' if in_string => text.extend(chars.next()),
                '=' if !in_string && key.is_none() => key = Some(std::mem::take(&mut text)),
                c => text.push(c),
            }
        }
        words.push(Word { key, text });
    }
    words
}

/// Words as KDL.
pub fn quoted_words(words: &[Word]) -> String {
    let list: Vec<String> = words.iter().map(Word::quoted).collect();
    list.join(" ")
}
