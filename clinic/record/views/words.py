"""What the words of verdicts and grades mean: one page, a link from every other."""

from django.http import HttpResponse
from django.shortcuts import render

from clinic.access import ClinicRequest, may

__all__ = ["words"]


@may("own_account")
def words(request: ClinicRequest) -> HttpResponse:
    return render(request, "record/words.html")
