"""What stands in the record before an example is sent: a wound, the device on its foot, a traced photo."""

import io
import uuid
from datetime import timedelta

from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from clinic.models import LimbPlan, PhotoScale, Trace, WatchPoint
from offload.models import ReliefPlan
from tests import factories

RING = [[0, 0], [20, 0], [20, 10], [0, 10]]


def picture():
    data = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(data, "PNG")
    return SimpleUploadedFile("wound.png", data.getvalue(), "image/png")


def wound(site, **fields):
    return factories.lesion(on=factories.limb(of=factories.person(at=site)), **fields)


def worn(lesion, device="walker_knee_high_removable", **fields):
    """A device on the foot of this lesion, fitted a month ago."""
    start = timezone.localdate() - timedelta(days=30)
    return factories.prescription(
        of=lesion.limb, lesions=[lesion], device_class=device, prescribed_on=start, fitted_on=start, **fields
    )


SEALED = {
    "sealed_on": timezone.localdate() - timedelta(days=6),
    "open_by": timezone.localdate() + timedelta(days=1),
}


def watch_point(lesion):
    plan = ReliefPlan.objects.create(
        code=uuid.uuid4().hex[:6].upper(),
        side=lesion.limb.side,
        state="signed",
        spec={},
        result={},
        sha256="0" * 64,
        core_version="test",
        made_by="test",
        created_at=timezone.now(),
        signed_at=timezone.now(),
        signed_by="test",
    )
    link = LimbPlan.objects.create(limb=lesion.limb, plan=plan, created_by=factories.author())
    link.lesions.set([lesion])
    return WatchPoint.objects.create(
        limb_plan=link,
        kind="rim",
        words="heel",
        x_mm=0,
        y_mm=0,
        before_kpa=1,
        after_kpa=2,
        created_by=factories.author(),
    )


def traced(lesion):
    common = {"created_by": factories.author()}
    photo = lesion.photos.create(
        taken_on=timezone.localdate(),
        file="photos/none.jpg",
        sha256="0" * 64,
        width_px=1,
        height_px=1,
        **common,
    )
    scale = PhotoScale.objects.create(
        photo=photo,
        reference="ruler",
        marks_px=[[0, 0], [1, 1]],
        matrix=[[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        error_percent=5,
        **common,
    )
    return Trace.objects.create(
        scale=scale, outline_mm=RING, area_mm2=200, perimeter_mm=60, length_mm=22, width_mm=9, **common
    )
