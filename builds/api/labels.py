"""API of labels: the PDF of what is asked for."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from builds.forms.labels import KINDS, MOST_COPIES
from builds.views.labels import pdf_answer, read_choice
from shared.api import TeamScoped
from shared.labels.layouts import LAYOUTS

PARAMETERS = [
    OpenApiParameter(
        "kind", str, many=True, enum=[kind.value for kind in KINDS],
        description="Everything in use of a kind: B batteries, S spools, N bins, R robots",
    ),
    OpenApiParameter("thing", str, many=True, description="One thing: the letter of its kind and its id, such as B12"),
    OpenApiParameter("layout", str, enum=list(LAYOUTS), description="Sheet or roll; A4 with 24 labels if not given"),
    OpenApiParameter("start", int, description="The first free label of the first sheet, counted along rows from 1"),
    OpenApiParameter("copies", int, description=f"Of each label, 1 to {MOST_COPIES}"),
    OpenApiParameter("shift_x_mm", float, description="Move the whole print right"),
    OpenApiParameter("shift_y_mm", float, description="Move the whole print down"),
]  # fmt: skip


class LabelsApi(TeamScoped):
    @extend_schema(
        parameters=PARAMETERS,
        responses={(200, "application/pdf"): OpenApiTypes.BINARY, 400: OpenApiTypes.OBJECT},
        summary="Labels with QR codes as a PDF",
    )
    def get(self, request: Request, team: str) -> HttpResponse:
        choice = read_choice(self.scope, request.query_params)
        if choice.form.errors:
            raise ValidationError(
                {field: [str(one) for one in said] for field, said in choice.form.errors.items()}
            )
        if not choice.labels:
            raise ValidationError({"thing": ["Nothing is chosen: give kind or thing"]})
        return pdf_answer(choice, self.scope.team.name, self.scope.team.slug)
