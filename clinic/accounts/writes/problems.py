"""A problem with a page, told without a word of a record."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from clinic.models import Problem, ProblemKind, Site, User
from clinic.record.errors import Refused
from clinic.record.writes import receipts

__all__ = ["problem_settle", "problem_tell", "program_version"]


@cache
def program_version() -> str:
    text = (Path(settings.BASE_DIR) / "pyproject.toml").read_text()
    return str(tomllib.loads(text)["project"]["version"])


@transaction.atomic
def problem_tell(*, by: User, site: Site, kind: str, page: str, request_id: str = "") -> Problem:
    """Keep page, version and state; there is no field for text, so no patient's text can be in it."""
    if kind not in ProblemKind.values:
        raise Refused(f"What is wrong: {kind or 'nothing'} is not one of the list.", field="kind")
    problem = Problem.objects.create(
        site=site,
        told_by=by,
        at=timezone.now(),
        kind=kind,
        page=page[:60],
        program_version=program_version(),
        role=by.role,
        request_id=request_id[:32],
    )
    # No row of the chain tells of it, so its form's receipt is made here.
    receipts.note(by=by, target=problem, person=None)
    return problem


def problem_settle(*, problem: Problem) -> Problem:
    if problem.settled_at is None:
        problem.settled_at = timezone.now()
        problem.save(update_fields=["settled_at"])
    return problem
