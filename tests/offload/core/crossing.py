"""Which cut relieves more at which weight, as a table and a picture. `python -m tests.offload.core.crossing
[PICTURE]`; with `--write` it keeps the weights by device class in ``offload/core/data/crossings.toml``.

The demonstration stack (3 / 6 / 6 mm), one lesion of 20 mm under metatarsal heads 2 and 3, the reference map.
Two load assumptions: push-off (1.1 body weights on the forefoot and toes) and mid-stance (1.0 on the whole
print). The trade cuts the base from 90 kg on (common practice, no source): the direction should agree, the
figure need not.

By device class the weight at which the base cut overtakes the middle cut is computed, never fitted: load is
linear in weight, so it goes with one over the factor. Its 80 % interval is over the factor's published range
and the tissue. Intervals this wide neither support nor refute 90 kg.
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
from offload.core.plan.crossings import FLAT
from offload.core.plan.scene import Scene
from offload.core.pressure.baseline import load_constants
from offload.core.pressure.device_load import DEVICES, factor_at
from offload.core.pressure.spread import RANGE_SD
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
def lesion(
    weight: float, cut: str, tissue: float, case: str, cell: float = 2.5, device: str | None = None
) -> LesionPressure:
    """The lesion under one cut, solved in one load case at one tissue stiffness [kPa/mm]."""
    made = plan(float(weight), cut, device=device)
    scene = Scene(made.spec, made.insole, packaged_foams(), cell)
    void = scene.void(case, made.openings, made.spec.bevel)
    return scene.lesion_pressure(made.spec.lesions[0], case, void, scene.case(case).press(void, tissue))


def crossing(
    tissue: float, case: str, low: float = 10.0, high: float = 400.0, device: str | None = None
) -> float | None:
    """Weight [kg] from which the base cut leaves the lower mean over a sensor-sized patch; 0 if from the
    lower limit on, None if not up to the upper.
    """

    def gain(weight: float) -> float:
        base, middle = (
            lesion(weight, cut, tissue, case, 5.0, device).patch_mean_after for cut in ("base", "middle")
        )
        return middle - base

    if gain(low) > 0:
        return 0.0
    if gain(high) <= 0:
        return None
    while high - low > 0.005 * high:
        middle = round((low + high) / 2, 3)
        low, high = (middle, high) if gain(middle) <= 0 else (low, middle)
    return (low + high) / 2


def by_device(case: str = "push_off", count: int = 4000) -> dict[str, tuple[float, float, float]]:
    """Weight of the crossing [kg] at central factor and tissue, and its 80 % interval over both, by
    device class.
    """
    spread = load_constants()["spread"]["tissue"]["value"]
    at = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) * spread
    weights = np.array([crossing(50.0 * np.exp(one), case) or np.nan for one in at])
    assert np.isfinite(weights).all(), weights
    rng = np.random.default_rng(20260101)
    tissue = np.exp(np.interp(spread * rng.standard_normal(count), at, np.log(weights)))
    normal, found = rng.standard_normal(count), {}
    for device in (None, *DEVICES):
        factor = factor_at("forefoot", device)
        below, above = (abs(np.log(end / factor.central)) / RANGE_SD for end in (factor.low, factor.high))
        drawn = factor.central * np.exp(np.where(normal < 0, below, above) * normal)
        low, high = np.quantile(tissue / drawn, (0.1, 0.9))
        found[device or "flat shoe"] = (float(weights[2] / factor.central), float(low), float(high))
    return found


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


def write() -> None:
    """Keep the weights by device class where pages read them."""
    lines = [
        "# Weight [kg] from which a base cut leaves a lower mean over 1.5 cm2 than a middle cut:",
        "# [central, low, high]. Written by `python -m tests.offload.core.crossing --write`; computed,",
        "# never fitted. What it holds for: offload/core/plan/crossings.py.",
        "[kg]",
    ]
    for device, weights in by_device().items():
        key = FLAT if device == "flat shoe" else device
        lines.append(f"{key} = [{', '.join(f'{weight:.1f}' for weight in weights)}]")
    path = Path(__file__).parents[3] / "offload" / "core" / "data" / "crossings.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    if "--write" in sys.argv:
        write()
        return
    for case, words in CASES.items():
        print(*rows(case), sep="\n")
        for tissue, name in TISSUES.items():
            found = crossing(tissue, case)
            told = "beyond 250 kg" if found is None else f"{found:.0f} kg" if found else "under 25 kg"
            print(f"  {name} tissue: the base cut leaves less from {told} on (trade: {TRADE:g} kg); {words}")
        falls = ", ".join(f"{cut} {lesion(80, cut, 50.0, case).reduction_percent:.0f} %" for cut in CUTS)
        print(f"  at 80 kg, central tissue: {falls}; measured in print 32 to 51 %\n")
    print(
        "Push-off, by device: weight from which the base cut leaves less, central, and 80 % over factor and "
        "tissue"
    )
    for device, (central, low, high) in by_device().items():
        print(
            f"  {device:28} {central:4.0f} kg ({low:.0f} to {high:.0f}); trade {TRADE:g} kg: neither "
            "supported nor refuted"
        )
    if len(sys.argv) > 1:
        picture(Path(sys.argv[1]))


if __name__ == "__main__":
    main()
