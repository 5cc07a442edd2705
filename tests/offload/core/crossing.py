"""Which cut relieves more at which weight, as a table and a picture. `python -m tests.offload.core.crossing
[PICTURE]`

The demonstration stack (3 / 6 / 6 mm), one lesion of 20 mm under metatarsal heads 2 and 3, the reference map.
Two load assumptions: push-off (1.1 body weights on the forefoot and toes) and mid-stance (1.0 on the whole
print). The trade cuts the base from 90 kg on (common practice, no source): the direction should agree, the
figure need not.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np

from offload.core.foam.law import packaged_foams
from offload.core.plan.compute import LesionPressure
from offload.core.plan.scene import Scene
from tests.offload.core.pressure_plans import plan

CUTS = ("middle", "base", "middle+base")
CASES = {
    "push_off": "push-off, 1.1 body weights on forefoot and toes",
    "mid_stance": "mid-stance, 1.0 on the whole print",
}
WEIGHTS = (50, 60, 70, 80, 90, 100, 110, 120, 130)
TISSUES = {25.0: "soft", 50.0: "central", 100.0: "stiff"}
TRADE = 90.0


@cache
def lesion(weight: float, cut: str, tissue: float, case: str, cell: float = 2.5) -> LesionPressure:
    """The lesion under one cut, solved in one load case at one tissue stiffness [kPa/mm]."""
    made = plan(float(weight), cut)
    scene = Scene(made.spec, made.insole, packaged_foams(), cell)
    void = scene.void(case, made.openings, made.spec.bevel)
    return scene.lesion_pressure(made.spec.lesions[0], case, void, scene.case(case).press(void, tissue))


def crossing(tissue: float, case: str, low: float = 25.0, high: float = 250.0) -> float | None:
    """Weight [kg] from which the base cut leaves the lower peak; 0 if from the lower limit on, None if
    not up to the upper.
    """

    def gain(weight: float) -> float:
        base, middle = (lesion(weight, cut, tissue, case, 5.0).peak_after for cut in ("base", "middle"))
        return middle - base

    if gain(low) >= 0:
        return 0.0
    if gain(high) <= 0:
        return None
    while high - low > 0.5:
        middle = round((low + high) / 2, 3)
        low, high = (middle, high) if gain(middle) < 0 else (low, middle)
    return (low + high) / 2


def rows(case: str) -> Iterator[str]:
    """Lines of the table of one load case."""
    yield f"{CASES[case]}; peak kPa, void closed %, void left mm"
    head = "".join(f"{f'{cut}, {word}':>26}" for cut in CUTS for word in TISSUES.values())
    yield f"{'kg':>4}{'before':>8}{head}"
    for weight in WEIGHTS:
        cells = [lesion(weight, cut, tissue, case) for cut in CUTS for tissue in TISSUES]
        columns = [
            f"{c.peak_after:.0f} (-{c.reduction_percent:.0f} %) {c.bottomed_percent:.0f} {c.clearance:.1f}"
            for c in cells
        ]
        yield f"{weight:>4}{cells[0].peak_before:>8.0f}{''.join(f'{text:>26}' for text in columns)}"


def picture(path: Path) -> None:
    """Peak left over weight, one panel for each load case."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 4.2), layout="constrained")
    for axes, case in zip(figure.subplots(1, 2, sharey=True), CASES, strict=True):
        for cut, dash in zip(CUTS, ("-", "--", ":"), strict=True):
            peaks = np.array([[lesion(w, cut, t, case).peak_after for w in WEIGHTS] for t in TISSUES])
            axes.fill_between(WEIGHTS, peaks.min(axis=0), peaks.max(axis=0), color="0.5", alpha=0.15)
            axes.plot(WEIGHTS, peaks[1], dash, color="black", label=f"{cut} cut")
        axes.plot(
            WEIGHTS, [lesion(w, "base", 50.0, case).peak_before for w in WEIGHTS], color="0.6", label="uncut"
        )
        axes.axvline(TRADE, color="0.4", linewidth=0.8)
        axes.annotate("90 kg, trade", (TRADE, 10), fontsize=8, rotation=90, ha="right")
        found = crossing(50.0, case)
        if found is not None and WEIGHTS[0] <= found <= WEIGHTS[-1]:
            axes.axvline(found, color="0.4", linewidth=0.8, linestyle=":")
        axes.set(
            title=CASES[case], xlabel="body weight, kg", ylabel="peak at the lesion, kPa", ylim=(0, None)
        )
    axes.legend(fontsize=8)
    figure.savefig(path, dpi=110)


def main() -> None:
    for case, words in CASES.items():
        print(*rows(case), sep="\n")
        for tissue, name in TISSUES.items():
            found = crossing(tissue, case)
            told = "beyond 250 kg" if found is None else f"{found:.0f} kg" if found else "under 25 kg"
            print(f"  {name} tissue: the base cut leaves less from {told} on (trade: {TRADE:g} kg); {words}")
        falls = ", ".join(f"{cut} {lesion(80, cut, 50.0, case).reduction_percent:.0f} %" for cut in CUTS)
        print(f"  at 80 kg, central tissue: {falls}; measured in print 32 to 51 %\n")
    if len(sys.argv) > 1:
        picture(Path(sys.argv[1]))


if __name__ == "__main__":
    main()
