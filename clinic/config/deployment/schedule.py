"""Which command a machine runs by itself, and when. The hours are design choices: outside clinic hours."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BY_HAND", "JOBS", "Job"]


@dataclass(frozen=True)
class Job:
    """One command with its words, and its time as systemd writes it."""

    command: str
    every: str
    when: str
    why: str

    @property
    def name(self) -> str:
        return f"clinic-{self.command.split()[0].replace('_', '-')}"


JOBS = (
    Job(
        "digest_chain", "day", "*-*-* 23:50", "Today's rows checked, heads of the chains into the digest file"
    ),
    Job("backup", "day", "*-*-* 01:10", "Backup of the record"),
    Job("clearsessions", "day", "*-*-* 03:10", "Ended sign-ins out of the database"),
    Job("axes_reset_logs --age 30", "day", "*-*-* 03:20", "Old refused sign-ins out of the database"),
    Job("downtime_pack", "day", "*-*-* 18:30", "Tomorrow on paper"),
    Job("doctor", "day", "*-*-* 06:30", "Whether the program can do its work"),
    Job("recalibrate", "week", "Mon *-*-* 04:40", "Forecasts held against each clinic's closed courses"),
    Job("verify_audit --without-values", "week", "Sun *-*-* 02:10", "The whole record against its chains"),
    Job("drill", "month", "*-*-01 04:10", "Rehearsal of the restore"),
)

#: Command -> why a person calls it and no timer does.
BY_HAND = {
    "demo": "the invented clinic",
    "demo_past": "the invented clinic, when a table changed",
    "deployment_files": "once, before the first start",
    "device_advice": "answers a file",
    "limb_grades": "answers a file",
    "digest": "needs an address or a folder: deployment_files --mail ADDRESS makes its timer",
    "healing_report": "answers a file",
    "open_clinic": "once",
    "relief_plan": "answers a file",
    "restore": "after a loss",
    "run_reports": "needs the manager in whose name it runs",
    "survival_report": "answers a file",
}
