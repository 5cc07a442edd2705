from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def consent(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def photo_new(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def photo_file(request: HttpRequest, photo: int) -> HttpResponse:
    raise Http404
