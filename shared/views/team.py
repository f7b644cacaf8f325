"""Members of a team and their roles."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.password_validation import password_validators_help_texts
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from shared.access import Can
from shared.errors import DomainError
from shared.members import member_add, member_remove, member_set_role, members
from shared.models import Membership, Role
from shared.pages import TeamPage


class MemberForm(forms.Form):
    """Somebody who has a sign-in is found by its name; for anybody else one is made."""

    username = forms.CharField(label="Sign-in name", max_length=150)
    role = forms.ChoiceField(choices=Role.choices, initial=Role.MEMBER)
    full_name = forms.CharField(label="Name", max_length=150, required=False)
    password = forms.CharField(
        label="First password",
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rules = " ".join(password_validators_help_texts())
        self.fields["password"].help_text = f"Only for somebody who has no sign-in yet. {rules}"


class MemberList(TeamPage):
    """Who belongs to the team. A mentor adds people and changes roles."""

    nav_key = "members"
    write = Can.GOVERN

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.listing(MemberForm())

    def listing(self, form: MemberForm, status: int = 200) -> HttpResponse:
        context = {
            "form": form,
            "members": members(self.scope),
            "roles": Role.choices,
            "governs": self.scope.can(Can.GOVERN),
        }
        return self.render("shared/members.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        form = MemberForm(request.POST)
        if form.is_valid():
            try:
                made = member_add(scope=self.scope, **form.cleaned_data)
            except DomainError as refused:
                form.add_error(refused.field if refused.field in form.fields else None, refused.sentence)
            else:
                self.say(f"{made.user.display_name} is now {made.get_role_display()}.")
                return self.go("member-list")
        return self.listing(form, status=422)


class MemberEdit(TeamPage):
    """Change one person's role, or let them go."""

    nav_key = "members"
    write = Can.GOVERN
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        member = self.scope.get(Membership, pk=self.kwargs["pk"])
        name = member.user.display_name
        if request.POST.get("remove"):
            member_remove(scope=self.scope, member=member)
            self.say(f"{name} no longer belongs to the team. What they entered stays.")
        else:
            member_set_role(scope=self.scope, member=member, role=request.POST.get("role", ""))
            self.say(f"{name} is now {member.get_role_display()}.")
        return self.go("member-list")
