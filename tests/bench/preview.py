"""Time from a finger's movement to the new picture on the bench, in Chromium.

`python -m tests.bench.preview http://127.0.0.1:8000 pim PASSWORD limbs/405/bench ...` drags each
bench's first ulcer there and back on a running server (goal: median at most 100 ms on a quiet machine). From
the movement's event until the frame with the answer is painted; single movements, so that the throttle
of a running drag does not count. Beside it the time of a plan, so that runs on other machines compare.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import time

from playwright.sync_api import Page, sync_playwright

from tests.bench.pressure import plan

MOVES = 30
WATCH = """() => {
  window.took = [];
  let began = null;
  document.addEventListener("pointermove", () => { began ??= performance.now(); }, true);
  document.body.addEventListener("htmx:afterSwap", (event) => {
    if (began === null || event.detail.target?.id !== "headline") return;
    const from = began;
    began = null;
    // A task after the next frame's callbacks: the frame is painted.
    requestAnimationFrame(() => setTimeout(() => window.took.push(performance.now() - from)));
  });
}"""


ANSWERS = """() => performance.getEntriesByType("resource").filter((one) => one.name.includes("live=1"))
  .map((one) => one.responseEnd - one.requestStart)"""


def plan_ms() -> float:
    """Time of a plan [ms], the unit of `tests.bench.pressure`; a machine's speed changes by the minute."""

    def once() -> float:
        began = time.perf_counter()
        plan()
        return 1e3 * (time.perf_counter() - began)

    return statistics.median(once() for _ in range(9))


def moved(page: Page, url: str) -> tuple[list[float], list[float]]:
    """Times of single movements of a bench's first ulcer, and of the server's answers to them [ms]."""
    page.goto(url, wait_until="networkidle")
    mark = page.locator(".handles .mark, .handles [role=button]").first
    box = mark.bounding_box()
    assert box is not None, "no ulcer stands on this bench"
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.evaluate(WATCH)
    page.mouse.move(x, y)
    page.mouse.down()
    page.wait_for_timeout(300)
    page.evaluate("window.took.length = 0; performance.clearResourceTimings()")
    for n in range(MOVES):
        page.mouse.move(x + 3 * (n % 4), y + 2 * (n % 3))
        until = time.monotonic() + 10.0
        while page.evaluate("window.took.length") <= n and time.monotonic() < until:
            page.wait_for_timeout(20)
        page.wait_for_timeout(250)
    page.mouse.up()
    return page.evaluate("window.took"), page.evaluate(ANSWERS)


def main(base: str, user: str, password: str, *paths: str) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=os.environ.get("CHROMIUM") or shutil.which("chromium")
        )
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(f"{base}/")
        page.fill("input[name=username]", user)
        page.fill("input[name=password]", password)
        page.press("input[name=password]", "Enter")
        page.wait_for_load_state("networkidle")
        for path in paths:
            before = plan_ms()
            took, answers = moved(page, f"{base}/{path.strip('/')}/")
            ends, middle = statistics.quantiles(took, n=10), statistics.median(took)
            unit = (before + plan_ms()) / 2
            print(
                f"{path}: {len(took)} movements, median {middle:.0f} ms, 10 to 90 %: {ends[0]:.0f} to "
                f"{ends[-1]:.0f}; the server's answer {statistics.median(answers):.0f}; a plan {unit:.0f}; "
                f"{middle / unit:.2f} plans"
            )
        browser.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
