"""Reads the part of KDL 2.0 that sheets, meters and machine files use, into plain nodes.

The grammar is the published one (kdl.dev, KDL 2.0.0): nodes with arguments, properties and
children; quoted, raw and bare strings; numbers; `#true` and its kin; comments, `/-` and line
continuations. Type annotations and multi-line strings, which no sheet here uses, are refused.
"""

from dataclasses import dataclass, field

_WORDS = {"#true": True, "#false": False, "#null": None,
          "#inf": float("inf"), "#-inf": float("-inf"), "#nan": float("nan")}
_ESCAPES = {"n": "\n", "t": "\t", "r": "\r", "\\": "\\", '"': '"', "b": "\b", "f": "\f", "s": " "}
_CLOSERS = set(' \t\r\n;{}()[]"=#/\\')


class KdlError(ValueError):
    """A text that is not the KDL this reader knows, with the offset where it stopped."""


@dataclass
class Node:
    """One KDL node: its name, arguments in order, properties and children."""

    name: str
    args: list = field(default_factory=list)
    props: dict = field(default_factory=dict)
    children: list = field(default_factory=list)


def read(text):
    """Returns the top-level nodes of a document."""
    nodes, place = _nodes(text, 0)
    if place != len(text):
        raise KdlError(f"unexpected {text[place]!r} at offset {place}")
    return nodes


def _blank(text, at, lines):
    """Skips spaces, comments and continuations; newlines too where `lines` says so."""
    while at < len(text):
        if text.startswith("//", at):
            at = text.find("\n", at) if "\n" in text[at:] else len(text)
        elif text.startswith("/*", at):
            at = _block_comment_end(text, at)
        elif text[at] == "\\":
            at = _blank_to_newline(text, at + 1)
        elif text[at] in " \t\ufeff" or (lines and text[at] in "\r\n;"):
            at += 1
        else:
            break
    return at


def _block_comment_end(text, at):
    depth = 0
    while at < len(text):
        if text.startswith("/*", at):
            depth, at = depth + 1, at + 2
        elif text.startswith("*/", at):
            depth, at = depth - 1, at + 2
            if depth == 0:
                return at
        else:
            at += 1
    raise KdlError("a block comment is not closed")


def _blank_to_newline(text, at):
    at = _blank(text, at, False)
    if at < len(text) and text[at] not in "\r\n":
        raise KdlError(f"only a comment may follow a continuation, at offset {at}")
    return at + 1


def _nodes(text, at):
    found = []
    at = _blank(text, at, True)
    while at < len(text) and text[at] != "}":
        dropped = text.startswith("/-", at)
        if dropped:
            at = _blank(text, at + 2, True)
        node, at = _node(text, at)
        if not dropped:
            found.append(node)
        at = _blank(text, at, True)
    return found, at


def _node(text, at):
    name, at, _ = _value(text, at)
    node = Node(name if isinstance(name, str) else str(name))
    while True:
        at = _blank(text, at, False)
        if at >= len(text) or text[at] in "\r\n;}":
            return node, at
        dropped = text.startswith("/-", at)
        if dropped:
            at = _blank(text, at + 2, True)
        if text[at] == "{":
            children, at = _nodes(text, at + 1)
            if at >= len(text):
                raise KdlError("a brace is not closed")
            at += 1
            if not dropped:
                node.children += children
            continue
        value, at, is_word = _value(text, at)
        if is_word and at < len(text) and text[at] == "=":
            key, (value, at, _) = value, _value(text, at + 1)
            if not dropped:
                node.props[key] = value
        elif not dropped:
            node.args.append(value)


def _value(text, at):
    """One value, the offset after it, and whether it could name a property."""
    if text.startswith('"""', at) or text.startswith("(", at):
        raise KdlError(f"not used in sheets and not read here, at offset {at}")
    if text[at] == '"':
        return _quoted(text, at)
    if text[at] == "#":
        return _hash(text, at)
    end = at
    while end < len(text) and text[end] not in _CLOSERS:
        end += 1
    word = text[at:end]
    if not word:
        raise KdlError(f"unexpected {text[at]!r} at offset {at}")
    if word[0].isdigit() or (word[0] in "+-." and word[1:2].isdigit()):
        return _number(word, at), end, False
    if word in ("true", "false", "null", "inf", "-inf", "nan"):
        raise KdlError(f"`{word}` is quoted or written #{word}, at offset {at}")
    return word, end, True


def _quoted(text, at):
    out, at = [], at + 1
    while text[at] != '"':
        if text[at] != "\\":
            out.append(text[at])
            at += 1
        elif text[at + 1] == "u":
            end = text.index("}", at)
            out.append(chr(int(text[at + 3:end], 16)))
            at = end + 1
        else:
            out.append(_ESCAPES[text[at + 1]])
            at += 2
    return "".join(out), at + 1, True


def _hash(text, at):
    marks = len(text[at:]) - len(text[at:].lstrip("#"))
    if text.startswith('"', at + marks):
        end = text.index('"' + "#" * marks, at + marks + 1)
        return text[at + marks + 1:end], end + 1 + marks, True
    for word, meaning in _WORDS.items():
        if text.startswith(word, at):
            return meaning, at + len(word), False
    raise KdlError(f"`#` starts no known word at offset {at}")


def _number(word, at):
    plain = word.replace("_", "")
    try:
        for mark, base in (("0x", 16), ("0o", 8), ("0b", 2)):
            if plain.lstrip("+-").startswith(mark):
                return int(plain, base)
        return float(plain) if any(c in plain for c in ".eE") else int(plain)
    except ValueError as error:
        raise KdlError(f"`{word}` is no number and must be quoted, at offset {at}") from error
