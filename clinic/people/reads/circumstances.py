"""Reading what is asked once per person: the newest answer to each question, and its day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic.guidelines.due import too_old
from clinic.models import Circumstances, Person

__all__ = ["Answer", "CircumstancesCard", "circumstances_card"]

_ASKED = {
    "high_falls_risk": "High risk of falling",
    "mobility": "Mobility",
    "poor_sight": "Poor sight",
    "drives_or_job_at_risk": "Drives, or a job at risk",
    "help_at_home": "Has help at home",
    "cannot_attend_weekly": "Cannot attend every week",
    "declines_non_removable": "Declines a non-removable device",
    "nobody_to_notice": "Nobody would notice trouble in time",
    "claustrophobia": "Cannot bear to be closed in",
    "material_allergy": "Reacts to a material of the device",
}


@dataclass(frozen=True)
class Answer:
    """The newest answer to one question; without a day it was never asked."""

    name: str
    label: str
    words: str
    asked_on: date | None
    stale: bool = False


@dataclass(frozen=True)
class CircumstancesCard:
    answers: list[Answer]

    @property
    def ever_asked(self) -> bool:
        return any(answer.asked_on for answer in self.answers)


def _words(row: Circumstances, name: str) -> str:
    if name == "mobility":
        return row.get_mobility_display()
    note = f", {row.falls_note}" if name == "high_falls_risk" and row.falls_note else ""
    return f"{'Yes' if getattr(row, name) else 'No'}{note}"


def circumstances_card(person: Person, today: date) -> CircumstancesCard:
    """The newest answers (one query); the falls answer ages by the clinic's house rule."""
    rows = list(person.circumstances.all())
    answers = []
    for name, label in _ASKED.items():
        row = next((row for row in rows if getattr(row, name) not in (None, "")), None)
        if row is None:
            answers.append(Answer(name, label, "not asked", None))
            continue
        old = name == "high_falls_risk" and too_old(row.asked_on, person.site.falls_fresh_days, today)
        answers.append(Answer(name, label, _words(row, name), row.asked_on, old))
    return CircumstancesCard(answers)
