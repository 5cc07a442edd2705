"""Whom a change of the house rules, a foam or a reason touches now: drafts, running clocks, signed plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from clinic.models import SEALED, LimbPlan, PersonState, Prescription, Site

__all__ = ["Touched", "touched_by_foam", "touched_now"]


@dataclass(frozen=True)
class Touched:
    """Codes of plans and numbers of sealed devices; what is signed keeps the values it was made with."""

    drafts: Sequence[str]
    signed: Sequence[str]
    sealed: Sequence[int]

    def __bool__(self) -> bool:
        return bool(self.drafts or self.signed or self.sealed)


def _plans(site: Site, state: str) -> list[tuple[str, dict[str, object]]]:
    rows = LimbPlan.objects.filter(
        limb__person__site=site, limb__person__state=PersonState.IN_CARE, plan__state=state, ended_on=None
    )
    return list(rows.order_by("pk").values_list("plan__code", "plan__spec"))


def touched_now(site: Site) -> Touched:
    """What stands under the rules of a site just now (three queries)."""
    sealed = Prescription.objects.filter(
        SEALED, limb__person__site=site, limb__person__state=PersonState.IN_CARE
    )
    return Touched(
        drafts=[code for code, _ in _plans(site, "draft")],
        signed=[code for code, _ in _plans(site, "signed")],
        sealed=list(sealed.order_by("open_by", "pk").values_list("pk", flat=True)),
    )


def touched_by_foam(site: Site, key: str) -> Touched:
    """Plans of a site with a layer of this foam (two queries)."""

    def named(state: str) -> list[str]:
        return [code for code, spec in _plans(site, state) if key in _foams(spec)]

    return Touched(drafts=named("draft"), signed=named("signed"), sealed=())


def _foams(spec: Mapping[str, Any]) -> set[str]:
    return {layer.get("foam") for layer in spec.get("stack") or ()}
