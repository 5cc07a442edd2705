from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def limb_edit(request: HttpRequest, limb: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def finding_new(request: HttpRequest, limb: int) -> HttpResponse:
    raise Http404
