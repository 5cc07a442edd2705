"""The contact check: whether the space under an ulcer stays open when somebody stands on the insole.

A check that has never been seen to fail proves nothing. So the same marker or film is first tried on a dummy
that must touch: the piece that was cut out, put back into the opening. Only after its mark was seen does a
clean base count. Design choice, no source; each result and what follows from it are practice.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

__all__ = [
    "CLEAN",
    "FOLLOWS",
    "METHODS",
    "PLACES",
    "RESULTS",
    "TOUCHED",
    "UNREADABLE",
    "ContactFault",
    "ContactStep",
    "contact_fault",
    "contact_steps",
    "where_words",
]

CLEAN, TOUCHED, UNREADABLE = "clean", "touched", "unreadable"

RESULTS: dict[str, str] = {
    CLEAN: "Clean: no mark in the empty opening",
    TOUCHED: "Touched: a mark in the empty opening",
    UNREADABLE: "Not readable: smeared, shifted, or the dummy left no mark",
}
FOLLOWS: dict[str, str] = {
    CLEAN: "The space stays open at these steps. The insole stays as it is.",
    TOUCHED: "The ulcer is not relieved: the plan is flagged and nothing is sealed. Cut deeper or wider, as "
    "a new version, or let a podiatrist answer the flag.",
    UNREADABLE: "Nothing is known: nothing is sealed. Repeat the check with fresh marker or film, the dummy "
    "first.",
}
METHODS: dict[str, str] = {
    "marker": "Marker on the underside of the cover",
    "film": "Film on the base of the opening",
}
#: Where in an opening a mark can lie, and what it asks for.
PLACES: dict[str, tuple[str, str]] = {
    "base": ("base of the opening", "cut deeper or another layer"),
    "toes": ("wall towards the toes", "widen the opening towards the toes"),
    "heel": ("wall towards the heel", "widen the opening towards the heel"),
    "inner": ("inner wall", "widen the opening on its inner side"),
    "outer": ("outer wall", "widen the opening on its outer side"),
}


@dataclass(frozen=True, slots=True)
class ContactFault:
    """Why a result cannot be taken, and the field it stands at."""

    field: str
    words: str


@dataclass(frozen=True, slots=True)
class ContactStep:
    """One step of the check: its short name, which is also its picture's, and what is done."""

    name: str
    words: str


def contact_fault(
    *, found: str, method: str, dummy_marked: bool | None, where: Collection[str]
) -> ContactFault | None:
    """Say why a result cannot be taken.

    Parameters
    ----------
    found : str
        ``clean``, ``touched`` or ``unreadable``.
    method : str
        ``marker`` or ``film``.
    dummy_marked : bool or None
        Whether the dummy left its mark with this marker or film; None where no dummy was tried.
    where : collection of str
        Names of the places that carry a mark, each ``label:place``.

    Returns
    -------
    ContactFault or None
        None where the result counts.

    Examples
    --------
    >>> contact_fault(found="clean", method="film", dummy_marked=None, where=()).field
    'dummy_marked'
    >>> contact_fault(found="touched", method="film", dummy_marked=None, where=("A:base",)) is None
    True
    """
    for field, value, known in (("found", found, RESULTS), ("method", method, METHODS)):
        if value not in known:
            return ContactFault(field, f"{value or 'nothing'} given; one of {', '.join(known)} is needed.")
    if unknown := [one for one in where if one.rpartition(":")[2] not in PLACES]:
        return ContactFault("where", f"{unknown[0]} given; the places are {', '.join(PLACES)}.")
    if found == CLEAN and dummy_marked is not True:
        tried = "left no mark" if dummy_marked is False else "was not tried"
        return ContactFault(
            "dummy_marked",
            f"The dummy {tried}, so this check was not seen to fail and a clean base proves nothing. Try the "
            "dummy and repeat, or record the check as not readable.",
        )
    if found == TOUCHED and not where:
        return ContactFault("where", "Nothing chosen; a mark was found, so say at least one place of it.")
    if found == CLEAN and where:
        return ContactFault("where", "A place with a mark is chosen, but the result is clean.")
    return None


def where_words(where: Collection[str]) -> str:
    """Say in words where marks were found.

    Parameters
    ----------
    where : collection of str
        Each ``label:place``.

    Examples
    --------
    >>> where_words(("A:base", "A:toes"))
    'ulcer A, base of the opening; ulcer A, wall towards the toes'
    """
    places = (one.rpartition(":") for one in where)
    return "; ".join(f"ulcer {label}, {PLACES[place][0]}" for label, _, place in places)


def contact_steps(method: str, depth: float) -> tuple[ContactStep, ...]:
    """List the steps of one method.

    Parameters
    ----------
    method : str
        ``marker`` or ``film``.
    depth : float
        Depth of the opening, which is the dummy's thickness [mm].

    Examples
    --------
    >>> [step.name for step in contact_steps("film", 6.0)]
    ['lay', 'dummy', 'empty', 'read']
    """
    lay = {
        "marker": "Before the cover is glued down, colour its underside over the whole opening with a marker "
        "that comes off on the hand.",
        "film": "Before the cover is glued down, lay a film that takes a mark on the base of the opening and "
        "up its walls.",
    }[method]
    mark = {"marker": "The piece must be marked", "film": "The film must be marked"}[method]
    fresh = {"marker": "colour the cover again", "film": "lay a fresh film"}[method]
    return (
        ContactStep("lay", lay),
        ContactStep(
            "dummy",
            f"Dummy first: put the piece that was cut out, {depth:g} mm thick, back into the opening and the "
            f"cover over it. A few steps in the device. {mark}. If it is not, the check cannot fail: stop, "
            "not readable.",
        ),
        ContactStep(
            "empty", f"Take the piece out, {fresh}, and repeat with the opening empty: the same few steps."
        ),
        ContactStep("read", "Lift the cover and look at base and walls of the opening, in good light."),
    )
