"""Open work of an account that is switched off, or leaves a clinic, gets another owner."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from clinic.accounts.reads.open_work import work_of
from clinic.models import NonHealingItem, Result, Role, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import restrict, store

__all__ = ["work_hand_over"]


def work_hand_over(*, by: User, user: User, sites: Sequence[int], hand_to: User | None) -> int:
    """Give what the account owns at these clinics to a colleague of each; call inside the transaction of the
    change. Without a colleague it is refused while anything is owned.
    """
    work = work_of(user, sites)
    if not work.owned:
        return 0
    owned: list[Result | NonHealingItem] = [*work.results, *work.items]
    if hand_to is None:
        raise Refused(
            f"Open work goes to: {user} waits for {len(work.results)} results and {len(work.items)} review "
            "items; choose who takes them over.",
            field="hand_to",
        )
    if hand_to.pk == user.pk or not hand_to.is_active or hand_to.role == Role.MANAGER:
        raise Refused("Open work goes to: another clinician whose account is on.", field="hand_to")
    for row in owned:
        person = _person(row)
        if not hand_to.sites.filter(pk=person.site_id).exists():
            raise Refused(
                f"Open work goes to: {hand_to} does not work at {person.site.name}.", field="hand_to"
            )
        row.owner = hand_to
        # Whose it is says nothing new of the patient: a restricted record stays with no closed account.
        with restrict.lifted():
            store(row, by=by, why="handed over")
        audit.record(
            by=by,
            site=person.site,
            verb="handed over",
            target=row,
            person=person,
            from_user=str(user),
            to_user=str(hand_to),
        )
    return len(owned)


def _person(row: Any) -> Any:
    return row.person if isinstance(row, Result) else row.review.lesion.limb.person
