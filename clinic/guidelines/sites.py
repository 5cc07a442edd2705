"""Where on the foot a lesion can be, and what follows from the place.

One closed list seen from six sides (plantar, dorsal, medial, lateral, posterior, between the toes). Region,
surface, SINBAD site and load case all derive from it here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["SITES", "FootSite", "site"]

Region = Literal["forefoot", "midfoot", "rearfoot", "hallux", "lesser_toe"]
Surface = Literal["plantar", "dorsal", "medial", "lateral", "posterior", "interdigital", "apex"]
LoadCase = Literal["push_off", "heel_strike", "mid_stance"]


@dataclass(frozen=True)
class FootSite:
    """One place on the foot.

    Attributes
    ----------
    id : str
        Stable key kept in the record.
    words : str
        What the screens say.
    region, surface : str
        The two fields of the device-choice facts.
    sinbad_site : int
        0 forefoot (toes included), 1 midfoot or hindfoot [-].
    load_case : str or None
        The moment of the step in which the insole carries this place; None when it does not bear on the
        insole.
    insole_plan : bool
        Whether a relief cut in an insole can serve it.
    map_xy : tuple of float
        Place on the foot map of its surface, as fractions: across from the medial side, along from the heel
        [-].

    References
    ----------
    SINBAD site classes: Ince et al., Diabetes Care 2008;31(5):964-967. Load cases: common practice, no
    source.
    """

    id: str
    words: str
    region: Region
    surface: Surface
    sinbad_site: int
    load_case: LoadCase | None
    map_xy: tuple[float, float]

    @property
    def insole_plan(self) -> bool:
        return self.load_case is not None


def _plantar(id: str, words: str, region: Region, load: LoadCase, x: float, y: float) -> FootSite:
    hind = region in ("midfoot", "rearfoot")
    return FootSite(id, words, region, "plantar", int(hind), load, (x, y))


def _other(id: str, words: str, region: Region, surface: Surface, x: float, y: float) -> FootSite:
    hind = region in ("midfoot", "rearfoot")
    return FootSite(id, words, region, surface, int(hind), None, (x, y))


_ORDINAL = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth"}
# Across the foot from its medial side, along it from the heel; toes and heads fan out as in a drawing of a
# foot.
_TOE = {2: (0.44, 0.93), 3: (0.58, 0.91), 4: (0.70, 0.87), 5: (0.82, 0.82)}
_HEAD = {1: (0.22, 0.72), 2: (0.40, 0.76), 3: (0.54, 0.75), 4: (0.68, 0.70), 5: (0.83, 0.63)}
_WEB = {1: (0.34, 0.83), 2: (0.50, 0.84), 3: (0.64, 0.81), 4: (0.76, 0.76)}

_ALL: tuple[FootSite, ...] = (
    _plantar("plantar_hallux", "Under the big toe", "hallux", "push_off", 0.22, 0.91),
    *(
        _plantar(f"toe_pulp_{n}", f"Pulp of the {_ORDINAL[n]} toe", "lesser_toe", "push_off", *_TOE[n])
        for n in (2, 3, 4, 5)
    ),
    *(
        _plantar(f"mth_{n}", f"Under the {_ORDINAL[n]} metatarsal head", "forefoot", "push_off", *_HEAD[n])
        for n in (1, 2, 3, 4, 5)
    ),
    _plantar("plantar_midfoot", "Under the midfoot", "midfoot", "mid_stance", 0.55, 0.45),
    _plantar(
        "plantar_mt5_base", "Under the base of the fifth metatarsal", "midfoot", "mid_stance", 0.80, 0.42
    ),
    _plantar("heel_central", "Under the heel, centre", "rearfoot", "heel_strike", 0.50, 0.13),
    _plantar("heel_medial", "Under the heel, medial side", "rearfoot", "heel_strike", 0.32, 0.14),
    _plantar("heel_lateral", "Under the heel, lateral side", "rearfoot", "heel_strike", 0.68, 0.14),
    _other("heel_posterior", "Back of the heel", "rearfoot", "posterior", 0.50, 0.02),
    _other("heel_posterolateral", "Back of the heel, lateral side", "rearfoot", "posterior", 0.72, 0.04),
    _other("apex_1", "Tip of the big toe", "hallux", "apex", 0.22, 0.97),
    *(
        _other(f"apex_{n}", f"Tip of the {_ORDINAL[n]} toe", "lesser_toe", "apex", *_TOE[n])
        for n in (2, 3, 4, 5)
    ),
    _other("dorsal_toe_1", "Top of the big toe", "hallux", "dorsal", 0.22, 0.90),
    *(
        _other(f"dorsal_toe_{n}", f"Top of the {_ORDINAL[n]} toe", "lesser_toe", "dorsal", *_TOE[n])
        for n in (2, 3, 4, 5)
    ),
    _other("dorsum", "Top of the foot", "midfoot", "dorsal", 0.50, 0.52),
    *(
        _other(
            f"web_{n}", f"Web space {n}, between toes {n} and {n + 1}", "lesser_toe", "interdigital", *_WEB[n]
        )
        for n in (1, 2, 3, 4)
    ),
    _other("medial_mth_1", "Medial side of the first metatarsal head", "forefoot", "medial", 0.10, 0.72),
    _other("lateral_mth_5", "Lateral side of the fifth metatarsal head", "forefoot", "lateral", 0.93, 0.63),
    _other(
        "lateral_mt5_base",
        "Lateral side of the base of the fifth metatarsal",
        "midfoot",
        "lateral",
        0.93,
        0.42,
    ),
    _other("malleolus_medial", "Inner ankle bone", "rearfoot", "medial", 0.15, 0.22),
    _other("malleolus_lateral", "Outer ankle bone", "rearfoot", "lateral", 0.88, 0.20),
    _plantar("stump", "Stump, bearing end", "forefoot", "push_off", 0.50, 0.62),
)

SITES: dict[str, FootSite] = {s.id: s for s in _ALL}


def site(id: str) -> FootSite:
    """Look a place up by its key.

    Parameters
    ----------
    id : str
        Key of the closed list.

    Returns
    -------
    FootSite

    Raises
    ------
    KeyError
        If the key is not in the list.
    """
    return SITES[id]
