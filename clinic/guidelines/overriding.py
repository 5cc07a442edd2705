"""May a device that stays on be chosen against what withholds it, and who has to sign?

Only a *known* danger is weighed against the gain, by two clinicians; what nobody has measured is measured.
Common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from clinic.guidelines.clocks import Clock, Hours, clock_words, one_working_day_after
from clinic.guidelines.standing_state import LimbState

__all__ = ["LESSER_REASONS", "Overriding", "confirmation_clock", "may_be_closed", "overriding_of"]

#: Coded reasons that speak for a less protective device, never for one that stays on and is withheld (design
#: choice).
LESSER_REASONS: frozenset[str] = frozenset({"person_declines", "cannot_attend", "fact_missing"})
SECOND = (
    "Against a known danger a non-removable device needs a second signature: a registered clinician of this "
    "clinic other than the signer, or one outside by telephone, confirmed within two working days. Until "
    "then a walker stays unsealed (common practice, no source)."
)


@dataclass(frozen=True)
class Overriding:
    """What choosing a withheld device that stays on asks for.

    Parameters
    ----------
    kind : {"barred", "measure", "second"}
        Nobody may sign it; something has to be measured first; a second clinician signs it.
    words : str
        The sentence for the page and for the refusal.
    """

    kind: Literal["barred", "measure", "second"]
    words: str


def overriding_of(state: LimbState, missing: Iterable[str]) -> Overriding:
    """What stands in the way of choosing a withheld device that stays on.

    Parameters
    ----------
    state : LimbState
        What stands about the foot.
    missing : iterable of str
        Other facts that are not known, in words.

    Returns
    -------
    Overriding
    """
    why = f"A non-removable device is not signed on this foot. {' '.join(state.withheld_because)}".strip()
    if state.override_barred:
        barred = ", ".join(state.override_barred)
        return Overriding("barred", f"{why} No signature overrides {barred} (common practice, no source).")
    unknown = [*_unmeasured(state), *missing]
    if unknown:
        return Overriding(
            "measure",
            f"{why} What is not known is measured, not overridden: {'; '.join(dict.fromkeys(unknown))}.",
        )
    return Overriding("second", SECOND)


def may_be_closed(state: LimbState) -> bool:
    """Whether a device that two clinicians signed against a known danger may be fitted and sealed today:
    nothing bars it, nothing is unknown by now, and the foot was looked at in full today.

    Parameters
    ----------
    state : LimbState

    Returns
    -------
    bool
    """
    infection = state.infection
    bone_looked = infection.bone in ("probable", "proven") or infection.bone_on == state.today
    return overriding_of(state, ()).kind == "second" and infection.on == state.today and bone_looked


def _unmeasured(state: LimbState) -> list[str]:
    """What nobody has found out about blood and infection; "unwell" by itself is asked and measured."""
    blood, infection = state.ischaemia, state.infection
    found = []
    if blood.grade is None or not blood.settled:
        found.append("perfusion of the foot")
    if infection.grade is None:
        found.append("signs of infection")
    if infection.bone in (None, "possible"):
        found.append("infection of the bone")
    if infection.deep is None:
        found.append("infection beneath the skin")
    if infection.unwell is None or (infection.unwell and (infection.grade or 0) < 3):
        found.append("fever, pulse, breathing and white cells")
    return found


def confirmation_clock(spoken_at: datetime, hours: Hours, now: datetime) -> Clock:
    """By when a second signature given by telephone is confirmed: within two working days (common practice,
    no source).

    Parameters
    ----------
    spoken_at, now : datetime
        With time zone.
    hours : Hours

    Returns
    -------
    Clock
        An ask until its limit, then a stop.
    """
    due = one_working_day_after(one_working_day_after(spoken_at, hours), hours)
    words = clock_words(due, now, hours.zone)
    return Clock("stop", due, f"{words}, now past") if now > due else Clock("ask", due, words)
