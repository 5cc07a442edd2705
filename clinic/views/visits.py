from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def visit_new(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def visit_check(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def visit_missed(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def visit(request: HttpRequest, visit: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def visit_correct(request: HttpRequest, visit: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def visit_in_error(request: HttpRequest, visit: int) -> HttpResponse:
    raise Http404
