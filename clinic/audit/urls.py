"""Routes of this room."""

from django.urls import path

from clinic.audit.views import audit, completeness, outcomes, peer
from clinic.audit.views import exports as audit_exports

urlpatterns = [
    path("review/forecasts/", outcomes.forecasts, name="review_forecasts"),
    path("outcomes/", outcomes.outcomes, name="outcomes"),
    path("outcomes/chart.svg", outcomes.outcomes_chart, name="outcomes_chart"),
    path("audit/", audit.audit, name="audit"),
    path("audit/cases/", audit.audit_cases, name="audit_cases"),
    path("audit/cases.csv", audit_exports.audit_csv, name="audit_csv"),
    path("audit/cases.json", audit_exports.audit_json, name="audit_json"),
    path("audit/figures.json", audit_exports.audit_report_json, name="audit_report_json"),
    path("audit/figures.pdf", audit_exports.audit_report_pdf, name="audit_report_pdf"),
    path("audit/reports/", audit_exports.audit_reports, name="audit_reports"),
    path("audit/reports/<int:report>/run/", audit_exports.audit_report_run, name="audit_report_run"),
    path("audit/reports/<int:report>/stop/", audit_exports.audit_report_stop, name="audit_report_stop"),
    path("audit/completeness/", completeness.audit_completeness, name="audit_completeness"),
    path("audit/completeness/list/", completeness.audit_gap, name="audit_gap"),
    path("audit/mine/", audit.audit_mine, name="audit_mine"),
    path("audit/sheets/<int:prescription>/", audit.case_sheet, name="case_sheet"),
    path("audit/peer/", peer.peer_rounds, name="peer_rounds"),
    path("audit/peer/new/", peer.peer_new, name="peer_new"),
    path("audit/peer/<int:round>/", peer.peer_round, name="peer_round"),
    path("audit/peer/choices/<int:case>/", peer.peer_case, name="peer_case"),
    path("audit/changes/", audit.audit_changes, name="audit_changes"),
]
