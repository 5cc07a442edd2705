from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("house_rules")
def house_rules(request: HttpRequest) -> HttpResponse:
    raise Http404
