from shared.models.base import TeamOwned, Timestamped
from shared.models.jobs import JobRun
from shared.models.people import Membership, Role, Team, User

__all__ = ["JobRun", "Membership", "Role", "Team", "TeamOwned", "Timestamped", "User"]
