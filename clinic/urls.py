"""The clinic's routes, room by room; each room's own stand in its `urls.py`."""

from django.urls import include, path

#: In the order of the work.
ROOMS = (
    "record",
    "rules",
    "people",
    "capture",
    "curves",
    "alerts",
    "lesions",
    "relief",
    "devices",
    "visits",
    "case",
    "week",
    "accounts",
    "audit",
)

urlpatterns = [path("", include(f"clinic.{room}.urls")) for room in ROOMS]
