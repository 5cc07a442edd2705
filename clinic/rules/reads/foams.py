"""Foams a site may put into its insoles: the packaged ones and those it measured itself."""

from __future__ import annotations

from collections.abc import Sequence

from clinic.models import Site, SiteFoam
from offload.core.foam.law import Foam, packaged_foams
from offload.plans.stored import foam_of

__all__ = ["foam_choices", "foams_known", "own_foams"]


def own_foams(site: Site) -> list[SiteFoam]:
    """Foams the site measured, the retired ones last (one query)."""
    links = SiteFoam.objects.filter(site=site).select_related("foam").order_by("foam__label", "pk")
    return sorted(links, key=lambda link: link.foam.retired_at is not None)


def foams_known(own: Sequence[SiteFoam]) -> dict[str, Foam]:
    """A site's own foams as the core computes with them; a retired one stays known to the plans that
    name it.
    """
    return {link.foam.key: foam_of(link.foam) for link in own}


def foam_choices(site: Site, own_links: Sequence[SiteFoam]) -> list[tuple[str, str]]:
    """Foams to choose for a layer; what stands in the present stack is always among them."""
    present = {layer["foam"] for layer in site.stack}
    packaged = [(foam.id, foam.label) for foam in packaged_foams().values()]
    rows = [link.foam for link in own_links]
    own = [(row.key, row.label) for row in rows if row.retired_at is None or row.key in present]
    return [*packaged, *own]
