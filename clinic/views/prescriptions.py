from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def prescription_new(request: HttpRequest, limb: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def prescription(request: HttpRequest, prescription: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def prescription_fit(request: HttpRequest, prescription: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def prescription_open(request: HttpRequest, prescription: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def prescription_stop(request: HttpRequest, prescription: int) -> HttpResponse:
    raise Http404
