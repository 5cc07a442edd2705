"""The family of wearers over which the laws of the papers are held: every device, site and mobility."""

from itertools import product
from typing import get_args

from clinic.guidelines.devices import DEVICES
from clinic.guidelines.facts import Mobility
from clinic.guidelines.wearer import OtherFoot, Wearer

PLACES = (
    (),
    ("mth_2",),
    ("heel_central",),
    ("dorsum",),
    ("web_2",),
    ("lateral_mth_5",),
    ("mth_1", "dorsal_toe_1"),
)
YES_NO = (None, False, True)


def wearers():
    others = (None, *get_args(OtherFoot))
    for device, places, other, charcot, mobility, infected in product(
        DEVICES, PLACES, others, YES_NO, (None, *get_args(Mobility)), YES_NO
    ):
        beside = tuple(one for one in ("toe_spacer", "heel_float_in_bed_and_chair") if one != device)
        yield Wearer(
            device_class=device,
            beside=beside if infected else (),
            places=places,
            other_foot=other,
            charcot=charcot,
            mobility=mobility,
            infected=infected,
        )
