"""Plans kept with coarse cells, computed once for equal specifications: the machine asks what follows
from a plan, not what stands in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

from clinic.relief.writes import relief
from offload.plans import estimates, keeping

COARSE = estimates.Effort(10.0, ranges=False, others=False)
_COMPUTED: dict[str, Any] = {}


@contextmanager
def plans() -> Iterator[None]:
    real = keeping.plan_estimate

    def once(spec: Any, **more: Any) -> Any:
        key = repr((spec, more))
        if key not in _COMPUTED:
            _COMPUTED[key] = real(spec, **more)
        return _COMPUTED[key]

    with (
        patch.object(keeping, "FULL", COARSE),
        patch.object(relief, "FULL", COARSE),
        patch.object(keeping, "plan_estimate", once),
    ):
        yield
