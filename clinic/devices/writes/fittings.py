"""The fitting record: the site's steps for this kind of device, answered one by one. Common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from clinic.guidelines.fitting import FIRST_REVIEW_DAYS, steps_for
from clinic.models import Fitting, Prescription, StepAnswer, User
from clinic.record.errors import Refused
from clinic.record.writes.rows import store

__all__ = ["FittingFindings", "fitting_store", "fitting_words", "sealed_list_check", "steps_of"]

LONGEST_BANDAGE_CM = Decimal(15)
LATER_REVIEW_DAYS = 14


@dataclass(frozen=True)
class FittingFindings:
    """What was done at a fitting: each step's answer by its words; an unanswered step was not done."""

    steps: Mapping[str, str] = field(default_factory=dict)
    bandage_below_knee_cm: Decimal | None = None
    watch_points: str = ""
    review_on: date | None = None
    note: str = ""


def steps_of(prescription: Prescription) -> tuple[str, ...]:
    """The steps of the site for this device, those of what stands beside it included."""
    own = prescription.limb.person.site.fitting_steps
    steps: dict[str, None] = {}
    for name in (prescription.device_class, *prescription.beside):
        steps |= dict.fromkeys(steps_for(name, own))
    return tuple(steps)


def fitting_store(
    *,
    by: User,
    prescription: Prescription,
    fitted_on: date,
    sealed: bool,
    open_by: date | None,
    found: FittingFindings,
) -> Fitting:
    """Check and keep one fitting; call inside the transaction of the fitting."""
    steps = _known_steps(prescription, found)
    if StepAnswer.NOT_APPLY in found.steps.values() and not found.note.strip():
        raise Refused("A step does not apply: say why in the note.", field="note")
    if found.bandage_below_knee_cm is not None and not 0 <= found.bandage_below_knee_cm <= LONGEST_BANDAGE_CM:
        raise Refused(
            f"Bandage ends below the knee: {found.bandage_below_knee_cm} cm given; "
            f"0 to {LONGEST_BANDAGE_CM} cm is allowed.",
            field="bandage_below_knee_cm",
        )
    row = Fitting(
        prescription=prescription,
        fitted_on=fitted_on,
        sealed=sealed,
        open_by=open_by if sealed else None,
        steps=[{"step": step, "answer": found.steps.get(step, "")} for step in steps],
        bandage_below_knee_cm=found.bandage_below_knee_cm,
        watch_points=found.watch_points.strip(),
        review_on=found.review_on,
        note=found.note.strip(),
    )
    return store(row, by=by)


def _known_steps(prescription: Prescription, found: FittingFindings) -> tuple[str, ...]:
    steps = steps_of(prescription)
    unknown = [step for step in found.steps if step not in steps]
    if unknown:
        raise Refused(f"Fitting list: “{unknown[0]}” is not a step of this clinic's list.")
    return steps


def sealed_list_check(prescription: Prescription, fitted_on: date, found: FittingFindings) -> None:
    """A device that stays on counts as fitted only with its whole list answered; call before it is kept."""
    steps = _known_steps(prescription, found)
    left = [step for step in steps if found.steps.get(step) not in StepAnswer.values]
    if left:
        raise Refused(
            f"Fitting list: {len(left)} of {len(steps)} steps not answered, the first “{left[0]}”. "
            "A non-removable device is not fitted without them."
        )
    if found.bandage_below_knee_cm is None:
        raise Refused("Bandage ends below the knee: not stated.", field="bandage_below_knee_cm")
    if not found.watch_points.strip():
        raise Refused("Skin to check at the next visit: nothing named.", field="watch_points")
    days = FIRST_REVIEW_DAYS if prescription.fitted_on is None else LATER_REVIEW_DAYS
    latest = fitted_on + timedelta(days=days)
    if found.review_on is None or not fitted_on < found.review_on <= latest:
        raise Refused(
            f"Next review: within {days} days of this fitting, {latest:%-d %b %Y} at the latest.",
            field="review_on",
        )


def fitting_words(row: Fitting) -> str:
    """The fitting's list in words, for the sentence on the decision."""
    done = sum(1 for step in row.steps if step["answer"] == StepAnswer.DONE)
    off = sum(1 for step in row.steps if step["answer"] == StepAnswer.NOT_APPLY)
    words = f"{done} of {len(row.steps)} steps of the fitting list done"
    if off:
        words += f", {off} did not apply ({row.note})"
    if row.review_on:
        words += f", next review {row.review_on:%-d %b %Y}"
    return words
