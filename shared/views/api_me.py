"""Who am I, in which teams, and a token for scripts."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.authtoken.views import ObtainAuthToken
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from shared.access import memberships_of
from shared.models import Membership


class TeamRoleSerializer(serializers.ModelSerializer[Membership]):
    team = serializers.SlugRelatedField[Any](slug_field="slug", read_only=True)
    name = serializers.CharField(source="team.name", read_only=True)

    class Meta:
        model = Membership
        fields = ("team", "name", "role")


class MeSerializer(serializers.Serializer[Any]):
    username = serializers.CharField()
    name = serializers.CharField(source="display_name")
    teams = TeamRoleSerializer(many=True, source="team_roles")


class Me(APIView):
    """The signed-in person and their role in each team."""

    @extend_schema(responses=MeSerializer, summary="The signed-in person and their teams")
    def get(self, request: Request) -> Response:
        person = {
            "username": request.user.get_username(),
            "display_name": getattr(request.user, "display_name", ""),
            "team_roles": memberships_of(request.user),
        }
        return Response(MeSerializer(person).data)


class TokenSerializer(serializers.Serializer[Any]):
    token = serializers.CharField()


class SignInToken(ObtainAuthToken):
    """Exchange a name and password for the token that scripts send as ``Authorization: Token ...``."""

    @extend_schema(responses=TokenSerializer, summary="A token for a name and a password")
    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().post(request, *args, **kwargs)
