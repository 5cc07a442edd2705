from django.http import Http404, HttpRequest, HttpResponse

from clinic.access import may


@may("audit")
def audit(request: HttpRequest) -> HttpResponse:
    raise Http404


@may("audit")
def audit_cases(request: HttpRequest) -> HttpResponse:
    raise Http404


@may("audit")
def audit_csv(request: HttpRequest) -> HttpResponse:
    raise Http404


@may("audit")
def audit_changes(request: HttpRequest) -> HttpResponse:
    raise Http404
