from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def people(request: HttpRequest) -> HttpResponse:
    raise Http404


@may("see_cases")
def person_new(request: HttpRequest) -> HttpResponse:
    raise Http404


@may("see_cases")
def person(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def person_edit(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def person_state(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def weight_new(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def circumstances_new(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404
