"""Judging the bone under an ulcer: a podiatrist decides; only signed treatment lifts an infection."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.evidence.reads.bone import bone_judgements
from clinic.guidelines.bone import BoneParts, below, propose_bone
from clinic.models import BONE_INFECTED, BoneJudgement, BoneState, BoneTreated, Lesion, Role, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["bone_in_error", "bone_judge"]


@transaction.atomic
def bone_judge(
    *,
    by: User,
    lesion: Lesion,
    judged_on: date,
    parts: BoneParts,
    state: str,
    treated: str = "",
    note: str = "",
) -> BoneJudgement:
    """Keep a judgement with what was proposed; a milder one than proposed needs its words."""
    if by.role != Role.PODIATRIST:
        raise Refused("Bone infection: a podiatrist judges it.", field="treated" if treated else "state")
    if state not in BoneState.values:
        raise Refused("Bone infection: no, possible, probable or proven; one is needed.", field="state")
    today = timezone.localdate()
    if not lesion.onset_on <= judged_on <= today:
        raise Refused(
            f"Judged on: {date_format(judged_on)}; it must lie between the ulcer's beginning, "
            f"{date_format(lesion.onset_on)}, and today.",
            field="judged_on",
        )
    _lifting(lesion, judged_on, state, treated)
    proposal = propose_bone(parts)
    if not note.strip() and treated:
        raise Refused("In words: say which treatment was completed, or what was resected.", field="note")
    if not note.strip() and below(state, proposal.state):  # type: ignore[arg-type]
        proposed = proposal.state or "nothing, too little was looked at"
        raise Refused(
            f"In words: {state} is milder than what the parts propose ({proposed}); say why.", field="note"
        )
    made = store(
        BoneJudgement(
            lesion=lesion,
            judged_on=judged_on,
            probe=parts.probe,
            xray=parts.xray,
            blood=parts.blood,
            mri=parts.mri,
            sample=parts.sample,
            proposed=proposal.state or "",
            state=state,
            treated=treated,
            note=note.strip(),
        ),
        by=by,
    )
    person = lesion.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="judged",
        target=made,
        person=person,
        bone=state,
        proposed=proposal.state,
        treated=treated,
    )
    return made


def _lifting(lesion: Lesion, judged_on: date, state: str, treated: str) -> None:
    """Probable or proven is lifted by a later, signed end of treatment alone."""
    infected_on: date | None = None
    words = ""
    for found in bone_judgements([lesion], timezone.localdate()).get(lesion.pk, ()):
        if found.bone in BONE_INFECTED:
            infected_on, words = found.on, str(found.bone)
        elif found.bone_treated and infected_on is not None and found.on > infected_on:
            infected_on = None
    if treated:
        if treated not in BoneTreated.values:
            raise Refused("Treatment: choose one of the list.", field="treated")
        if state in BONE_INFECTED:
            raise Refused(
                "Treatment: bone whose treatment is completed is judged no or possible, not "
                f"{BoneState(state).label.lower()}.",
                field="treated",
            )
        if infected_on is None:
            raise Refused(
                "Treatment: no probable or proven bone infection stands for this ulcer; judge that first.",
                field="treated",
            )
        if judged_on <= infected_on:
            raise Refused(
                f"Judged on: {date_format(judged_on)}; an end of treatment lies after the day the bone was "
                f"judged {words}, {date_format(infected_on)}.",
                field="judged_on",
            )
    elif infected_on is not None and judged_on >= infected_on and state not in BONE_INFECTED:
        raise Refused(
            f"Bone infection: {words} since {date_format(infected_on)}. It stands until treatment is signed "
            "as completed or the bone as resected.",
            field="state",
        )


@transaction.atomic
def bone_in_error(
    *, by: User, judgement: BoneJudgement, in_error_because: str, expected_version: int
) -> BoneJudgement:
    """Mark a judgement as entered in error; it stays in the record and tells nothing any more."""
    if by.role != Role.PODIATRIST:
        raise Refused("Bone infection: a podiatrist marks a judgement as entered in error.")
    if judgement.in_error_because:
        raise Refused("This judgement is marked as entered in error already.")
    if not in_error_because.strip():
        raise Refused("Why it was entered in error: a few words are needed.", field="in_error_because")
    judgement.in_error_because = in_error_because.strip()
    store(judgement, by=by, expected_version=expected_version, why="entered in error")
    person = judgement.lesion.limb.person
    audit.record(by=by, site=person.site, verb="entered in error", target=judgement, person=person)
    return judgement
