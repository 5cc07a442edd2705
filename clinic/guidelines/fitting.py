"""What is checked and said when a device goes on, by the kind of device. Common practice, no source."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from clinic.guidelines.devices import DEVICES, FittingKind, classes_where
from clinic.guidelines.errors import GuidelineError

__all__ = ["FITTING_LISTS", "FIRST_REVIEW_DAYS", "FittingList", "fitting_list", "steps_for"]

#: First look after fitting within a week: Fernando ME et al., J Foot Ankle Res 2022;15:31, table 5.
FIRST_REVIEW_DAYS = 7


@dataclass(frozen=True)
class FittingList:
    """One list of steps.

    Parameters
    ----------
    id : FittingKind
        Key under which a site keeps its own steps, and under which a device class names its list.
    words : str
        Which devices it is for.
    steps : tuple of str
        In the order they are done; a site may replace them.
    """

    id: FittingKind
    words: str
    steps: tuple[str, ...]

    @property
    def classes(self) -> tuple[str, ...]:
        """Device classes that name this list."""
        return classes_where(lambda d: d.fitting == self.id)


FITTING_LISTS: dict[FittingKind, FittingList] = {
    one.id: one
    for one in (
        FittingList(
            "stays_on",
            "Non-removable devices",
            (
                "Dressing in place that holds until the next opening",
                "Padding between the toes, skin dry",
                "Bandage from the base of the toes to the stated distance below the knee",
                "Toes can be seen; colour comes back after pressing",
                "Stocking on without folds",
                "Shin, ankle bones and edges padded",
                "Heel fully down before closing",
                "Closed and sealed; the patient cannot take it off",
                "A few steps tried here, with the aid used at home",
                "Leg length evened by a lift on the other side",
                "Wear advice given, by word and on paper",
            ),
        ),
        FittingList(
            "comes_off",
            "Removable walkers and ankle-high devices",
            (
                "Dressing in place, no folds under the sole",
                "Padding between the toes, skin dry",
                "Stocking on without folds",
                "Heel fully down before closing",
                "Straps closed from the foot up; a finger fits under each",
                "A few steps tried here, with the aid used at home",
                "Leg length evened by a lift on the other side",
                "The patient closed and opened it alone, or the helper did",
                "Wear advice given, by word and on paper",
            ),
        ),
        FittingList(
            "heel",
            "Heel relief: device or heel floated",
            (
                "Dressing in place, no folds under the heel",
                "Heel hangs free: a flat hand passes under it",
                "Calf carried over its whole length, no edge under the tendon",
                "Foot not pushed down; outer ankle free",
                "Tried in the bed, the chair and on the footplate used at home",
                "Transfer or a few steps tried, if the patient does either",
                "The patient or the helper set it up alone",
                "Advice given, by word and on paper",
            ),
        ),
        FittingList(
            "top_free",
            "Devices open over the top of the foot",
            (
                "Dressing in place",
                "Nothing touches the ulcer, standing and sitting",
                "Straps lie beside the ulcer, none over it",
                "Heel held; the foot does not slide forward",
                "A few steps tried here",
                "Wear advice given, by word and on paper",
            ),
        ),
        FittingList(
            "spacer",
            "Toe spacers",
            (
                "Web space dry, no infection, no stitches",
                "Spacer parts the toes without bending them",
                "No pressure on the next toe: no blanching after a few steps",
                "Shoe wide enough with the spacer in",
                "How to take it out, dry and put back shown",
                "Advice given, by word and on paper",
            ),
        ),
        FittingList(
            "footwear",
            "Footwear and felted foam",
            (
                "Dressing in place",
                "Shoe long and wide enough, standing",
                "Nothing presses on the ulcer; felt lies round it, never on it",
                "Inside felt by hand: no seam, no edge",
                "A few steps tried here",
                "Day on which the felt is renewed agreed",
                "Wear advice given, by word and on paper",
            ),
        ),
        FittingList(
            "rest",
            "Rest, with or without a walking aid",
            (
                "Agreed what is still walked or stood, and for what",
                "Aid chosen (wheelchair, crutches, knee walker, frame), set to height and tried",
                "Steps, bathroom and the night talked through: falls",
                "Bed, chair and footplate do not press on the ulcer; both heels hang free",
                "Other foot and seat looked at",
                "Patient or helper shows how to move over without standing on the foot",
                "Knows whom to call",
            ),
        ),
    )
}


def fitting_list(device_class: str) -> FittingList:
    """List of steps for a device class.

    Parameters
    ----------
    device_class : str

    Returns
    -------
    FittingList

    Raises
    ------
    GuidelineError
        If there is no such class.
    """
    if device_class not in DEVICES:
        raise GuidelineError(f"device class is {device_class}, must be one of {', '.join(DEVICES)}")
    return FITTING_LISTS[DEVICES[device_class].fitting]


def steps_for(device_class: str, own: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Steps for a device class, the site's own where it has some.

    Parameters
    ----------
    device_class : str
    own : mapping of str to sequence of str
        Fitting list id to the site's steps; an empty list means the program's.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> steps_for("toe_spacer", {"spacer": ["Web space dry"]})
    ('Web space dry',)
    """
    found = fitting_list(device_class)
    return tuple(own.get(found.id) or found.steps)
