"""What an ulcer or a person waits for today: one sentence each, who may end the wait, and where."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from clinic.alerts.reads.antibiotics import CourseRow
from clinic.alerts.reads.flags import flag_words
from clinic.alerts.reads.referrals import clock_of
from clinic.alerts.reads.results import ResultRow
from clinic.alerts.states import referral_state
from clinic.evidence.reads.bone_standing import BoneStanding
from clinic.guidelines.due import confirmable_from, days_overdue, sealed_past, visit_standing
from clinic.lesions.reads.non_healing import ItemRow
from clinic.models import (
    Lesion,
    LesionState,
    LimbPlan,
    Look,
    Person,
    PersonState,
    PlanFlag,
    Prescription,
    RedFlag,
    Referral,
    Visit,
)
from clinic.record.dates import day_words
from clinic.record.messages import Filled, message_of

__all__ = [
    "REFERRED",
    "Wait",
    "by_urgency",
    "offered",
    "waits_for_bone",
    "waits_for_closing",
    "waits_for_course",
    "waits_for_device",
    "waits_for_flags",
    "waits_for_items",
    "waits_for_look",
    "waits_for_plan",
    "waits_for_referral",
    "waits_for_result",
    "waits_for_review",
    "waits_for_visit",
]

#: How far an open referral has come.
REFERRED = {
    "made": "not reached yet",
    "reached": "reached, not accepted yet",
    "accepted": "accepted, not seen yet",
    "seen": "seen there, no result yet",
}


@dataclass(frozen=True)
class Wait:
    """One thing that waits, the message that asks for it, and the page where it is done.

    Parameters
    ----------
    words : str
        What waits, as a sentence.
    message : Filled
        From the table of messages: how loud, and what the link says.
    url_name, pk
        Where it is done.
    ability : str
        What a user must be allowed to, to do it.
    """

    words: str
    message: Filled
    url_name: str
    pk: int | str
    ability: str

    @property
    def is_stop(self) -> bool:
        return self.message.level == "stop"


def by_urgency(*groups: Iterable[Wait]) -> tuple[Wait, ...]:
    """All of the groups in their order, what harms if it waits before the rest."""
    return tuple(sorted((one for group in groups for one in group), key=lambda wait: not wait.is_stop))


def offered(waits: Iterable[Wait], may: Mapping[str, bool]) -> tuple[tuple[Wait, bool], ...]:
    """Each wait with whether this user may end it."""
    return tuple((wait, may[wait.ability]) for wait in waits)


def waits_for_flags(flags: Iterable[RedFlag]) -> Iterator[Wait]:
    """Red flags that nobody answered."""
    for flag in flags:
        since = day_words(timezone.localdate(flag.raised_at))
        words = f"Red flag, unanswered since {since}: {'; '.join(flag_words(flag.flags))}."
        yield Wait(words, message_of("answer_flag"), "flag_answer", flag.pk, "answer_flags")


def waits_for_device(device: Prescription | None, today: date) -> Iterator[Wait]:
    """A sealed device on or past its day, an opened one, one that waits for a signature or to be fitted."""
    if device is None:
        return
    name, pk = f"{device.get_device_class_display()}, {device.limb.side} foot,", device.pk
    if device.stays_closed and device.open_by is not None and sealed_past(device.open_by, today):
        late = days_overdue(device.open_by, today)
        words = f"{name} was to be opened by {day_words(device.open_by)}, {_days(late)} ago."
        yield Wait(words, message_of("open_sealed_now"), "prescription_open", pk, "fit_devices")
    elif device.is_non_removable and device.opened_on is not None:
        words = f"{name} was opened on {day_words(device.opened_on)}, neither sealed again nor stopped."
        yield Wait(words, message_of("seal_again_or_stop"), "prescription", pk, "see_cases")
    if device.waits_for_second:
        words = f"{name} waits for a second signature; it is not fitted before."
        yield Wait(words, message_of("sign_second"), "prescription", pk, "sign_second")
    elif device.fitted_on is None:
        words = f"{name} of {day_words(device.prescribed_on)} is not fitted yet."
        yield Wait(words, message_of("fit_device"), "prescription_fit", pk, "fit_devices")


def waits_for_visit(person: Person, last: Visit | None, today: date, *, open_lesions: bool) -> Iterator[Wait]:
    """A visit that is overdue or due today, or that nobody agreed."""
    next_on = last.next_on if last else None
    in_care = person.state == PersonState.IN_CARE
    standing = visit_standing(next_on, today, in_care=in_care, open_lesions=open_lesions)
    if next_on is not None and standing == "overdue":
        words = f"Visit of {day_words(next_on)} is {_days(days_overdue(next_on, today))} overdue."
    elif standing == "due":
        words = "Visit due today."
    elif standing == "no_date":
        words = "No next visit is agreed."
    else:
        return
    yield Wait(words, message_of("log_visit"), "visit_new", person.pk, "log_visits")


def waits_for_bone(lesion: Lesion, bone: BoneStanding) -> Iterator[Wait]:
    """Bone that was felt and not judged since."""
    if bone.probe_unanswered and bone.probed_on is not None and lesion.state == LesionState.OPEN:
        words = f"Bone felt with the probe on {day_words(bone.probed_on)}, not judged."
        yield Wait(words, message_of("judge_bone"), "bone_new", lesion.pk, "prescribe")


def waits_for_plan(plans: Sequence[LimbPlan], flags: Iterable[PlanFlag]) -> Iterator[Wait]:
    """Plans with a question mark, and the newest draft that nobody signed."""
    for flag in flags:
        code = flag.limb_plan.plan.code
        yield Wait(flag.words, message_of("look_at_plan"), "plan", code, "see_cases")
    newest = max(plans, key=lambda link: link.pk, default=None)
    if newest is not None and newest.plan.state == "draft" and newest.ended_on is None:
        made = day_words(timezone.localdate(newest.created_at))
        words = f"Relief plan v{newest.plan.number} of {made} is not signed."
        yield Wait(words, message_of("sign_plan"), "plan", newest.plan.code, "plan_relief")


def waits_for_result(rows: Iterable[ResultRow]) -> Iterator[Wait]:
    """Tests due, late, or arrived and not seen."""
    for row in rows:
        if row.asks:
            message = message_of("see_result" if row.standing == "arrived" else "chase_result")
            words = f"{row.result.label}: {row.sentence}."
            yield Wait(words, message, "result", row.result.pk, "see_cases")


def waits_for_course(rows: Iterable[CourseRow]) -> Iterator[Wait]:
    """Antibiotics on or past their planned end."""
    for row in rows:
        if row.asks:
            words = f"{row.course}, {row.sentence}."
            yield Wait(words, message_of("end_antibiotic"), "antibiotic", row.course.pk, "see_cases")


def waits_for_review(lesion: Lesion, verdict: str, review_due: str) -> Iterator[Wait]:
    """A non-healing review that the verdict asks for."""
    if review_due:
        words = f"Ulcer {lesion.label}: {verdict}. {review_due}"
        yield Wait(words, message_of("open_review"), "non_healing_new", lesion.pk, "log_visits")


def waits_for_items(rows: Iterable[ItemRow]) -> Iterator[Wait]:
    """What a non-healing review left to do, on and after its day."""
    for row in rows:
        if row.asks:
            message = message_of("do_item")
            yield Wait(f"{row.sentence}.", message, "non_healing_item", row.item.pk, "log_visits")


def waits_for_look(looks: Iterable[Look]) -> Iterator[Wait]:
    """Questions to the podiatrist without an answer."""
    for look in looks:
        if not look.answer:
            since = day_words(timezone.localdate(look.asked_at))
            words = f"Ulcer {look.lesion.label}: {look.created_by} asked on {since}: “{look.question}”"
            yield Wait(words, message_of("answer_look"), "look_answer", look.pk, "review")


def waits_for_referral(person: Person, referrals: Iterable[Referral]) -> Iterator[Wait]:
    """Referrals that are open; one that did not reach its team in time is a stop."""
    now = timezone.now()
    for row in referrals:
        to, made = row.get_to_display(), day_words(timezone.localdate(row.made_at))
        late = row.reached_at is None and clock_of(row, person.site, now).late
        words = f"Referral to {to[:1].lower()}{to[1:]}, made {made}: {REFERRED[referral_state(row)]}."
        message = message_of("reach_referral" if late else "follow_referral")
        yield Wait(words, message, "referral", row.pk, "see_cases")


def waits_for_closing(lesion: Lesion, confirm_days: int, today: date) -> Iterator[Wait]:
    """A covered ulcer whose closing may be confirmed by now."""
    if lesion.state == LesionState.TO_CONFIRM and lesion.closed_on is not None:
        due = confirmable_from(lesion.closed_on, confirm_days)
        if days_overdue(due, today) or due == today:
            words = f"Covered and dry since {day_words(lesion.closed_on)}: confirmation is due."
            yield Wait(words, message_of("confirm_closing"), "lesion_confirm", lesion.pk, "confirm_healed")


def _days(days: int) -> str:
    return f"{days} day{'' if days == 1 else 's'}"
