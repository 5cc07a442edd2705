"""Nothing is loud outside the table of messages: no template, no view, no script."""

import ast
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.template import Context, Template, TemplateSyntaxError

from clinic.guidelines.errors import GuidelineError
from clinic.record.messages import MESSAGES

ROOT = Path(settings.BASE_DIR)
LOUD = {"stop", "ask"}


def templates():
    return sorted((ROOT / "templates").rglob("*.html"))


def loud_classes(text):
    """Every class attribute that names a loud level by hand, conditions inside it included."""
    for found in re.finditer(r"""class=("[^"]*"|'[^']*')""", text):
        if LOUD & set(re.findall(r"(?<![\w-])[a-z]+(?![\w-])", re.sub(r"\{\{.*?\}\}", "", found[1]))):
            yield found[0]


def test_no_template_is_loud_by_hand():
    wrong = [
        f"{path.relative_to(ROOT)}: {one}" for path in templates() for one in loud_classes(path.read_text())
    ]
    assert not wrong, 'use {% panel "id" %} and the table of messages:\n' + "\n".join(wrong)


@pytest.mark.parametrize(
    "html",
    [
        '<p class="stop">',
        '<p class="full ask">',
        '<p class="{% if late %}stop{% endif %}">',
        "<p class='ask'>",
    ],
)
def test_the_scan_sees_a_loud_panel(html):
    assert list(loud_classes(html))


@pytest.mark.parametrize("html", ['<p class="note">', '<a class="ask-link stop-word">', '<div class="asks">'])
def test_the_scan_leaves_quiet_classes_alone(html):
    assert not list(loud_classes(html))


def test_every_panel_names_a_message_of_the_table():
    used = {name for path in templates() for name in re.findall(r'\{% panel "(\w+)"', path.read_text())}
    assert used
    assert used <= set(MESSAGES)


def test_a_view_warns_or_errs_in_words_of_the_table_only():
    wrong, seen = [], 0
    for path in sorted((ROOT / "clinic").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if not (
                isinstance(node, ast.Call)
                and ast.unparse(node.func) in ("messages.warning", "messages.error")
            ):
                continue
            seen += 1
            words = ast.unparse(node.args[1])
            if not re.match(r"message_of\('(\w+)'.*\)\.text$", words):
                wrong.append(f"{path.name}:{node.lineno} {words}")
    assert seen > 5
    assert not wrong, "\n".join(wrong)


def test_no_script_writes_a_loud_class():
    wrong = [
        f"{path.name}: {line.strip()}"
        for path in sorted((ROOT / "static" / "js").rglob("*.js"))
        for line in path.read_text().splitlines()
        if re.search(r"""class(Name|List)[^;]*["'`](stop|ask)["'`]""", line)
    ]
    assert not wrong, "\n".join(wrong)


def test_every_message_is_used_somewhere():
    sources = [path.read_text() for path in templates()]
    sources += [
        path.read_text()
        for path in sorted((ROOT / "clinic").rglob("*.py"))
        if "message_rows" not in path.name
    ]
    text = "\n".join(sources)
    # The urgency of a referral is put behind "refer_" on the page.
    unused = [id_ for id_ in MESSAGES if f'"{id_}"' not in text and not id_.startswith("refer_")]
    assert not unused


def rendered(text, **values):
    return Template(text).render(Context(values))


def test_a_panel_takes_its_level_and_first_words_from_the_table_and_escapes_values():
    html = rendered(
        '{% panel "still_worn" device=d side="left" extra="full" %}Stop it.{% endpanel %}', d="<b>"
    )
    assert html == (
        '<p class="ask full" data-message="still_worn">'
        "<strong>Still on record as worn: &lt;b&gt;, left foot.</strong> Stop it.</p>"
    )
    html = rendered('{% panel "not_saved" tag="div" role="alert" %}<p>x</p>{% endpanel %}')
    assert html == (
        '<div class="stop" data-message="not_saved" role="alert"><p><strong>Not saved yet.</strong></p> '
        "<p>x</p></div>"
    )
    assert rendered('{% panel "plan_flagged" words="Look" %}{% endpanel %}').endswith(">Look</p>")


def test_a_panel_without_a_message_is_an_error():
    with pytest.raises(GuidelineError):
        rendered('{% panel "shout" %}{% endpanel %}')
    with pytest.raises(TemplateSyntaxError):
        Template("{% panel %}{% endpanel %}")
