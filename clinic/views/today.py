from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_today")
def today(request: HttpRequest) -> HttpResponse:
    raise Http404
