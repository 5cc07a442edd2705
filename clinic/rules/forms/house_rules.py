"""The house rules of a site on one form, each with its bounds and its source."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from clinic.guidelines.devices import REFERRALS
from clinic.guidelines.fitting import FITTING_LISTS
from clinic.models import Site
from clinic.record.forms.entries import NumberField
from clinic.rules.reads.foams import foam_choices, own_foams
from clinic.rules.reads.house_rules import APART, GROUPS, RULES, WEEKDAYS, Rule, seen_number
from clinic.rules.writes.house_rules import BOUNDS, EMERGENCY
from offload.core.foam.stack import THICKNESS_LIMITS

#: Slot of the editor -> role of the layer. The order is the order of the stack, so only whole layers can be
#: wrong.
SLOTS: dict[str, str] = {"cover": "cover", "middle_1": "middle", "middle_2": "middle", "base": "base"}
SLOT_WORDS = {
    "cover": "Cover, touches the foot",
    "middle_1": "Middle",
    "middle_2": "Second middle",
    "base": "Base",
}
LONG_TEXTS = {"protocol_text", "escalation_text", "opening_text"}
ONE_PLACE = {
    "weight_threshold_kg",
    "margin_mm",
    "distal_margin_mm",
    "bevel_deg",
    "question_area_ratio",
    "question_small_area_ratio",
}


class DaysField(forms.CharField):
    """Days typed one a line, kept as sorted ISO dates."""

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[str]:
        days = set()
        for line in super().clean(value).split():
            try:
                days.add(date.fromisoformat(line).isoformat())
            except ValueError:
                raise forms.ValidationError(
                    f"Days off: {line} was given; each line is a date as 2026-12-25."
                ) from None
        return sorted(days)


def _control(rule: Rule) -> forms.Field:
    low, high = BOUNDS.get(rule.name, (0, 0))
    source = f"{rule.source[0].upper()}{rule.source[1:]}." if rule.source else ""
    common: dict[str, Any] = {"label": rule.words, "help_text": f"{rule.help} {source}".strip()}
    if rule.name == "tcpo2_urgent_mmhg":
        return forms.TypedChoiceField(choices=[(25, "25 mmHg"), (30, "30 mmHg")], coerce=int, **common)
    if rule.name == "toe_kit":
        return forms.BooleanField(required=False, **common)
    if rule.name == "erythema_2_cm":
        return forms.ChoiceField(choices=[("moderate", "Moderate"), ("mild", "Mild")], **common)
    if rule.name in BOUNDS:
        common["help_text"] = f"{low} to {high}. {common['help_text']}"
        return NumberField(
            low=low,
            high=high,
            places=1 if rule.name in ONE_PLACE else 0,
            unit=rule.unit,
            required=rule.name != "first_change_hours",
            **common,
        )
    if rule.name == "closed_weekdays":
        return forms.TypedMultipleChoiceField(
            choices=list(enumerate(WEEKDAYS)),
            coerce=int,
            required=False,
            widget=forms.CheckboxSelectMultiple,
            **common,
        )
    if rule.name == "holidays":
        return DaysField(required=False, widget=forms.Textarea(attrs={"rows": 3}), **common)
    if rule.name in ("hours_start", "hours_end"):
        return forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"), **common)
    if rule.name in LONG_TEXTS:
        return forms.CharField(
            required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 3}), **common
        )
    return forms.CharField(
        required=rule.name == EMERGENCY,
        max_length=40,
        widget=forms.TextInput(attrs={"inputmode": "tel"}),
        **common,
    )


class HouseRulesForm(forms.Form):
    seen = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        initial = {name: getattr(site, name) for name in RULES if name not in APART}
        initial["second_signature"] = site.second_signature
        initial |= {f"urgency_{name}": site.urgencies.get(name, "") for name in REFERRALS}
        initial |= {f"fitting_{key}": "\n".join(site.fitting_steps.get(key, ())) for key in FITTING_LISTS}
        initial["seen"] = seen_number(site)
        free = [slot for slot in SLOTS if slot.startswith("middle")]
        for layer in site.stack:
            slot = layer["role"] if layer["role"] != "middle" else (free.pop(0) if free else "")
            initial |= {f"{slot}_foam": layer["foam"], f"{slot}_mm": layer["thickness_mm"]}
        super().__init__(*args, **{"initial": initial, **kwargs})
        for name, rule in RULES.items():
            if name not in APART:
                self.fields[name] = _control(rule)
        self._device_rules()
        foams = foam_choices(site, own_foams(site))
        low, high = THICKNESS_LIMITS
        for slot, words in SLOT_WORDS.items():
            needed = not slot.startswith("middle")
            self.fields[f"{slot}_foam"] = forms.ChoiceField(
                label=f"{words}: foam", required=needed, choices=foams if needed else [("", "None"), *foams]
            )
            self.fields[f"{slot}_mm"] = NumberField(
                label=f"{words}: thickness", low=low, high=high, places=1, unit="mm", required=needed
            )

    def _device_rules(self) -> None:
        second = RULES["second_signature"]
        self.fields["second_signature"] = forms.BooleanField(
            label=second.words,
            required=False,
            help_text=f"{second.source[0].upper()}{second.source[1:]}.",
        )
        for name, words in REFERRALS.items():
            self.fields[f"urgency_{name}"] = forms.ChoiceField(
                label=words,
                required=False,
                choices=[
                    ("", "As the guidance says"),
                    ("one_working_day", "Within one working day, or sooner"),
                    ("immediate", "At once"),
                ],
            )
        for key, one in FITTING_LISTS.items():
            self.fields[f"fitting_{key}"] = forms.CharField(
                label=one.words,
                required=False,
                max_length=4000,
                widget=forms.Textarea(attrs={"rows": 4}),
                help_text=f"The program's own: {'; '.join(one.steps)}.",
            )

    @property
    def urgency_fields(self) -> list[forms.BoundField]:
        return [self[f"urgency_{name}"] for name in REFERRALS]

    @property
    def fitting_fields(self) -> list[forms.BoundField]:
        return [self[f"fitting_{key}"] for key in FITTING_LISTS]

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [(words, [self[rule.name] for rule in rules]) for words, rules in GROUPS.items()]

    @property
    def layers(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        return [(words, self[f"{slot}_foam"], self[f"{slot}_mm"]) for slot, words in SLOT_WORDS.items()]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        stack = []
        for slot, role in SLOTS.items():
            foam, thickness = data.pop(f"{slot}_foam", None), data.pop(f"{slot}_mm", None)
            if f"{slot}_foam" in self.errors or f"{slot}_mm" in self.errors:
                continue
            if bool(foam) != (thickness is not None):
                missing = "mm" if foam else "foam"
                self.add_error(
                    f"{slot}_{missing}",
                    f"{SLOT_WORDS[slot]}: needs both a foam and a thickness, or neither.",
                )
            elif foam:
                stack.append({"role": role, "foam": foam, "thickness_mm": _plain(thickness)})
        data["stack"] = stack
        urgencies = {name: data.pop(f"urgency_{name}", "") for name in REFERRALS}
        data["urgencies"] = {name: urgency for name, urgency in urgencies.items() if urgency}
        steps = {key: _lines(data.pop(f"fitting_{key}", "") or "") for key in FITTING_LISTS}
        data["fitting_steps"] = {key: lines for key, lines in steps.items() if lines}
        return data


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _plain(thickness: Decimal) -> int | float:
    """A number as JSON keeps it, whole where it is whole."""
    return int(thickness) if thickness == thickness.to_integral_value() else float(thickness)
