"""One edition of the rule table: read from its file, checked before anything is decided by it."""

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from clinic.guidelines.errors import TableError
from clinic.guidelines.rows import CELLS, DOMAINS, MISSING, READ_FROM, Recommendation, Row, Table
from clinic.guidelines.soundness import faults_of

__all__ = [
    "CELLS",
    "DOMAINS",
    "MISSING",
    "READ_FROM",
    "Recommendation",
    "Row",
    "Table",
    "current",
    "editions",
    "load",
    "table_from",
]


def _row(raw: Mapping[str, Any], sources: Mapping[str, str]) -> Row:
    refer = raw.get("refer", ())
    return Row(
        id=raw["id"],
        kind=raw["kind"],
        when={name: tuple(values) for name, values in raw["when"].items()},
        because=raw["because"],
        source=sources.get(raw["source"], ""),
        topic=raw.get("topic"),
        classes=tuple(raw.get("classes", ())),
        always=tuple(raw.get("always", ())),
        refer=(refer,) if isinstance(refer, str) else tuple(refer),
        urgency=raw.get("urgency"),
        tier=raw.get("tier", 0),
        derived=raw.get("derived", False),
        line=raw.get("line"),
    )


ROW_KEYS = {
    "id",
    "kind",
    "when",
    "because",
    "source",
    "topic",
    "classes",
    "always",
    "refer",
    "urgency",
    "tier",
    "derived",
    "line",
}


def _stamp(edition: Mapping[str, Any]) -> str:
    """What an answer is stamped with: edition, revision of its rows, and which of them are an older text."""
    stamp = f"{edition['id']}, table revision {edition['revision']} of {edition['transcribed'].isoformat()}"
    return f"{stamp}; {edition['older']}" if "older" in edition else stamp


def table_from(raw: Mapping[str, Any]) -> Table:
    """Build and check a table from its parsed file.

    Parameters
    ----------
    raw : mapping
        As ``tomllib`` gives it.

    Returns
    -------
    Table

    Raises
    ------
    TableError
        If a key is absent or unknown, an id, class, referral, topic, source or value is not known, rows of
        one line overlap, the matrix or the site list has a gap, or a site is left without any offer.
    """
    try:
        edition, sources = raw["edition"], raw["sources"]
        unknown_keys = [
            f"row {r.get('id', '?')} has the unknown key {key}"
            for r in raw["row"]
            for key in r
            if key not in ROW_KEYS
        ]
        recommendations = {
            r["topic"]: Recommendation(**{**r, "source": sources.get(r["source"], "")})
            for r in raw["recommendation"]
        }
        table = Table(
            id=edition["id"],
            edition=_stamp(edition),
            year=edition["year"],
            revision=edition["revision"],
            transcribed=edition["transcribed"],
            source=sources.get(edition["source"], ""),
            matrix={
                (int(grade), ischaemia): cell
                for grade, cells in raw["matrix"].items()
                if grade != "source"
                for ischaemia, cell in enumerate(cells)
            },
            sites={
                (region, surface): (site["kind"], site.get("doubt", False))
                for site in raw["site"]
                for region in site["regions"]
                for surface in site["surfaces"]
            },
            recommendations=recommendations,
            rows=tuple(_row(r, sources) for r in raw["row"]),
        )
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise TableError((f"the rule table lacks or mistypes {error}",)) from error
    faults = (*unknown_keys, *faults_of(table))
    if faults:
        raise TableError(faults)
    return table


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise TableError((f"the rule table {path.name} cannot be read: {error}",)) from error


def _merged(raw: dict[str, Any], path: Path) -> dict[str, Any]:
    """An edition written as its differences from another file in the same folder."""
    edition = raw.get("edition", {})
    if "extends" not in edition:
        return raw
    base = _read(path.with_name(edition["extends"]))
    if "extends" in base["edition"]:
        raise TableError((f"{path.name} extends {edition['extends']}, which extends another; must be whole",))
    known = {r["topic"] for r in base["recommendation"]} | {r["id"] for r in base["row"]}
    dropped = set(edition.get("drops", ()))
    if strangers := dropped - known:
        raise TableError(
            (f"{path.name} drops {', '.join(sorted(strangers))}, which {edition['extends']} lacks",)
        )
    merged: dict[str, Any] = {
        **base,
        **{key: raw[key] for key in raw if key in ("edition", "matrix", "site")},
    }
    merged["sources"] = {**base["sources"], **raw.get("sources", {})}
    for key, name in (("recommendation", "topic"), ("row", "id")):
        changed = {r[name]: r for r in raw.get(key, ())}
        kept = [changed.pop(r[name], r) for r in base[key] if r[name] not in dropped]
        merged[key] = kept + list(changed.values())
    return merged


def load(path: Path) -> Table:
    """Read one edition from its file.

    Parameters
    ----------
    path : pathlib.Path
        A file in the form of ``rules.toml``: whole, or with ``extends`` naming a whole file beside it whose
        rows and recommendations it replaces by id, adds to, or ``drops``.

    Returns
    -------
    Table

    Raises
    ------
    TableError
        If the file is not such a table; see :func:`table_from`.
    """
    return table_from(_merged(_read(path), path))


@cache
def current() -> Table:
    """The edition in force, read once.

    Returns
    -------
    Table
    """
    return load(Path(__file__).with_name("rules.toml"))


@cache
def editions() -> dict[str, Table]:
    """Every edition of this package by its id, the one in force first.

    Returns
    -------
    dict of str to Table
    """
    older = [load(path) for path in sorted(Path(__file__).parent.glob("rules_*.toml"), reverse=True)]
    return {table.id: table for table in (current(), *older)}
