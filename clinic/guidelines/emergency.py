"""Which signs call for an ambulance before anything else, whatever stands on the foot?

An emergency is no matter of the foot clinic: the national number stands before every number of its own, and
before a device is opened.
"""

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["EMERGENCY_SIGNS", "EmergencySign", "asks_for_ambulance"]

PRACTICE = "common practice, no source"
SEPSIS = "nidirect.gov.uk, Recognising the signs and symptoms of sepsis (read)"


@dataclass(frozen=True)
class EmergencySign:
    """One sign for which an ambulance is called first.

    Parameters
    ----------
    id : str
    words : str
        What the staff's screens say.
    source : str
        Publication, or that it is common practice.
    flag : str
        Red flag whose question names this sign too.
    """

    id: str
    words: str
    source: str
    flag: str


EMERGENCY_SIGNS: tuple[EmergencySign, ...] = (
    EmergencySign("chest_pain", "Chest pain", PRACTICE, "breathlessness"),
    EmergencySign("breathlessness", "Breathlessness", PRACTICE, "breathlessness"),
    EmergencySign(
        "sepsis",
        "Signs of sepsis: new confusion or slurred speech; hard to wake; fast breathing; severe shivering; "
        "skin cold, pale, blue or mottled; faint; no urine for a day",
        SEPSIS,
        "fever_or_unwell",
    ),
)


def asks_for_ambulance(flags: Iterable[str]) -> bool:
    """Whether a red flag among these names an emergency sign by itself.

    Fever or feeling unwell alone does not: the signs of sepsis are asked about beside it.

    Parameters
    ----------
    flags : iterable of str
        Keys of red flags.

    Returns
    -------
    bool

    Examples
    --------
    >>> asks_for_ambulance(["gangrene"]), asks_for_ambulance(["gangrene", "breathlessness"])
    (False, True)
    """
    return "breathlessness" in set(flags)
