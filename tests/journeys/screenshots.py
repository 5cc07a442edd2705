"""`make screenshots`: the README's pictures, from the invented clinic in a headless Chromium.

Runs a server of its own on a free port with a throw-away database, so the demonstration in `var/` is
untouched.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
OUT = ROOT / "static" / "readme"
WIDTH, HEIGHT = 1280, 800
ARGS = ["--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


@contextlib.contextmanager
def _clinic():
    """The invented clinic, served; yields its address and its database's environment."""
    with tempfile.TemporaryDirectory() as var:
        env = {**os.environ, "VAR_DIR": var, "DATABASE_URL": f"sqlite:///{var}/clinic.sqlite3"}
        manage = [sys.executable, str(ROOT / "manage.py")]
        for command in (["migrate", "-v0"], ["demo"]):
            subprocess.run([*manage, *command], env=env, check=True, cwd=ROOT)  # noqa: S603
        port = _free_port()
        server = subprocess.Popen(  # noqa: S603
            [*manage, "runserver", "--noreload", "--insecure", f"127.0.0.1:{port}"],
            env=env,
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        address = f"http://127.0.0.1:{port}"
        try:
            for _ in range(100):
                page = f"{address}/sign-in/"
                with contextlib.suppress(OSError), urllib.request.urlopen(page):  # noqa: S310
                    break
                time.sleep(0.2)
            yield address
        finally:
            server.terminate()
            server.wait(10)


def main() -> None:
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if chromium is None:
        raise SystemExit("make screenshots needs Chromium (CHROMIUM names it where it is not on the path)")
    OUT.mkdir(parents=True, exist_ok=True)
    root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with _clinic() as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=[*ARGS, *root])
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
        page.goto(f"{address}/sign-in/")
        page.fill("[name=username]", "pim")
        page.fill("[name=password]", "marrowbeck-demo-2026")
        page.click("button.main")
        page.goto(f"{address}/people/")
        page.fill("#people-q", "Thistledown")
        page.press("#people-q", "Enter")
        page.wait_for_load_state("networkidle")
        page.get_by_role("link", name="Thistledown").first.click()
        page.locator("main a[href^='/lesions/']").first.click()
        page.wait_for_load_state("networkidle")
        page.screenshot(path=OUT / "lesion.png")
        page.get_by_role("link", name="Open the bench").click()
        page.wait_for_load_state("networkidle")
        page.screenshot(path=OUT / "bench.png")
        browser.close()
    print(f"lesion.png and bench.png are in {OUT.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
