"""What a plan is expected to do, in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from offload.core.plan.compute import ComputedPlan, LesionPressure
from offload.core.plan.inlays import InlayGain
from offload.core.pressure.baseline import load_constants
from offload.core.pressure.device_load import factor_at, label_of, region_of_case

__all__ = [
    "BASELINE_WORDS",
    "CASE_WORDS",
    "InlayLine",
    "UlcerLine",
    "change_words",
    "gain_words",
    "inlay_lines",
    "load_source",
    "load_words",
    "low_words",
    "summary_of",
    "ulcer_lines",
]

FLAT = "Load not scaled: insole in a flat shoe; the device's own relief is not in these figures."
NO_BENEFIT = "no benefit is claimed at the heel, where studies disagree in sign"

CASE_WORDS = {"push_off": "push-off", "heel_strike": "heel strike", "mid_stance": "mid-stance"}
BASELINE_WORDS = {
    "measured": "a map measured under this foot",
    "reference": "the reference map, a group average and not this foot",
}
MOST_SAID = 95.0
"""Falls above this are not told apart: measured ones are about half of it; design choice [%]."""
HALF = 0.5
"""Differences below this round to nothing [kPa]."""
LITTLE = 5.0
"""Changes of the rim's peak below this are called none [kPa]; design choice."""


@dataclass(frozen=True, slots=True)
class UlcerLine:
    """What the cut does at one ulcer, as a row of a table.

    Parameters
    ----------
    label, when : str
        Of the ulcer, and its load case in words.
    taken : str
        What is taken of the pressure: the mean over a patch, or the peak.
    before, after, change : str
        Pressures in words [kPa], and by how much it changes; empty where the ulcer carries no load.
    space : str
        What becomes of the space under the ulcer, or that the ulcer carries no load.
    open : bool
        Whether that space stays open; else the ulcer is not wholly relieved.
    """

    label: str
    when: str
    taken: str
    before: str
    after: str
    change: str
    space: str
    open: bool


@dataclass(frozen=True, slots=True)
class InlayLine:
    """What one inlay does at every ulcer, in one line, and whether it raises the pressure at one of them."""

    words: str
    raises: bool


def summary_of(plan: ComputedPlan) -> tuple[str, ...]:
    """Sentences on what the cut takes off, whether its void stays open, and where the load goes.

    Parameters
    ----------
    plan : ComputedPlan
        With its pressures; without them there is nothing to say.

    Returns
    -------
    tuple of str
    """
    report = plan.pressure
    if report is None:
        return ()
    published = load_constants()["published_relief"]
    sentences = [_lesion(lesion, plan) for lesion in report.lesions]
    sentences += [
        _highest_cell(one)
        for one in report.lesions
        if one.reduction_percent is not None and one.patch_mean_before
    ]
    rise = report.rim_peak_after - report.rim_peak_before
    if abs(rise) < LITTLE:
        rim = f"The edge stays at about {report.rim_peak_after:.0f} kPa"
    else:
        way = "rises" if rise > 0 else "falls"
        rim = f"The edge {way} from {report.rim_peak_before:.0f} to {report.rim_peak_after:.0f} kPa"
    sentences.append(
        f"{rim}; the highest place outside the opening goes from {report.elsewhere_peak_before:.0f} to "
        f"{report.elsewhere_peak_after:.0f} kPa."
    )
    sentences.append(
        f"Measured cut-outs in print relieve {published['low_percent']} to {published['high_percent']} %: "
        "higher figures are not confirmed by measurement."
    )
    return tuple(sentences)


def ulcer_lines(plan: ComputedPlan) -> tuple[UlcerLine, ...]:
    """What the cut does at each ulcer, as rows of a table; empty for a plan without its pressures."""
    return () if plan.pressure is None else tuple(_line(one) for one in plan.pressure.lesions)


def inlay_lines(plan: ComputedPlan) -> tuple[InlayLine, ...]:
    """What each inlay does at the ulcers, one line an inlay; the ranges are over the stiffness of tissue."""
    by_inlay: dict[tuple[int, int], list[InlayGain]] = {}
    for one in plan.gains:
        by_inlay.setdefault((one.index, one.number), []).append(one)
    return tuple(
        InlayLine(
            f"{_which(gains[0], plan)}, estimated: "
            + "; ".join(f"ulcer {one.label} {_difference(one)} ({_lower(one.fall)})" for one in gains)
            + ".",
            any(one.with_it - one.without >= HALF for one in gains),
        )
        for gains in by_inlay.values()
    )


def gain_words(plan: ComputedPlan) -> tuple[str, ...]:
    """What each inlay does at each lesion, in sentences; all of it estimated.

    Parameters
    ----------
    plan : ComputedPlan
        With its pressures.

    Returns
    -------
    tuple of str
        Empty for a plan without inlays.
    """
    sentences = []
    for one in plan.gains:
        spans = [f"{_lower(one.fall)} over the stiffness of tissue"]
        if one.fall_80 is not None:
            spans.append(f"80 % interval {_lower(one.fall_80)}")
        sentences.append(
            f"Estimated, {_lowered(_which(one, plan))}: the mean over 1.5 cm² at ulcer "
            f"{one.label} is {low_words(one.without)} kPa without it and {low_words(one.with_it)} with it: "
            f"{_difference(one)} ({'; '.join(spans)}). The highest place outside the opening: "
            f"{one.elsewhere_without:.0f} kPa without, {one.elsewhere_with:.0f} with."
        )
    return tuple(sentences)


def load_words(plan: ComputedPlan) -> str:
    """By what the load was scaled for the device, in one sentence; what is not known is said.

    The factor of the first lesion's load case is the one the plan was computed with; those of other cases are
    of this program.
    """
    report = plan.pressure
    if report is None:
        return ""
    if report.device_factor is None:
        return FLAT
    taken = None if plan.spec.pressure_map is None else plan.spec.pressure_map.taken
    clauses: list[str] = []
    for case in dict.fromkeys(lesion.load_case for lesion in report.lesions):
        region = region_of_case(case)
        factor = factor_at(region, report.device, taken)
        central, low, high = factor.central, factor.low, factor.high
        if not clauses:
            central, low, high = report.device_factor
        clause = f"{central:.2f} ({low:.2f} to {high:.2f}) at the {region}"
        if "assumption" in factor.status:
            clause += ", of which a part is assumed"
        if region == "heel":
            clause += f"; {NO_BENEFIT}"
        clauses.append(clause)
    if report.device is None:
        return f"Load scaled {'; '.join(clauses)}: a barefoot map, brought to a flat shoe."
    if taken == "device":
        return f"Load not scaled: the map was measured in the device, {label_of(report.device)}."
    return (
        f"Load scaled {'; '.join(clauses)}: {label_of(report.device)}, a published average of its class. "
        "What this device does for this patient is not known."
    )


def load_source(plan: ComputedPlan) -> str:
    """Where the factor of the first lesion's load case comes from; empty in a flat shoe."""
    report = plan.pressure
    if report is None or report.device_factor is None:
        return ""
    taken = None if plan.spec.pressure_map is None else plan.spec.pressure_map.taken
    factor = factor_at(region_of_case(report.lesions[0].load_case), report.device, taken)
    return f"{factor.source} ({factor.status})"


def _line(lesion: LesionPressure) -> UlcerLine:
    when = CASE_WORDS[lesion.load_case]
    if lesion.reduction_percent is None:
        return UlcerLine(lesion.label, when, "", "", "", "", "carries no load in this estimate", True)
    stays = lesion.bottomed_percent <= 0
    closed = f"{_closed(lesion)} closed"
    space = f"stays open, {lesion.clearance:.1f} mm at its tightest" if stays else closed
    before, after = lesion.patch_mean_before, lesion.patch_mean_after
    taken, fall = "mean over 1.5 cm²", lesion.reduction_percent
    if before is None or after is None or before <= 0:
        before, after, taken = lesion.peak_before, lesion.peak_after, "peak"
    else:
        fall = 100.0 * (1.0 - after / before)
    return UlcerLine(
        lesion.label, when, taken, f"{before:.0f}", low_words(after), change_words(fall, lesion), space, stays
    )


def _lesion(lesion: LesionPressure, plan: ComputedPlan) -> str:
    line = _line(lesion)
    if not line.taken:
        return f"Ulcer {line.label} carries no load at {line.when} in this estimate."
    cut = " and ".join(plan.cut_layers)
    span = f"from {line.before} to {line.after} kPa" if line.taken != "peak" else _peak(lesion)
    change = f", {line.change}" if line.change else ""
    space = line.space if line.open else f"closes under {_closed(lesion)} of it: not wholly relieved"
    return (
        f"Cutting the {cut} takes the {line.taken} at ulcer {line.label} {span}{change} at {line.when}; "
        f"the space under the ulcer {space}."
    )


def _closed(lesion: LesionPressure) -> str:
    return f"{max(1.0, lesion.bottomed_percent):.0f} %"


def _highest_cell(lesion: LesionPressure) -> str:
    return f"The highest cell at ulcer {lesion.label} goes {_peak(lesion)}."


def _peak(lesion: LesionPressure) -> str:
    low, high = lesion.peak_after_range
    span = f" ({low:.0f} to {high:.0f} over the stiffness of tissue)" if high - low >= 1.0 else ""
    return f"from {lesion.peak_before:.0f} to {low_words(lesion.peak_after)} kPa{span}"


def _which(one: InlayGain, plan: ComputedPlan) -> str:
    """Which inlay it is, as a sentence begins."""
    layers: Sequence[str] = [layer.role for layer in plan.spec.stack]
    number = f" {one.number}" if len(plan.spec.stack[one.index].inlays) > 1 else ""
    at = f" {one.index}" if layers.count(one.role) > 1 else ""
    return f"Inlay{number} in the {one.role}{at} ({one.foam})"


def _lowered(words: str) -> str:
    return words[0].lower() + words[1:]


def _difference(one: InlayGain) -> str:
    fall = one.without - one.with_it
    return "no difference" if abs(fall) < HALF else f"{abs(fall):.0f} kPa {'less' if fall > 0 else 'more'}"


def _lower(fall: tuple[float, float]) -> str:
    """A span of falls in words: how much less, or more."""
    low, high = (round(value) for value in fall)
    if low == high == 0:
        return "none"
    if low >= 0:
        return f"{low} to {high} kPa less"
    return f"{-high} to {-low} kPa more" if high <= 0 else f"{-low} more to {high} kPa less"


def low_words(kpa: float) -> str:
    """A pressure after the cut; no estimate is so sure that it says nought."""
    return f"{kpa:.0f}" if kpa >= 0.5 else "under 1"


def change_words(fall: float, lesion: LesionPressure) -> str:
    """By how much it falls; where the space closes under a part, that part is not relieved and none is said
    to be relieved all but wholly.
    """
    if fall < 0:
        return f"{-fall:.0f} % more"
    if fall <= MOST_SAID:
        return f"{fall:.0f} % less"
    return "" if lesion.bottomed_percent > 0 else f"over {MOST_SAID:.0f} % less"
