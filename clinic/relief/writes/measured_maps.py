"""Pressure maps measured under a foot: kept when they can lie on its insole, withdrawn when they were
wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from clinic.models import Limb, MapKind, MeasuredMap, PlanFlagCause, User
from clinic.people.reads.limbs import insole_of_limb
from clinic.record.dates import day_words
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.reads.measured_maps import place_of
from clinic.relief.writes.watch import plan_flag_raise
from offload.core.errors import ReliefError
from offload.core.pressure.measured import GridPoint, MeasuredGrid, well_placed
from offload.core.pressure.placement import faults_of_map
from offload.models import PlanState

__all__ = ["map_keep", "map_withdraw"]


@transaction.atomic
def map_keep(
    *,
    by: User,
    limb: Limb,
    measured_on: date,
    worn: str,
    taken: str,
    unit: str,
    grid: MeasuredGrid,
    points: Sequence[GridPoint],
) -> MeasuredMap:
    """Keep a map of the uncut insole under this foot. The same map sent twice is kept once."""
    # One writer at a time on a limb, so that a form sent twice finds the map of the first.
    Limb.objects.select_for_update().get(pk=limb.pk)
    today = timezone.localdate()
    if measured_on > today:
        raise Refused(
            f"Measured on: {day_words(measured_on)}; the limit is today, {day_words(today)}.",
            field="measured_on",
        )
    kpa = [[round(value, 3) for value in line] for line in grid.kpa]
    for earlier in limb.measured_maps.filter(withdrawn_on__isnull=True, measured_on=measured_on):
        if earlier.kpa == kpa and earlier.kind == grid.kind:
            return earlier
    across, along = (Decimal(str(size)) for size in grid.cell)
    row = MeasuredMap(
        limb=limb,
        measured_on=measured_on,
        worn=worn.strip(),
        taken=taken,
        kind=grid.kind,
        unit=unit,
        cell_across_mm=across,
        cell_along_mm=along,
        kpa=kpa,
        points=[list(point) for point in points],
    )
    _refuse_misplaced(row, limb)
    store(row, by=by)
    audit.record(
        by=by,
        site=limb.person.site,
        verb="added",
        target=row,
        person=limb.person,
        kind=row.kind,
        taken=row.taken,
        unit=row.unit,
        cells=[len(kpa), len(kpa[0])],
        points=row.points,
    )
    return row


def _refuse_misplaced(row: MeasuredMap, limb: Limb) -> None:
    """A map must lie on this foot's insole and, as one moment, carry what a walking person can weigh."""
    insole = insole_of_limb(limb)
    if insole is None:
        raise Refused("Foot length: not recorded; the insole is drawn from it. Record it first.")
    weight = limb.person.weights.newest_first().first()
    if weight is None and row.kind == MapKind.INSTANT:
        raise Refused(
            "Body weight: not recorded; one moment of the step is checked against it. Record it first.",
            field="kind",
        )
    try:
        placed = well_placed(place_of(row, insole))
    except ReliefError as fault:
        raise Refused(f"Points: {fault}", field="first_along") from fault
    faults = faults_of_map(placed.map, insole.outline, float(weight.kg) if weight else 0.0)
    if faults:
        raise Refused(f"Grid: {faults[0].words}.", field="grid")


@transaction.atomic
def map_withdraw(*, by: User, row: MeasuredMap, because: str, expected_version: int) -> MeasuredMap:
    """Take a wrong map out of use; it stays readable, and signed plans that start from it are flagged."""
    because = words_needed(because, "because")
    if row.withdrawn_on is not None:
        raise Refused("This map was withdrawn already.")
    row.withdrawn_on, row.withdrawn_because = timezone.localdate(), because
    store(row, by=by, expected_version=expected_version, why=because)
    person = row.limb.person
    audit.record(by=by, site=person.site, verb="withdrew", target=row, person=person, because=because)
    for link in row.plans.filter(plan__state=PlanState.SIGNED, ended_on=None).select_related(
        "plan", "limb__person__site"
    ):
        plan_flag_raise(
            by=by,
            limb_plan=link,
            cause=PlanFlagCause.MAP,
            subject="",
            words=f"The measured map of {day_words(row.measured_on)}, from which this plan's pressures "
            "start, was withdrawn: "
            "look at the estimate again.",
            raised_on=row.withdrawn_on,
        )
    return row
