"""What comes in as text is counted before it is parsed: one place for JSON, CSV and lists of points.

A text is refused in words for its length, a long field, a long number, deep nesting, line ends and marks that
a spreadsheet or an editor left in it, before any parser sees it; and no number that is not finite passes.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from dataclasses import dataclass
from typing import Any, NoReturn

from offload.core.errors import ReliefError

__all__ = ["Bounds", "IntakeError", "csv_rows", "json_value", "number_of", "points_of", "text_of"]

LONGEST_NUMBER = 25  # digits in a row; a double prints 17
LARGEST_NUMBER = 1e9  # no length, pressure or count of this program comes near it
LONGEST_FIELD = 200  # characters of one CSV cell
MARK = "\ufeff"
PLAIN_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
BYTES_OF_OTHERS = (b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf")


class IntakeError(ReliefError):
    """A text cannot be taken in; the sentence says what was counted and what the limit is."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """How much one intake takes.

    Attributes
    ----------
    characters
        Length of the whole text.
    values
        Numbers in it.
    depth
        Brackets within brackets.
    """

    characters: int
    values: int
    depth: int = 4


def text_of(content: bytes, bounds: Bounds) -> str:
    """Text of a file.

    Raises
    ------
    IntakeError
        If it is too long, is not UTF-8, or begins with a byte order mark.
    """
    if len(content) > bounds.characters:
        raise IntakeError(f"{len(content)} bytes were given; at most {bounds.characters} are read")
    if content.startswith(BYTES_OF_OTHERS):
        raise IntakeError("it begins with a byte order mark; save it as UTF-8 without one")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise IntakeError(f"byte {fault.start + 1} is not UTF-8; save it as UTF-8") from fault


def _counted(text: str, bounds: Bounds) -> str:
    if len(text) > bounds.characters:
        raise IntakeError(f"{len(text)} characters were given; at most {bounds.characters} are read")
    if text.startswith(MARK):
        raise IntakeError("it begins with a byte order mark; save it as UTF-8 without one")
    if re.search(r"\r(?!\n)", text):
        raise IntakeError("its lines end with a bare carriage return; save it with ordinary line ends")
    if strange := re.search(r"[^\t\n\r\x20-\uffff]|[\x7f-\x9f\ufeff\ufffe\uffff\ud800-\udfff]", text):
        raise IntakeError(f"character {strange.start() + 1} is not text (code {ord(strange[0]):x})")
    if long := re.search(rf"[0-9]{{{LONGEST_NUMBER + 1},}}", text):
        raise IntakeError(f"a number has {len(long[0])} digits in a row; at most {LONGEST_NUMBER} are read")
    return text


def json_value(text: str, bounds: Bounds) -> Any:
    """The value of a JSON text, counted before it is parsed.

    Raises
    ------
    IntakeError
        If it is too long, nested too deeply, holds too many values or a number that is not finite or over
        1e9, or cannot be read.

    Examples
    --------
    >>> json_value("[[1, 2.5]]", Bounds(100, 10))
    [[1, 2.5]]
    """
    _counted(text, bounds)
    values = text.count(",") + 1
    if values > bounds.values:
        raise IntakeError(f"{values} values were given; at most {bounds.values} are read")
    depth = deepest = 0
    for bracket in re.findall(r"[\[\]{}]", text):
        depth += 1 if bracket in "[{" else -1
        deepest = max(deepest, depth)
    if deepest > bounds.depth:
        raise IntakeError(f"brackets stand {deepest} deep; at most {bounds.depth}")
    try:
        return json.loads(text, parse_int=_whole, parse_float=_finite, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as fault:
        if isinstance(fault, IntakeError):
            raise
        at = f" at character {fault.pos + 1}" if isinstance(fault, json.JSONDecodeError) else ""
        raise IntakeError(f"it cannot be read as JSON{at}") from fault


def _whole(text: str) -> int:
    _finite(text)
    return int(text)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value) or abs(value) > LARGEST_NUMBER:
        raise IntakeError(f"a number is {text[:20]}; finite numbers up to {LARGEST_NUMBER:g} are read")
    return value


def _refuse_constant(name: str) -> NoReturn:
    raise IntakeError(f"it holds {name}, which is no number")


def csv_rows(text: str, bounds: Bounds) -> list[list[str]]:
    """Rows of a table without a header, the separator being the one of comma, semicolon and tab that stands
    most often in its first line; empty rows are left out.

    Raises
    ------
    IntakeError
        If it is too long, has too many cells or a cell of over 200 characters, or cannot be read.

    Examples
    --------
    >>> csv_rows("1;2\\n3;4", Bounds(100, 10))
    [['1', '2'], ['3', '4']]
    """
    _counted(text, bounds)
    first = text.split("\n", 1)[0]
    separator = max(",;\t", key=first.count)
    cells = text.count(separator) + text.count("\n") + 1
    if cells > bounds.values:
        raise IntakeError(f"{cells} cells were given; at most {bounds.values} are read")
    if long := re.search(rf"[^{separator}\n]{{{LONGEST_FIELD + 1},}}", text):
        raise IntakeError(f"one cell has {len(long[0])} characters; at most {LONGEST_FIELD} are read")
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=separator, strict=True))
    except csv.Error as fault:
        raise IntakeError(f"it cannot be read as a table ({fault})") from fault
    return [row for row in rows if any(map(str.strip, row))]


def number_of(text: str) -> float:
    """A number as files write it, digits 0 to 9 and a point; `float` reads underscores and other digits too.

    Raises
    ------
    IntakeError
        If it is no number, is not finite or lies over 1e9.
    """
    if not PLAIN_NUMBER.fullmatch(text.strip()):
        raise IntakeError(f"“{text.strip()[:20]}” is no number")
    return _finite(text)


def points_of(text: str, most: int) -> list[tuple[float, float]]:
    """Points typed as `x, y`, one a line or with `;` between them; counted before one is read.

    Raises
    ------
    IntakeError
        Naming the point that is not two finite numbers, or how many there are.

    Examples
    --------
    >>> points_of("1, 2; 3 4", 10)
    [(1.0, 2.0), (3.0, 4.0)]
    """
    given = 1 + text.count("\n") + text.count(";")
    if given > 2 * most:
        raise IntakeError(f"about {given} points given; at most {most} are allowed")
    _counted(text, Bounds(80 * most, 2 * most))
    parts = [part for part in re.split(r"[\n;]", text) if part.strip()]
    if len(parts) > most:
        raise IntakeError(f"{len(parts)} points given; at most {most} are allowed")
    points = []
    for number, part in enumerate(parts, start=1):
        try:
            x, y = map(number_of, re.split(r"[,\s]+", part.strip()))
        except ValueError:
            raise IntakeError(
                f"point {number} is “{part.strip()[:30]}”; two numbers are needed, such as 12.5, 30"
            ) from None
        points.append((x, y))
    return points
