"""What a reader of screens, prints and messages sees of a source file: where each piece begins, its words.

Keys, names, addresses, comments and docstrings are no words.
"""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

__all__ = ["pieces", "sentences"]

#: What the template engine reads, and what a browser reads, in a template.
ENGINE = re.compile(r"\{%\s*comment.*?endcomment\s*%\}|\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", re.S)
ELEMENT = re.compile(r"<!--.*?-->|<script.*?</script>|<[^<>]*>", re.S)
NO_WORDS = re.compile(r"\{#|\{%\s*(comment|url|load|include|extends|static|block)\b")
QUOTED = re.compile(r"\"([^\"]*)\"|'([^']*)'")
#: Attributes whose value is read out or shown.
SHOWN = re.compile(r"\b(?:title|alt|aria-label|placeholder|data-[a-z-]+)=\"([^\"]*)\"")
#: Stands for each character of a piece that is no text.
MASK = "\0"
WORDS = re.compile(r"[^\0]*[^\0\s][^\0]*")
STRING = re.compile(r"\"((?:[^\"\\\n]|\\.)*)\"|'((?:[^'\\\n]|\\.)*)'|`((?:[^`\\]|\\.)*)`")
HOLE = re.compile(r"\{[^{}]*\}")
#: A string that says something holds a space between letters, or is one capitalised word.
SAYS = re.compile(r"[A-Za-z0-9:,.;%’)]\s+\S*[A-Za-z{]|^[A-Z][a-z]+(?:-[a-z]+)*[.:]?$")


def _masked(match: re.Match[str]) -> str:
    return MASK * len(match.group())


def _template_pieces(text: str) -> Iterator[tuple[int, str]]:
    found = []
    for tag in ENGINE.finditer(text):
        if not NO_WORDS.match(tag.group()):
            found += [(tag.start() + at, words) for at, words in _quoted(tag.group())]
    page = ENGINE.sub(_masked, text)
    for element in ELEMENT.finditer(page):
        if not element.group().startswith(("<!--", "<script")):
            for value in SHOWN.finditer(element.group()):
                start = element.start() + value.start(1)
                found += [(start + one.start(), one.group()) for one in WORDS.finditer(value.group(1))]
    found += [(one.start(), one.group()) for one in WORDS.finditer(ELEMENT.sub(_masked, page))]
    yield from sorted(found)


def _quoted(tag: str) -> Iterator[tuple[int, str]]:
    for match in QUOTED.finditer(tag):
        group = 1 if match.group(1) is not None else 2
        if SAYS.search(match.group(group)):
            yield match.start(group), match.group(group)


def _docstrings(tree: ast.AST) -> set[int]:
    """First lines of strings that stand as statements: docstrings, of whatever they follow."""
    return {
        node.value.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }


def _program_pieces(text: str) -> Iterator[tuple[int, str]]:
    no_words = _docstrings(ast.parse(text))
    lines = [0]
    for line in text.splitlines(keepends=True):
        lines.append(lines[-1] + len(line))
    statement_begins = True
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.STRING:
            if not (statement_begins and token.start[0] in no_words):
                yield from _literal(token.string, lines[token.start[0] - 1] + token.start[1])
            statement_begins = False
        elif token.type in (tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT):
            statement_begins = True
        elif token.type not in (tokenize.NL, tokenize.COMMENT):
            statement_begins = False


def _literal(source: str, start: int) -> Iterator[tuple[int, str]]:
    head = re.match(r"[A-Za-z]*(\"\"\"|'''|\"|')", source)
    if head is None or "b" in head.group().lower():
        return
    inside = source[head.end() : -len(head.group(1))]
    if not SAYS.search(inside):
        return
    at = 0
    holes = HOLE.finditer(inside) if "f" in head.group().lower() else iter(())
    for hole in holes:
        if inside[at : hole.start()].strip():
            yield start + head.end() + at, inside[at : hole.start()]
        at = hole.end()
    if inside[at:].strip():
        yield start + head.end() + at, inside[at:]


def _script_pieces(text: str) -> Iterator[tuple[int, str]]:
    for match in STRING.finditer(text):
        group = next(number for number in (1, 2, 3) if match.group(number) is not None)
        if SAYS.search(match.group(group)):
            yield match.start(group), match.group(group)


def _table_pieces(text: str) -> Iterator[tuple[int, str]]:
    for match in STRING.finditer(re.sub(r"(?m)^\s*#.*$", lambda one: " " * len(one.group()), text)):
        group = next(number for number in (1, 2, 3) if match.group(number) is not None)
        if " " in match.group(group):
            yield match.start(group), match.group(group)


READERS = {
    ".html": _template_pieces,
    ".py": _program_pieces,
    ".js": _script_pieces,
    ".toml": _table_pieces,
}


def pieces(path: Path) -> list[tuple[int, str]]:
    """Where each visible piece of a file begins, and the piece, in their order."""
    return list(READERS[path.suffix](path.read_text()))


def sentences(path: Path) -> list[tuple[int, str]]:
    """The same as lines and joined words: strings written one after the other are one sentence."""
    text = path.read_text()
    if path.suffix != ".py":
        return [(text.count("\n", 0, at) + 1, " ".join(words.split())) for at, words in pieces(path)]
    tree = ast.parse(text)
    no_words = _docstrings(tree)
    found = []
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Constant) and isinstance(node.value, str)):
            continue
        if SAYS.search(node.value) and node.lineno not in no_words:
            found.append((node.lineno, " ".join(node.value.split())))
    return found
