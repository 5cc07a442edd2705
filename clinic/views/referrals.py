from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def referral_new(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def referral(request: HttpRequest, referral: int) -> HttpResponse:
    raise Http404
