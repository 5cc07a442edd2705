from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("see_cases")
def lesion_new(request: HttpRequest, person: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def lesion(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def lesion_edit(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def lesion_chart(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404


@may("see_cases")
def event_new(request: HttpRequest, lesion: int) -> HttpResponse:
    raise Http404
