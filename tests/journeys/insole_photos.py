"""A rendered photograph of an insole, kept with its card and drawn round where print and edge truly are."""

from __future__ import annotations

import uuid

import numpy as np

from clinic.capture.writes.scales import scale_guess, scale_store
from clinic.capture.writes.traces import trace_store
from clinic.models import Lesion, PhotoScale, PhotoSubject, User
from tests.journeys.test_marks_kept import photo_of
from tests.offload.core.insole_scenes import InsoleScene


def scaled_and_traced(by: User, lesion: Lesion, shot: InsoleScene) -> PhotoScale:
    photo = photo_of(lesion, shot.picture, PhotoSubject.INSOLE)
    scale = scale_store(by=by, photo=photo, reference="card", marks=scale_guess(photo, "card"))
    for points in (shot.print_px, shot.edge_px):
        flat = np.column_stack([points, np.ones(len(points))]) @ np.array(scale.matrix).T
        outline = [[[[float(x), float(y)] for x, y in flat[:, :2] / flat[:, 2:]]]]
        trace_store(by=by, scale=scale, outline=outline, submission_key=uuid.uuid4())
    return scale
