"""One wound from its areas to its verdict: the door most callers use."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from clinic.healing.carried import Judged, carried, runs_before
from clinic.healing.forecast import Forecast, forecast_many
from clinic.healing.own import Own
from clinic.healing.prognosis import Prognosis, PrognosisFacts, prognosis_of
from clinic.healing.progress import Progress, progress_of
from clinic.healing.series import Area, Run, last_run
from clinic.healing.shown import recalibrated
from clinic.healing.verdict import Findings, Reason, Standing, Verdict, review_reasons, verdict_of

__all__ = ["FACTS_UNTIL", "LesionReport", "lesion_report", "lesion_reports"]

FACTS_UNTIL = 21
"""Days after the first area up to which the prognosis moves the forecast; from the fourth week on the course
judges alone, since a prognosis near 0 outweighs ten weeks of slow closing; design choice. [d]"""


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
        None under 3 areas since the last long gap, when the last area is 0, or the wound is covered; by the
        clinic's own figures where it has them.
    review : tuple of Reason
        Reasons for the review list that are not a verdict.
    prognosis : Prognosis or None
        From what was known before the course, in its first three weeks.
    own : Own or None
        The clinic's figures it was made with.
    """

    run: Run
    progress: Progress
    verdict: Verdict
    forecast: Forecast | None
    review: tuple[Reason, ...]
    prognosis: Prognosis | None = None
    own: Own | None = None


def lesion_report(
    areas: Iterable[Area],
    findings: Findings | None = None,
    breaks: Iterable[date] = (),
    closed: Iterable[date] = (),
    curves: bool = True,
    facts: PrognosisFacts | None = None,
    own: Own | None = None,
) -> LesionReport:
    """Judge one wound. The one door to a chance that a screen shows.

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
    curves : bool
        Whether to compute the smoothed curve and the fan of a chart, which take more than half of the time.
    facts : PrognosisFacts or None
        What is known of an ulcer at the first area of its run; None of another wound.
    own : Own or None
        The clinic's figures in force.

    Returns
    -------
    LesionReport
        Figures, verdict and forecast.

    Raises
    ------
    SeriesError
        If there is no area, or two of one method and state on one day.
    """
    areas, closed = tuple(areas), tuple(closed)
    run = last_run(areas, closed)
    is_covered = findings is not None and (findings.covered or findings.healed_confirmed)
    earlier = runs_before(run, areas, closed)
    # A new way of measuring begins no new course.
    begins = run.span <= FACTS_UNTIL and not is_covered and not earlier
    prognosis = prognosis_of(facts) if facts is not None and begins else None
    outlook = None
    if not is_covered:
        chances = [None if prognosis is None else prognosis.chance]
        outlook = forecast_many([(run, tuple(breaks))], curves=curves, prognoses=chances)[0]
    shown = None if outlook is None else recalibrated(outlook, own)
    return _report(run, findings, shown, _judged(earlier, tuple(breaks), own), prognosis, own)


def lesion_reports(wounds: Sequence[Iterable[Area]]) -> tuple[LesionReport, ...]:
    """Judge many wounds known by their areas alone, in one pass and without curves.

    Parameters
    ----------
    wounds : sequence of iterable of Area
        Areas of each wound, as for ``lesion_report``.

    Returns
    -------
    tuple of LesionReport
        In the order given.

    Raises
    ------
    SeriesError
        As for ``lesion_report``.
    """
    listed = [tuple(areas) for areas in wounds]
    runs = [last_run(areas) for areas in listed]
    outlooks = forecast_many([(run, ()) for run in runs])
    return tuple(
        _report(run, None, outlook, _judged(runs_before(run, areas), ()))
        for run, areas, outlook in zip(runs, listed, outlooks, strict=True)
    )


def _judged(runs: Sequence[Run], breaks: tuple[date, ...], own: Own | None = None) -> tuple[Judged, ...]:
    """Earlier runs with the verdict of their areas."""
    outlooks = forecast_many([(run, breaks) for run in runs]) if runs else ()
    shown = [None if outlook is None else recalibrated(outlook, own) for outlook in outlooks]
    return tuple(Judged(run, _verdict(run, None, ahead, own)) for run, ahead in zip(runs, shown, strict=True))


def _verdict(run: Run, findings: Findings | None, outlook: Forecast | None, own: Own | None) -> Verdict:
    chance = None if outlook is None else outlook.chance_next_8w
    standing = None if outlook is None else Standing(outlook.still, outlook.growing)
    return verdict_of(run, findings, chance, standing, None if own is None else own.counts)


def _report(
    run: Run,
    findings: Findings | None,
    outlook: Forecast | None,
    before: Sequence[Judged],
    prognosis: Prognosis | None = None,
    own: Own | None = None,
) -> LesionReport:
    return LesionReport(
        run=run,
        progress=progress_of(run),
        verdict=carried(_verdict(run, findings, outlook, own), run, before),
        forecast=outlook,
        review=review_reasons(run),
        prognosis=prognosis,
        own=own,
    )
