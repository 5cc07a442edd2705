"""What was answered today and how it is taken back, as the audit chain tells it: one query, or two where a
plan was signed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time

from django.utils import timezone

from clinic.models import AuditEvent, LimbPlan, Site

__all__ = ["ANSWERS", "Answered", "AnswerKind", "answered_on"]


@dataclass(frozen=True)
class AnswerKind:
    """One kind of answer that is given from Today: its words, the page that takes it back, and who may.

    What is never taken back says in one sentence what is done instead (`stays`), and the page is where that
    begins, with the words of the way to it.
    """

    words: str
    url_name: str
    ability: str
    stays: str = ""
    way: str = "Take back"


_COURSE = ("antibiotic_step_take_back", "log_visits")
_SIGNED_DEVICE = (
    "prescription",
    "fit_devices",
    "A signature stays; a device signed wrongly is stopped.",
    "Open the device",
)
SIGNED_PLAN = ("signed", "limbplan")
#: What the chain calls it (verb, kind of record) -> the answer.
ANSWERS: dict[tuple[str, str], AnswerKind] = {
    ("answered", "redflag"): AnswerKind("Red flag answered", "flag_answer_take_back", "answer_flags"),
    ("answered", "incomingcall"): AnswerKind("Call answered", "call_answer_take_back", "log_visits"),
    ("tried to reach", "contact"): AnswerKind("Attempt to reach recorded", "contact_take_back", "log_visits"),
    ("followed up", "referral"): AnswerKind("Referral updated", "referral_follow_take_back", "log_visits"),
    ("saw", "result"): AnswerKind("Result marked as seen", "result_seen_take_back", "log_visits"),
    ("read", "look"): AnswerKind("Answer marked as read", "look_unread", "see_today"),
    ("opened", "prescription"): AnswerKind("Device opened", "opening_take_back", "fit_devices"),
    ("answered", "planflag"): AnswerKind(
        "Relief plan: question answered", "plan_flag_answer_take_back", "plan_relief"
    ),
    ("logged", "visit"): AnswerKind("Visit recorded", "visit_in_error", "log_visits"),
    ("finished", "visit"): AnswerKind("Visit finished", "visit_in_error", "log_visits"),
    ("missed", "visit"): AnswerKind("Recorded as not come", "visit_in_error", "log_visits"),
    ("gave a danger to", "dangerowner"): AnswerKind(
        "Known danger: date of the team recorded", "danger_take_back", "log_visits"
    ),
    ("stopped", "antibioticcourse"): AnswerKind("Antibiotic stopped", *_COURSE),
    ("prolonged", "antibioticcourse"): AnswerKind("Antibiotic prolonged", *_COURSE),
    ("corrected", "antibioticcourse"): AnswerKind("Antibiotic corrected", *_COURSE),
    ("signed", "limbplan"): AnswerKind(
        "Relief plan signed",
        "plan",
        "plan_relief",
        "A signed plan stays as it is; it is changed by a new version.",
        "Open the plan",
    ),
    ("countersigned", "prescription"): AnswerKind("Device signed second", *_SIGNED_DEVICE),
    ("signed second by telephone", "prescription"): AnswerKind(
        "Second signature by telephone recorded", *_SIGNED_DEVICE
    ),
    ("confirmed", "prescription"): AnswerKind("Second signature confirmed", *_SIGNED_DEVICE),
}


@dataclass(frozen=True)
class Answered:
    """One answer of the day: what, when, and the row, or the code, of the page where it is taken back."""

    answer: AnswerKind
    at: datetime
    pk: int | str


def answered_on(site: Site, day: date, able: Collection[str]) -> dict[int, list[Answered]]:
    """The answers of a day by person, for somebody of these abilities: of each record only what was done
    last, so that what was taken back or went on since is offered no more.
    """
    since = timezone.make_aware(datetime.combine(day, time.min))
    kinds = {kind for _, kind in ANSWERS}
    rows = AuditEvent.objects.filter(site_id=site.pk, at__gte=since, target_kind__in=kinds)
    last = {
        (kind, target): (person, verb, at)
        for kind, target, person, verb, at in rows.order_by("sequence").values_list(
            "target_kind", "target_id", "person_id", "verb", "at"
        )
    }
    found: dict[int, list[Answered]] = defaultdict(list)
    signed = [int(target) for (kind, target), (_, verb, _) in last.items() if (verb, kind) == SIGNED_PLAN]
    codes = dict(LimbPlan.objects.filter(pk__in=signed).values_list("pk", "plan__code")) if signed else {}
    for (kind, target), (person, verb, at) in last.items():
        answer = ANSWERS.get((verb, kind))
        if answer is not None and answer.ability in able and person is not None:
            of = codes[int(target)] if (verb, kind) == SIGNED_PLAN else int(target)
            found[person].append(Answered(answer, at, of))
    return dict(found)
