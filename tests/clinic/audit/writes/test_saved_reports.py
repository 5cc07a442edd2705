"""Reports kept and run: by hand and by command, each a row of the chain; small cells hidden where asked."""

import csv
import io
import json

import pytest
from django.core.management import CommandError, call_command
from pypdf import PdfReader

from clinic.models import AuditEvent, SavedReport
from tests import factories
from tests.clinic.audit.scene import case, year


@pytest.fixture
def full(site, podiatrist):
    year(site, podiatrist)
    return site


def test_a_report_is_kept_run_and_stopped_and_each_is_a_row_of_the_chain(as_manager, full):
    sent = {"name": "Board", "form": "json", "days": 365, "device_class": "", "deidentified": "on"}
    assert as_manager.post("/audit/reports/", {**sent, "days": 0}).status_code == 422
    assert as_manager.post("/audit/reports/", sent).status_code == 302
    assert as_manager.post("/audit/reports/", sent).status_code == 422  # one of that name is there
    report = SavedReport.objects.get()
    value = json.loads(as_manager.get(f"/audit/reports/{report.pk}/run/").content)
    assert value["method"].startswith("De-identified")
    assert as_manager.get(f"/audit/reports/{report.pk}/stop/").status_code == 405
    assert as_manager.post(f"/audit/reports/{report.pk}/stop/").status_code == 302
    assert (
        "Board"
        not in as_manager.get("/audit/reports/").content.decode().split('id="kept"')[1].split("</section>")[0]
    )
    assert list(AuditEvent.objects.order_by("pk").values_list("verb", flat=True)) == [
        "saved",
        "exported",
        "stopped",
    ]


def test_figures_hide_small_cells_only_where_asked(as_manager, full):
    plain = json.loads(as_manager.get("/audit/figures.json").content)
    hidden = json.loads(as_manager.get("/audit/figures.json?deidentified=1").content)
    told = {f["key"]: f for f in plain["figures"]}
    cut = {f["key"]: f for f in hidden["figures"]}
    assert told["agreed"]["count"] == 8
    assert told["agreed"]["interval_95"] == [39.1, 86.2]
    # 4 departed of 12: too small; 8 agreed of 12 would give it away.
    for key in ("departed", "agreed", "part.departed"):
        assert cut[key]["suppressed"]
        assert cut[key]["count"] is None
    assert not any(0 < (f["count"] or 0) < 5 for f in hidden["figures"])
    assert plain["definitions"]["agreement"]
    assert all("\u2026" not in json.dumps(f) for f in plain["figures"])


def test_cases_leave_as_json_and_deidentified_csv(as_manager, site):
    lesion, _ = case(site)
    rows = json.loads(as_manager.get("/audit/cases.json?figure=all").content)["rows"]
    assert rows[0]["record_number"] == lesion.limb.person.record_number
    cut = as_manager.get("/audit/cases.csv?figure=all&deidentified=1").content.decode()
    one = next(csv.DictReader(io.StringIO(cut)))
    assert "record_number" not in one
    assert (one["when"], one["place"], one["device_class"]) == ("", "", "")
    assert AuditEvent.objects.filter(verb="exported").count() == 2
    assert '"deidentified":true' in AuditEvent.objects.latest("pk").detail


def test_the_printed_report_holds_figures_and_definitions(as_manager, full):
    sent = as_manager.get("/audit/figures.pdf")
    assert sent["Content-Type"] == "application/pdf"
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(sent.content)).pages)
    text = " ".join(text.split())
    assert "Agreed with the guidance 8 of 12 66.7 % (39.1 to 86.2)" in text
    assert "Wilson 1927" in text
    assert "not a diagnosis" in text
    assert as_manager.get("/audit/figures.pdf").content == sent.content


def test_a_scheduler_runs_all_reports_of_a_managers_sites(full, manager, staff, other_site, tmp_path):
    for form in ("csv", "json", "pdf"):
        factories.saved_report(at=full, form=form, deidentified=form == "csv")
    factories.saved_report(at=other_site)
    factories.saved_report(at=full, stopped=True)
    call_command("run_reports", out=tmp_path, by=manager.username)
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".csv", ".json", ".pdf"]
    assert all(path.stat().st_size > 100 for path in tmp_path.iterdir())
    assert AuditEvent.objects.filter(verb="exported").count() == 3
    for wrong in ({"by": staff.username}, {"by": manager.username, "report": 9999}):
        with pytest.raises(CommandError):
            call_command("run_reports", out=tmp_path, **wrong)


def test_a_case_sheet_names_no_one(as_manager, site):
    lesion, p = case(site, agrees=False, departure="skill")
    page = as_manager.get(f"/audit/sheets/{p.pk}/").content.decode()
    person = lesion.limb.person
    assert person.record_number in page
    assert person.family_name not in page
    assert "Words on skill." in page
    assert "Nobody trained to apply it" in page
