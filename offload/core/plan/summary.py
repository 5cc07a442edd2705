"""What a plan is expected to do, in plain words."""

from __future__ import annotations

from offload.core.plan.compute import ComputedPlan, LesionPressure
from offload.core.pressure.baseline import load_constants

__all__ = ["BASELINE_WORDS", "CASE_WORDS", "summary_of"]

CASE_WORDS = {"push_off": "push-off", "heel_strike": "heel strike", "mid_stance": "mid-stance"}
BASELINE_WORDS = {
    "measured": "a map measured under this foot",
    "reference": "the reference map, a group average and not this foot",
}
LITTLE = 5.0
"""Changes of the rim's peak below this are called none [kPa]; design choice."""


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
    rise = report.rim_peak_after - report.rim_peak_before
    if abs(rise) < LITTLE:
        rim = f"The rim stays at about {report.rim_peak_after:.0f} kPa"
    else:
        way = "rises" if rise > 0 else "falls"
        rim = f"The rim {way} from {report.rim_peak_before:.0f} to {report.rim_peak_after:.0f} kPa"
    sentences.append(
        f"{rim}; the highest place outside the opening goes from {report.elsewhere_peak_before:.0f} to "
        f"{report.elsewhere_peak_after:.0f} kPa."
    )
    sentences.append(
        f"Measured cut-outs in print relieve {published['low_percent']} to {published['high_percent']} %: "
        "take what lies "
        "above that as a promise of the model, not of the insole."
    )
    return tuple(sentences)


def _lesion(lesion: LesionPressure, plan: ComputedPlan) -> str:
    low, high = lesion.peak_after_range
    cut = " and ".join(plan.cut_layers)
    if lesion.reduction_percent is None:
        return f"Lesion {lesion.label} carries no load at {CASE_WORDS[lesion.load_case]} in this estimate."
    span = f" ({low:.0f} to {high:.0f} over the stiffness of tissue)" if high - low >= 1.0 else ""
    if lesion.reduction_percent >= 0:
        change = f"{lesion.reduction_percent:.0f} % less"
    else:
        change = f"{-lesion.reduction_percent:.0f} % more"
    if lesion.bottomed_percent <= 0:
        void = f"the void stays open, {lesion.clearance:.1f} mm at its tightest"
    else:
        void = f"the void closes under {lesion.bottomed_percent:.0f} % of it"
    return (
        f"Cutting the {cut} takes the peak at lesion {lesion.label} from {lesion.peak_before:.0f} to "
        f"{lesion.peak_after:.0f} kPa{span}, {change} at {CASE_WORDS[lesion.load_case]}; {void}."
    )
