"""Every clinical noun that hangs on a person, how it hangs there, and whether two records are mixed up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from django.apps import apps
from django.db import models
from django.db.models import Count

from clinic.models import ClinicalRecord, Limb, LimbPlan, Merge, Person, Transfer
from offload.models import PlanMeasurement, PlanStep, ReliefPlan

__all__ = ["NOT_OF_A_PERSON", "counts_of", "links_of", "mixed_rows", "nouns_of", "plan_rows_of", "unplaced"]

#: Rows that tell of two records, or of a record as a whole: they stay where they were written.
ABOUT_RECORDS = (Merge, Transfer)

#: Tables whose rows are of no person, and why; with `nouns_of` and `plan_rows_of` the one list of what
#: belongs to a person. `unplaced` names a table that is on neither side.
NOT_OF_A_PERSON = {
    "clinic.accountlink": "an account's one-time links",
    "clinic.auditevent": "what it says of a person is sealed with the person's key, which goes",
    "clinic.breakglass": "notice of a reading; its reason is emptied when the record goes",
    "clinic.erasure": "that a record was erased, by its number",
    "clinic.erasurepermit": "stands inside an erasure only",
    "clinic.formreceipt": "numbers of what a form stored, for some days",
    "clinic.peerround": "a draw, by seed and period",
    "clinic.peopleapart": "two numbers",
    "clinic.person": "the person's own row goes last",
    "clinic.personkey": "the person's own key goes last",
    "clinic.problem": "a page and a kind, no words",
    "clinic.recalibration": "a clinic's own forecast figures, counts of many",
    "clinic.savedreport": "what a report asks",
    "clinic.signin": "an account's browsers",
    "clinic.site": "the clinic",
    "clinic.sitefoam": "a foam of the clinic",
    "clinic.sitereason": "a reason of the clinic",
    "clinic.user": "an account",
    "clinic.verification": "places and days of a check",
    "clinic.viewbatch": "binds reads",
    "clinic.viewevent": "who read a number; the law asks that it stays",
    "offload.clinicfoam": "a foam of the clinic",
}


def _is_of_a_person(model: type[ClinicalRecord]) -> bool:
    """Whether the path to the site leads through a person; a report or a reading round belongs to the
    site alone.
    """
    reached: Any = model
    for step in model.SITE_PATH.split("__")[:-1]:
        reached = reached._meta.get_field(step).related_model
    return reached is Person


def nouns_of() -> list[tuple[type[ClinicalRecord], str]]:
    """Every clinical noun with its query path to the person, leaves first: nothing points at what goes
    first.
    """
    found = [
        (model, model.SITE_PATH.removesuffix("site").removesuffix("__"))
        for model in apps.get_app_config("clinic").get_models()
        if issubclass(model, ClinicalRecord) and model is not Person and _is_of_a_person(model)
    ]
    waiting = {model: path for model, path in found}
    order: list[tuple[type[ClinicalRecord], str]] = []
    while waiting:
        pointed_at = {
            field.related_model
            for model in waiting
            for field in model._meta.get_fields()
            if isinstance(field, models.ForeignKey | models.ManyToManyField)
            and field.related_model is not model
        }
        free = [model for model in waiting if model not in pointed_at]
        if not free:
            raise RuntimeError("the clinical nouns point at each other in a ring")
        for model in free:
            order.append((model, waiting.pop(model)))
    return order


def plan_rows_of(numbers: Iterable[int]) -> list[tuple[type[models.Model], list[int]]]:
    """Relief plans of people with their steps and measurements, leaves first: they hang on no person by
    themselves.
    """
    plans = LimbPlan.objects.filter(limb__person__in=list(numbers)).values_list("plan", flat=True)
    keys = sorted(plans, reverse=True)  # a plan is replaced by a later one
    found: list[tuple[type[models.Model], list[int]]] = []
    for model in (PlanStep, PlanMeasurement):
        # A step is taken back by a later one.
        rows = model.objects.filter(plan__in=keys).order_by("-pk")  # type: ignore[attr-defined]
        found.append((model, list(rows.values_list("pk", flat=True))))
    return [*found, (ReliefPlan, keys)]


def unplaced(tables: Iterable[type[models.Model]]) -> list[str]:
    """Tables of which nobody said whether their rows are a person's, each as a sentence."""
    placed = {model for model, _ in nouns_of()} | {PlanStep, PlanMeasurement, ReliefPlan}
    return [
        f"{model._meta.label}: an erasure and the person's copy do not know this table. If its rows are of a "
        "person, make it a ClinicalRecord whose SITE_PATH leads through the person, or add it to "
        "plan_rows_of; if not, name it with the reason in NOT_OF_A_PERSON "
        "(clinic/record/reads/person_rows.py)"
        for model in tables
        if model not in placed
        and model._meta.label_lower not in NOT_OF_A_PERSON
        and not (model._meta.model_name or "").startswith("historical")
    ]


def links_of() -> Iterator[tuple[type[ClinicalRecord], str]]:
    """Noun and column of each link to a person or a limb: what moves when two records become one."""
    for model, _ in nouns_of():
        if model not in ABOUT_RECORDS:
            for field in model._meta.concrete_fields:
                if isinstance(field, models.ForeignKey) and field.related_model in (Person, Limb):
                    yield model, field.name


def counts_of(*people: Person) -> dict[str, dict[int, int]]:
    """Rows of each noun that hang on each person; one query a noun."""
    keys = [person.pk for person in people]
    rows_of: dict[str, dict[int, int]] = {}
    for model, path in nouns_of():
        if model in ABOUT_RECORDS:
            continue
        found = (
            model._default_manager.filter(**{f"{path}__in": keys})
            .order_by()
            .values_list(path)
            .annotate(n=Count("pk"))
        )
        rows_of[model._meta.model_name or ""] = dict(found)
    return rows_of


def mixed_rows(one: Person, other: Person) -> Iterator[ClinicalRecord]:
    """Rows of one of two people that point at a row of the other; two queries a link, so read it rarely."""
    paths = dict(nouns_of())
    for model, path in paths.items():
        if model in ABOUT_RECORDS:
            continue
        for field in (*model._meta.concrete_fields, *model._meta.many_to_many):
            target: Any = field.related_model
            if target not in paths:
                continue
            reached = f"{field.name}__{paths[target]}"
            if reached == path:
                continue
            for mine, theirs in ((one, other), (other, one)):
                yield from model._default_manager.filter(**{path: mine.pk, reached: theirs.pk}).distinct()[:1]
