"""From a specification in plain values to a computed plan, with its pressures at the effort that is asked for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from offload.core.checks import Check
from offload.core.errors import ReliefError, SpecError
from offload.core.foam import Foam, FoamPoint, packaged_foams
from offload.core.lattice import SolverError
from offload.core.plan import ReliefPlan as ComputedPlan
from offload.core.plan import compute, with_pressure
from offload.core.policy import DEFAULT_POLICY, Policy, decide
from offload.core.pressure import PressureField, PressureModel
from offload.core.specfile import spec_from
from offload.core.stack import PACKAGED_FOAMS
from offload.core.watch import WatchPoint, watch_points

__all__ = [
    "DRAWN",
    "ESTIMATED",
    "FULL",
    "LIVE",
    "NO_REMARKS",
    "Effort",
    "Estimate",
    "Fault",
    "InvalidSpec",
    "Remarks",
    "departures_of",
    "foams_as_json",
    "foams_from_json",
    "plan_compute",
    "plan_estimate",
]


@dataclass(frozen=True)
class Effort:
    """How finely a pressure is solved: cell size [mm], soft and stiff tissue too, other cuts too, where to look afterwards."""

    cell: float
    ranges: bool
    others: bool
    watch: bool = True


#: Checks of the pressure estimate: each says where to look first, none stops a signature.
ESTIMATED = ("layer_strain", "clearance", "bottoming_out", "peak_elsewhere", "pressure_estimated")
FULL = Effort(2.5, ranges=True, others=True)  # what is kept
DRAWN = Effort(
    2.5, ranges=False, others=False, watch=False
)  # the picture of a plan whose figures are kept already
LIVE = Effort(5.0, ranges=False, others=False, watch=False)  # while a lesion is dragged


@dataclass(frozen=True)
class Fault:
    """One sentence on one field of a specification, named by its path, such as `lesions[0].length_mm`."""

    field: str
    message: str


class InvalidSpec(Exception):
    """A specification from which no plan can be computed."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(fault.message for fault in faults))
        self.faults = tuple(faults)


@dataclass(frozen=True)
class Remarks:
    """What a record adds to a computed plan: its checks, its reasons, and where it departs from house rules."""

    checks: tuple[Check, ...] = ()
    reasons: tuple[str, ...] = ()
    departures: tuple[str, ...] = ()


NO_REMARKS = Remarks()


@dataclass(frozen=True)
class Estimate:
    """A plan with its pressures, the fields a page draws, and where to look afterwards."""

    plan: ComputedPlan
    fields: tuple[PressureField, ...] = ()
    watch: tuple[WatchPoint, ...] = ()


def plan_compute(
    spec: Mapping[str, Any], *, policy: Policy = DEFAULT_POLICY, remarks: Remarks = NO_REMARKS
) -> ComputedPlan:
    """The plan's geometry alone, without keeping it; InvalidSpec names what is wrong."""
    try:
        plan = compute(spec_from(spec, _foam_ids(spec)), policy=policy)
    except SpecError as error:
        raise InvalidSpec([_fault(sentence) for sentence in error.faults]) from error
    except ReliefError as error:
        raise InvalidSpec([_fault(str(error))]) from error
    return replace(plan, checks=plan.checks + remarks.checks, reasons=plan.reasons + remarks.reasons)


def plan_estimate(
    spec: Mapping[str, Any],
    *,
    policy: Policy = DEFAULT_POLICY,
    remarks: Remarks = NO_REMARKS,
    foams: Mapping[str, Foam] | None = None,
    effort: Effort = FULL,
) -> Estimate:
    """The plan with its pressures.

    Where they cannot be had (a foam nobody measured, a load that does not come to rest) the geometry stands, and a
    reason and a flagged check say what is missing.
    """
    plan = plan_compute(spec, policy=policy, remarks=remarks)
    known = packaged_foams() | dict(foams or {})
    unknown = sorted({layer.foam for layer in plan.spec.stack} - known.keys())
    if unknown:
        return Estimate(_without(plan, f"No measured points are known of the foam {', '.join(unknown)}."))
    model = PressureModel(known, effort.cell, policy, effort.ranges, effort.others)
    try:
        picture = model.picture(plan)
    except SolverError as error:
        return Estimate(_without(plan, f"The load does not come to rest on this insole: {error}"))
    except SpecError as error:
        raise InvalidSpec([_fault(sentence) for sentence in error.faults]) from error
    except ReliefError as error:
        raise InvalidSpec([_fault(str(error))]) from error
    watch = watch_points(plan, picture.fields) if effort.watch else ()
    return Estimate(with_pressure(plan, picture.findings), picture.fields, watch)


def _without(plan: ComputedPlan, why: str) -> ComputedPlan:
    words = f"No pressure is estimated for this plan. {why}"
    check = Check("pressure_estimated", "warn", False, None, "estimated", words)
    return replace(plan, checks=(*plan.checks, check), reasons=(*plan.reasons, words))


def departures_of(plan: ComputedPlan, policy: Policy, remarks: Remarks = NO_REMARKS) -> tuple[str, ...]:
    """Where the plan departs from the policy, in sentences; each needs a written reason before signing."""
    spec = plan.spec
    decision = decide(spec.stack, spec.body_weight, spec.rigid_deformity, spec.cut, policy)
    if not decision.departs:
        return remarks.departures
    asked, own = " and ".join(decision.cut_layers), " and ".join(decision.policy_layers)
    return (f"The cut is in the {asked}; the policy would cut the {own}.", *remarks.departures)


def foams_as_json(plan: ComputedPlan, foams: Mapping[str, Foam] | None) -> dict[str, Any]:
    """The laws of the plan's foams as they were when it was computed."""
    known = packaged_foams() | dict(foams or {})
    used = {layer.foam for layer in plan.spec.stack}
    return {name: asdict(known[name]) for name in sorted(used) if name in known}


def foams_from_json(kept: Mapping[str, Any]) -> dict[str, Foam]:
    """Foams as a plan kept them."""
    return {
        name: Foam(**{**row, "points": tuple(FoamPoint(**point) for point in row["points"])})
        for name, row in kept.items()
    }


def _foam_ids(spec: Mapping[str, Any]) -> tuple[str, ...]:
    """The packaged foams and those the clinic's own stack names; geometry needs no more than their ids."""
    stack = spec.get("stack")
    own = (
        [layer.get("foam") for layer in stack if isinstance(layer, Mapping)]
        if isinstance(stack, list)
        else []
    )
    return (*PACKAGED_FOAMS, *(foam for foam in own if isinstance(foam, str) and foam.strip()))


def _fault(sentence: str) -> Fault:
    """Split the field's path off a sentence of the core, which always begins with it."""
    found = re.match(r"[a-z_]+(?:\[\d+\])?(?:\.[a-z_]+)*", sentence)
    return Fault(found.group(0) if found else "", sentence)
