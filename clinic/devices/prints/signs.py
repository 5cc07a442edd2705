"""The one list of warning signs for every paper a person takes home: the ambulance's, then the clinic's."""

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

__all__ = ["CALL_SIGNS", "EMERGENCY_SIGNS_TOLD", "HELPERS_ONLY", "HOW_TO_OPEN", "IF_NO_ANSWER", "NO_CUTTING"]

#: An emergency sign of `clinic.guidelines.emergency` in the person's words; sources stand there.
EMERGENCY_SIGNS_TOLD: dict[str, tuple[Promise, ...]] = {
    "chest_pain": (_("Your chest hurts"),),
    "breathlessness": (_("It is hard to breathe"),),
    "sepsis": (
        _("You are confused, or your speech is slurred"),
        _("You shake with cold, feel faint or are hard to wake"),
        _("Your skin is blue, grey or blotchy"),
    ),
}
#: Signs that cannot wait, in the person's words: NICE NG19 (read in pages that quote it); of the leg and of
#: the device: common practice, no source.
CALL_SIGNS: tuple[Promise, ...] = (
    _("You feel ill, hot or shivery"),
    _("The foot or leg turns red, and the red grows"),
    _("Toes turn cold, white, blue, black or numb, or they swell"),
    _("You have new pain in the foot, or it burns or rubs"),
    _("The calf hurts or swells"),
    _("There is a bad smell, blood or pus, or wet comes through"),
    _("It is too tight, too loose, broken or wet"),
    _("You fell"),
)
IF_NO_ANSWER = _("If nobody picks up, go to a hospital. Take this paper with you.")
NO_CUTTING = _("Do not cut it, open it or loosen it yourself.")
HELPERS_ONLY = _("It may have to be opened the same day. We do that, or a hospital or an ambulance crew.")
HOW_TO_OPEN = _("We have not written down how to open it. Call us: we will tell the helper how.")
