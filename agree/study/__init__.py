"""Many pairs: lists, checkpoints, executors, and statistics over units, devices and conditions."""

from agree.study.finding import Found, find_pairs
from agree.study.listing import StudyRow
from agree.study.one_unit import check_unit
from agree.study.planning import StudyPlan, plan_study
from agree.study.running import Intended, Study, intended, run
from agree.study.statistics.table import StudyTable, study_table
from agree.study.tables import Line

__all__ = ["Found", "Intended", "Line", "Study", "StudyPlan", "StudyRow", "StudyTable", "check_unit", "find_pairs",
           "intended", "plan_study", "run", "study_table"]
