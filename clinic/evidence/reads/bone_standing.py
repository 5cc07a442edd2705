"""What is known of the bone under an ulcer on a day, as the standing state of its foot has it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic.evidence.reads.bone import bone_judgements, newest_judgement, probed_since
from clinic.evidence.reads.standing import LimbStanding
from clinic.guidelines.standing_findings import LimbFindings
from clinic.guidelines.standing_infection import infection_state
from clinic.models import BONE_INFECTED, BoneJudgement, Lesion
from clinic.people.reads.perfusion import standing_settings
from clinic.record.dates import day_words

__all__ = ["BoneStanding", "bone_standing"]


@dataclass(frozen=True)
class BoneStanding:
    """The bone of one ulcer as it stands on a day, with its newest judgement."""

    newest: BoneJudgement | None
    infected: bool | None
    words: str
    note: str
    probed_on: date | None

    @property
    def found_on(self) -> date | None:
        return self.newest.judged_on if self.newest else None

    @property
    def probe_unanswered(self) -> bool:
        """Whether bone was felt at a visit that no judgement has looked at since."""
        return self.probed_on is not None and (self.newest is None or self.newest.judged_on < self.probed_on)


def bone_standing(lesion: Lesion, foot: LimbStanding) -> BoneStanding:
    """What is known of the bone of an ulcer: probable and proven stand until treated, a "no" of a judgement
    or a probe counts for the days of a clean look, possible is not known (three queries).

    An ulcer that ended has no part in what stands about its foot: there the judgements speak alone.
    """
    if lesion.pk in foot.lesions:
        state = foot.lesions[lesion.pk].infection.bone
    else:
        judged = bone_judgements([lesion], foot.day).get(lesion.pk, ())
        settings = standing_settings(foot.limb.person.site)
        state = infection_state(LimbFindings(infection=judged), foot.day, settings).bone
    newest = newest_judgement(lesion, foot.day)
    infected = True if state in BONE_INFECTED else False if state == "no" else None
    probed = probed_since([lesion], foot.day).get(lesion.pk)
    return BoneStanding(newest, infected, _words(newest, state), _note(newest, state), probed)


def _words(own: BoneJudgement | None, state: str | None) -> str:
    if own is None:
        return f"{state} by the probe, not judged" if state else "not judged"
    return str(state or f"{own.state}, not counted")


def _note(own: BoneJudgement | None, state: str | None) -> str:
    if own is None:
        return ""
    if state is None:
        return f"judged {day_words(own.judged_on)}; a “no” counts for the days of a clean look"
    if own.treated:
        return f"{own.get_treated_display().lower()}, signed {day_words(own.judged_on)}"
    return f"judged {day_words(own.judged_on)}"
