"""Plans kept with coarse cells: most tests are not about the pressure itself."""

from __future__ import annotations

import pytest


def plans_kept_coarsely(patch: pytest.MonkeyPatch) -> None:
    """10 mm cells and no alternatives, while the patch holds."""
    # Imported late: settings come first.
    from clinic.relief.writes import relief
    from offload.plans import estimates, keeping

    coarse = estimates.Effort(10.0, ranges=False, others=False)
    patch.setattr(keeping, "FULL", coarse)
    patch.setattr(relief, "FULL", coarse)
