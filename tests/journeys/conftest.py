"""A browser that fails the test on any console error, signed in as whoever the journey is about."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.utils import timezone

from clinic.models import PhotoConsent
from tests import factories

SIZES = {"desktop": {"width": 1280, "height": 800}, "tablet": {"width": 820, "height": 1180}}
#: Scripts have begun at the page's load event. What a page asks for by itself then is htmx's, and a form that
#: keeps its draft listens once the store of drafts is open.
SETTLED = """() => !document.querySelector(".htmx-request")
  && [...document.querySelectorAll("main form[data-draft]")].every((form) => form.dataset.tended === "yes")"""
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"], "resultTypes": ["violations"]}


@pytest.fixture(scope="session", autouse=True)
def _loaded():
    """The live server has loaded what a server loads at its start, before a browser waits for its page."""
    from clinic.config import wsgi  # noqa: F401


@pytest.fixture(autouse=True)
def _own_media(settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }


class Visitor:
    """One browser page with what went wrong in its console."""

    def __init__(self, page, live_server):
        self.page, self.base = page, live_server.url
        self.faults: list[str] = []
        page.set_default_timeout(15000)
        page.on("console", self._heard)
        page.on("pageerror", lambda error: self.faults.append(str(error)))

    def _heard(self, message):
        # An answer of 422 is a form that needs another look; a request given up because the page moved on is
        # no fault either. Browsers and htmx report both as console errors.
        expected = ("422", "htmx:sendAbort", "htmx:afterRequest")
        if message.type == "error" and not any(words in message.text for words in expected):
            self.faults.append(f"{message.text} at {message.location.get('url')}")

    def sign_in(self, user):
        client = Client()
        client.force_login(user)
        self.page.context.add_cookies(
            [
                {
                    "name": settings.SESSION_COOKIE_NAME,
                    "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
                    "url": self.base,
                }
            ]
        )

    def open(self, path):
        answer = self.page.goto(self.base + path)
        assert answer is not None
        assert answer.ok, f"{path}: {answer.status}"
        self.page.wait_for_function(SETTLED)

    def resize(self, size):
        self.page.set_viewport_size(SIZES[size])

    def height(self):
        """How high the page is as it stands. [px]"""
        return self.page.evaluate("document.documentElement.scrollHeight")

    def unfold(self):
        """Open every folded section."""
        self.page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")

    @contextlib.contextmanager
    def text_of(self, percent):
        """The page with text of that size."""
        self.page.evaluate(
            "(percent) => { document.documentElement.style.fontSize = `${percent}%`; }", percent
        )
        yield
        self.page.evaluate("document.documentElement.style.fontSize = ''")

    def wider_than_the_window(self, text_percent):
        """How far the page would scroll sideways with text of that size. [px]"""
        return self.page.evaluate(
            """(percent) => {
              const page = document.documentElement;
              page.style.fontSize = `${percent}%`;
              const wider = page.scrollWidth - window.innerWidth;
              page.style.fontSize = "";
              return wider;
            }""",
            text_percent,
        )

    def covered_controls(self):
        """Controls that lie under something else, so that no finger reaches them; asked on the page whole."""
        size = self.page.viewport_size
        self.page.set_viewport_size({"width": size["width"], "height": max(size["height"], self.height())})
        found = self.page.evaluate(
            """() => {
              const kinds = "main :is(a[href], button, input, select, textarea, summary)";
              const names = [];
              for (const one of document.querySelectorAll(kinds)) {
                const box = one.getClientRects()[0];
                if (!box || !one.checkVisibility() || box.width < 4 || box.height < 4) continue;
                const hit = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
                const label = one.closest("label") || one.labels?.[0];
                if (!hit || one.contains(hit) || hit.contains(one) || label?.contains(hit)) continue;
                names.push(`${one.outerHTML.slice(0, 90)} under ${hit.outerHTML.slice(0, 60)}`);
              }
              return names;
            }"""
        )
        self.page.set_viewport_size(size)
        return found

    def axe_faults(self):
        results = Axe().run(self.page, options=RULES)
        return [
            f"{v['id']}: {v['help']} ({v['nodes'][0]['html'][:120]})" for v in results.response["violations"]
        ]


@pytest.fixture
def visitor(page, live_server):
    made = Visitor(page, live_server)
    yield made
    assert not made.faults, made.faults


@pytest.fixture
def lesion(transactional_db):
    """An open lesion with four weeks of areas, photo consent, a nurse and a podiatrist."""
    site = factories.site(name="Alder Lane clinic")
    factories.user("staff", at=site, username="nurse", password="a long pass phrase")
    factories.user("podiatrist", at=site, username="pod", password="a long pass phrase")
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    PhotoConsent.objects.create(
        person=lesion.limb.person, given_on=timezone.localdate(), created_by=factories.author()
    )
    factories.weight(of=lesion.limb.person)
    last_week = timezone.localdate() - timezone.timedelta(days=7)
    factories.series(lesion, [3.0, 2.6, 2.2, 1.9], last=last_week)
    return lesion


@pytest.fixture
def tablet(browser, live_server):
    """A page that is touched: no mouse, the size of a tablet."""
    context = browser.new_context(has_touch=True, viewport=SIZES["tablet"])
    made = Visitor(context.new_page(), live_server)
    made.taps = 0
    made.touch = context.new_cdp_session(made.page)
    yield made
    context.close()
    assert not made.faults, made.faults


@pytest.fixture
def invented_clinic(transactional_db):
    """The demonstration clinic as `make demo` loads it."""
    from clinic.demo.play import play
    from clinic.demo.scenario import load

    scenario = load(Path(settings.BASE_DIR) / "fixtures" / "clinic.toml")
    return play(scenario, timezone.localdate())
