"""Which clinic a row counts for in figures: the person's, or the one it was made at before the person was
handed over.
"""

from __future__ import annotations

from django.db.models import Q
from django.db.models.functions import Coalesce

from clinic.models import Transfer, TransferState

__all__ = ["handed_over", "rows_of_sites", "site_counted"]


def handed_over(site_ids: list[int]) -> bool:
    """Whether anybody was handed over from or to these sites; one query."""
    touched = Q(from_site__in=site_ids) | Q(to_site__in=site_ids)
    return Transfer.objects.filter(touched, state=TransferState.ACCEPTED).exists()


def rows_of_sites(path: str, site_ids: list[int], moves: bool) -> Q:
    """Rows that count for these sites: those of their people, or made there before the person was handed
    over.
    """

    def of_them(link: str) -> Q:
        return Q(**{link: site_ids[0]}) if len(site_ids) == 1 else Q(**{f"{link}__in": site_ids})

    here = of_them(path)
    return (here & Q(counts_for__isnull=True)) | of_them("counts_for") if moves else here


def site_counted(path: str) -> Coalesce:
    """The number of the site a row counts for, to group by."""
    return Coalesce("counts_for_id", f"{path}_id")
