"""The non-healing review and the judgement of the bone, sent filled."""

from clinic.lesions.forms.bone import BoneErrorForm, BoneForm
from clinic.lesions.forms.non_healing import CareOutcomeForm, ItemForm, NonHealingForm
from clinic.models import NonHealingTopic
from tests import factories, factories_care
from tests.clinic.fields.cases_lesions import ago
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import wound


def not_healing(site):
    lesion = wound(site)
    factories.series(lesion, [3.0] * 6)
    return lesion


@filled("non_healing_new", NonHealingForm)
def a_non_healing_review(site, by):
    lesion = not_healing(site)
    data, kept = {}, {}
    for n, topic in enumerate(NonHealingTopic.values):
        words = f"words {n}"
        data |= {
            f"{topic}_state": "due",
            f"{topic}_words": words,
            f"{topic}_owner": str(by.pk),
            f"{topic}_due_on": day(n + 1),
        }
        kept |= {
            f"{topic}_state": "NonHealingItem.state",
            f"{topic}_words": ("NonHealingItem.words", words),
            f"{topic}_owner": ("NonHealingItem.owner", by),
            f"{topic}_due_on": "NonHealingItem.due_on",
        }
    return Sent({"lesion": lesion.pk}, data, {NonHealingForm: Kept("", kept)})


@filled("non_healing_item", ItemForm)
def an_item_done(site, by):
    review = factories_care.non_healing(of=not_healing(site), due={"perfusion": ago(1)})
    data = {"version": "1", "state": "done", "words": "toe pressure 52"}
    item = review.items.get(topic="perfusion")
    return Sent({"item": item.pk}, data, {ItemForm: Kept("NonHealingItem")})


@filled("non_healing_decide", CareOutcomeForm)
def a_review_decided(site, by):
    review = factories_care.non_healing(of=not_healing(site))
    data = {"version": "1", "outcome": "failed", "outcome_words": "all given for nine weeks"}
    return Sent({"non_healing": review.pk}, data, {CareOutcomeForm: Kept("NonHealingReview")})


@filled("bone_new", BoneForm)
def a_bone_judged(site, by):
    lesion = wound(site)
    factories_care.bone(of=lesion, state="probable", judged_on=ago(20))
    data = {
        "judged_on": day(-1),
        "probe": "against",
        "xray": "supports",
        "blood": "against",
        "mri": "not_done",
        "sample": "against",
        "state": "possible",
        "treated": "completed",
        "note": "six weeks given",
    }
    return Sent({"lesion": lesion.pk}, data, {BoneForm: Kept("BoneJudgement")})


@filled("bone_in_error", BoneErrorForm)
def a_judgement_in_error(site, by):
    data = {"version": "1", "in_error_because": "another ulcer was meant"}
    return Sent(
        {"judgement": factories_care.bone(of=wound(site)).pk}, data, {BoneErrorForm: Kept("BoneJudgement")}
    )
