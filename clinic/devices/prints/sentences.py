"""What the paper tells this person, sentence by sentence: chosen by facts, never by class alone.

Common practice, no source, unless said. An unknown fact takes the cautious sentence. No sentence holds a
value: days, names and numbers stand beside them, so that each can be translated whole.
"""

from collections.abc import Callable, Iterator

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from clinic.guidelines.devices import WearKind
from clinic.guidelines.wearer import Wearer

from .signs import NO_CUTTING

__all__ = ["WEAR", "day_to_day", "looking", "moving", "other_foot", "the_sore", "why"]

Lines = Iterator[Promise]


def why(who: Wearer) -> Lines:
    if who.may_walk:
        yield _("Each step presses on the sore and keeps it open.")
    else:
        yield _("Pressure keeps the sore open.")
    yield _("This takes the pressure off, so that the sore can close.")
    if who.device.removable:
        yield _("It helps only while you use it.")


def when_worn(who: Wearer) -> Promise:
    """At which moments a device that comes off has to be on."""
    if who.mobility == "transfers_only":
        return _("Wear it each time you stand up or move to a chair or bed.")
    if who.mobility == "does_not_walk":
        return _("Wear it in the chair and each time you are moved.")
    return _("Wear it for every step, also at night.")


def closing(who: Wearer) -> Lines:
    """How it is put on: by where the sore is and by what kind of device it is."""
    heel = "heel" in who.spots or who.device.fitting == "heel"
    top = "top" in who.spots or who.device.fitting == "top_free"
    if who.device.fitting == "heel":
        yield _("Your heel must hang free. Do not push it down.")
    elif heel:
        yield _("Put it on the way we showed you. Nothing may rub the heel.")
    if top:
        yield _("Nothing may touch the top of the foot: no strap and no tight sock.")
    if not who.spots and not (heel or top):
        yield _("Close it the way we showed you.")
    elif not (heel or top):
        yield _("Push the heel right down first. Then close the straps from the foot up.")
    else:
        yield _("Close no strap over the sore.")


def _stays_on(who: Wearer) -> Lines:
    yield _("It stays on day and night.")
    yield NO_CUTTING
    yield _("Put nothing down inside it, even if it itches.")


def _comes_off(who: Wearer) -> Lines:
    if who.charcot:
        # Active Charcot joints: worn day and night until assessed; common practice, no source.
        yield _("Keep it on day and night, in bed too. Take it off only when we say so.")
    else:
        yield when_worn(who)
        yield _("Take it off only to wash and to change the dressing. Ask us about the night.")
    yield _("Look inside with your hand before you put it on. Nothing may lie in it.")
    yield from closing(who)


def _felt(who: Wearer) -> Lines:
    yield when_worn(who)
    if who.may_walk:
        yield _("Never go barefoot or in socks.")
    yield _("The pad goes flat within days. Come for a new one on the day we agreed.")
    yield _("If the pad slips onto the sore or gets wet, take it off and call us.")
    if "top" in who.spots:
        yield _("No part of the shoe may touch the sore.")


def _spacer(who: Wearer) -> Lines:
    yield _("Keep the skin between the toes dry. Change the piece when it is wet.")
    yield _("Take it out each day, look at both toes and put it back.")
    yield _("Wear shoes that are wide enough with it in.")
    yield _("If a toe turns red, white or sore, take it out and call us.")


def _shoe(who: Wearer) -> Lines:
    yield _("Wear only this shoe, also at home, until we tell you.")
    yield _("Feel inside with your hand before you put it on.")
    if "top" in who.spots or "side" in who.spots:
        yield _("No part of the shoe may touch the sore.")


def _heel_float(who: Wearer) -> Lines:
    yield _("Lay the whole calf on it. The heel hangs free: a flat hand must pass under it.")
    yield _("Use it each time you lie down or put your feet up.")
    if who.mobility != "does_not_walk":
        yield _("It does nothing while you stand. Then wear what else we gave you.")


def _rest(who: Wearer) -> Lines:
    # Rest is no device: nothing is on the foot that could relieve it. Common practice, no source.
    if who.may_walk:
        yield _("Keep your weight off the foot. Use the aid we gave you for each step.")
    yield _("Sit or lie with the leg up. Nothing may press on the sore.")
    yield _("Move your knees and your arms often. Change how you sit.")


#: How each kind of device is worn.
WEAR: dict[WearKind, Callable[[Wearer], Lines]] = {
    "stays_on": _stays_on,
    "comes_off": _comes_off,
    "felt": _felt,
    "spacer": _spacer,
    "shoe": _shoe,
    "heel_float": _heel_float,
    "rest": _rest,
}


def moving(who: Wearer) -> Lines:
    """Getting about, by whether this person walks. How much to walk is asked: no rule for it is certain."""
    if who.mobility == "walks_with_aid":
        yield _("Use your stick or frame for each step.")
    if who.mobility is None:
        yield _("If you have a stick or a frame, use it.")
    if who.may_walk:
        yield _("Ask us how much you may walk.")
    if who.mobility == "transfers_only":
        yield _("Try each move with us first. Ask for help at home.")
    if who.mobility == "does_not_walk":
        yield _("In the chair nothing may press on the sore: no footplate and no leg rest.")
        yield _("Ask us to look at your bed and your chair.")
    if "heel" in who.spots and who.device.wear != "heel_float":
        yield _("In bed put a pillow under the calf, so that the heel hangs free.")


def other_foot(who: Wearer) -> Lines:
    if who.other_foot == "ulcerated":
        yield _("You have a sore on the other foot too. There wear only what we gave you for it.")
    elif who.other_foot != "gone" and who.may_walk and who.device.height in ("knee_high", "ankle_high"):
        # A lift: Diabetes Care 2018;41:1400. Whether there is one is the clinic's choice, so it is asked for.
        yield _("Ask us which shoe to wear on the other foot, so that both legs are level.")


def looking(who: Wearer) -> Lines:
    if who.device.stays_on:
        yield _("Look at your toes and at the skin by the edges each day.")
    else:
        yield _("Look at the foot each day: the sole, the heel and the toes.")
    if who.other_foot != "gone":
        yield _("Look at the other foot too. Ask for help if you cannot see it.")
    yield _("Tell us of new red marks, blisters or a wet dressing.")


def day_to_day(who: Wearer) -> Lines:
    if who.device.stays_on:
        yield _("Wash: keep it dry. The leg stays out of the tub, in a sealed bag.")
    else:
        yield _("Wash: do not soak the foot. Dry it well, also between the toes.")
    kept_on = who.device.stays_on or (who.charcot and who.device.wear == "comes_off")
    if who.may_walk and not kept_on and who.device.height != "none":
        yield _("Toilet: put it on before you go. Turn on a light at night.")
    elif who.may_walk:
        yield _("Toilet: go slowly and turn on a light at night.")
    else:
        yield _("Toilet: ask us how to get there safely.")
    yield _("Pain: ask us what you may take. New pain is a sign: call us.")
    yield _("Work: ask us what you may do. We can write a note.")
    yield _("Driving: do not drive until you have asked us.")


def the_sore(who: Wearer) -> Lines:
    """Uninfected ulcers get no antibiotics: IWGDF/IDSA infection guideline 2023 (read where it is quoted)."""
    if who.infected is False:
        yield _("Your sore is not infected now. So it needs no antibiotics: they do not help it close.")
    else:
        if who.infected is None:
            yield _("A sore that is not infected needs no antibiotics.")
        yield _("If we gave you antibiotics, take them as we told you. Ask us before you stop.")
    yield _("It needs less pressure, a clean dressing and our visits.")
