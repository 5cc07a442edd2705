from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def bench(request: HttpRequest, limb: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def bench_preview(request: HttpRequest, limb: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def plan(request: HttpRequest, code: str) -> HttpResponse:
    raise Http404


@may("see_cases")
def plan_sign(request: HttpRequest, code: str) -> HttpResponse:
    raise Http404


@may("see_cases")
def plan_pdf(request: HttpRequest, code: str, paper: str) -> HttpResponse:
    raise Http404


@may("see_cases")
def plan_svg(request: HttpRequest, code: str) -> HttpResponse:
    raise Http404


@may("see_cases")
def plan_dxf(request: HttpRequest, code: str) -> HttpResponse:
    raise Http404
