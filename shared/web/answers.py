"""Answers that are files."""

from django.http import HttpResponse


def pdf_answer(content: bytes, *, name: str) -> HttpResponse:
    """A PDF that the browser shows, called `name` where it is saved."""
    answer = HttpResponse(content, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return answer


def private(answer: HttpResponse) -> HttpResponse:
    """Kept by nobody on the way, nor by the browser: it is about one person's house."""
    answer["Cache-Control"] = "private, no-store"
    return answer
