"""Simulated matches of a build: what enters (rows to kernel), how it is named by its content, what comes out."""

from builds.match_study.inputs import Case, StudyInputs, study_inputs
from builds.match_study.run import RUNS, run_studies

__all__ = ["RUNS", "Case", "StudyInputs", "run_studies", "study_inputs"]
