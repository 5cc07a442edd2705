from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("review")
def review(request: HttpRequest) -> HttpResponse:
    raise Http404
