from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("register")
def lesion_new(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("register")
def lesion_edit(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404
