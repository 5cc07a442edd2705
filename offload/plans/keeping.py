"""Writing relief plans: computed from a specification, kept as a draft under a random code, signed, replaced.

Access and the audit row are the caller's, who knows the person; everything here runs in the caller's
transaction.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone
from shapely.geometry import Polygon

from offload.core.errors import ReliefError
from offload.core.foam.law import Foam
from offload.core.foam.stack import PACKAGED_FOAMS
from offload.core.plan.compute import ComputedPlan, as_json, compute
from offload.core.plan.inlays import gains_from_json, layer_json
from offload.core.plan.policy import DEFAULT_POLICY, Policy
from offload.core.plan.report import PressureField
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.specfile import spec_from, spec_json
from offload.core.plan.watch import LoadedPlace
from offload.core.sheets.drawing import Drawing
from offload.core.sheets.sheet import PAPERS, cutting_drawing, template_drawing
from offload.core.sheets.sheet_blocks import SheetLabel
from offload.core.sheets.sheet_code import sheet_code
from offload.models import PlanState, ReliefPlan
from offload.plans.estimates import (
    DRAWN,
    FULL,
    NO_REMARKS,
    Remarks,
    departures_of,
    foams_as_json,
    foams_from_json,
    plan_estimate,
    pressed,
)
from offload.plans.refused import PlanChanged, PlanRefused
from offload.plans.stage import plan_allowed
from offload.plans.stored import advice_of, alternatives_of, check_json, check_of, report_of

__all__ = [
    "PlanChanged",
    "PlanRefused",
    "Redrawn",
    "Remarks",
    "cutting_sheet",
    "departures_of",
    "is_intact",
    "plan_create",
    "plan_drawings",
    "shut_under",
    "sign",
    "policy_of",
    "recomputed",
    "redrawn",
    "unmet",
    "unsaid",
]

CODE_TRIES = 20
#: Share of the space under a lesion from which a page says 100 % [%].
ALL_SHUT = 99.5
#: Why a plan is signed all the same is said in at least so many characters; design choice.
SENTENCE = 10
SAME_KPA = 0.5  # [kPa] peaks drawn farther than this from the kept ones are said so
SAME = 0.01  # [mm] outlines of a stored and a recomputed plan may differ by this

NOT_DRAWN = "The picture is not drawn:"
ANEW = (
    "The picture is solved anew by this program, which finds a peak {:.0f} kPa away from the one the "
    "plan "
    "was kept with."
)
KEPT = "The figures below are those of the plan."


@transaction.atomic
def plan_create(
    *,
    spec: ReliefSpec,
    made_by: str,
    at: datetime,
    policy: Policy = DEFAULT_POLICY,
    remarks: Remarks = NO_REMARKS,
    foams: Mapping[str, Foam] | None = None,
    replaces: ReliefPlan | None = None,
    departure_reason: str = "",
    unless: ReliefPlan | None = None,
) -> ReliefPlan:
    """Keep a draft under a new random code. It may replace a signed plan once it is signed itself.

    If `unless` is a draft that says the same, it is returned and nothing is written: a form sent twice is
    kept once.
    """
    if replaces is not None and replaces.state == PlanState.DRAFT:
        raise PlanRefused(f"Plan {replaces.code} is a draft; only a signed plan is replaced.")
    estimate = plan_estimate(spec, policy=policy, remarks=remarks, foams=foams, effort=FULL)
    plan = estimate.plan
    spec_copy = json.loads(_canonical(spec_json(spec)))
    printed = as_json(plan)
    result = {
        **printed,
        "checks": [check_json(*pair) for pair in zip(printed["checks"], plan.checks, strict=True)],
        "policy": asdict(plan.policy),
        "departures": list(departures_of(plan, remarks)),
        "layers": [{**layer_json(layer), "thickness_mm": layer.thickness} for layer in plan.spec.stack],
        "foams": foams_as_json(plan, foams),
        "watch_points": [_watch_json(point) for point in estimate.watch],
    }
    result = json.loads(_canonical(result))
    made = ReliefPlan(
        code=_new_code(),
        number=1 if replaces is None else replaces.number + 1,
        replaces=replaces,
        side=plan.spec.side,
        spec=spec_copy,
        result=result,
        sha256=_digest(spec_copy, result, plan.core_version),
        core_version=plan.core_version,
        departure_reason=departure_reason.strip(),
        created_at=at,
        made_by=made_by,
    )
    if unless is not None and _says_the_same(unless, made):
        return unless
    made.save(force_insert=True)
    return made


@transaction.atomic
def sign(
    *,
    plan: ReliefPlan,
    signed_by: str,
    at: datetime,
    expected_version: int,
    departure_reason: str = "",
    shut_reason: str = "",
) -> ReliefPlan:
    """Sign a draft; from then on it is frozen, and the plan it replaces is superseded."""
    row = ReliefPlan.objects.select_for_update().get(pk=plan.pk)
    if row.version != expected_version:
        raise PlanChanged("Someone else changed this plan since you opened it. Nothing was signed.")
    plan_allowed(row, "sign")
    if not is_intact(row):
        raise PlanRefused(f"The numbers of plan {row.code} do not match their digest: make a new plan.")
    blocking = unmet(row)
    if blocking:
        raise PlanRefused("This plan cannot be signed. " + " ".join(blocking))
    for missing in unsaid(row, departure_reason=departure_reason, shut_reason=shut_reason):
        raise missing
    row.departure_reason = departure_reason.strip() or row.departure_reason
    row.shut_reason = shut_reason.strip() if shut_under(row) else ""
    if row.replaces_id is not None:
        _supersede(row.replaces_id)
    row.state = PlanState.SIGNED
    row.signed_by = signed_by
    row.signed_at = at
    row.version += 1
    row.save(update_fields=["departure_reason", "shut_reason", "state", "signed_by", "signed_at", "version"])
    return row


def unsaid(row: ReliefPlan, *, departure_reason: str, shut_reason: str) -> list[PlanRefused]:
    """What a signature still asks in words: why the plan departs, why it is cut although predicted closed."""
    found = []
    if row.result["departures"] and not (departure_reason.strip() or row.departure_reason):
        found.append(
            PlanRefused(
                "This plan departs from the house rules; write why before signing. "
                + " ".join(row.result["departures"]),
                field="departure_reason",
            )
        )
    shut = shut_under(row)
    if shut and len(shut_reason.strip()) < SENTENCE:
        found.append(
            PlanRefused(
                f"The plan predicts the space under all of ulcer {', '.join(shut)} closed under load: it "
                f"relieves nothing there. Say in at least {SENTENCE} characters why it is cut all the same.",
                field="shut_reason",
            )
        )
    return found


def shut_under(row: ReliefPlan) -> list[str]:
    """Lesions under all of which the estimate has the space closed, by their letters."""
    report = report_of(row.result)
    return [] if report is None else [one.label for one in report.lesions if one.bottomed_percent >= ALL_SHUT]


def unmet(row: ReliefPlan) -> list[str]:
    """Sentences of the flagged checks that stop a signature."""
    checks = map(check_of, row.result["checks"])
    return [check.message for check in checks if check.stops]


def is_intact(row: ReliefPlan) -> bool:
    """Whether specification and result are still those the digest was taken of."""
    return row.sha256 == _digest(row.spec, row.result, row.core_version)


def policy_of(row: ReliefPlan) -> Policy:
    """The house rules a stored plan was computed with."""
    known = {field.name for field in fields(Policy)}
    return Policy(**{name: value for name, value in row.result["policy"].items() if name in known})


def recomputed(row: ReliefPlan) -> ComputedPlan:
    """The stored plan as core values, for drawing; refused if this program would cut it differently."""
    plan = _cut_again(row)
    if not _same_cut(plan, row.result):
        raise PlanRefused(
            f"Plan {row.code} was computed by version {row.core_version} of the program and this one, "
            "version "
            f"{plan.core_version}, cuts it differently: make a new plan."
        )
    return replace(
        plan,
        pressure=report_of(row.result),
        alternatives=alternatives_of(row.result),
        clearance_advice=advice_of(row.result),
        gains=gains_from_json(row.result),
        checks=tuple(map(check_of, row.result["checks"])),
        reasons=tuple(row.result["reasons"]),
        core_version=row.core_version,
    )


@dataclass(frozen=True)
class Redrawn:
    """A kept plan for a page: as it was kept, the pressure fields solved anew, and what is to say of
    their pictures.
    """

    plan: ComputedPlan
    fields: tuple[PressureField, ...] = ()
    remark: str = ""


def redrawn(row: ReliefPlan) -> Redrawn:
    """The stored plan with its pressure solved anew for drawing, under the policy and the foams it was kept
    with.

    Refused as `recomputed` is. The same cut is drawn whatever its peaks; where they are not the kept ones, or
    where there is no picture, the remark says so.
    """
    plan = recomputed(row)
    if plan.pressure is None:
        return Redrawn(plan)
    if "foams" not in row.result:
        return Redrawn(plan, remark=f"{NOT_DRAWN} the plan was kept without the laws of its foams. {KEPT}")
    try:
        estimate = pressed(plan, foams=foams_from_json(row.result["foams"]), effort=DRAWN)
    except ReliefError as error:
        return Redrawn(plan, remark=f"{NOT_DRAWN} {error}. {KEPT}")
    solved = estimate.plan.pressure
    if solved is None or estimate.missing:
        return Redrawn(plan, remark=f"{NOT_DRAWN} {estimate.missing} {KEPT}")
    pairs = zip(solved.lesions, plan.pressure.lesions, strict=True)
    apart = max(abs(new.peak_after - old.peak_after) for new, old in pairs)
    remark = "" if apart <= SAME_KPA else f"{ANEW.format(apart)} {KEPT}"
    return Redrawn(plan, estimate.fields, remark)


def _cut_again(row: ReliefPlan) -> ComputedPlan:
    """A stored specification computed by this program, under the policy it was kept with."""
    foams = {one["foam"] for layer in row.spec.get("stack", ()) for one in (layer, *layer.get("inlays", ()))}
    try:
        return compute(spec_from(row.spec, (*PACKAGED_FOAMS, *sorted(foams))), policy=policy_of(row))
    except ReliefError as error:
        raise PlanRefused(f"Plan {row.code} cannot be cut by this program: {error}") from error


def plan_drawings(plan: ReliefPlan, paper: str, dangers: Sequence[str] = ()) -> tuple[Drawing, ...]:
    """Pages of the 1:1 template on one paper size, with the warning that the plan's state asks for; `dangers`
    are sentences on the foot that the caller knows of, the worst first.
    """
    if paper not in PAPERS:
        raise PlanRefused(f"paper is {paper}; the limit is one of {', '.join(PAPERS)}", field="paper")
    return _drawn(lambda: template_drawing(recomputed(plan), _imprint(plan, dangers), paper=paper))


def cutting_sheet(plan: ReliefPlan, dangers: Sequence[str] = ()) -> Drawing:
    """All cut layers over one another at true size, for SVG and DXF."""
    return _drawn(lambda: cutting_drawing(recomputed(plan), _imprint(plan, dangers)))


def _drawn(draw: Any) -> Any:
    try:
        return draw()
    except ReliefError as error:
        raise PlanRefused(f"The sheet cannot be drawn: {error}") from error


def _imprint(row: ReliefPlan, dangers: Sequence[str]) -> SheetLabel:
    following = row.replaced_by.filter(state__in=[PlanState.SIGNED, PlanState.SUPERSEDED]).first()
    day = row.signed_at or row.created_at
    return SheetLabel(
        code=row.code,
        version=row.number,
        date=timezone.localtime(day).date(),
        signed=row.state != PlanState.DRAFT,
        replaced_by=following.number if following else None,
        dangers=tuple(dangers),
    )


def _watch_json(point: LoadedPlace) -> dict[str, Any]:
    return {
        "kind": point.kind,
        "words": point.words,
        "at_mm": [round(value, 2) for value in point.at],
        "before_kpa": round(point.before_kpa, 3),
        "after_kpa": round(point.after_kpa, 3),
    }


def _says_the_same(old: ReliefPlan, new: ReliefPlan) -> bool:
    def content(plan: ReliefPlan) -> tuple[object, ...]:
        return plan.state, plan.sha256, plan.replaces_id, plan.departure_reason, plan.made_by

    return content(old) == content(new)


def _supersede(replaced: int) -> None:
    old = ReliefPlan.objects.select_for_update().get(pk=replaced)
    plan_allowed(old, "replace")
    old.state = PlanState.SUPERSEDED
    old.version += 1
    old.save(update_fields=["state", "version"])


def _new_code() -> str:
    for _ in range(CODE_TRIES):
        code = sheet_code(secrets.token_bytes(16))
        if not ReliefPlan.objects.filter(code=code).exists():
            return code
    raise PlanRefused("No free sheet code was found; try again.")


def _same_cut(plan: ComputedPlan, result: Mapping[str, Any]) -> bool:
    stored = [layer for opening in result["openings"] for layer in opening["layers"]]
    drawn = [layer for opening in plan.openings for layer in opening.layers]
    if list(plan.cut_layers) != result["cut_layers"] or len(stored) != len(drawn):
        return False
    return all(
        old["role"] == new.role
        and Polygon(old["top_mm"]).hausdorff_distance(new.top.polygon) <= SAME
        and Polygon(old["bottom_mm"]).hausdorff_distance(new.bottom.polygon) <= SAME
        for old, new in zip(stored, drawn, strict=True)
    )


def _canonical(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _digest(spec: Any, result: Any, core_version: str) -> str:
    return hashlib.sha256(_canonical([spec, result, core_version]).encode()).hexdigest()
