"""Numbers as people type them: each spelling at each numeric field, read or refused in words."""

from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ValidationError

from clinic.alerts.forms.results import ResultReportForm
from clinic.guidelines.results import RESULT_KINDS
from clinic.record.forms.numbers import NumberField, read_number
from clinic.rules.forms.house_rules import HouseRulesForm
from tests import factories
from tests.clinic.fields.filled import all_forms

#: `w` and `d` are whole part and decimal of a number that the field takes, `u` is its unit.
READ = [
    "{w}.{d}",
    "{w},{d}",
    " {w}.{d} ",
    "\t{w},{d}\n",
    "\u00a0{w}.{d}\u00a0",
    "{w}.{d}0000",
    "{w}.{d}000",
    "0{w}.{d}",
    "00{w},{d}",
    "+{w}.{d}",
    "{w}.{d} {u}",
    "{w},{d}{u}",
]
REFUSED = {
    "1.234,5": "write 1234.5",
    "1,234.5": "write 1234.5",
    "1 234,5": "write 1234.5",
    "1\u00a0234.5": "write 1234.5",
    "1'234": "write 1234",
    "1’234,5": "write 1234.5",
    "1_234": "write 1234",
    "1.234.567": "write 1234567",
    "1,234,567": "write 1234567",
    "1,234": "two numbers; write 1234 or 1.234",
    "12,345": "two numbers; write 12345 or 12.345",
    "1e2": "exponent",
    "1.5E-2": "exponent",
    "nan": "no number",
    "-Infinity": "no number",
    "inf": "no number",
    "8" * 400: "400 characters; at most 40",
    "８．５": "other digits than 0 to 9",
    "٨٥": "other digits than 0 to 9",
    "8½": "other digits than 0 to 9",
    "8..5": "not one number",
    "8,,5": "not one number",
    "8.5.1": "not one number",
    "8 5": "not one number",
    "8-9": "not one number",
    "8–9": "not one number",
    "<8": "not one number",
    "8/2": "not one number",
    "0x10": "“x10” behind it",
    "8 lb": "“lb” behind it",
    "8,5 furlongs": "“furlongs” behind it",
    "8\u200b5": "not one number",
    "eight": "not one number",
    "--8": "not one number",
    ".": "not one number",
    "-": "not one number",
}


def numeric_fields():
    """Every numeric field of every form that a person fills in, by a name to show."""
    for form in sorted(all_forms(), key=lambda one: f"{one.__module__}.{one.__name__}"):
        for name, field in form.base_fields.items():
            if isinstance(field, NumberField):
                yield f"{form.__name__}.{name}", field
    for kind, row in RESULT_KINDS.items():
        if row.numeric:
            yield f"{kind} result", ResultReportForm(kind=kind).fields["value"]


FIELDS = dict(numeric_fields())


def inside(field):
    """A number between the field's bounds, with a decimal where it takes one."""
    step = Decimal(1).scaleb(-min(field.places, 1))
    low, high = max(field.low, Decimal(0)), field.high
    return ((low + high) / 2).quantize(step) + (step / 2 if field.places > 1 else 0)


def parts(number):
    whole, _, decimals = f"{number:f}".partition(".")
    return {"w": whole, "d": decimals or "0"}


def test_the_family_is_whole():
    assert len(READ) + len(REFUSED) >= 40
    assert len(FIELDS) >= 50
    left = [
        f"{form.__name__}.{name}"
        for form in all_forms()
        for name, field in form.base_fields.items()
        if isinstance(field, forms.IntegerField) and not field.widget.is_hidden
    ]
    assert not left, "a number that is not read by the one field"


@pytest.mark.parametrize("where", FIELDS)
def test_every_spelling_is_read_or_refused_in_words(where):
    field = FIELDS[where]
    number = inside(field)
    for spelling in READ:
        text = spelling.format(**parts(number), u=field.unit)
        assert field.clean(text) == field.kind(number), text
    for text, words in REFUSED.items():
        with pytest.raises(ValidationError) as fault:
            field.clean(text)
        sentence = fault.value.messages[0]
        assert words in sentence, text
        assert sentence.startswith(f"{field.name} was given as “{text.strip()[:24]}")
        assert sentence.endswith(f"{field.limit}.")


@pytest.mark.parametrize("where", FIELDS)
def test_what_lies_outside_or_between_is_refused_with_value_and_limit(where):
    field = FIELDS[where]
    beyond = [field.high + 1, field.low - 1]
    beyond += [-inside(field)] if field.low >= 0 and inside(field) else []
    for number in beyond:
        for minus in "-\u2212":
            with pytest.raises(ValidationError) as fault:
                field.clean(f"{number:f}".replace("-", minus))
            assert fault.value.messages == [
                f"{field.name} was given as {number.normalize():f}{f' {field.unit}' if field.unit else ''}; "
                f"{field.limit}."
            ]
    with pytest.raises(ValidationError, match="decimals?.* can be kept"):
        field.clean(f"{inside(field)}{'' if field.places else '.'}{'1' * (field.places + 1)}")


@pytest.mark.parametrize("empty", ["", "  ", None])
def test_empty_is_not_a_number_and_never_nought(empty):
    assert NumberField(label="Length", low=0, high=9, required=False).clean(empty) is None
    with pytest.raises(ValidationError, match="Length is missing; it must be between 0 and 9"):
        NumberField(label="Length", low=0, high=9).clean(empty)


class _Ruler(forms.Form):
    length = NumberField(label="Length", low=0, high=300, places=1, unit="mm")
    across = NumberField(label="Across", low=-250, high=250, places=1, unit="mm", quiet=True)


def test_what_was_typed_is_echoed_as_it_was_read_and_nothing_typed_is_lost():
    page = " ".join(str(_Ruler({"length": "8,5", "across": "7"})["length"]).split())
    assert 'value="8,5"' in page
    assert "read as 8.5 mm</output>" in page
    assert "read as" not in str(_Ruler({"length": "1.234,5"})["length"])
    assert 'value="1.234,5"' in str(_Ruler({"length": "1.234,5"})["length"])
    assert "read as" not in str(_Ruler(initial={"length": Decimal("8.5")})["length"])


@pytest.mark.parametrize(("text", "echo"), [("7", False), ("7,5", True), ("\u22127", True), ("7 mm", True)])
def test_a_quiet_field_echoes_only_what_it_read_otherwise(text, echo):
    assert ("read as" in str(_Ruler({"across": text})["across"])) is echo


def test_no_number_field_is_one_that_the_browser_empties():
    for where, field in FIELDS.items():
        assert field.widget.input_type == "text", where
        assert field.widget.attrs["inputmode"] == "decimal", where


@pytest.mark.django_db
def test_the_house_rules_are_typed_the_same_way():
    site = factories.site()
    rules = [one for one in HouseRulesForm(site=site).fields.values() if isinstance(one, NumberField)]
    assert len(rules) > 15
    for field in rules:
        number = inside(field)
        assert field.clean(f" {number} {field.unit}".replace(".", ",")) == number
        with pytest.raises(ValidationError, match="write 1234.5"):
            field.clean("1.234,5")


def test_a_unit_stands_beside_every_number_that_has_one():
    without = {where.partition(".")[2] or where for where, field in FIELDS.items() if not field.unit}
    assert without == {
        "monofilament_tested",
        "monofilament_felt",
        "ankle_index",
        "toe_index",
        "size",
        "seed",
        "days",
        "value",
        "target",  # kPa or percent, as the choice before it says
    }
    assert all(f"({field.unit})" in field.label for field in FIELDS.values() if field.unit)


def test_no_text_reads_as_two_numbers():
    """Neither another order of the marks nor another unit turns one text into another number."""
    for text in ("8.5", "8,5", "8,50", "0,125", "1234,5", "1234.567"):
        assert read_number(text) == Decimal(text.replace(",", "."))
