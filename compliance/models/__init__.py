from compliance.models.flags import Flag, FlagEvent, FlagState, Severity, SubjectKind, Waiver
from compliance.models.packs import RulePack, RuleSetting

__all__ = ["Flag", "FlagEvent", "FlagState", "RulePack", "RuleSetting", "Severity", "SubjectKind", "Waiver"]
