from shared.models.base import TeamOwned, Timestamped
from shared.models.jobs import JobRun
from shared.models.people import Membership, Role, Team, User
from shared.models.receipts import Receipt

__all__ = ["JobRun", "Membership", "Receipt", "Role", "Team", "TeamOwned", "Timestamped", "User"]
