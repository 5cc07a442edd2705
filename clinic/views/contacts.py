from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def contact_new(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404
