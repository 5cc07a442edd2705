"""One wound from its areas to its verdict: the door most callers use."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from clinic.healing.forecast import Forecast, forecast
from clinic.healing.progress import Progress, progress_of
from clinic.healing.series import Area, Run, last_run
from clinic.healing.verdict import Findings, Reason, Standing, Verdict, review_reasons, verdict_of

__all__ = ["LesionReport", "lesion_report"]


@dataclass(frozen=True, slots=True)
class LesionReport:
    """Everything the package says about one wound.

    Parameters
    ----------
    run : Run
        The areas judged, with a note when others were left out.
    progress : Progress
        Reduction, advance, changes.
    verdict : Verdict
        The word and its reasons.
    forecast : Forecast or None
        None under 3 areas since the last long gap, when the last area is 0, or the wound is covered.
    review : tuple of Reason
        Reasons for the review list that are not a verdict.
    """

    run: Run
    progress: Progress
    verdict: Verdict
    forecast: Forecast | None
    review: tuple[Reason, ...]


def lesion_report(
    areas: Iterable[Area],
    findings: Findings | None = None,
    breaks: Iterable[date] = (),
    closed: Iterable[date] = (),
) -> LesionReport:
    """Judge one wound.

    Parameters
    ----------
    areas : iterable of Area
        All its areas, any order, methods and states mixed or not.
    findings : Findings or None
        Findings beside the areas.
    breaks : iterable of datetime.date
        Days on which device, plan, debridement policy or perfusion changed.
    closed : iterable of datetime.date
        Days on which the wound was found covered and dry.

    Returns
    -------
    LesionReport
        Figures, verdict and forecast.

    Raises
    ------
    SeriesError
        If there is no area, or two of one method and state on one day.
    """
    run = last_run(areas, closed)
    is_covered = findings is not None and (findings.covered or findings.healed_confirmed)
    outlook = None if is_covered else forecast(run, breaks)
    chance = None if outlook is None else outlook.chance_next_8w
    standing = None if outlook is None else Standing(outlook.still, outlook.growing)
    return LesionReport(
        run=run,
        progress=progress_of(run),
        verdict=verdict_of(run, findings, chance, standing),
        forecast=outlook,
        review=review_reasons(run),
    )
