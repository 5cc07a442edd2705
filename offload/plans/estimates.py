"""From a specification to a computed plan, with its pressures at the effort that is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from offload.core.errors import SpecError
from offload.core.foam.law import Foam, FoamPoint, packaged_foams
from offload.core.foam.stack import foams_named
from offload.core.plan.bounds import faults_of_values
from offload.core.plan.checks import Check, Kind
from offload.core.plan.compute import ComputedPlan, compute, with_pressure
from offload.core.plan.inlays import inlays_in
from offload.core.plan.policy import DEFAULT_POLICY, Policy
from offload.core.plan.report import PressureField, PressureModel
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.watch import LoadedPlace, watch_points
from offload.core.pressure.foundation import TOLERANCE
from offload.core.pressure.lattice import SolverError

__all__ = [
    "DRAWN",
    "FULL",
    "LIVE",
    "NO_REMARKS",
    "SURE",
    "Effort",
    "Estimate",
    "Remarks",
    "departures_of",
    "foams_as_json",
    "foams_from_json",
    "plan_compute",
    "plan_estimate",
    "pressed",
]


@dataclass(frozen=True)
class Effort:
    """How finely a pressure is solved: cell size [mm], soft and stiff tissue too, other cuts too, where
    to look afterwards, joint draws of the inputs too.
    """

    cell: float
    ranges: bool
    others: bool
    watch: bool = True
    chances: bool = False
    tolerance: float = TOLERANCE


FULL = Effort(2.5, ranges=True, others=True)  # what is kept
SURE = Effort(2.5, ranges=True, others=True, watch=False, chances=True)  # how sure the figures are
DRAWN = Effort(
    2.5, ranges=False, others=False, watch=False
)  # the picture of a plan whose figures are kept already
LIVE = Effort(5.0, ranges=False, others=False, watch=False, tolerance=1e-2)  # while a lesion is dragged


@dataclass(frozen=True)
class Remarks:
    """What a record adds to a computed plan: its checks, its reasons, and where it departs from house
    rules.
    """

    checks: tuple[Check, ...] = ()
    reasons: tuple[str, ...] = ()
    departures: tuple[str, ...] = ()


NO_REMARKS = Remarks()


@dataclass(frozen=True)
class Estimate:
    """A plan with its pressures, the fields a page draws, and where to look afterwards; `missing` says
    why there are none.
    """

    plan: ComputedPlan
    fields: tuple[PressureField, ...] = ()
    watch: tuple[LoadedPlace, ...] = ()
    missing: str = ""


def plan_compute(
    spec: ReliefSpec, *, policy: Policy = DEFAULT_POLICY, remarks: Remarks = NO_REMARKS
) -> ComputedPlan:
    """The plan's geometry alone, without keeping it; SpecError names what is wrong."""
    faults = faults_of_values(spec)
    if faults:
        raise SpecError(faults)
    plan = compute(spec, policy=policy)
    return replace(plan, checks=plan.checks + remarks.checks, reasons=plan.reasons + remarks.reasons)


def plan_estimate(
    spec: ReliefSpec,
    *,
    policy: Policy = DEFAULT_POLICY,
    remarks: Remarks = NO_REMARKS,
    foams: Mapping[str, Foam] | None = None,
    effort: Effort = FULL,
) -> Estimate:
    """The plan with its pressures.

    Where they cannot be had (a foam nobody measured, a load that does not come to rest) the geometry stands,
    and a reason and a flagged check say what is missing.
    """
    estimate = pressed(plan_compute(spec, policy=policy, remarks=remarks), foams=foams, effort=effort)
    return estimate if not estimate.missing else replace(estimate, plan=_without(estimate))


def pressed(
    plan: ComputedPlan, *, foams: Mapping[str, Foam] | None = None, effort: Effort = FULL
) -> Estimate:
    """Pressures joined to a plan whose geometry is known: the one door for the bench, for keeping and for
    drawing.
    """
    known = packaged_foams() | dict(foams or {})
    unknown = sorted(foams_named(plan.spec.stack) - known.keys())
    if unknown:
        return Estimate(plan, missing=f"No measured points are known of the foam {', '.join(unknown)}.")
    try:
        model = PressureModel(
            known, effort.cell, effort.ranges, effort.others, effort.chances, effort.tolerance
        )
        picture = model.picture(plan)
    except SolverError as error:
        return Estimate(plan, missing=f"The load does not come to rest on this insole: {error}")
    watch = watch_points(plan, picture.fields) if effort.watch else ()
    return Estimate(with_pressure(plan, picture.findings), picture.fields, watch)


def _without(estimate: Estimate) -> ComputedPlan:
    words = f"No pressure is estimated for this plan. {estimate.missing}"
    check = Check("pressure_estimated", "warn", False, None, "estimated", words, Kind.ESTIMATE)
    plan = estimate.plan
    return replace(plan, checks=(*plan.checks, check), reasons=(*plan.reasons, words))


def departures_of(plan: ComputedPlan, remarks: Remarks = NO_REMARKS) -> tuple[str, ...]:
    """Where the plan departs from its policy, in sentences; each needs a written reason before signing."""
    decision = plan.decision
    found = [f"The plan has an {placed.words}; the policy has none." for placed in inlays_in(plan.spec.stack)]
    if decision.departs:
        wanted, own = " and ".join(decision.cut_layers), " and ".join(decision.policy_layers)
        found.insert(0, f"The cut is in the {wanted}; the policy would cut the {own}.")
    return (*found, *remarks.departures)


def foams_as_json(plan: ComputedPlan, foams: Mapping[str, Foam] | None) -> dict[str, Any]:
    """The laws of the plan's foams as they were when it was computed."""
    known = packaged_foams() | dict(foams or {})
    used = foams_named(plan.spec.stack)
    return {name: asdict(known[name]) for name in sorted(used) if name in known}


def foams_from_json(stored: Mapping[str, Any]) -> dict[str, Foam]:
    """Foams as a plan kept them."""
    return {
        name: Foam(**{**row, "points": tuple(FoamPoint(**point) for point in row["points"])})
        for name, row in stored.items()
    }
