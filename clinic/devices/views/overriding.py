"""The second signature against a known danger: by telephone, and confirmed."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.devices.forms.overriding import ConfirmSecondForm, TelephoneSecondForm
from clinic.devices.views.step import device_step
from clinic.devices.writes import overriding as writes
from clinic.models import Prescription


def _prescription(request: ClinicRequest, pk: int) -> Prescription:
    rows = Prescription.objects.select_related("limb__person__site", "signed_by", "second_by")
    return visible_or_404(rows, request.user, pk=pk)


@may("fit_devices")
def second_telephone(request: ClinicRequest, prescription: int) -> HttpResponse:
    return device_step(
        request,
        _prescription(request, prescription),
        form_class=TelephoneSecondForm,
        initial={"spoken_at": timezone.localtime()},
        act=writes.override_telephone,
        title="Second signature by telephone",
        button="Record the agreement",
        done="The second clinician's agreement is recorded. It is confirmed within two working days.",
    )


@may("fit_devices")
def second_confirm(request: ClinicRequest, prescription: int) -> HttpResponse:
    return device_step(
        request,
        _prescription(request, prescription),
        form_class=ConfirmSecondForm,
        initial={},
        act=writes.override_confirm,
        title="The second signature is confirmed",
        button="Record the confirmation",
        done="Confirmed. The device may be sealed.",
    )
