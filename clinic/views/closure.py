from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def lesion_close(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def lesion_confirm(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def lesion_reopen(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def lesion_end(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404
