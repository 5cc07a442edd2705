"""What one account waits for or has begun: seen before it is switched off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clinic.models import ItemState, Look, NonHealingItem, PersonState, Result, User, Visit, VisitState

__all__ = ["OpenWork", "WorkRow", "work_of"]


@dataclass(frozen=True)
class WorkRow:
    """One open thing of an account; `moves` says that it has an owner who can change."""

    words: str
    route: str
    pk: int
    moves: bool = True


@dataclass(frozen=True)
class OpenWork:
    """Results and items by their owner; visits it began and questions it asked stand on Today for all."""

    results: Sequence[Result]
    items: Sequence[NonHealingItem]
    visits: Sequence[Visit]
    looks: Sequence[Look]

    @property
    def owned(self) -> bool:
        return bool(self.results or self.items)

    @property
    def rows(self) -> list[WorkRow]:
        return [
            *(
                WorkRow(
                    f"{r.label} of No. {r.person.record_number}, due {r.due_on:%-d %b %Y}", "result", r.pk
                )
                for r in self.results
            ),
            *(WorkRow(f"{i.get_topic_display()}: {i.words}", "non_healing_item", i.pk) for i in self.items),
            *(
                WorkRow(f"Visit of {v.visited_on:%-d %b %Y} to finish", "visit_finish", v.pk, False)
                for v in self.visits
            ),
            *(WorkRow(f"Question about {k.lesion}", "lesion", k.lesion_id, False) for k in self.looks),
        ]


def work_of(user: User, sites: Sequence[int]) -> OpenWork:
    """The open work of an account at some clinics, people in care (four queries)."""
    here = {"site__in": list(sites), "state": PersonState.IN_CARE}

    def at(path: str) -> dict[str, object]:
        return {f"{path}__{name}": value for name, value in here.items()}

    return OpenWork(
        results=list(
            Result.objects.filter(owner=user, seen_on=None, withdrawn_on=None, **at("person")).select_related(
                "person__site"
            )
        ),
        items=list(
            NonHealingItem.objects.filter(
                owner=user, state=ItemState.DUE, **at("review__lesion__limb__person")
            ).select_related("review__lesion__limb__person__site")
        ),
        visits=list(
            Visit.objects.filter(
                created_by=user, unfinished=True, state=VisitState.STANDS, **at("person")
            ).select_related("person")
        ),
        looks=list(
            Look.objects.filter(created_by=user, read_at=None, **at("lesion__limb__person")).select_related(
                "lesion__limb"
            )
        ),
    )
